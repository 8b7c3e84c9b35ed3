"""Fault rates: intervals against published values, then the judgement on made-up students."""

import math
from datetime import datetime, timedelta
from types import SimpleNamespace

import numpy as np
import polars as pl
import pytest
from scipy import stats

from models.season import faultrate
from models.season.faultrate import (
    KEYS,
    NO_PRIOR,
    FaultPrior,
    baseline_sessions,
    fault_rates,
    fit_beta,
    fit_priors,
    intraclass,
    p_first_lower,
    scatter,
    stored_priors,
    wilson,
    within_session_correlation,
)

START = datetime(2026, 4, 1, 9)  # noqa: DTZ001 - UTC without a zone, as in the warehouse
PRIOR = {"spring": {"trail_push": FaultPrior(rho=0.0, mean=0.3, strength=2.0)}}


def rows(counts, student="s1", **more):
    """Sessions of one student: (day, flagged, usable)."""
    defaults = {
        "coach": "c1", "season": "spring", "club_family": "iron", "part": "baseline", "pace": "full",
        "drill": None, "device": "mat", "heel_source": "none", "fault": "trail_push",
    }  # fmt: skip
    return pl.DataFrame(
        [
            {
                "session": f"{student}-{day}", "student": student,
                "started_at": START + timedelta(days=day), "day": (START + timedelta(days=day)).date(),
                "flagged": flagged, "usable": usable, **defaults, **more,
            }
            for day, flagged, usable in counts
        ],
        schema_overrides={"drill": pl.String, "season": pl.String},
    )  # fmt: skip


def spans(frame):
    return {row["span"]: row for row in frame.to_dicts()}


@pytest.mark.parametrize(
    ("flagged", "n", "lo", "hi"),
    [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0, 0.1611), (1, 29, 0.0061, 0.1718)],
)
def test_wilson_gives_newcombes_table_one(flagged, n, lo, hi):
    # Newcombe 1998, Statistics in Medicine 17, 857, table I, method 3, 95 %; the last three rows from memory.
    found = wilson(flagged, n, z=stats.norm.ppf(0.975))
    assert [round(float(bound), 4) for bound in found] == [lo, hi]


def test_wilson_of_no_swings_is_not_a_number():
    assert all(np.isnan(bound) for bound in wilson(0, 0))


def test_intraclass_gives_shrout_and_fleiss_icc_one():
    # Shrout & Fleiss 1979, six targets by four judges, ICC(1,1) = .17 (from memory), .1657 by pingouin's data.
    table = np.array([[9, 2, 5, 8], [6, 1, 3, 2], [8, 4, 6, 8], [7, 1, 2, 6], [10, 5, 6, 9], [6, 2, 4, 7]])
    between = 4 * np.sum((table.mean(axis=1) - table.mean()) ** 2)
    within = np.sum((table - table.mean(axis=1, keepdims=True)) ** 2)
    assert intraclass(between, within, 5, 18, 4) == pytest.approx(0.1657, abs=5e-5)


@pytest.mark.parametrize(
    ("a1", "b1", "a2", "b2"), [(3, 9, 8, 5), (1, 1, 1, 1), (20, 80, 15, 85), (1, 30, 4, 9)]
)
def test_the_chance_of_a_lower_rate_equals_the_exact_sum(a1, b1, a2, b2):
    # Closed form for whole numbers (Miller, "Formulas for Bayesian A/B testing", from memory):
    # P(Y > X) = Σ_{i < a2} B(a1 + i, b1 + b2) / ((b2 + i) B(1 + i, b2) B(a1, b1)).
    def log_beta(a, b):
        return math.lgamma(a) + math.lgamma(b) - math.lgamma(a + b)

    exact = sum(
        math.exp(log_beta(a1 + i, b1 + b2) - log_beta(1 + i, b2) - log_beta(a1, b1)) / (b2 + i)
        for i in range(a2)
    )
    got = p_first_lower(*(np.array([float(v)]) for v in (a1, b1, a2, b2)))
    assert got[0] == pytest.approx(exact, abs=2e-4)


def test_the_prior_finds_the_spread_that_was_planted():
    rng = np.random.default_rng(1)
    n = np.full(400, 60.0)
    y = rng.binomial(60, rng.beta(2.0, 6.0, size=400)).astype(float)
    mean, strength = fit_beta(y, n)
    assert mean == pytest.approx(0.25, abs=0.02)
    assert strength == pytest.approx(8.0, rel=0.2)
    # It is the mode of scipy's beta-binomial times the stated prior: no neighbour is better.

    def log_density(m, k):
        inner = stats.betabinom.logpmf(y.astype(int), 60, m * k, (1 - m) * k).sum()
        return inner + math.log(m * (1 - m)) + stats.norm.logpdf(math.log(k), math.log(4), 1.5)

    for m, k in ((0.005, 0), (-0.005, 0), (0, 0.3), (0, -0.3)):
        assert log_density(mean + m, strength + k) < log_density(mean, strength)


@pytest.mark.parametrize("flagged", [0.0, 20.0])
def test_identical_students_give_a_finite_prior(flagged):
    mean, strength = fit_beta(np.full(5, flagged), np.full(5, 20.0))
    assert 0 < mean < 1
    assert 0 < strength < 500


def test_correlation_is_estimated_within_students():
    # Two students of quite different rates, each the same in every session: no correlation within sessions.
    steady = pl.concat(
        [rows([(d, 1, 10) for d in range(0, 60, 10)]), rows([(d, 9, 10) for d in range(0, 60, 10)], "s2")]
    )
    assert within_session_correlation(scatter(baseline_sessions(steady), KEYS)) == 0.0
    # All-or-nothing sessions: full correlation.
    jumpy = rows([(d, 10 * (d // 10 % 2), 10) for d in range(0, 60, 10)])
    assert within_session_correlation(scatter(baseline_sessions(jumpy), KEYS)) == pytest.approx(1.0)


def test_the_order_of_rows_changes_no_bit_of_the_priors():
    rng = np.random.default_rng(5)
    many = pl.concat(
        rows(
            [(int(d), int(rng.integers(0, 8)), 10 + int(rng.integers(0, 4))) for d in range(0, 90, 9)],
            f"s{i}",
        )
        for i in range(40)
    )
    first = fit_priors(many)
    for seed in range(3):
        assert fit_priors(many.sample(fraction=1.0, shuffle=True, seed=seed)) == first


def test_a_season_without_kept_priors_is_fitted_once_for_both_steps_that_ask_and_anew_when_it_changed(
    monkeypatch,
):
    fits, seasons = [], [rows([(0, 3, 10), (7, 4, 10)]), rows([(0, 3, 10), (7, 4, 10)])]
    seasons.append(rows([(0, 3, 10), (7, 9, 10)]))
    monkeypatch.setattr(faultrate, "load_parameters", lambda *_: {})
    monkeypatch.setattr(faultrate, "fit_priors", lambda found: fits.append(found) or fit_priors(found))
    priors = []
    for season in seasons:
        writer = SimpleNamespace(sql=lambda *_, season=season: season)
        priors.append(stored_priors(writer, season))
    assert len(fits) == 2
    assert priors[0] == priors[1] == fit_priors(seasons[0])
    assert priors[2] == fit_priors(seasons[2]) != priors[0]


def test_planted_correlation_is_found():
    rng = np.random.default_rng(7)
    frames = []
    for student in range(60):
        mean = rng.uniform(0.2, 0.8)
        rate = rng.beta(mean * 4, (1 - mean) * 4, size=8)  # ρ = 1 / (1 + 4) = 0.2
        counts = [(7 * d, int(rng.binomial(10, r)), 10) for d, r in enumerate(rate)]
        frames.append(rows(counts, f"s{student}"))
    assert within_session_correlation(scatter(baseline_sessions(pl.concat(frames)), KEYS)) == pytest.approx(
        0.2, abs=0.04
    )


def test_now_is_28_days_back_to_three_sessions_and_never_overlaps_before():
    thin = spans(fault_rates(rows([(0, 5, 10), (20, 4, 10), (40, 3, 10), (80, 2, 10), (120, 1, 10)]), PRIOR))
    assert (thin["now"]["flagged"], thin["now"]["usable"], thin["now"]["n_sessions"]) == (6, 30, 3)
    assert (thin["before"]["flagged"], thin["before"]["n_sessions"]) == (9, 2)
    dense = spans(fault_rates(rows([(d, 1, 10) for d in range(0, 60, 5)]), PRIOR))
    assert dense["now"]["n_sessions"] == 6  # days 30 … 55: 28 days up to the last one
    assert dense["now"]["n_sessions"] + dense["before"]["n_sessions"] == dense["season"]["n_sessions"] == 12


def test_a_clear_fall_is_better_and_a_clear_rise_worse():
    falling = [(10 * k, f, 20) for k, f in enumerate([16, 15, 17, 3, 2, 4])]
    better = spans(fault_rates(rows(falling), PRIOR))
    assert {row["label"] for row in better.values()} == {"better"}
    assert better["now"]["p_lower"] > 0.999
    worse = spans(
        fault_rates(
            rows([(d, f, n) for (d, _, n), (_, f, _) in zip(falling, falling[::-1], strict=True)]), PRIOR
        )
    )
    assert worse["now"]["label"] == "worse"
    assert worse["now"]["p_lower"] < 0.001


def test_a_sure_but_small_fall_is_not_clear_yet():
    small = fault_rates(rows([(10 * k, f, 1000) for k, f in enumerate([100, 100, 100, 50, 50, 50])]), PRIOR)
    assert small["p_lower"].min() > 0.99
    assert set(small["label"]) == {"not_clear"}


def test_fewer_than_three_sessions_on_either_side_is_too_few():
    rates = fault_rates(rows([(0, 9, 10), (10, 9, 10), (60, 0, 10), (70, 0, 10), (80, 0, 10)]), PRIOR)
    assert set(rates["label"]) == {"too_few"}
    assert rates["p_lower"].null_count() == 3
    single = fault_rates(rows([(0, 9, 10)]), PRIOR)
    assert single["span"].to_list() == ["now", "season"]
    assert set(single["label"]) == {"too_few"}


def test_swings_that_resemble_each_other_widen_the_interval():
    counts = rows([(10 * k, 5, 10) for k in range(3)])
    alone = fault_rates(counts, PRIOR).row(0, named=True)
    correlated = fault_rates(counts, {"spring": {"trail_push": FaultPrior(1 / 9, 0.3, 2.0)}}).row(
        0, named=True
    )
    lo, hi = wilson(7.5, 15)  # 30 swings in tens at ρ = 1/9: design effect 2
    assert (correlated["rate_lo"], correlated["rate_hi"]) == (
        pytest.approx(float(lo)),
        pytest.approx(float(hi)),
    )
    assert correlated["rate_hi"] - correlated["rate_lo"] > alone["rate_hi"] - alone["rate_lo"]


def test_only_full_pace_baseline_swings_within_a_season_count():
    kept = rows([(0, 1, 10)])
    others = [
        rows([(0, 10, 10)], **more) for more in ({"pace": "half"}, {"part": "after_drill"}, {"season": None})
    ]
    assert fault_rates(pl.concat([kept, *others]), PRIOR)["flagged"].to_list() == [1, 1]


def test_measured_and_estimated_heel_loads_never_share_a_rate():
    old = rows([(0, 10, 10), (10, 10, 10)], heel_source="estimated")
    new = rows([(20, 1, 10), (30, 1, 10)], heel_source="measured")
    season = spans(fault_rates(pl.concat([old, new]), PRIOR))["season"]
    assert (season["flagged"], season["usable"]) == (2, 20)


def test_no_rows_give_no_rates():
    empty = rows([(0, 1, 10)]).clear()
    assert fit_priors(empty) == {}
    assert fault_rates(empty, {}).is_empty()


def test_a_fault_without_a_prior_is_judged_under_laplaces():
    counts = rows([(10 * k, f, 20) for k, f in enumerate([16, 15, 17, 3, 2, 4])])
    with_none = fault_rates(counts, {})
    assert with_none.equals(fault_rates(counts, {"spring": {"trail_push": NO_PRIOR}}))


def test_steady_students_are_seldom_called_better_or_worse():
    # 200 students whose rate never moves, sessions alike (ρ = 0.1): P > 0.95 either way allows 10 %.
    rng = np.random.default_rng(11)
    frames = []
    for student in range(200):
        mean = rng.beta(2, 4)
        rate = np.clip(rng.beta(mean * 9, (1 - mean) * 9, size=9), 0, 1)
        frames.append(
            rows([(9 * d, int(rng.binomial(10, r)), 10) for d, r in enumerate(rate)], f"s{student}")
        )
    data = pl.concat(frames)
    now = fault_rates(data, fit_priors(data)).filter(pl.col("span") == "now")
    called = now["label"].is_in(["better", "worse"]).sum()
    assert called <= 20
