"""What the calibration's codes mean: the claims, the simulated truths, and the goals, in words."""

from collections.abc import Mapping
from typing import Any

import polars as pl

from dashboard.text.catalogue import _, mark
from dashboard.text.numbers import NBSP, number

OVERSTATED = "overstated"
COUNTED = ("new_rows_when_all_hold", "new_faults_when_none", "called_of_zeros_per_60")  # rows a season
CLAIMS = {
    "change_interval_covers": mark("The 90 % interval for a student's change holds the truth"),
    "zero_change_called": mark("A student whose change is 0 is called Improving or Slipping"),
    "change_of_2_called": mark("A true change of 2 smallest worthwhile changes is called by its direction"),
    "change_of_4_called": mark("A true change of 4 smallest worthwhile changes is called by its direction"),
    "listed_wrongly": mark("A change on the week's list is no change, or goes the other way"),
    "listed": mark("A student's metric is on the week's list"),
    "coach_interval_covers": mark("The 90 % interval for a coach's gain holds the truth"),
    "good_drill_interval_covers": mark("The 90 % interval for what a good drill kept holds the truth"),
    "worthless_drill_interval_covers": mark(
        "The 90 % interval for what a worthless drill kept holds the truth"
    ),
    "good_drill_overstated": mark("What a good drill kept is overstated by, in smallest worthwhile changes"),
    "worthless_drill_overstated": mark(
        "What a worthless drill kept is overstated by, in smallest worthwhile changes"
    ),
    "good_drill_overstated_before_after": mark(
        "Comparing before with after would overstate a good drill by, in smallest worthwhile changes"
    ),
    "worthless_drill_overstated_before_after": mark(
        "Comparing before with after would overstate a worthless drill by, in smallest worthwhile changes"
    ),
    "good_drill_helps": mark("A good drill is called Helps"),
    "fading_drill_helps": mark("A fading drill is called Helps"),
    "worthless_drill_helps": mark("A worthless drill is called Helps"),
    "drill_worth_2_helps": mark("A drill worth 2 points is called Helps"),
    "same_day_overstated": mark(
        "What a drill changed on the day is overstated by, in smallest worthwhile changes"
    ),
    "same_day_above_zero": mark("A drill that changes nothing on the day seems to help on the day"),
    "aim_reached_of_no_change": mark("An agreed aim where nothing changes is reported to show a change"),
    "aim_of_2_reached": mark("An agreed change of 2 smallest worthwhile changes is reported to show"),
    "aim_of_4_reached": mark("An agreed change of 4 smallest worthwhile changes is reported to show"),
    "new_rows_wrong": mark(
        "A change that is new on the week's list is not worthwhile, over a season of weekly looks"
    ),
    "new_rows_when_all_hold": mark("Changes on the week's list in a season in which nobody changes"),
    "new_faults_when_none": mark("New faults on the week's list in a season in which none is new"),
    "called_of_zeros_per_60": mark(
        "Changes called in 60 students in a season, of a measure that is nearly always 0"
    ),
    "interval_covers_steady": mark("The 90 % interval for a steady student's change holds the truth"),
    "interval_covers_noisy": mark("The 90 % interval for an unsteady student's change holds the truth"),
    "holding_despite_4": mark(
        "A student labelled “No large change” changed by more than 4 smallest worthwhile changes"
    ),
    "holding_said": mark("A student is labelled “No large change”"),
    "same_day_found": mark("A drill that helps on the day is seen to help on the day"),
    "draws_show_something": mark("A random draw between two drills favours one, though they are alike"),
    "draws_show_the_better": mark("A random draw between two drills finds the better one"),
    "equal_coach_outside_95": mark(
        "A coach stands outside the limits for 95 of 100 coaches, though all are alike"
    ),
    "better_coach_above_95": mark(
        "A coach whose students gain more stands above the limits for 95 of 100 coaches"
    ),
    "student_with_false_link": mark("A student is shown a link with the ball that is not there"),
    "link_found": mark("A link with the ball that is there is shown"),
}
TRUTHS = {
    "slopes": mark("every student on a slope of their own"),
    "holds": mark("nobody changes"),
    "walks": mark("students wander"),
    "plateau": mark("improve, then flat"),
    "tied": mark("those who start low gain most"),
    "mixed": mark("two in five hold, the others change by 2 or 4 smallest worthwhile changes"),
    "drifting": mark("two in five hold, the others mostly gain"),
    "device": mark("two in five hold, the others change, and one device in four reads 3 too high"),
    "linear": mark("drills chosen on bad days; each dose adds the same"),
    "saturating": mark("drills chosen on bad days; the first dose does it all"),
    "fading": mark("drills chosen on bad days; the gain fades by half in a month"),
    "coaches": mark("coaches whose students gain differently, each student in their own way"),
    "aims": mark("four kindred measures agreed on; a third of the students change by 0, 2 and 4 each"),
    "aims_nobody": mark("four kindred measures agreed on, and nobody changes"),
    "aims_changed_before": mark("everyone changes by 4 before the aim is agreed on, and not afterwards"),
    "bad_days": mark("a worthless drill, given on bad days"),
    "bad_days_noisy": mark("a worthless drill, given on bad days, twice the usual noise"),
    "bad_days_noisy_form_fades": mark("the same, and half of the day's form passes within the visit"),
    "keen_group": mark("keen students gain more anyway, and they alone are given the drill"),
    "keen_group_flattening": mark("the same, and their gains flatten"),
    "keen_doses_follow": mark("keen students gain more anyway, and practise the drill more"),
    "doses_unrelated_worth_2": mark("some students are keener, but not more likely to be given the drill"),
    "aims_half_changed_before": mark(
        "half of the students change by 4 before the aim is agreed on, and nobody afterwards"
    ),
    "aims_six_months": mark(
        "four kindred measures agreed on for six months, after four visits; a third of the students change "
        "by 0, 2 and 4 each"
    ),
    "bad_days_worth_2": mark("a drill worth 2 smallest worthwhile changes, given on bad days"),
    "drawn_worthless": mark("two worthless drills, drawn at random, with three planned looks"),
    "drawn_4_apart": mark(
        "two drills 4 points apart, drawn at random; four students in five practise theirs"
    ),
    "coaches_in_band": mark("one coach's students are on target from the start, and gain like the others"),
    "coach_adds_3": mark("one coach's students gain 3 points more in 90 days"),
    "unequal_noise": mark("some students are steady, some are not"),
    "holders_who_change": mark("everyone changes by 2 smallest worthwhile changes"),
    "nobody_changes": mark("six measures, some students steady and some not, and nobody changes"),
    "zeros_97": mark("a measure is 0 in 97 of 100 swings, and nobody changes"),
    "zeros_70": mark("a measure is 0 in 70 of 100 swings, and nobody changes"),
    "faults_stay": mark("six faults, each as frequent all season as it was"),
    "ball_drifts": mark("a measure and the carry both drift over the season"),
    "ball_linked": mark("one measure of four goes with the carry, in 8 to 12 shots a session"),
    "ball_linked_few_shots": mark("one measure of four goes with the carry, in 5 shots a session"),
    "unequal_noise_six": mark("six measures, three in five students stay the same, some steady and some not"),
}


def in_words(rows: pl.DataFrame) -> pl.DataFrame:
    """Rows of season.calibration with `claim` and `truth` in words, `goal` in words (null: none) and `unit`.

    `unit` is what a figure is counted in: share, swc (smallest worthwhile changes) or count (of a season).
    """
    return pl.DataFrame(
        [
            row
            | {
                "claim": _(CLAIMS[row["claim"]]),
                "truth": _(TRUTHS[row["truth"]]),
                "goal": _goal(row),
                "unit": _unit(row["claim"]),
            }
            for row in rows.iter_rows(named=True)
        ],
        schema={**rows.schema, "goal": pl.String, "unit": pl.String},
    )


def _unit(claim: str) -> str:
    return "swc" if OVERSTATED in claim else "count" if claim in COUNTED else "share"


def _goal(row: Mapping[str, Any]) -> str | None:
    """88 to 92 %, at most 5 %, within 0.25, at most 0.5; None without a goal."""
    lo, hi = row["goal_lo"], row["goal_hi"]
    if _unit(row["claim"]) == "swc":
        return None if hi is None else _("within {limit}").format(limit=number(hi, "", 2))
    if _unit(row["claim"]) == "count":
        return None if hi is None else _("at most {limit}").format(limit=number(hi, "", 1))
    low, high = (None if end is None else f"{100 * end:g}{NBSP}%" for end in (lo, hi))
    if low and high:
        return _("{low} to {high}").format(low=f"{100 * lo:g}", high=high)
    if high:
        return _("at most {limit}").format(limit=high)
    return _("at least {limit}").format(limit=low) if low else None
