"""What the Students page says: a measure or a fault of several students on one scale, never ranked."""

from dataclasses import dataclass, replace

import polars as pl

from dashboard.charts import small_multiples
from dashboard.charts.small_multiples import Comparison
from dashboard.kept import kept
from dashboard.queries import academy, people, season, sessions
from dashboard.section import Picture, Section, nonempty
from dashboard.text import sentences
from dashboard.text.catalogue import _, mark
from dashboard.text.cautions import BANDS_ARE_CUSTOM
from dashboard.text.labels import AGES, FAMILIES, SHAPES, label
from dashboard.text.numbers import NBSP, Band, Measure, capitalized, count, listed, lowered
from warehouse.access import Reader
from warehouse.vocabulary import AGE_GROUPS, SELDOM, age, age_group

ALL = "all"
MOST_COMPARED = 200  # students: more make a picture that nobody reads
NO_SEASON = mark("No session has been measured in a season yet. Drop a delivery on the Deliveries page.")
HOW_TO_READ = mark(
    "Farthest outside the target first, then in order of name; a panel opens its student's page. A hollow "
    "point is a session of fewer than five swings. The true value is probably inside the bar (9 in 10)."
)


@dataclass(frozen=True)
class Subject:
    """What is compared: a measure or, in % of swings, a fault; of one season and club family."""

    code: str
    measure: Measure
    is_fault: bool
    season: str
    family: str


def seasons(reader: Reader) -> list[str]:
    """Seasons with a measured session, newest first."""
    return nonempty(people.seasons(reader), _(NO_SEASON))


def subjects(reader: Reader) -> dict[str, str]:
    """What can be compared: core measures, the others, then faults; by name."""
    measures, core = people.measures(reader), people.core_measures(reader)
    found = {code: measures[code].label for code in [*core, *(m for m in measures if m not in core)]}
    found |= {code: _("Fault: {name}").format(name=name) for code, name in people.faults(reader).items()}
    return nonempty(found, _("The lists of measures and faults are not built yet. Run: underfoot build"))


@kept
def most_outside(reader: Reader, when: str, family: str) -> str | None:
    """The core measure on which most students are outside their target now; None where nobody is."""
    found: dict[str, int] = {}
    lines = academy.level_lines(reader, when, family)
    for (level,), own in lines.group_by("level", maintain_order=True):
        bands = season.bands(reader, family, {"student": None, "level": level})
        for metric, now in own.select("metric", "now").iter_rows():
            found[metric] = found.get(metric, 0) + season.outside(now, bands.get(metric, (None, None)))
    most = max(found, key=lambda metric: found[metric], default=None)
    return most if most is not None and found[most] else None


def subject(reader: Reader, code: str, when: str, family: str) -> Subject:
    """What was chosen to compare on."""
    measure = people.measures(reader).get(code)
    if measure is not None:
        return Subject(code, measure, False, when, family)  # noqa: FBT003 - is_fault
    about = people.fault_about(reader, code)
    explain = _("{looks_like} Share of the judged swings that show it.").format(
        looks_like=about["looks_like"]
    )
    rate = Measure(code, about["name"], mark("% of swings"), explain, "down", 0)
    return Subject(code, rate, True, when, family)  # noqa: FBT003 - is_fault


def students(reader: Reader) -> pl.DataFrame:
    """Every student in reach, as `queries.people.students`, with their age group."""
    nobody = _(
        "There is no student you may see yet. Drop people.csv and coaching.csv on the Deliveries page."
    )
    everyone = nonempty(people.students(reader), nobody)
    groups = [age_group(age(born, reader.today)) for born in everyone["born"]]
    return everyone.with_columns(pl.Series("age", groups, dtype=pl.String))


def filters(reader: Reader, everyone: pl.DataFrame) -> dict[str, tuple[str, dict[str, str]]]:
    """Column → its title, and what it can be, by code. A coach has only their own students anyway."""
    coaches = everyone.drop_nulls("coach").select("coach", "coach_name").unique().sort("coach_name")
    levels = everyone["level"].drop_nulls().unique().sort()
    ages = [group for group in AGE_GROUPS if group in set(everyone["age"])]
    coach = {"coach": (_("Coach"), {ALL: _("All coaches"), **dict(coaches.iter_rows())})}
    return {
        **(coach if reader.viewer.role == "head_coach" else {}),
        "level": (_("Level"), {ALL: _("All levels"), **{name: capitalized(name) for name in levels}}),
        "age": (_("Age"), {ALL: _("All ages"), **{group: AGES[group] for group in ages}}),
    }


def chosen(everyone: pl.DataFrame, choice: dict[str, str]) -> pl.DataFrame:
    """The students that the filters leave. `choice`: column → code, or `ALL`."""
    wanted = [pl.col(column) == code for column, code in choice.items() if code != ALL]
    nobody = _("No student matches all of these. Widen the choice of coach, level or age.")
    return nonempty(everyone.filter(*wanted), nobody)


@kept
def comparison(
    reader: Reader, about: Subject, shown: pl.DataFrame, *, page: str = "", narrow: bool = False
) -> Section:
    """The students `shown` on one scale, each panel a link to `page` and the student's code."""
    measure, students = about.measure, shown["student"].to_list()
    key = (about.code, about.family, about.season)
    if len(shown) > MOST_COMPARED:
        many = _("{students} are too many for one picture: choose a coach, a level or an age.")
        return Section(sentences=(many.format(students=count(len(shown), "student")),))
    if about.is_fault:
        values, labels = season.session_rates(reader, *key, students), season.fault_labels(reader, *key)
    else:
        values, labels = season.session_means(reader, *key, students), season.trends(reader, *key)
    values = values.join(labels.select("student", "label"), on="student", how="left")
    values = shown.select("student", "name").join(values, on="student")
    values = values.with_columns(page=page + pl.col("student"), student="name").drop("name")
    nobody = _(
        "None of these students has been measured on {measure} with {clubs} in {season}. Choose another "
        "measure, season or kind of club."
    ).format(measure=measure.label, clubs=lowered(FAMILIES[about.family]), season=about.season)
    nonempty(values, nobody)
    band = (
        (None, None) if about.is_fault else season.bands(reader, about.family).get(about.code, (None, None))
    )
    values = _by_need(values, band if not about.is_fault else (None, 100 * SELDOM))
    compared, title = Comparison(values, measure, band), finding(values, measure, about.family)
    saved = replace(compared, values=values.drop("page"))
    first, *below = small_multiples.screens(values, narrow=narrow)
    pieces = [small_multiples.picture(compared, title, narrow=narrow, only=first)]
    pieces += [small_multiples.picture(compared, "", narrow=narrow, only=rest) for rest in below]
    picture = Picture(
        small_multiples.picture(saved, title, narrow=narrow),
        small_multiples.words(compared),
        small_multiples.table(compared),
        f"{measure.explain} {_(HOW_TO_READ)} {_(BANDS_ARE_CUSTOM)}",
        tuple(pieces),
    )
    missing = listed([name for name in shown["name"] if name not in set(values["student"])])
    unmeasured = _("Not measured on this with these clubs: {students}.").format(students=missing)
    counts, flags = sessions.left_out(reader, None, about.season)
    left_out = sentences.left_out(counts, flags.rows()) or ""
    return Section(picture, notes=(unmeasured if missing else "", left_out))


def _by_need(values: pl.DataFrame, band: Band) -> pl.DataFrame:
    """Session means in the order of their last one: farthest outside the band first, then by name."""
    lo, hi = (pl.lit(end, pl.Float64) for end in band)
    last = pl.col("mean").sort_by("day").last()
    outside = pl.max_horizontal(pl.lit(0.0), lo - last, last - hi)
    need = values.group_by("student").agg(outside=outside)
    return (
        values.join(need, on="student")
        .sort("outside", "student", "day", descending=[True, False, False])
        .drop("outside")
    )


def finding(values: pl.DataFrame, measure: Measure, family: str) -> str:
    """The picture's title: how many students, and how many of them changed which way."""
    everyone = values.select("student", "label").unique()
    found = dict(everyone.drop_nulls("label").group_by("label").len().rows())
    parts = [
        f"{SHAPES[code]} {n}{NBSP}{lowered(label(code).split(' (')[0])}"
        for code, n in sorted(found.items(), key=lambda pair: label(pair[0]))
        if code in SHAPES
    ]
    said = {
        "measure": measure.label, "clubs": lowered(FAMILIES[family]),
        "students": count(len(everyone), "student"), "changes": listed(parts),
    }  # fmt: skip
    if not parts:
        return _("{measure}, {clubs}: {students} on one scale; no change is clear yet").format(**said)
    return _("{measure}, {clubs}: of {students}, {changes}").format(**said)
