"""Reliability: published figures for the formulas, planted variance parts for the fit."""

import numpy as np
import polars as pl
import pytest

from models.season.cells import KEY, baseline
from models.season.reliability import (
    detectable_change,
    icc,
    reliability,
    swings_wanted,
    typical_error,
    with_least,
)
from models.season.trend import fit_season
from models.sql import query


def second_difference_sd(baseline_rows: pl.DataFrame, sd_swing: float) -> float:
    """σ_session of one cell without a model: second differences of neighbouring sessions, gaps weighed in.

    For sessions at t₁ < t₂ < t₃ the value at t₂ minus the straight line between its neighbours has variance
    (1 + w² + (1 − w)²)·σ²_session + Σ(weight²·σ²_swing/n), w = (t₃ − t₂)/(t₃ − t₁): a steady slope drops
    out, where first differences would keep it. Pooled, floored at 0; NaN where no student has three sessions.
    """
    squares, weights = 0.0, 0.0
    for (_, *_), own in baseline_rows.group_by([*KEY, "student"], maintain_order=True):
        t, y, n = (own[name].to_numpy().astype(np.float64) for name in ("t", "mean", "n"))
        if t.size < 3:
            continue
        gap = t[2:] - t[:-2]
        ok = gap > 0
        w = np.where(ok, (t[2:] - t[1:-1]) / np.where(ok, gap, 1.0), 0.5)
        off = y[1:-1] - w * y[:-2] - (1 - w) * y[2:]
        swing = sd_swing**2 * (1 / n[1:-1] + w**2 / n[:-2] + (1 - w) ** 2 / n[2:])
        squares += float(np.sum((off**2 - swing)[ok]))
        weights += float(np.sum((1 + w**2 + (1 - w) ** 2)[ok]))
    return float(np.sqrt(max(squares / weights, 0.0))) if weights > 0 else float("nan")


# Shrout & Fleiss 1979, six targets by four judges.
TABLE = np.array([[9, 2, 5, 8], [6, 1, 3, 2], [8, 4, 6, 8], [7, 1, 2, 6], [10, 5, 6, 9], [6, 2, 4, 7]])


def test_icc_gives_shrout_and_fleiss_icc_one():
    # ICC(1,1) = .17 (from memory), .1657 with more digits; here from its own variance parts.
    within = np.sum((TABLE - TABLE.mean(axis=1, keepdims=True)) ** 2) / 18
    between = 4 * np.sum((TABLE.mean(axis=1) - TABLE.mean()) ** 2) / 5
    assert icc(np.sqrt((between - within) / 4), np.sqrt(within)) == pytest.approx(0.1657, abs=5e-5)


def test_detectable_change_is_weirs():
    # Weir 2005: SEM = √(mean square error), SDC = 1.96·√2·SEM (from memory); 1.0097 and 2.7987 on the same table.
    left = TABLE - TABLE.mean(axis=1, keepdims=True) - TABLE.mean(axis=0) + TABLE.mean()
    sem = np.sqrt(np.sum(left**2) / 15)
    assert sem == pytest.approx(1.0097, abs=5e-5)
    assert detectable_change(sem) == pytest.approx(2.7987, abs=2e-4)


def test_typical_error_falls_with_swings_to_the_session_sd():
    assert typical_error(3.0, 4.0, 1) == 5.0
    assert typical_error(3.0, 4.0, 10**9) == pytest.approx(3.0)


@pytest.mark.parametrize(("session", "swing", "wanted"), [(1.0, 2.0, 7), (2.0, 0.0, 1), (0.0, 2.0, 30)])
def test_more_swings_are_wanted_while_doubling_them_cuts_a_tenth(session, swing, wanted):
    assert swings_wanted(session, swing) == wanted


def test_planted_variance_parts_are_found_in_moving_students(simulate):
    rng = np.random.default_rng(3)
    starts = rng.normal(60, 5, 80)
    frame = pl.concat(
        simulate(rng, f"s{i}", start=starts[i], per_month=rng.normal(0.5, 0.6), sd_session=1.5, sd_swing=3.0)[
            0
        ]
        for i in range(80)
    )
    rows = baseline(frame)
    row = reliability(fit_season(rows)).row(0, named=True)
    assert row["sd_student"] == pytest.approx(starts.std(ddof=1), rel=0.1)
    assert row["sd_session"] == pytest.approx(1.5, rel=0.15)
    assert row["sd_swing"] == pytest.approx(3.0)
    sem = np.sqrt(row["sd_session"] ** 2 + 1.0)  # nine swings of sd 3
    assert (row["sem"], row["sdc95"]) == (pytest.approx(sem), pytest.approx(2.7719 * sem, rel=1e-4))
    assert row["icc_session"] == pytest.approx(row["sd_student"] ** 2 / (row["sd_student"] ** 2 + sem**2))
    assert (row["n_students"], row["n_sessions"]) == (80, 640)
    # The cross-check without a model says the same; first differences would not.
    assert second_difference_sd(rows, 3.0) == pytest.approx(1.5, rel=0.15)


def test_second_differences_leave_a_steady_slope_out():
    days = np.array([0.0, 10.0, 40.0, 70.0]) / 30
    rows = pl.DataFrame({"season": "spring", "club_family": "iron", "metric": "m", "student": "s1", "t": days,
                         "mean": 50 + 9 * days, "n": 5})  # fmt: skip
    assert second_difference_sd(rows, 0.0) == pytest.approx(0.0, abs=1e-9)
    assert np.isnan(second_difference_sd(rows.head(2), 0.0))


def test_without_fits_there_are_no_rows():
    assert reliability({}).is_empty()


def test_where_most_swings_are_alike_one_swing_that_differs_is_no_worthwhile_change(bench):
    # Of 40 swings in four sessions 36 are 0 and the others 3, 5, 5 and 9: twice 5 in a session of ten.
    bench.reference({"recentre_pts": False, "impact_lead_share_pct": False})
    for session, own in enumerate(([3.0], [5.0], [5.0], [9.0])):
        bench.session(f"v{session}", day=session)
        steady = [70.0 + k / 10 + session for k in range(10)]
        bench.swings(f"v{session}", {"recentre_pts": own + [0.0] * 9, "impact_lead_share_pct": steady})
    bench.touch("s1")
    (row,) = bench.writer.sql(query("season.least_change")).rows()
    assert row == ("spring", "iron", "recentre_pts", pytest.approx(1.0))
    fits = {("spring", "iron", metric): {"worthwhile": 0.008} for metric in ("recentre_pts", "other")}
    found = with_least(fits, bench.writer.sql(query("season.least_change")))
    assert [fit["worthwhile"] for fit in found.values()] == [1.0, 0.008]
