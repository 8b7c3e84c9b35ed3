"""What the pages claim of a season, the worlds in which it is put to the test, and what is promised of it.

A score gives, for one academy, how often something was so and of how many; a rate over academies has its simulation
error from how academies differ. False rates stand beside power: a page that claims nothing would keep every promise.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import timedelta

import numpy as np
import polars as pl

from season_worlds import scores
from season_worlds.academy import DAYS, START, SeasonWorld
from season_worlds.answers import Answers
from season_worlds.scores import CALLED, Score

# Tables that nothing on the list of changes and new faults is from.
NOT_LISTED = ("season.fault_chain", "season.drill_effect", "season.agreed_aim", "season.aim")
LOOKS = [(START + timedelta(days=day)).date() for day in range(48, DAYS, 14)]


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
    lo, hi = -np.inf if claim.lo is None else claim.lo, np.inf if claim.hi is None else claim.hi
    short = max(lo - value, value - hi)
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
    for day, found in zip(LOOKS, answers.looks(world, LOOKS, "signal", without=NOT_LISTED), strict=True):
        kinds = found["signal"].filter(pl.col("kind").is_in([*CALLED, "new_fault"]))
        for row in kinds.iter_rows(named=True):
            for subject in (row["subject"], *row["kindred"]):
                seen.setdefault((row["kind"], row["student"], subject), day)
    rows = [(day, *key) for key, day in seen.items()]
    schema = {"day": pl.Date, "kind": pl.String, "student": pl.String, "subject": pl.String}
    return pl.DataFrame(rows, schema=schema, orient="row")


def _all() -> Iterator[Claim]:
    trend, drill, coach, ball = ("student_trend",), ("drill_effect",), ("coach_gain",), ("ball_link",)
    for world in ("bad_days", "bad_days_noisy", "bad_days_noisy_form_fades"):
        yield Claim("same_day_overstated", world, drill, scores.same_day_bias, -0.1, 0.1)
        yield Claim("same_day_above_zero", world, drill, scores.same_day_above, hi=0.08)
    yield Claim("same_day_found", "bad_days_worth_2", drill, scores.same_day_above)
    yield Claim("draws_show_something", "drawn_worthless", drill, scores.either_kept, hi=0.05)
    yield Claim("draws_show_the_better", "drawn_4_apart", drill, scores.better_kept)
    for world in (
        "coaches_in_band",
        "coaches_in_band_sided",
        "coaches_stops",
        "coaches_slows",
        "coaches_nobody",
        "coaches_start_apart",
    ):
        yield Claim("equal_coach_outside_95", world, coach, scores.outside_funnel(), hi=0.07)
        yield Claim("first_coach_outside_95", world, coach, scores.outside_funnel("c01"), hi=0.07)
        yield Claim("coach_has_a_dot", world, coach, scores.has_dot)
    yield Claim("better_coach_above_95", "coach_adds_3", coach, scores.outside_funnel("c01", above=True))
    for group in ("steady", "noisy"):
        for world in ("unequal_noise", "unequal_noise_unrelated"):
            yield Claim(f"interval_covers_{group}", world, trend, scores.covered(group), 0.87, 0.93)
    for group, least in (("free", 0.87), ("touched", 0.80)):
        yield Claim(
            f"interval_covers_{group}", "fault_in_some_swings", trend, scores.covered(group), least, 0.95
        )
    for world in ("usual", "planted_changes", "heavy_tails", "plateaus", "drop_outs", "device_swapped",
                  "missing_when_poor", "mislabelled_clubs"):  # fmt: skip
        yield Claim("interval_covers", world, trend, scores.covered(), 0.87, 0.93)
        yield Claim("called_the_wrong_way", world, trend, scores.wrong_way, hi=0.05)
    yield Claim("called_of_no_change", "planted_changes", trend, scores.called_of(0), hi=0.05)
    yield Claim("change_of_2_called", "planted_changes", trend, scores.called_of(2))
    yield Claim("change_of_4_called", "planted_changes", trend, scores.called_of(4))
    yield Claim("holding_despite_2", "holders_who_change", trend, scores.holding_despite(1.99))
    for world in ("holders_who_change", "usual", "unequal_noise"):
        yield Claim("holding_despite_4", world, trend, scores.holding_despite(4), hi=0.10)
        yield Claim("holding_said", world, trend, scores.holding)
    for world in ("zeros_97", "zeros_70"):
        yield Claim("called_of_zeros_per_60", world, trend, scores.called_a_season, hi=0.5)
    for world in ("keen_group", "keen_group_flattening", "keen_doses_follow"):
        yield Claim("worthless_drill_helps", world, drill, scores.helps, hi=0.08)
    for world in ("doses_unrelated_worth_2", "keen_doses_follow_worth_2", "keen_group_two_drills_worth_2"):
        yield Claim("drill_worth_2_helps", world, drill, scores.helps)
        yield Claim("drill_worth_2_overstated", world, drill, scores.kept_bias)
    rates, pace = ("student_fault_rate",), ("pace_ladder",)
    yield Claim("fault_rate_covers", "faults_stay", rates, scores.rate_covered, 0.87, 0.93)
    yield Claim("fault_rate_called_of_same", "faults_stay", rates, scores.rate_called(planted=False), hi=0.10)
    yield Claim("risen_fault_rate_called", "faults_change", rates, scores.rate_called(planted=True))
    yield Claim("pace_holds_falsely", "faults_by_pace", pace, scores.held_falsely, hi=0.20)
    yield Claim("pace_of_seldom_fault_holds", "faults_by_pace", pace, scores.held_truly)
    for world in ("ball_drifts", "ball_tires", "ball_wanders"):
        yield Claim("student_with_false_link", world, ball, scores.students_with_false_link, hi=0.10)
    for world in ("ball_linked", "ball_linked_few_shots"):
        yield Claim("student_with_false_link", world, ball, scores.students_with_false_link, hi=0.10)
        yield Claim("link_found", world, ball, scores.links_found)
    aim = ("agreed_aim",)
    for world in (
        "aims",
        "aims_six_months",
        "aims_one_metric",
        "aims_noisy",
        "aims_weekly",
        "aims_one_of_four_moves",
    ):
        yield Claim("aim_reached_of_no_change", world, aim, scores.aims_reached(0), hi=0.05)
        yield Claim("aim_of_2_reached", world, aim, scores.aims_reached(2))
        yield Claim("aim_of_4_reached", world, aim, scores.aims_reached(4))
    for world in ("aims_changed_before", "aims_half_changed_before", "aims_nobody"):
        yield Claim("aim_reached_of_no_change", world, aim, scores.aims_reached(0), hi=0.05)
    yield Claim("aim_reached_falsely", "aims_wander", aim, scores.aims_reached_falsely, hi=0.05)
    yield Claim("new_rows_when_all_hold", "nobody_changes", (), scores.new_rows, hi=0.5, weekly=True)
    yield Claim("new_rows_wrong", "unequal_noise_six", (), scores.wrong_new_rows, hi=0.07, weekly=True)
    yield Claim("new_rows_right_a_season", "unequal_noise_six", (), scores.true_new_rows, weekly=True)
    yield Claim("new_faults_when_none", "faults_stay", (), scores.new_faults(), hi=0.5, weekly=True)
    yield Claim("new_faults_wrong", "faults_change", (), scores.wrong_new_faults, hi=0.10, weekly=True)
    yield Claim(
        "new_faults_right_a_season", "faults_change", (), scores.new_faults(planted=True), weekly=True
    )


CLAIMS = tuple(_all())
