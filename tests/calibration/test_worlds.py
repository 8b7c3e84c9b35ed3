"""The scores of the worlds count what they say: known answers, true and false, get known figures."""

from datetime import date

import polars as pl
import pytest
from polars.testing import assert_frame_equal

from season_worlds import coaches, faults, lines, scores
from season_worlds.academy import METRICS, SIX, SWC, SeasonWorld
from season_worlds.answers import answering, came_between
from season_worlds.claims import CLAIMS, Claim, figure
from season_worlds.run import claims_of, line, scored
from season_worlds.worlds import WORLDS


def said(world, label="not_clear", by=1.0, half=1.0):
    """season.student_trend of somebody who knows the truth, `by` times as large, and says `label` of all."""
    sign = pl.col("metric").replace_strict({code: one[0] for code, one in METRICS.items()})
    change = sign * pl.col("change") * by
    rows = world.changes.with_columns(
        change=change, change_lo=change - half, change_hi=change + half, label=pl.lit(label)
    )
    return {"student_trend": rows}


def test_an_interval_about_the_truth_covers_whichever_way_is_better():
    world = lines.unequal_noise(12, 1, metrics=SIX)
    assert scores.covered()(world, said(world)) == (72, 72)
    assert scores.covered("noisy")(world, said(world)) == (24, 24)
    turned = scores.covered()(world, said(world, by=-1.0))[0]
    assert turned < 30


def test_what_is_called_is_held_against_the_way_it_went():
    world = lines.planted_changes(50, 1)
    rising, falling = said(world, "improving"), said(world, "slipping")
    assert scores.called_of(0)(world, rising) == (10, 10)
    assert scores.called_of(4)(world, rising) == scores.called_of(4)(world, falling) == (10, 20)
    assert scores.wrong_way(world, rising) == scores.wrong_way(world, falling) == (30, 50)
    assert scores.called_of(2)(world, said(world)) == (0, 20)
    assert scores.holding_despite(3)(world, said(world, "holding")) == (20, 50)
    assert scores.called_a_season(world, rising) == (50, 50 / 60)


def test_a_listed_change_counts_as_right_only_beyond_the_worthwhile_one_by_that_day():
    paths = pl.DataFrame(
        {"student": ["s001"] * 3, "metric": ["recentre_pts"] * 3, "x": [0.0, SWC / 2, 2 * SWC],
         "day": [date(2026, 4, 1), date(2026, 5, 1), date(2026, 6, 1)]}
    )  # fmt: skip
    world = SeasonWorld({}, paths=paths)

    def listed(day, kind):
        row = {"day": [day], "kind": [kind], "student": ["s001"], "subject": ["recentre_pts"]}
        return {"listed": pl.DataFrame(row)}

    assert scores.wrong_new_rows(world, listed(date(2026, 5, 4), "improving")) == (1, 1)
    assert scores.wrong_new_rows(world, listed(date(2026, 6, 4), "improving")) == (0, 1)
    assert scores.wrong_new_rows(world, listed(date(2026, 6, 4), "slipping")) == (1, 1)
    assert scores.true_new_rows(world, listed(date(2026, 6, 4), "improving")) == (1, 1)


def test_a_new_fault_counts_as_right_only_once_it_is_there():
    world = faults.fault_rates(60, 1, changed=0.05)
    one = world.faults.row(0, named=True)
    row = {"kind": ["new_fault"], "student": [one["student"]], "subject": [one["fault"]]}
    early, late = (
        {"listed": pl.DataFrame({"day": [day]} | row)} for day in (date(2026, 3, 3), date(2026, 8, 30))
    )
    assert (
        scores.new_faults(planted=True)(world, late)
        == scores.new_faults(planted=False)(world, early)
        == (1, 1)
    )
    assert scores.wrong_new_faults(world, early) == (1, 1)
    assert scores.wrong_new_faults(world, late) == (0, 1)


def test_a_pace_at_which_the_fault_is_frequent_is_held_falsely():
    rates = pl.DataFrame(
        {
            "student": ["s001"] * 3,
            "fault": ["f"] * 3,
            "pace": ["slow", "half", "full"],
            "rate": [0.01, 0.05, 0.3],
        }
    )
    world = SeasonWorld({}, rates=rates)

    def ladder(pace):
        return {
            "pace_ladder": pl.DataFrame({"student": ["s001"] * 2, "fault": ["f"] * 2, "holds_at": [pace] * 2})
        }

    assert scores.held_falsely(world, ladder("half")) == (0, 1)
    assert scores.held_falsely(world, ladder("full")) == (1, 1)
    seldom = SeasonWorld({}, rates=rates.with_columns(rate=pl.col("rate") / 10))
    assert scores.held_truly(seldom, ladder("full")) == (1, 1)
    assert scores.held_truly(seldom, ladder("half")) == (0, 1)


def test_a_coach_without_a_dot_is_not_held_against_the_limits():
    world = coaches.coaches(40, 1)
    gain = {"coach": ["c01", "c02", "c03", "c04"], "raw": [3.0, 0.5, -3.0, 9.0], "lo95": [-1.0] * 4, "hi95": [1.0] * 4,
            "shown": [True, True, True, False]}  # fmt: skip
    found = {"coach_gain": pl.DataFrame(gain)}
    assert scores.outside_funnel()(world, found) == (2, 3)
    assert scores.outside_funnel("c01", above=True)(world, found) == (1, 1)
    assert scores.has_dot(world, found) == (3, 4)


@pytest.mark.parametrize(
    ("hits", "verdict"),
    [([0] * 40, "kept"), ([1, 0, 0, 0] * 10, "BROKEN"), ([1, 0, 0] + [0] * 12, "undecided")],
)
def test_a_promise_is_broken_only_beyond_the_simulation_error(hits, verdict):
    claim = Claim("c", "usual", (), scores.holding, hi=0.05)
    found = figure(claim, [(hit, 1) for hit in hits])
    assert found.verdict == verdict
    assert found.error > 0
    assert figure(claim, [(0, 0)]) is None


def test_each_claim_is_of_a_known_world_and_false_rates_stand_beside_power():
    assert {claim.world for claim in CLAIMS} <= set(WORLDS)
    promised = [claim for claim in CLAIMS if claim.hi is not None]
    assert len(promised) >= 30
    assert len(CLAIMS) - len(promised) >= 12


def test_a_season_looked_at_twice_ends_as_one_looked_at_once(tmp_path):
    world = lines.usual(8, 1)
    days = [date(2026, 6, 1), date(2026, 8, 30)]
    came = [came_between(world.tables, date.min, days[0]), came_between(world.tables, *days)]
    assert sum(len(part["academy.swing"]) for part in came) == len(world.tables["academy.swing"])
    with answering(tmp_path / "home") as answers:
        early, late = answers.looks(world, days, "session_metric", "student_trend")
        whole = answers.of(world, "session_metric", "student_trend")
    assert early["session_metric"]["day"].max() <= days[0]
    assert_frame_equal(late["session_metric"], whole["session_metric"], check_row_order=False)
    assert late["student_trend"]["n_sessions"].sum() == len(whole["session_metric"])


def test_the_table_has_a_line_for_each_claim_of_a_world():
    (claim,) = claims_of("zeros_97")
    (counts,) = scored(("zeros_97", 8, 0, 2))
    assert len(counts) == 2
    assert claim.claim in line(claim, 8, figure(claim, counts))
    assert "nothing is claimed" in line(claim, 8, None)
