"""The pace ladder, on made-up counts."""

from datetime import datetime, timedelta

import polars as pl
import pytest
from scipy import stats

from models.season.faultrate import FaultPrior, clean_swings_wanted, pace_ladder

START = datetime(2026, 4, 1, 9)  # noqa: DTZ001 - UTC without a zone, as in the warehouse
LOOSE = {"spring": {"trail_push": FaultPrior(rho=0.0, mean=0.3, strength=2.0)}}


def rows(pace, counts, **more):
    """Sessions of one student at one pace: (day, flagged, usable)."""
    fixed = {"student": "s1", "season": "spring", "fault": "trail_push", "club_family": "iron", "part": "baseline",
             "heel_source": "none", "pace": pace, **more}  # fmt: skip
    return pl.DataFrame(
        [
            {"session": f"s1-{day}", "started_at": START + timedelta(days=day),
             "day": (START + timedelta(days=day)).date(), "flagged": flagged, "usable": usable, **fixed}
            for day, flagged, usable in counts
        ]
    )  # fmt: skip


def test_the_ladder_stands_in_order_and_names_the_highest_pace_that_holds():
    frame = pl.concat([rows("full", [(0, 6, 10)]), rows("slow", [(0, 0, 12)]), rows("half", [(0, 0, 10)])])
    ladder = pace_ladder(frame, LOOSE)
    assert ladder["pace"].to_list() == ["slow", "half", "full"]
    assert ladder["holds_at"].to_list() == ["half"] * 3
    assert ladder["rate"].to_list() == [0.0, 0.0, 0.6]


def test_the_chance_of_a_seldom_fault_is_the_beta_posteriors():
    ladder = pace_ladder(rows("half", [(0, 1, 10)]), LOOSE)
    assert ladder["p_seldom"].item() == pytest.approx(stats.beta.cdf(0.2, 2, 10))
    assert ladder["holds_at"].item() is None


def test_too_few_clean_swings_do_not_hold_yet():
    priors = {"spring": {"trail_push": FaultPrior(rho=0.15, mean=0.3, strength=2.0)}}
    wanted = clean_swings_wanted(0.15)
    assert wanted == 15  # (ln 0.2 / ln 0.8 − 1) · (1 + 9 · 0.15) = 14.6
    few = pace_ladder(rows("half", [(0, 0, 10)]), priors)
    assert (few["holds_at"].item(), few["clean_swings_wanted"].item()) == (None, wanted)
    assert pace_ladder(rows("half", [(0, 0, 10), (1, 0, 10)]), priors)["holds_at"].item() == "half"


def test_old_swings_drop_out_once_there_are_three_newer_sessions():
    counts = [(0, 10, 10), (60, 0, 8), (70, 0, 8), (80, 0, 8)]
    assert pace_ladder(rows("full", counts), LOOSE).select("flagged", "n_sessions").row(0) == (0, 3)
    assert pace_ladder(rows("full", counts[:3]), LOOSE).select("flagged", "n_sessions").row(0) == (10, 3)


def test_no_rows_give_no_ladder():
    assert pace_ladder(rows("full", [(0, 0, 1)]).clear(), {}).is_empty()
