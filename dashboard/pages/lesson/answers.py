"""The parts about what the season answers: what changed, faults, pace, and what has helped with this."""

from typing import Any

import polars as pl

from dashboard.charts import fault_ladder
from dashboard.charts.picture import Picture
from dashboard.evidence import measure_season
from dashboard.pages.lesson.about import OFTEN, About, Part
from dashboard.queries import lesson, people, season
from dashboard.text import sentences
from dashboard.text.labels import BETTER, FAMILIES, HARMS, IMPROVING, SLIPPING, WORSE, marked
from dashboard.text.numbers import NBSP, Measure, count, listed, number, on
from dashboard.text.sentences import band_place
from warehouse.vocabulary import age, age_group

MOST_FAULTS, MOST_DRILLS = 6, 4


def changed(about: About, aim: str | None) -> Part:
    """The last session against those before it, each measure with whether its change is real."""
    title = "What changed since last time"
    rows = lesson.last_against_before(about.reader, about.student, about.family, about.when)
    known = [row for row in rows.iter_rows(named=True) if row["metric"] in about.measures]
    compared = [row for row in known if row["before"] is not None]
    if not known:
        return Part(title, (f"No full swing with {FAMILIES[about.family].lower()} in this season yet.",))
    if not compared:
        return Part(title, (
            (
                f"The session of {on(known[0]['day'])} is the first on its device with these clubs, so there "
                "is nothing to hold it against."
            ),
        ))  # fmt: skip
    real = [row for row in compared if row["beyond"] and abs(row["last"] - row["before"]) > row["beyond"]]
    labels = season.trend_labels(about.reader, about.student, about.when).filter(
        (pl.col("club_family") == about.family) & pl.col("label").is_in([IMPROVING, SLIPPING])
    )
    core = set(people.core_measures(about.reader)) & set(labels["metric"])
    worked = set(lesson.kindred_aims(about.reader, aim)) if aim else set()
    shown = [row for row in compared if row in real or row["metric"] in core | worked]
    held = count(int(max(row["n_before"] for row in compared)), "session")
    said = (
        f"The session of {on(compared[0]['day'])} against the {held} before it on the same device: of "
        f"{count(len(compared), 'measure')}, {len(real)} moved more than sessions scatter. About one in "
        "twenty would by chance alone. Those, what is worked on, and what the season calls changed:"
    )
    rows = pl.DataFrame([_change(about, row) for row in shown]) if shown else None
    return Part(title, (said,), rows)


def _change(about: About, row: dict[str, Any]) -> dict[str, str]:
    measure = about.measures[row["metric"]]
    band = about.bands.get(row["metric"], (None, None))
    fit = season.trends(about.reader, row["metric"], about.family, about.when, about.student)
    return {
        "Measure": measure.label,
        "Before → last": sentences.moved(measure, row, band),
        "Since last time": sentences.verdict(measure, row, band),
        "Over the season": marked(fit["label"][0]) if len(fit) else "–",
    }


def faults(about: About) -> Part:
    """The faults that have changed or show often, now and before; those without room are named."""
    rates = season.fault_rates(about.reader, about.student, about.family, about.when)
    if rates.is_empty():
        return Part("Faults now", ("No fault could be judged with these clubs yet.",))
    now = rates.filter(pl.col("span") == "now")
    moved = pl.col("label").is_in([BETTER, WORSE])
    often = now.filter((pl.col("rate") >= OFTEN) | moved).sort(moved, "rate", descending=True)["fault"]
    named, more = often.head(MOST_FAULTS), often[MOST_FAULTS:].to_list()
    others = now.height - len(often)
    quiet = f"{count(others, 'other fault')} judged: in fewer than one swing of ten lately, no change clear."
    if named.is_empty():
        return Part("Faults now", (f"No fault in more than one swing of ten lately; {quiet}",))
    said = (
        [f"{len(more)} more {'shows' if len(more) == 1 else 'show'} as well: {listed(more)}."] if more else []
    )
    rows = fault_ladder.table(rates.filter(pl.col("fault").is_in(named.implode())))
    return Part("Faults now", (*said, quiet) if others else tuple(said), rows)


def pace(about: About, aim: str | None) -> Part | None:
    """At which pace the faults behind the aim stay away."""
    names = people.faults(about.reader)
    aims = [code for code in (lesson.kindred_aims(about.reader, aim) if aim else []) if code in names]
    said = []
    for code in aims:
        found = lesson.pace(about.reader, about.student, code, about.family, about.when)
        if found:
            said.append(sentences.pace_sentence(names[code], found))
    return Part("At which pace it holds", tuple(said)) if said else None


def suggested(about: About, aim: str | None) -> list[dict[str, Any]]:
    """The drills that `helped` suggests: none that harms, is for older players, or loads what hurts."""
    if aim is None:
        return []
    found = lesson.effects(about.reader, lesson.kindred_aims(about.reader, aim), about.when)
    kept = [row for row in found.iter_rows(named=True) if row["label"] != HARMS and not about.loads(row)]
    return [row for row in kept[:MOST_DRILLS] if not _for_older(about, row)]


def _for_older(about: About, row: dict[str, Any]) -> bool:
    years = age(about.person["born"], about.reader.today)
    return row["min_age"] is not None and (years is None or years < row["min_age"])


def helped(about: About, aim: str | None) -> Part | None:
    """Drills with this aim, by what others kept; none that a student's age or what hurts speaks against."""
    if aim is None:
        return None
    title = "What has helped with this"
    found = lesson.effects(about.reader, lesson.kindred_aims(about.reader, aim), about.when)
    if found.is_empty():
        return Part(
            title, ("No drill with this aim has an answer yet: it needs students measured before and after.",)
        )
    said, left, against = [], [], []
    for row in found.iter_rows(named=True):
        if row["label"] == HARMS:
            against.append(sentences.effect_sentence(row, about.measures.get(row["aim"])))
        elif about.loads(row):
            left.append(row["name"])
        elif _for_older(about, row):
            said.append(f"{row['name']} is for players from {row['min_age']} years on.")
        else:
            measure = about.measures.get(row["aim"])
            said.append(" ".join([sentences.effect_sentence(row, measure), *_kindred(about, row, measure)]))
    said = said[:MOST_DRILLS] + [f"Not suggested. {sentence}" for sentence in against]
    if left:
        areas = listed(sorted({area or "area not named" for area in about.areas}))
        said.append(
            f"Left out while the {areas} hurts, because they mention it or may load it: {listed(left)}."
        )
    return Part(title, tuple(said))


def _kindred(about: About, row: dict[str, Any], measure: Measure | None) -> list[str]:
    """What it kept with students of this level, and of this age, where there were enough of them."""
    band = age_group(age(about.person["born"], about.person["first_day"] or about.reader.today))
    groups = lesson.group_effects(about.reader, about.when, about.person["level"], band)
    groups = groups.filter((pl.col("drill") == row["drill"]) & (pl.col("aim") == row["aim"]))
    unit, decimals = (
        ("points", 0) if measure is None else (sentences.in_points(measure).unit, measure.decimals)
    )
    said = []
    for group in groups.iter_rows(named=True):
        who = f"of level {group['group']}" if group["grouping"] == "level" else f"aged {group['group']}"
        if group["kept"] is None:
            said.append(f"Students {who}: only {group['n_students']}, too few to tell apart.")
        else:
            lo, hi = (number(group[n], "", decimals, signed=True) for n in ("kept_lo", "kept_hi"))
            kept = number(group["kept"], unit, decimals, signed=True)
            said.append(f"Students {who}: kept {kept}, 90{NBSP}% between {lo} and {hi}.")
    return said


def picture(about: About, aim: str | None, *, narrow: bool) -> Picture | None:
    """The season line of what is worked on."""
    if aim is None:
        return None
    metric = aim if aim in about.measures else next(iter(people.fault_metrics(about.reader, aim)), None)
    if metric not in about.measures:
        return None
    measure = about.measures[metric]
    found = measure_season(about.reader, about.person, measure, about.family, about.when or "")
    if found is None:
        return None
    place = band_place(found.last, *found.line.band)
    finding = f"{measure.label}: {measure.say(found.last)} at the last session, {place}"
    return found.picture(finding, found.sentence(), narrow=narrow)
