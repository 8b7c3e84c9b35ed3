"""What each drill of the demo would do to the loads of a swing moves the metric of its aim the right way.

A drill's mechanics are knots of a planted swing's curves (tests/planted_swings.py), written from what its text asks
the feet to do: `before` is the swing of a player who needs the drill, `change` what doing it does to the loads.
"""

from types import SimpleNamespace

import numpy as np
import polars as pl
import pytest

from demo_academy.habits import DRILLS
from models.swing import faults
from models.swing.reduce import reduce_session
from planted_swings import CASES, LEAD, MID_BACK, MID_DOWN, RATE_HZ, REPLANT, TRAIL, Case, planted_swing
from warehouse.definitions import read_metrics
from warehouse.founding import starter_drills

RULES = faults.load_rules()
NO_STYLES = pl.DataFrame(schema=dict.fromkeys(("session", "club_family", "style"), pl.String))
LATE = {"lead_share": {1: 30, REPLANT: 34, MID_DOWN: 41, 2: 64}}  # hangs back, crosses late
DEEP = {"trail_along": TRAIL | {MID_BACK: 28, 1: 22, REPLANT: 24, MID_DOWN: 30}}
STILL_GOING_BACK = {"lead_share": {0.75: 27, 1: 25, 1.12: 25}}

# drill: curves before it, and with it
MECHANICS = {
    # The trail foot steps past: at the finish it carries next to nothing.
    "d01": ({"lead_share": {3: 82}}, {"lead_share": {3: 97}}),
    # The lead foot lands, and takes load, while the club is still going back.
    "d02": (STILL_GOING_BACK, {"lead_share": {0.75: 27, 1: 38, 1.12: 42}}),
    # The lead foot presses the rope down: it carries more halfway down.
    "d03": ({"lead_share": {MID_DOWN: 58, 2: 68}}, {"lead_share": {MID_DOWN: 69, 2: 74}}),
    # Turning to a wall beside the hip takes load to the trail foot.
    "d04": ({"lead_share": {MID_BACK: 42, 0.75: 39}}, {"lead_share": {MID_BACK: 32, 0.75: 30}}),
    # Lead heel down before the top, trail heel light from the start down: the whole load does not rise.
    "d06": (LATE, {"lead_share": {1: 36, 1.25: 48, REPLANT: 56, MID_DOWN: 66, 2: 72}}),
    # Toes that hold on keep pressure at the front of the trail foot.
    "d07": (DEEP, {"trail_along": TRAIL | {MID_BACK: 46, 1: 44, REPLANT: 44, MID_DOWN: 45}}),
    # The lead heel gives up its load to the ball of its foot.
    "d09": ({"lead_along": LEAD | {MID_BACK: 53, 1: 54}}, {"lead_along": LEAD}),
}
# What the feet do in these is no change of load: the pace (d05), and standing still (d08).
NO_LOADS = {"d05", "d08"}
TEACH_AGAINST = {
    # A pause at the top and then the hips to the target: nothing before the top changes.
    "a pause at the top": ("recentre_pts", STILL_GOING_BACK, {"lead_share": {0.75: 27, 1: 25, 1.25: 45}}),
    # A wedge under the toes tips the foot onto its heel.
    "a wedge under the trail toes": (
        "trail_heel_sink",
        DEEP,
        {"trail_along": {0: 40} | DEEP["trail_along"] | {1: 14}},
    ),
}


@pytest.fixture
def reduced(build, monkeypatch):
    """(metrics, flagged faults) of four swings with these curves, without noise of the plate."""

    def of(curves):
        name = repr(sorted(curves.items()))  # the builder keeps what it made, by a case's name
        monkeypatch.setitem(CASES, name, Case(curves=curves))
        made = [
            planted_swing(name, club_family="iron", handed="right", heel_load=True, noise_n=1.0, seed=seed)
            for seed in range(4)
        ]
        columns = [
            {"lead_n": s.left_n, "trail_n": s.right_n, "lead_along_pct": s.left_along_pct,
             "trail_along_pct": s.right_along_pct, "lead_heel_n": s.left_heel_n, "trail_heel_n": s.right_heel_n}
            for s in made
        ]  # fmt: skip
        rows = build.swing_rows(len(made), club_family=["iron"] * len(made))
        result = reduce_session(
            build.trace_of(columns, [RATE_HZ] * len(made)), rows, build.event_rows([s.events for s in made])
        )
        swings = result.swings.with_columns(rows["club_family"])
        judged = faults.judge(result.metrics, swings, RULES, NO_STYLES)
        return SimpleNamespace(
            metrics={
                name: result.metrics[name].median()
                for name in result.metrics.select(pl.selectors.float()).columns
            },
            rates=dict(judged.group_by("fault").agg(pl.col("flagged").mean()).iter_rows()),
        )

    return of


def gain(aim, before, after):
    """By how much the aim moved toward better: a metric's step into its band or its better way, a fault's fall in rate."""
    if aim in before.rates:
        return before.rates[aim] - after.rates[aim]
    metric = next(m for m in read_metrics() if m.code == aim)
    one, two = before.metrics[aim], after.metrics[aim]
    if metric.better == "band":
        band = next(b for b in metric.band if b.club_family == "iron")
        lo, hi = (-np.inf if band.lo is None else band.lo), (np.inf if band.hi is None else band.hi)
        return max(lo - one, one - hi, 0) - max(lo - two, two - hi, 0)
    return (two - one) * (1 if metric.better == "up" else -1)


@pytest.mark.parametrize("drill", [d for d in DRILLS if d.code not in NO_LOADS], ids=lambda d: d.name)
def test_doing_the_drill_moves_its_aim_the_right_way_and_brings_on_no_other_fault(reduced, drill):
    curves, change = MECHANICS[drill.code]
    before, after = reduced(curves), reduced(curves | change)
    assert gain(drill.aim, before, after) > 0.5
    worse = {fault for fault, rate in after.rates.items() if rate and rate > (before.rates[fault] or 0)}
    assert not worse


@pytest.mark.parametrize("name", TEACH_AGAINST)
def test_a_drill_that_teaches_against_its_aim_would_be_found_out(reduced, name):
    aim, curves, change = TEACH_AGAINST[name]
    assert gain(aim, reduced(curves), reduced(curves | change)) <= 0.3


def test_a_shove_onto_the_lead_foot_crosses_in_time_and_is_a_fault_of_its_own(reduced):
    shove = {"lead_share": {1: 36, REPLANT: 70, MID_DOWN: 88, 2: 90}}
    before, after = reduced(LATE), reduced(LATE | shove)
    assert gain("late_crossing", before, after) > 0.5
    assert after.rates["early_shove"] == 1.0


def test_every_drill_says_what_to_take_care_of_and_from_which_age():
    for drill in starter_drills():
        assert str(drill.cautions).strip(), drill.code
        assert drill.min_age is not None, drill.code
    assert {drill.code for drill in DRILLS} == {*MECHANICS} | NO_LOADS
