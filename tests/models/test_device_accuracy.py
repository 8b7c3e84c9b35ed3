"""What a known weight says of a plate: planted drifts and offsets are found, and steady plates are not accused."""

from datetime import timedelta

import numpy as np
import polars as pl
import pytest
import statsmodels.api as sm
from hypothesis import given, settings
from hypothesis import strategies as some
from scipy import stats

from checked_plates import FIRST, MONTH_DAYS, checks, weekly
from models.device_accuracy import FEWEST_CHECKS, TOLERANCE_PCT, judged
from weekly_weighings import weighings


def judge(errors, **more):
    return judged(checks(errors, **more)).row(0, named=True)


def test_a_planted_drift_is_found_with_its_week_size_and_the_day_it_left_the_tolerance():
    errors = weekly(30, off=0.1, a_month=1.0, sd=0.4, seed=3)
    found = judge(errors)
    assert found["verdict"] == "drifts"
    assert found["drift_lo"] < 1.0 < found["drift_hi"]
    true_now = 0.1 + 29 * 7 / MONTH_DAYS
    assert found["error_lo"] < true_now < found["error_hi"]
    week = (found["found_at"] - FIRST) / timedelta(weeks=1)
    assert 5 <= week <= 14
    assert judge(errors[: round(week)])["verdict"] != "drifts"  # not known a check earlier
    assert judge(errors[: round(week) + 1])["verdict"] == "drifts"
    assert abs((found["leaves_at"] - FIRST) / timedelta(days=1) - 0.9 * MONTH_DAYS) < 14


def test_a_drift_that_begins_after_a_steady_time_is_found_too():
    found = judge(weekly(36, a_month=-1.5, starts=16, sd=0.5, seed=5))
    assert found["verdict"] == "drifts"
    assert found["found_at"] > FIRST + timedelta(weeks=16)
    assert found["error_lo"] < -1.5 * 19 * 7 / MONTH_DAYS < found["error_hi"] < -1
    assert found["began_lo"] <= FIRST + timedelta(weeks=16) <= found["began_hi"]


@pytest.mark.parametrize("shape", ["normal", "heavy tails", "read to the nearest half percent"])
def test_steady_plates_are_not_accused_whatever_their_noise(shape):
    rng = np.random.default_rng(11)
    accused = 0
    for seed in range(120):
        noise = (lambda n: rng.standard_t(3, n)) if shape == "heavy tails" else None
        errors = weekly(26, sd=0.5, seed=seed, noise=noise)
        errors = np.round(2 * errors) / 2 if shape.startswith("read") else errors
        found = judge(errors)
        accused += found["verdict"] in ("drifts", "off")
    assert accused <= 8  # 1 in 20 in a year of checks; this is half a year, as it stands at its end


def test_a_year_of_a_steady_plate_ends_as_steady():
    found = judge(weekly(52, off=0.2, sd=0.5, seed=1))
    assert found["verdict"] == "steady"
    assert -TOLERANCE_PCT < found["error_lo"] < 0.2 < found["error_hi"] < TOLERANCE_PCT
    assert found["found_at"] is None
    assert found["leaves_at"] is None


def held(rows, low="error_lo", high="error_hi", true=2.0):
    return rows.select(pl.col(low).le(true) & pl.col(high).ge(true)).to_series().mean()


def changing(world, seed):
    """Those of 60 pairs that change, over 30 weeks."""
    return judged(weighings(world, 60, seed, weeks=30).filter(pl.col("device").str.ends_with("a")))


def test_a_jump_is_found_as_one_and_what_the_plate_reads_now_is_held():
    """Before jumps were told from drifts, what it reads now was held in 63 %."""
    rows = changing("jumps", 5)
    jumped = rows.filter(verdict="jumped")
    assert len(jumped) > 0.55 * len(rows)
    assert held(jumped) > 0.88
    assert held(jumped, "jump_lo", "jump_hi") > 0.88
    assert jumped["drift_pct_month"].null_count() == len(jumped)
    assert held(rows.filter(verdict="drifts")) > 0.8  # its line is wrong, its interval allows for a jump


def test_a_drift_is_seldom_taken_for_a_jump():
    rows = changing("drifts", 6)
    assert len(rows.filter(verdict="drifts")) > 0.7 * len(rows)
    assert len(rows.filter(verdict="jumped")) < 0.08 * len(rows)
    assert held(rows.filter(verdict="drifts")) > 0.88


@pytest.mark.parametrize("world", ["steady", "forgotten", "exchanged"])
def test_steady_plates_are_accused_neither_for_a_forgotten_week_nor_for_exchanged_weights(world):
    verdicts = judged(weighings(world, 60, 7))["verdict"]
    assert verdicts.is_in(["drifts", "jumped", "off"]).mean() < 0.06


def test_a_plate_that_was_off_from_the_start_is_off_and_does_not_drift():
    found = judge(weekly(12, off=-3.0, sd=0.5, seed=2))
    assert found["verdict"] == "off"
    assert found["error_lo"] < -3.0 < found["error_hi"] < -TOLERANCE_PCT
    assert found["found_at"] == FIRST + timedelta(weeks=FEWEST_CHECKS - 1)


def test_a_noisy_plate_is_too_soon_to_say():
    for seed in range(20):
        assert judge(weekly(12, off=1.0, sd=6.0, seed=seed))["verdict"] == "too_soon"


@pytest.mark.parametrize("n", range(1, FEWEST_CHECKS))
def test_few_checks_say_nothing_however_far_off(n):
    found = judge(weekly(n, off=5.0, a_month=3.0, sd=0.0))
    assert found["verdict"] == "too_soon"
    assert found["n_checks"] == n
    assert {found[name] for name in ("error_pct", "error_lo", "drift_pct_month", "found_at")} == {None}


def test_a_recalibration_begins_anew_and_takes_the_accusation_back():
    errors = np.concatenate([weekly(20, a_month=1.5, seed=4), weekly(8, sd=0.3, seed=6)])
    assert judge(errors[:20])["verdict"] == "drifts"
    found = judge(errors, recalibrated={20})
    assert found["verdict"] == "steady"
    assert found["n_checks"] == 8
    assert found["since"] == FIRST + timedelta(weeks=20)
    assert judge(errors[:22], recalibrated={20})["verdict"] == "too_soon"


def test_each_device_and_half_is_judged_by_its_own_checks():
    rows = pl.concat([
        checks(weekly(20, sd=0.3, seed=1), side="left"),
        checks(weekly(20, a_month=2.0, seed=2), side="right"),
        checks(weekly(20, off=2.5, seed=3), device="mat"),
    ])  # fmt: skip
    found = {
        (r["device"], r["side"]): r["verdict"]
        for r in judged(rows.sample(fraction=1.0, shuffle=True, seed=1)).to_dicts()
    }
    assert found == {("plates-a", "left"): "steady", ("plates-a", "right"): "drifts", ("mat", "whole"): "off"}


def test_the_error_of_a_steady_device_is_that_of_a_general_least_squares_library():
    errors = weekly(24, off=0.4, sd=0.4, seed=8)
    found = judge(errors)
    assert found["verdict"] == "steady"
    now = sm.OLS(errors, np.ones(24)).fit().get_prediction([[1.0]]).summary_frame()
    line = sm.OLS(errors, sm.add_constant(7.0 * np.arange(24) / MONTH_DAYS)).fit()
    assert [found["error_pct"], found["error_lo"], found["error_hi"]] == pytest.approx(
        [now["mean"][0], now["mean_ci_lower"][0], now["mean_ci_upper"][0]]
    )
    assert [found["next_lo"], found["next_hi"]] == pytest.approx(
        [now["obs_ci_lower"][0], now["obs_ci_upper"][0]]
    )
    assert [found["drift_pct_month"], found["drift_lo"], found["drift_hi"]] == pytest.approx(
        [line.params[1], *line.conf_int()[1]]
    )


def test_a_drift_is_the_best_of_all_bent_lines_and_its_interval_ends_where_they_fit_too_badly():
    errors, months = weekly(26, a_month=1.2, starts=9, sd=0.4, seed=21), 7.0 * np.arange(26) / MONTH_DAYS
    found = judge(errors)

    def rss(bend, now=None):
        x = np.maximum(months - bend, 0) - max(months[-1] - bend, 0)  # nought at the newest check
        if now is None:
            return sm.OLS(errors, sm.add_constant(x)).fit().ssr
        return sm.OLS(errors - now, x).fit().ssr

    bends = months[:-3]
    best = min(bends, key=rss)
    line = sm.OLS(errors, sm.add_constant(np.maximum(months - best, 0) - max(months[-1] - best, 0))).fit()
    assert [found["error_pct"], found["drift_pct_month"]] == pytest.approx(list(line.params))
    assert (found["began"] - FIRST) / timedelta(days=MONTH_DAYS) == pytest.approx(best)
    most = line.ssr * (1 + stats.t.ppf(0.975, 23) ** 2 / 23)
    for end in (found["error_lo"], found["error_hi"]):
        assert min(rss(bend, end) for bend in bends) == pytest.approx(most)


def test_intervals_of_drifts_that_begin_at_any_time_hold_the_truth():
    rng, held, dates, found = np.random.default_rng(4), 0, 0, 0
    for seed in range(60):
        starts = int(rng.integers(0, 15))
        row = judge(weekly(30, off=0.3, a_month=1.0, starts=starts, sd=0.5, seed=seed))
        if row["verdict"] == "drifts":
            found += 1
            held += row["error_lo"] < 0.3 + (29 - starts) * 7 / MONTH_DAYS < row["error_hi"]
            dates += row["began_lo"] <= FIRST + timedelta(weeks=starts) <= row["began_hi"]
    assert found >= 58
    assert held / found > 0.88
    assert dates / found > 0.88


@settings(max_examples=25, deadline=None)
@given(some.integers(0, 10_000), some.floats(-3, 3), some.integers(6, 30))
def test_a_plate_that_reads_too_little_is_judged_as_one_that_reads_too_much(seed, a_month, n):
    errors = weekly(n, a_month=a_month, seed=seed)
    up, down = judge(errors), judge(-errors)
    for same in ("verdict", "found_at", "leaves_at", "n_checks"):
        assert up[same] == down[same]
    if up["error_pct"] is not None:
        assert up["error_pct"] == pytest.approx(-down["error_pct"], abs=1e-9)
        assert up["drift_lo"] == pytest.approx(-down["drift_hi"], abs=1e-9)


def test_only_the_newest_year_of_checks_counts():
    errors = np.concatenate([weekly(60, a_month=0.8, seed=1), 11.0 + weekly(52, sd=0.3, seed=2)])
    found = judge(errors)
    assert found["verdict"] == "off"
    assert found["n_checks"] == 52


def test_checks_that_are_all_alike_are_steady_or_off_and_never_a_failure():
    assert judge(np.zeros(8))["verdict"] == "steady"
    assert judge(np.full(8, 2.0))["verdict"] == "off"
    assert judge(np.zeros(8), every_days=0.0)["verdict"] == "too_soon"  # all of one moment


def test_without_checks_there_are_no_rows():
    assert judged(checks([])).is_empty()
