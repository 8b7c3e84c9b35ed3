"""What the calibration's codes mean: the claims, the simulated truths, and the goals, in words."""

from collections.abc import Mapping
from typing import Any

import polars as pl

from dashboard.text.catalogue import _, mark
from dashboard.text.numbers import NBSP, number

OVERSTATED = "overstated"
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
    "unequal_noise_six": mark("six measures, three in five students stay the same, some steady and some not"),
}


def in_words(rows: pl.DataFrame) -> pl.DataFrame:
    """Rows of season.calibration with `claim` and `truth` in words, `goal` in words (null: none) and `unit`.

    `unit` is what a figure is counted in: share, or swc (smallest worthwhile changes).
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
    return "swc" if OVERSTATED in claim else "share"


def _goal(row: Mapping[str, Any]) -> str | None:
    """88 to 92 %, at most 5 %, within 0.25; None without a goal."""
    lo, hi = row["goal_lo"], row["goal_hi"]
    if _unit(row["claim"]) == "swc":
        return None if hi is None else _("within {limit}").format(limit=number(hi, "", 2))
    low, high = (None if end is None else f"{100 * end:g}{NBSP}%" for end in (lo, hi))
    if low and high:
        return _("{low} to {high}").format(low=f"{100 * lo:g}", high=high)
    if high:
        return _("at most {limit}").format(limit=high)
    return _("at least {limit}").format(limit=low) if low else None
