"""Agreed aims: the line since the agreed day, how kindred metrics are weighed, and what is said at the looks."""

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import polars as pl
import pytest
import statsmodels.api as sm
from hypothesis import given
from hypothesis import strategies as st

from models.season.agreed_line import (
    Before,
    Course,
    forecast,
    kindred_weights,
    shared_errors,
    wandering_covariance,
)
from models.season.estimation import spending_bounds
from models.season.together import Together
from season_worlds import aims, diaries, scores
from season_worlds.answers import answering


def course(rng, metrics=1, before=5, after=7, change=0.0):
    t = np.concatenate([-np.sort(rng.uniform(0, 3, before))[::-1], np.sort(rng.uniform(0.2, 4, after))])
    rise = change * np.maximum(t, 0) / t[-1]
    y = 5 + rise[:, None] + rng.normal(0, 2, (t.size, metrics))
    r = 0.4 + 0.6 * np.eye(metrics)
    flat = np.zeros((metrics, t.size, t.size))
    return Course(t, y, np.full((t.size, metrics), 2.0), np.full(metrics, 0.8), flat, r)


def test_without_wandering_the_change_is_that_of_generalised_least_squares():
    """Beside statsmodels' GLS with the same covariance, whose slope times the time is the change."""
    still = replace(course(np.random.default_rng(1)), walk=np.zeros(1))
    change, se = still.change(np.ones(1))
    x = sm.add_constant(np.column_stack([np.maximum(still.t, 0), np.minimum(still.t, 0)]))
    fit = sm.GLS(still.y[:, 0], x, sigma=4.0 * np.eye(still.t.size)).fit()
    assert change == pytest.approx(fit.params[1] * still.t[-1], rel=1e-9)
    assert se == pytest.approx(np.sqrt(fit.normalized_cov_params[1, 1]) * still.t[-1], rel=1e-9)


def others(rng, change, months=None, error=1.0):
    """Thirty others' changes before, known to ± 0.3."""
    months = rng.uniform(0.5, 3, 30) if months is None else months
    seen = change(months) + rng.normal(0, 0.3, months.size)
    return Before(months, seen[:, None], np.full(months.size, 0.09), error * np.eye(1))


@pytest.mark.parametrize("known", [False, True])
def test_with_wandering_the_change_is_that_of_a_regression_with_a_prior(known):
    """Beside the conditional normal distribution, a, β ~ N(0, 10⁴²), b likewise or as others: Bayes by matrices."""
    rng = np.random.default_rng(2)
    some = course(rng, change=4)
    some = replace(some, others=others(rng, lambda months: 1 + months) if known else None)
    mean, precision = some.slope_before(np.ones(1))
    assert (precision > 0) == known
    t, u, last = some.t, np.maximum(some.t, 0), some.t[-1]
    walk = 0.64
    ends, many = np.append(t, last), len(t)
    x = np.column_stack([np.ones(many + 1), np.append(u, last), np.append(t - u, 0.0)])
    wide = np.diag([1e8, 1e8, 1 / precision if known else 1e8])
    both = wandering_covariance(ends, walk) + x @ wide @ x.T
    cov = both[:many, :many] + 4 * np.eye(many)
    cross = both[-1, :many] - 1e8  # less what it shares with the level of the agreed day
    prior = walk * last + 1e8 * last**2
    found, se = some.change(np.ones(1))
    assert found == pytest.approx(cross @ np.linalg.solve(cov, some.y[:, 0] - mean * (t - u)), abs=1e-3)
    assert se == pytest.approx(np.sqrt(prior - cross @ np.linalg.solve(cov, cross)), rel=1e-2)


@pytest.mark.parametrize("change", [lambda m: 0 * m + 4, lambda m: 2 * m], ids=["in all", "a month"])
def test_what_is_expected_of_a_change_before_is_how_the_others_changed_for_short_and_long(change):
    """Everyone by 4 in all, or everyone by 2 a month: whichever it was is expected of who came for 1 or 6 months."""
    before = others(np.random.default_rng(6), change, np.linspace(0.5, 6.5, 30))
    for months in (1.0, 6.0):
        mean, precision = before.slope(np.ones(1), months)
        assert mean * months == pytest.approx(change(months), abs=0.4)
        assert precision**-0.5 * months < 0.4


def test_where_others_changed_in_all_ways_hardly_anything_is_expected_of_a_change_before():
    rng = np.random.default_rng(7)
    before = others(rng, lambda months: rng.normal(0, 6, months.size))
    free = course(rng)
    known = replace(free, others=before)
    assert before.slope(np.ones(1), 2.0)[1] ** -0.5 * 2 > 4
    assert known.change(np.ones(1))[1] == pytest.approx(free.change(np.ones(1))[1], rel=0.1)


def test_that_others_were_slipping_is_expected_of_nobody():
    rng = np.random.default_rng(8)
    some = course(rng)
    slipped, rose = (
        replace(some, others=others(rng, lambda months, by=by: 0 * months + by)) for by in (-4, 4)
    )
    assert slipped.slope_before(np.ones(1))[0] == 0
    assert slipped.others.slope(np.ones(1), 2.0)[0] < -1
    assert rose.slope_before(np.ones(1))[0] > 1


def test_others_count_as_far_as_they_have_no_such_aim_yet():
    """All improve by 3 a month since 1 May, the first ten after an aim of that day, which must not count as before."""
    start, may = date(2026, 3, 1), date(2026, 5, 1)
    rng = np.random.default_rng(8)
    rows = []
    for k in range(21):
        days = [start + timedelta(days=int(day)) for day in np.sort(rng.choice(122, 12, replace=False))]
        level = [max((day - may).days, 0) / 10 + rng.normal(0, 0.1) for day in days]
        rows += [(f"s{k:02d}", day, f"s{k}-{day}", y, 10) for day, y in zip(days, level, strict=True)]
    frame = pl.DataFrame(rows, ["student", "day", "session", "mean", "n"], orient="row")
    cell = frame.with_columns(started_at="day")
    agreed = {f"s{k:02d}": may for k in range(10)}
    one, scale = Together.of([cell], agreed), np.ones(1)
    early, late = (one.before("s20", day, scale) for day in (may, date(2026, 7, 1)))
    assert np.abs(early.change).max() < 0.3
    assert np.abs(late.change[:10]).max() < 0.3
    assert late.change[10:].min() > 2
    assert one.before("s20", start, scale) is None or len(one.before("s20", start, scale).months) == 10
    assert Together.of([cell.filter(pl.col("student") < "s08")], {}).before("s00", may, scale) is None


@given(st.integers(1, 6), st.integers(0, 10_000))
def test_weights_are_never_negative_and_sum_to_one(metrics, seed):
    rng = np.random.default_rng(seed)
    half = rng.normal(size=(metrics, metrics + 1)) * rng.uniform(0.1, 5, (metrics, 1))
    weights = kindred_weights(half @ half.T)
    assert (weights >= 0).all()
    assert weights.sum() == pytest.approx(1)


@given(st.integers(1, 6), st.integers(0, 10_000))
def test_shared_errors_are_correlations_that_weights_can_be_made_of(metrics, seed):
    left = np.random.default_rng(seed).normal(size=(60, metrics))
    r, covariance = shared_errors(left.T @ left, 50)
    assert np.linalg.eigvalsh(r).min() > 0
    assert np.diag(r) == pytest.approx(np.ones(metrics))
    assert np.sqrt(np.diag(covariance)) == pytest.approx(np.sqrt((left**2).sum(axis=0) / 50))


def test_few_other_students_leave_metrics_erring_as_one():
    r, covariance = shared_errors(np.array([[3.0, 0.5], [0.5, 2.0]]), 12)
    assert (r == 1).all()
    assert kindred_weights(covariance).tolist() == [0.5, 0.5]


def test_a_metric_beside_one_that_weighs_nothing_is_judged_as_alone():
    two = course(np.random.default_rng(3), metrics=2)
    one = replace(
        two, y=two.y[:, :1], sd=two.sd[:, :1], walk=two.walk[:1],
        device=two.device[:1], r=np.ones((1, 1)),
    )  # fmt: skip
    assert two.change(np.array([1.0, 0.0])) == pytest.approx(one.change(np.ones(1)))


def test_four_kindred_metrics_are_known_better_than_one():
    four = course(np.random.default_rng(4), metrics=4)
    assert four.change(np.full(4, 0.25))[1] < 0.85 * four.change(np.eye(4)[0])[1]


def test_more_visits_show_a_change_sooner_than_more_swings():
    before = course(np.random.default_rng(5)).upto(0.0)
    rare, weekly = (
        forecast(before.t, before.errors(np.ones(1)), 0.64, gap, range(1, int(4 / gap) + 1))[1][-1]
        for gap in (0.5, 0.25)
    )
    assert weekly < 0.9 * rare


def test_bounds_by_the_calendar_spend_what_bounds_by_information_do_where_both_agree():
    looks = (0.25, 0.5, 0.75, 1.0)
    assert spending_bounds(looks, 0.1, looks) == spending_bounds(looks, 0.1)
    early, _, _, last = spending_bounds((0.4, 0.6, 0.8, 1.0), 0.1, looks)
    assert early > last > 1.645


@pytest.fixture(scope="module")
def answers(tmp_path_factory):
    with answering(tmp_path_factory.mktemp("aims") / "home") as opened:
        yield opened


def test_a_large_change_since_the_agreed_day_is_found_and_none_is_not(answers):
    world = aims.agreed(24, 3, worth=(0.0, 6.0))
    found = answers.of(world, "agreed_aim")
    (few, none), (many, moved) = (scores.aims_reached(worth)(world, found) for worth in (0.0, 6.0))
    assert (none, moved) == (12, 12)
    assert few <= 2
    assert many >= 10
    rows = found["agreed_aim"]
    assert rows["weights"].list.sum().to_list() == pytest.approx([1.0] * len(rows))
    assert rows.filter(pl.col("least_weekly") > pl.col("least"), pl.col("gap_days") > 8).is_empty()
    assert (rows["least"] > rows["least_double_swings"]).drop_nulls().all()
    assert rows.filter(label="reached")["would_show"].null_count() == rows.filter(label="reached").height


def test_no_change_says_something_only_where_what_was_agreed_would_have_shown(answers):
    """With 40 smallest worthwhile changes agreed on, silence means something; with a fifth of one, it does not."""
    world = aims.agreed(12, 8, worth=(0.0,))
    for wanted, would in ((48.0, True), (0.24, False)):  # of 1.2 each
        notes = world.tables["academy.note"].with_columns(value=pl.lit(wanted))
        rows = answers.of(replace(world, tables=world.tables | {"academy.note": notes}), "agreed_aim")[
            "agreed_aim"
        ]
        silent = rows.filter(pl.col("label").is_in(["not_yet", "not_reached"]))
        assert len(silent) >= 8
        assert set(silent["would_show"]) == {would}


@pytest.mark.parametrize("metrics", [aims.FOUR[:1], aims.FOUR])
def test_what_would_show_is_said_before_anything_is_agreed_on_as_it_is_once_it_was(answers, metrics):
    """Beside the row of an aim of those metrics, agreed on the newest day: the same forecast, made another way."""
    world = aims.agreed(16, 3, worth=(0.0,), metrics=metrics)
    today = world.tables["academy.session"]["day"].max()
    notes = world.tables["academy.note"].with_columns(
        day=pl.lit(today), at=pl.lit(today).cast(pl.Datetime("us")), due=pl.lit(today + timedelta(weeks=13))
    )
    found = answers.of(
        replace(world, tables=world.tables | {"academy.note": notes}), "agreed_aim", "aim_forecast"
    )
    some = found["aim_forecast"].filter(
        pl.col("metrics").list.join(" ") == " ".join(sorted(metrics)), weeks=13
    )
    both = found["agreed_aim"].join(some, on="student", suffix="_before")
    assert len(both) >= 12
    for name in ("least", "least_weekly", "least_double_swings"):
        assert (both[name] / both[f"{name}_before"]).to_list() == pytest.approx([1.0] * len(both), rel=0.1)
    assert both["gap_days"].to_list() == pytest.approx(both["gap_days_before"].to_list())


@pytest.mark.parametrize("before", [(4.0,), (4.0, 0.0)], ids=["all", "half"])
def test_a_change_before_the_agreed_day_is_none_since(answers, before):
    world = aims.agreed(24, 4, worth=(0.0,), before=before)
    assert scores.aims_reached(0.0)(world, answers.of(world, "agreed_aim"))[0] <= 2


@pytest.mark.parametrize(("world", "most"), [("usual", 4), ("others_fell", 3), ("few_visits", 2)])
def test_who_goes_on_as_before_has_reached_nothing(answers, world, most):
    """By another hand; tests/FIGURES.md has the rates."""
    found = answers.of(diaries.aims(world, 20, 5), "agreed_aim")["agreed_aim"]
    assert len(found) == 20
    assert len(found.filter(label="reached")) <= most


def test_a_change_by_another_hand_is_reached_by_most(answers):
    found = answers.of(diaries.aims("usual", 20, 6, gain=4.0), "agreed_aim")["agreed_aim"]
    assert len(found.filter(label="reached")) >= 13


def test_before_the_due_day_what_does_not_show_is_not_yet_and_a_fifth_session_is_awaited(answers):
    world = aims.agreed(12, 5, worth=(0.0,))
    (some,) = answers.looks(world, [date(2026, 6, 1)], "agreed_aim")
    rows = some["agreed_aim"]
    assert set(rows["label"]) <= {"not_yet", "too_soon", "reached"}
    waiting = rows.filter((pl.col("n_before") < 4) | (pl.col("n_since") == 0))
    assert set(waiting["label"]) == {"too_soon"}
    assert waiting["change"].null_count() == len(waiting)


def test_a_load_makes_the_rows_that_a_build_makes(answers):
    world = aims.agreed(12, 6)
    built = answers.of(world, "agreed_aim")["agreed_aim"]
    assert answers.made(["agreed_aim"], whole=False)["agreed_aim"].equals(built)
