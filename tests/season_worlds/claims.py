"""What the pages claim of a season, the worlds in which it is put to the test, and what is promised of it.

A score gives, for one academy, how often something was so and of how many; a rate over academies has its simulation
error from how academies differ. False rates stand beside power: a page that claims nothing would keep every promise.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import timedelta

import numpy as np
import polars as pl

from season_worlds.academy import DAYS, METRICS, START, SWC, SeasonWorld, change_until
from season_worlds.answers import Answers

CALLED = ["improving", "slipping"]
LOOKS = [(START + timedelta(days=day)).date() for day in range(48, DAYS, 14)]
Tables = dict[str, pl.DataFrame]
Score = Callable[[SeasonWorld, Tables], tuple[float, float]]


@dataclass(frozen=True)
class Claim:
    """One figure: `score` of `world`, read from season tables; promised between `lo` and `hi`, or only reported.

    With `weekly` the score is given the looks of a season, as rows of the list with the day they were first seen.
    """

    claim: str
    world: str
    tables: tuple[str, ...]
    score: Score
    lo: float | None = None
    hi: float | None = None
    weekly: bool = False


@dataclass(frozen=True)
class Figure:
    """A rate over academies, its standard error, and whether the promise is kept, broken or not decided yet."""

    value: float
    error: float
    academies: int
    verdict: str


def figure(claim: Claim, counts: Sequence[tuple[float, float]]) -> Figure | None:
    """The rate of summed counts; its error by the spread of academies about it (a ratio's linearisation).

    Where all academies agree, as in none of so many, the error is 1.5 of them all: a 95 % limit near three in all.
    """
    hits, of = np.array(counts, dtype=float).T
    if of.sum() == 0:
        return None
    value, many = hits.sum() / of.sum(), len(counts)
    error = float(np.sqrt(many / max(many - 1, 1) * ((hits - value * of) ** 2).sum()) / of.sum())
    error = max(error, 1.5 / float(of.sum()))
    if claim.lo is None and claim.hi is None:
        return Figure(value, error, many, "")
    short = max((claim.lo or -np.inf) - value if claim.lo is not None else -np.inf,
                value - claim.hi if claim.hi is not None else -np.inf)  # fmt: skip
    verdict = "kept" if short <= 0 else "BROKEN" if short > 2 * error else "undecided"
    return Figure(value, error, many, verdict)


def counted(answers: Answers, world: SeasonWorld, claims: Sequence[Claim]) -> list[tuple[float, float]]:
    """Each claim's score of one academy; the tables are made once for all."""
    once = sorted({table for claim in claims if not claim.weekly for table in claim.tables})
    found = answers.of(world, *once) if once else {}
    if any(claim.weekly for claim in claims):
        found["listed"] = listed(answers, world)
    return [claim.score(world, found) for claim in claims]


def listed(answers: Answers, world: SeasonWorld) -> pl.DataFrame:
    """day, kind, student, subject: what the week's list says, on the first day it says so; a fortnight from look to look."""
    seen: dict[tuple[str, str, str], object] = {}
    for day, found in zip(LOOKS, answers.looks(world, LOOKS, "signal"), strict=True):
        kinds = found["signal"].filter(pl.col("kind").is_in([*CALLED, "new_fault"]))
        for row in kinds.iter_rows(named=True):
            for subject in (row["subject"], *row["kindred"]):
                seen.setdefault((row["kind"], row["student"], subject), day)
    rows = [(day, *key) for key, day in seen.items()]
    schema = {"day": pl.Date, "kind": pl.String, "student": pl.String, "subject": pl.String}
    return pl.DataFrame(rows, schema=schema, orient="row")


# --- lines -----------------------------------------------------------------------------------------------------------


def trends(world: SeasonWorld, found: Tables) -> pl.DataFrame:
    """season.student_trend in x, beside the truth: true, x_lo, x_hi, label."""
    sign = pl.col("metric").replace_strict(
        {code: one[0] for code, one in METRICS.items()}, return_dtype=pl.Int32
    )
    turned = [sign * pl.col("change_lo"), sign * pl.col("change_hi")]
    rows = found["student_trend"].with_columns(x_lo=pl.min_horizontal(turned), x_hi=pl.max_horizontal(turned))
    rows = rows.join(world.changes.rename({"change": "true"}), on=["student", "metric"])
    return rows if world.groups is None else rows.join(world.groups, on="student")


def covered(group: str | None = None) -> Score:
    """Of the 90 % intervals of change, those that hold it."""

    def score(world: SeasonWorld, found: Tables) -> tuple[float, float]:
        rows = trends(world, found).drop_nulls("change")
        rows = rows if group is None else rows.filter(group=group)
        return rows.filter(pl.col("true").is_between("x_lo", "x_hi")).height, len(rows)

    return score


def called_of(worth: float) -> Score:
    """Of the students whose change is so many smallest worthwhile changes, those it is said of, the right way."""

    def score(world: SeasonWorld, found: Tables) -> tuple[float, float]:
        rows = trends(world, found).filter((pl.col("true").abs() - worth * SWC).abs() < 1e-6)
        if worth == 0:
            return rows.filter(pl.col("label").is_in(CALLED)).height, len(rows)
        way = pl.when(pl.col("true") > 0).then(pl.lit("improving")).otherwise(pl.lit("slipping"))
        return rows.filter(pl.col("label") == way).height, len(rows)

    return score


def wrong_way(world: SeasonWorld, found: Tables) -> tuple[float, float]:
    """Of what is called Improving or Slipping, that which did not change that way."""
    rows = trends(world, found).filter(pl.col("label").is_in(CALLED))
    toward = pl.when(pl.col("label") == "improving").then(pl.col("true")).otherwise(-pl.col("true"))
    return rows.filter(toward <= 1e-9).height, len(rows)


def called_a_season(world: SeasonWorld, found: Tables) -> tuple[float, float]:
    """Rows called Improving or Slipping, for each 60 students."""
    rows = trends(world, found)
    return rows.filter(pl.col("label").is_in(CALLED)).height, rows["student"].n_unique() / 60


def holding_despite(worth: float) -> Score:
    """Of what is called Holding, that which changed by more than so many smallest worthwhile changes."""

    def score(world: SeasonWorld, found: Tables) -> tuple[float, float]:
        rows = trends(world, found).filter(label="holding")
        return rows.filter(pl.col("true").abs() > worth * SWC).height, len(rows)

    return score


def holding(world: SeasonWorld, found: Tables) -> tuple[float, float]:
    """Of all students, those called Holding."""
    return trends(world, found).filter(label="holding").height, len(trends(world, found))


# --- the week --------------------------------------------------------------------------------------------------------


def wrong_new_rows(world: SeasonWorld, found: Tables) -> tuple[float, float]:
    """Of the changes listed in a season, those that were not beyond the smallest worthwhile one that way by then."""
    rows = found["listed"].filter(pl.col("kind").is_in(CALLED))
    wrong = 0
    for (day,), some in rows.group_by("day"):
        true = change_until(world.paths, day)
        both = some.join(true, left_on=["student", "subject"], right_on=["student", "metric"])
        toward = pl.when(pl.col("kind") == "improving").then(pl.col("change")).otherwise(-pl.col("change"))
        wrong += both.filter(toward <= SWC).height
    return wrong, len(rows)


def true_new_rows(world: SeasonWorld, found: Tables) -> tuple[float, float]:
    """Changes listed in a season that were beyond the smallest worthwhile one by then."""
    wrong, of = wrong_new_rows(world, found)
    return of - wrong, 1


def new_rows(world: SeasonWorld, found: Tables) -> tuple[float, float]:
    """Changes listed in a season."""
    return found["listed"].filter(pl.col("kind").is_in(CALLED)).height, 1


def new_faults(*, planted: bool | None = None) -> Score:
    """New faults listed in a season; of those planted from a day before, or of the others."""

    def score(world: SeasonWorld, found: Tables) -> tuple[float, float]:
        return _new_faults(world, found, planted), 1

    return score


def _new_faults(world: SeasonWorld, found: Tables, planted: bool | None) -> int:
    rows = found["listed"].filter(kind="new_fault")
    truth = world.faults.rename({"day": "since"})
    both = rows.join(truth, left_on=["student", "subject"], right_on=["student", "fault"], how="left")
    right = (pl.col("since") <= pl.col("day")).fill_null(value=False)
    return len(rows) if planted is None else both.filter(right if planted else ~right).height


def wrong_new_faults(world: SeasonWorld, found: Tables) -> tuple[float, float]:
    """Of the new faults listed in a season, those that were not planted."""
    return _new_faults(world, found, planted=False), _new_faults(world, found, planted=None)


def rate_called(*, planted: bool) -> Score:
    """Of the fault rates that stay the same, those called better or worse; of those that rose, those called worse."""

    def score(world: SeasonWorld, found: Tables) -> tuple[float, float]:
        rows = (
            found["student_fault_rate"]
            .filter(span="now")
            .join(
                world.faults.select("student", "fault") if planted else world.rates, on=["student", "fault"]
            )
        )
        return rows.filter(pl.col("label").is_in(["worse"] if planted else ["better", "worse"])).height, len(
            rows
        )

    return score


def rate_covered(world: SeasonWorld, found: Tables) -> tuple[float, float]:
    """Of the 90 % intervals of a season's fault rate, those that hold it."""
    rows = found["student_fault_rate"].filter(span="season").rename({"rate": "seen"})
    rows = rows.join(world.rates, on=["student", "fault"])
    return rows.filter(pl.col("rate").is_between("rate_lo", "rate_hi")).height, len(rows)


def held_falsely(world: SeasonWorld, found: Tables) -> tuple[float, float]:
    """Of the paces at which a movement is said to hold, those at which the fault shows in a fifth of swings or more."""
    rows = _held(found).join(
        world.rates, left_on=["student", "fault", "holds_at"], right_on=["student", "fault", "pace"]
    )
    return rows.filter(pl.col("rate") >= 0.2).height, len(rows)


def held_truly(world: SeasonWorld, found: Tables) -> tuple[float, float]:
    """Of the faults that show in under a tenth of full swings, those said to hold at full pace."""
    rows = world.rates.filter(pl.col("rate") < 0.1, pace="full")
    held = _held(found).filter(holds_at="full")
    return rows.join(held, on=["student", "fault"], how="semi").height, len(rows)


def _held(found: Tables) -> pl.DataFrame:
    return found["pace_ladder"].select("student", "fault", "holds_at").unique().drop_nulls()


# --- drills ----------------------------------------------------------------------------------------------------------


def effects(world: SeasonWorld, found: Tables) -> pl.DataFrame:
    """season.drill_effect of the drills' own aim, beside the truth: true_kept, on_the_day."""
    return (
        found["drill_effect"]
        .filter(aim_kind="metric")
        .join(world.drills.rename({"kept": "true_kept"}), on="drill")
    )


def same_day_bias(world: SeasonWorld, found: Tables) -> tuple[float, float]:
    """How far the same-day effect is above the truth, in smallest worthwhile changes."""
    rows = effects(world, found).drop_nulls("same_day").filter(pl.col("same_day").is_not_nan())
    return float((rows["same_day"] - rows["on_the_day"]).sum()) / SWC, len(rows)


def same_day_above(world: SeasonWorld, found: Tables) -> tuple[float, float]:
    """Of the drills with a same-day effect, those whose 90 % interval lies above 0."""
    rows = effects(world, found).drop_nulls("same_day").filter(pl.col("same_day").is_not_nan())
    return rows.filter(pl.col("same_day_lo") > 0).height, len(rows)


def helps(world: SeasonWorld, found: Tables) -> tuple[float, float]:
    """Of the drills that were given enough, those called Helps."""
    rows = effects(world, found).filter(pl.col("label") != "too_little_data")
    return rows.filter(label="helps").height, len(rows)


def kept_bias(world: SeasonWorld, found: Tables) -> tuple[float, float]:
    """How far what a drill kept is above the truth, in x."""
    rows = effects(world, found).drop_nulls("kept").filter(pl.col("label") != "too_little_data")
    return float((rows["kept"] - rows["true_kept"]).sum()), len(rows)


def either_kept(world: SeasonWorld, found: Tables) -> tuple[float, float]:
    """Academies in which random draws are said to show that something is kept, either way."""
    rows = effects(world, found).drop_nulls("lots")
    return float(rows.filter((pl.col("lots_lo") > 0) | (pl.col("lots_hi") < 0)).height > 0), 1


def better_kept(world: SeasonWorld, found: Tables) -> tuple[float, float]:
    """Academies in which random draws are said to show that the better drill of the two is the better."""
    rows = effects(world, found).drop_nulls("lots")
    better = world.contrasts["drill"][0]
    right = pl.when(pl.col("drill") == better).then(pl.col("lots_lo") > 0).otherwise(pl.col("lots_hi") < 0)
    return float(rows.filter(right).height > 0), 1


# --- coaches and ball ------------------------------------------------------------------------------------------------


def outside_funnel(coach: str | None = None, *, above: bool = False) -> Score:
    """Of the coaches with a dot, those outside the limits that 95 of 100 equal coaches lie within."""

    def score(world: SeasonWorld, found: Tables) -> tuple[float, float]:
        rows = found["coach_gain"].filter("shown").drop_nulls("raw")
        rows = rows if coach is None else rows.filter(coach=coach)
        high, low = pl.col("raw") > pl.col("hi95"), pl.col("raw") < pl.col("lo95")
        return rows.filter(high if above else high | low).height, len(rows)

    return score


def has_dot(world: SeasonWorld, found: Tables) -> tuple[float, float]:
    """Of all coaches, those with a dot."""
    return found["coach_gain"].filter("shown").drop_nulls("raw").height, len(world.coaches)


def links(world: SeasonWorld, found: Tables) -> pl.DataFrame:
    """season.ball_link beside the truth: linked."""
    return found["ball_link"].join(world.links, on=["student", "metric"])


def students_with_false_link(world: SeasonWorld, found: Tables) -> tuple[float, float]:
    """Of the students, those with a link that is none; a link is with carry alone."""
    none = ~pl.col("linked") | (pl.col("outcome") != "carry_m")
    rows = links(world, found).filter(none, label="goes_together")
    return rows["student"].n_unique(), world.links["student"].n_unique()


def links_found(world: SeasonWorld, found: Tables) -> tuple[float, float]:
    """Of the metrics that go with carry, those of which it is said."""
    rows = links(world, found).filter("linked", outcome="carry_m")
    return rows.filter(label="goes_together").height, world.links["linked"].sum()


# --- what is promised ------------------------------------------------------------------------------------------------


def _all() -> Iterator[Claim]:
    trend, drill, coach, ball = ("student_trend",), ("drill_effect",), ("coach_gain",), ("ball_link",)
    for world in ("bad_days", "bad_days_noisy", "bad_days_noisy_form_fades"):
        yield Claim("same_day_overstated", world, drill, same_day_bias, -0.1, 0.1)
        yield Claim("same_day_above_zero", world, drill, same_day_above, hi=0.08)
    yield Claim("same_day_found", "bad_days_worth_2", drill, same_day_above)
    yield Claim("draws_show_something", "drawn_worthless", drill, either_kept, hi=0.05)
    yield Claim("draws_show_the_better", "drawn_4_apart", drill, better_kept)
    for world in (
        "coaches_in_band",
        "coaches_stops",
        "coaches_slows",
        "coaches_nobody",
        "coaches_start_apart",
    ):
        yield Claim("equal_coach_outside_95", world, coach, outside_funnel(), hi=0.07)
        yield Claim("first_coach_outside_95", world, coach, outside_funnel("c01"), hi=0.07)
        yield Claim("coach_has_a_dot", world, coach, has_dot)
    yield Claim("better_coach_above_95", "coach_adds_3", coach, outside_funnel("c01", above=True))
    for group in ("steady", "noisy"):
        for world in ("unequal_noise", "unequal_noise_unrelated"):
            yield Claim(f"interval_covers_{group}", world, trend, covered(group), 0.87, 0.93)
    for world in ("usual", "planted_changes", "heavy_tails", "plateaus", "drop_outs", "device_swapped",
                  "missing_when_poor", "mislabelled_clubs"):  # fmt: skip
        yield Claim("interval_covers", world, trend, covered(), 0.87, 0.93)
        yield Claim("called_the_wrong_way", world, trend, wrong_way, hi=0.05)
    yield Claim("called_of_no_change", "planted_changes", trend, called_of(0), hi=0.05)
    yield Claim("change_of_2_called", "planted_changes", trend, called_of(2))
    yield Claim("change_of_4_called", "planted_changes", trend, called_of(4))
    yield Claim("holding_despite_2", "holders_who_change", trend, holding_despite(1.99))
    for world in ("holders_who_change", "usual", "unequal_noise"):
        yield Claim("holding_despite_4", world, trend, holding_despite(4), hi=0.10)
        yield Claim("holding_said", world, trend, holding)
    for world in ("zeros_97", "zeros_70"):
        yield Claim("called_of_zeros_per_60", world, trend, called_a_season, hi=0.5)
    for world in ("keen_group", "keen_group_flattening", "keen_doses_follow"):
        yield Claim("worthless_drill_helps", world, drill, helps, hi=0.08)
    for world in ("doses_unrelated_worth_2", "keen_doses_follow_worth_2", "keen_group_two_drills_worth_2"):
        yield Claim("drill_worth_2_helps", world, drill, helps)
        yield Claim("drill_worth_2_overstated", world, drill, kept_bias)
    rates, pace = ("student_fault_rate",), ("pace_ladder",)
    yield Claim("fault_rate_covers", "faults_stay", rates, rate_covered, 0.87, 0.93)
    yield Claim("fault_rate_called_of_same", "faults_stay", rates, rate_called(planted=False), hi=0.10)
    yield Claim("risen_fault_rate_called", "faults_change", rates, rate_called(planted=True))
    yield Claim("pace_holds_falsely", "faults_by_pace", pace, held_falsely, hi=0.20)
    yield Claim("pace_of_seldom_fault_holds", "faults_by_pace", pace, held_truly)
    yield Claim("student_with_false_link", "ball_drifts", ball, students_with_false_link, hi=0.10)
    for world in ("ball_linked", "ball_linked_few_shots"):
        yield Claim("student_with_false_link", world, ball, students_with_false_link, hi=0.10)
        yield Claim("link_found", world, ball, links_found)
    yield Claim("new_rows_when_all_hold", "nobody_changes", (), new_rows, hi=0.5, weekly=True)
    yield Claim("new_rows_wrong", "unequal_noise_six", (), wrong_new_rows, hi=0.07, weekly=True)
    yield Claim("new_rows_right_a_season", "unequal_noise_six", (), true_new_rows, weekly=True)
    yield Claim("new_faults_when_none", "faults_stay", (), new_faults(), hi=0.5, weekly=True)
    yield Claim("new_faults_wrong", "faults_change", (), wrong_new_faults, hi=0.10, weekly=True)
    yield Claim("new_faults_right_a_season", "faults_change", (), new_faults(planted=True), weekly=True)


CLAIMS = tuple(_all())
