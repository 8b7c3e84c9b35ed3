"""The calibration in words: every code has some, and goals are said as percentages or as a distance."""

import polars as pl
import pytest

from dashboard.text.claims import CLAIMS, TRUTHS, in_words
from models.season.reliability import calibration_rows
from warehouse.tables import columns


def test_every_kept_figure_has_words():
    rows = calibration_rows()
    assert set(rows["claim"]) <= set(CLAIMS)
    assert set(rows["truth"]) <= set(TRUTHS)
    assert in_words(rows).height == rows.height


@pytest.mark.parametrize(
    ("claim", "lo", "hi", "goal", "unit"),
    [
        ("change_interval_covers", 0.88, 0.92, "88 to 92 %", "share"),
        ("change_interval_covers", 0.88, None, "at least 88 %", "share"),
        ("listed", None, 0.0025, "at most 0.25 %", "share"),
        ("new_faults_when_none", None, 0.5, "at most 0.5", "count"),
        ("good_drill_overstated", -0.25, 0.25, "within 0.25", "swc"),
        ("good_drill_overstated_before_after", None, None, None, "swc"),
        ("good_drill_helps", None, None, None, "share"),
    ],
)
def test_a_goal_is_said_in_words(claim, lo, hi, goal, unit):
    figure = {"claim": claim, "truth": "holds", "students": 20, "figure": 0.1, "n_academies": 9}
    (row,) = in_words(
        pl.DataFrame([figure | {"goal_lo": lo, "goal_hi": hi}], columns("season.calibration"))
    ).to_dicts()
    assert (row["goal"] and row["goal"].replace("\u00a0", " "), row["unit"]) == (goal, unit)
