"""What the page How sure are we says: a session's worth, how often claims hold, and eye against plate."""

import polars as pl

from dashboard.charts import calibration_goals, eye_and_plate, reliability
from dashboard.kept import kept
from dashboard.queries import academy, people
from dashboard.section import Picture, Section, nonempty
from dashboard.text.catalogue import Words, _, mark
from dashboard.text.claims import in_words
from dashboard.text.labels import FAMILIES
from dashboard.text.numbers import count, joined, listed, lowered, number, on, quoted, share, short_day
from dashboard.text.sentences import FEW_SWINGS
from warehouse.access import Reader
from warehouse.vocabulary import (
    AIM_REACHED,
    CHANGE,
    DRILL_HELPS,
    DRILL_NOT_CLEAR,
    NEW_FAULT,
    NEXT_VISIT,
)

ALL = "all"
WRONGLY_LISTED = ("listed_wrongly", "new_rows_wrong")  # on one day; new on any, over a season of looks
LEAST_CLAIMS = 10
NARROWEST = 0.85  # share of next visits inside the 90 % interval below which it is too narrow
ENOUGH_SWINGS = 10
NO_SEASON = mark(
    "No session has been measured in a season yet, so there is nothing to be sure of. Drop a delivery on the "
    "Deliveries page."
)
NO_RELIABILITY = mark(
    "Not known yet: it takes students measured in several sessions each. It will appear as more sessions "
    "come in."
)
NO_CALIBRATION = mark("The calibration has not been run for this version; run: make calibration")
NOTHING_TO_COMPARE = mark(
    "Nothing to compare yet: it takes lessons in which a coach noted a fault that the plate also judged."
)
NOTHING_SCORED = mark(
    "Nothing to score yet: it takes something claimed in this season, and visits in the weeks after it."
)
LASTED = mark(
    "Of {changes} that were called Improving or Slipping by {day}, {lasted} have lasted. If the calls are "
    "right, about {expected} should have; if nothing had changed, about {chance} would have."
)
BY_CHANCE = mark(
    "That is hardly better than chance: where a page says Improving or Slipping, measure again before you "
    "act on it."
)
LASTED_TOO_SOON = mark(
    "Too soon to say whether changes that were called Improving or Slipping last: {changes} so far, and it "
    "takes {least}."
)
FORESEEN = mark(
    "Of {values} measured on a student's next visit, {inside} fell inside the 90 % interval predicted for "
    "it; about {expected} should have."
)
TOO_NARROW = mark("Our intervals are too narrow here: a change is less sure than the pages say.")
TOO_FEW_TO_SCORE = mark("Too few to score yet: {kinds}. It takes {least} of a kind.")
NO_BETTER = mark("That is hardly better than chance: measure again before you act on one of these.")
CLAIMS = Words(
    {
        CHANGE: "Improving or Slipping",
        NEXT_VISIT: "Next visit inside its interval",
        NEW_FAULT: "New fault",
        DRILL_HELPS: "Drill that helps",
        DRILL_NOT_CLEAR: "Drill without a clear effect",
        AIM_REACHED: "Agreed aim that shows",
    }
)
BORNE_OUT = Words(
    {
        NEW_FAULT: "Of {claims} faults listed as new, {held} have stayed. If the list is right, about "
        "{expected} should have; if nothing had changed, about {chance} would have.",
        DRILL_HELPS: "Of {claims} drills called Helps, {held} kept about as much with the students given "
        "them later. If the calls are right, about {expected} should have; if they did nothing, about "
        "{chance} would have.",
        DRILL_NOT_CLEAR: "Of {claims} drills called No clear effect, {held} stayed inside the interval "
        "claimed with the students given them later; about {expected} should have.",
        AIM_REACHED: "Of {claims} agreed aims that were said to show, {held} have lasted. If that was right, "
        "about {expected} should have; if nothing had changed, about {chance} would have.",
    }
)
AUDIT_KEY = mark(
    "For the first of each month, what could be said then is worked out again from the visits before it "
    "and scored against the visits since; each claim counts once. Changes and next visits are of the core "
    "measures. A change has lasted if the student has since been nearer to the new value than to the old "
    "one; the same goes for new faults and agreed aims that show, of the month that begins on that day. A "
    "drill is borne out if what it kept with students first given it since then lies inside the 90 % "
    "interval claimed."
)
RELIABILITY_KEY = mark(
    "How much of the difference between two sessions comes from who is swinging rather than from the day or "
    "the swings: 1 is all of it, 0 none of it (intraclass correlation). The pale strip starts at 0.75, where "
    "a session tells students apart well. A measure below it can still show one student's change, over more "
    "sessions."
)
TABLE_KEY = mark(
    "Tells students apart: how much of the difference between sessions comes from the students, from 0 "
    "(nothing) to 1 (everything; intraclass correlation). Typical error: how far a session's value is from "
    "the student's own, most days. Smallest real change: a change between two sessions that is smaller may "
    "be noise. Swings worth making: beyond this, more swings in a session hardly help."
)
CALIBRATION_KEY = mark(
    "Before this academy's numbers were looked at, the same models were run on simulated academies where the "
    "truth was known. Each mark is one size of academy; the pale strip is the goal. Missed goals are shown "
    "like the others."
)
AGREEMENT_KEY = mark(
    "Kappa is the agreement beyond chance: 1 is always, 0 no more than chance would give; the true value is "
    "probably inside the bar (9 in 10). Neither eye nor plate is the truth: where they disagree, look at the "
    "film, and perhaps at the fault's limit in academy.toml."
)


def seasons(reader: Reader) -> list[str]:
    """Seasons with a measured session, newest first."""
    return nonempty(people.seasons(reader), _(NO_SEASON))


def families(reader: Reader, season: str) -> list[str]:
    """Club families whose reliability is known, the most measured first."""
    return nonempty(academy.reliability_families(reader, season), _(NO_RELIABILITY))


@kept
def session_worth(reader: Reader, season: str, family: str, *, narrow: bool) -> Section:
    """What one session's value of each measure is worth."""
    rows = academy.reliability(reader, season, family)
    shown = rows.filter(pl.col("core")) if rows["core"].any() else rows
    table, picture = reliability.table(rows), None
    if shown["icc_session"].is_not_null().any():
        title = reliability.finding(shown, FAMILIES.get(family, family))
        chart = reliability.picture(shown, title, narrow=narrow)
        picture = Picture(chart, reliability.words(shown), table, _(RELIABILITY_KEY))
    file = _("reliability {season} {family}").format(season=season, family=family)
    advice = _advice(shown["swings_wanted"].drop_nulls())
    sentences = (advice, *_lent(rows["lenders"].drop_nulls().to_list()))
    return Section(picture, table=(table, file), notes=(_(TABLE_KEY),), sentences=sentences)


def _lent(lenders: list[int]) -> list[str]:
    """How many measures rest on figures borrowed from other academies, and from how many of them."""
    if not lenders:
        return []
    said = _(
        "{measures}: fewer than five students here, so how much players differ is borrowed from {academies}."
    )
    return [
        said.format(measures=count(len(lenders), "measure"), academies=count(max(lenders), "other_academy"))
    ]


def _advice(wanted: pl.Series) -> str:
    advice = _(
        "Ask for 8 to {enough} full swings with each club. A session with fewer than {fewest} is shown as "
        "too few."
    ).format(enough=ENOUGH_SWINGS, fewest=FEW_SWINGS)
    more = int((wanted > ENOUGH_SWINGS).sum())
    if not more:
        return advice
    helps = _("On {more} of {measures}, more would still help.")
    return f"{advice} {helps.format(more=more, measures=count(len(wanted), 'measure'))}"


def in_short(reader: Reader, season: str) -> list[str]:
    """How sure the answers are, in up to seven plain sentences; what is not known yet is left out."""
    said = []
    family = next(iter(academy.reliability_families(reader, season)), None)
    if family is not None:
        rows = academy.reliability(reader, season, family)
        shown = rows.filter(pl.col("core")) if rows["core"].any() else rows
        said += [
            f"{reliability.finding(shown, FAMILIES.get(family, family))}.",
            _advice(shown["swings_wanted"].drop_nulls()),
        ]
    figures = academy.calibration(reader)
    goals = figures.drop_nulls("met")
    if len(goals):
        said.append(
            _("Where the truth was known, in simulated academies, {met} of {goals} goals were met.").format(
                met=int(goals["met"].sum()), goals=len(goals)
            )
        )
    wrong = figures.filter(pl.col("claim").is_in(WRONGLY_LISTED))["figure"].drop_nulls()
    if len(wrong):
        said.append(
            _("Of the changes on the week's list, at most {share} were wrong there.").format(
                share=share(max(wrong))
            )
        )
    aims = dict(figures.filter(truth="aims").sort("students").select("claim", "figure").iter_rows())
    if "aim_reached_of_no_change" in aims:
        said.append(
            _(
                "Of agreed aims where nothing changed, {false} were reported to show a change there; of "
                "those that changed by 4 smallest worthwhile changes, {power}."
            ).format(false=share(aims["aim_reached_of_no_change"]), power=share(aims.get("aim_of_4_reached")))
        )
    audit = academy.self_audit(reader, season)
    if (audit["kind"] == CHANGE).any():
        said.append(_lasted(audit.filter(kind=CHANGE)))
    seen = academy.eye_plate(reader, season, None)
    if seen["kappa"].is_not_null().any():
        said.append(f"{eye_and_plate.finding(seen)}.")
    return said


@kept
def claims_since(reader: Reader, season: str) -> Section:
    """How the claims made earlier in the season have turned out."""
    rows = nonempty(academy.self_audit(reader, season), _(NOTHING_SCORED))
    said = [_lasted(rows.filter(kind=CHANGE)), _foreseen(rows.filter(kind=NEXT_VISIT))]
    made = {kind: int(rows.filter(kind=kind)["claims"].sum()) for kind in BORNE_OUT}
    said += [_borne_out(kind, rows.filter(kind=kind)) for kind in made if made[kind] >= LEAST_CLAIMS]
    few = [f"{lowered(CLAIMS[kind])} ({n})" for kind, n in made.items() if n < LEAST_CLAIMS]
    if few:
        said.append(_(TOO_FEW_TO_SCORE).format(kinds=listed(few), least=LEAST_CLAIMS))
    table = pl.DataFrame(
        [
            {
                _("Day"): short_day(row["made"]),
                _("Claim"): CLAIMS[row["kind"]],
                _("Claims"): row["claims"],
                _("Borne out"): row["borne_out"],
                _("Expected if right"): number(row["expected"]),
                _("Expected by chance"): number(row["by_chance"]),
            }
            for row in rows.iter_rows(named=True)
        ]
    )
    file = _("claims scored {season}").format(season=season)
    return Section(table=(table, file), sentences=tuple(said), notes=(_(AUDIT_KEY),))


def _lasted(rows: pl.DataFrame) -> str:
    """How many of the changes called have lasted; `rows` are of changes alone."""
    called, lasted = (int(rows[name].sum()) for name in ("claims", "borne_out"))
    if called < LEAST_CLAIMS:
        return _(LASTED_TOO_SOON).format(changes=count(called, "change"), least=LEAST_CLAIMS)
    expected, chance = (float(rows[name].sum()) for name in ("expected", "by_chance"))
    day = on(rows["made"].max())  # type: ignore[arg-type]
    said = _(LASTED).format(
        changes=count(called, "change"), lasted=lasted, day=day, expected=number(expected),
        chance=number(chance),
    )  # fmt: skip
    return joined(said, _(BY_CHANCE) if lasted < (expected + chance) / 2 else None)


def _borne_out(kind: str, rows: pl.DataFrame) -> str:
    """How many claims of one kind, of BORNE_OUT, were borne out; `rows` are of that kind alone."""
    claims, held, expected, chance = (
        float(rows[name].sum()) for name in ("claims", "borne_out", "expected", "by_chance")
    )
    said = BORNE_OUT[kind].format(
        claims=number(claims), held=number(held), expected=number(expected), chance=number(chance)
    )
    compared = rows["by_chance"].is_not_null().any()
    return joined(said, _(NO_BETTER) if compared and held < (expected + chance) / 2 else None)


def _foreseen(rows: pl.DataFrame) -> str:
    """How many next visits came out as foreseen, "" with too few; `rows` are of next visits alone."""
    visits, inside = (int(rows[name].sum()) for name in ("claims", "borne_out"))
    if visits < LEAST_CLAIMS:
        return ""
    said = _(FORESEEN).format(
        values=count(visits, "value"), inside=inside, expected=number(float(rows["expected"].sum()))
    )
    return joined(said, _(TOO_NARROW) if inside < NARROWEST * visits else None)


@kept
def claims(reader: Reader) -> pl.DataFrame:
    """The calibration's figures in words, as `text.claims.in_words`."""
    return in_words(nonempty(academy.calibration(reader), _(NO_CALIBRATION)))


@kept
def calibration(reader: Reader, claim: str, *, narrow: bool) -> Section:
    """How one claim held, and all of them together."""
    rows = claims(reader)
    shown = rows.filter(pl.col("claim") == claim)
    chart = calibration_goals.picture(shown, calibration_goals.finding(shown), narrow=narrow)
    words, table = calibration_goals.words(shown), calibration_goals.table(shown)
    summary = _("Of {figures} with a goal, {met} met it.").format(
        figures=count(len(rows.drop_nulls("met")), "figure"), met=int(rows["met"].sum() or 0)
    )
    missed = rows.filter(~pl.col("met"))["claim"].unique(maintain_order=True)
    if len(missed):
        where = _("Missed somewhere: {claims}.").format(claims=listed([quoted(name) for name in missed]))
        summary = f"{summary} {where}"
    return Section(Picture(chart, words, table, _(CALIBRATION_KEY)), sentences=(summary,))


def coaches(reader: Reader, season: str) -> dict[str, str]:
    """Whose eye can be compared: everyone's together, then each coach in reach; empty where there is none."""
    found = academy.eye_plate_coaches(reader, season)
    return {ALL: _("All coaches"), **found} if found else {}


@kept
def agreement(reader: Reader, season: str, coach: str, *, narrow: bool) -> Section:
    """How far a coach's eye, or with `ALL` everyone's, agrees with the plate."""
    rows = nonempty(academy.eye_plate(reader, season, None if coach == ALL else coach), _(NOTHING_TO_COMPARE))
    table, picture = eye_and_plate.table(rows), None
    if rows["kappa"].is_not_null().any():
        chart = eye_and_plate.picture(rows, eye_and_plate.finding(rows), narrow=narrow)
        picture = Picture(chart, eye_and_plate.words(rows), table)
    file = _("eye and plate {season}").format(season=season)
    return Section(picture, table=(table, file), notes=(_(AGREEMENT_KEY),))
