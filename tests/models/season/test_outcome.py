"""Outcomes beside the level: nothing is said where nothing changes, and what is planted is found."""

from datetime import date, timedelta

import numpy as np
import polars as pl
import pytest
import statsmodels.api as sm
from scipy import stats

from models.season.cells import baseline
from models.season.ledger import claims, listed
from models.season.outcome import SIZE, chances, contrasts, estimated, labelled, share_changed
from season_worlds import diaries
from season_worlds.academy import METRICS
from season_worlds.outcomes import SESSION_SD, SWC, SWING_SD, sessions
from warehouse.tables import columns

NOBODY = pl.DataFrame(schema={"student": pl.String, "day": pl.Date})
NOTHING = [pl.DataFrame(schema=columns(f"season.{table}")) for table in ("change_chance", "new_fault_chance")]


KNOWN = {"worthwhile": SWC, "sd_session": SESSION_SD, "sd_swing": SWING_SD}


def read(rows, known=KNOWN, falling=(), practised=NOBODY):
    """Every value z of an outcome, and what is known of each change by each day."""
    fits = dict.fromkeys(rows.select("season", "club_family", "metric").unique().iter_rows(), known)
    found = contrasts(rows, baseline(rows), practised, fits, list(falling))
    return found, estimated(found)


def answers(rows, *more):
    """What the season's budget lets be said, all through the season."""
    found = read(rows, *more)[1]
    chance = chances(found, {outcome: share_changed(found, outcome) for outcome in SIZE})
    return labelled(chance, listed(claims(*NOTHING, chance)))


def said(rows, outcome, label):
    return rows.filter(outcome=outcome, label=label)


def test_where_nothing_changes_next_to_nothing_is_said():
    """3 academies of 40 students; tests/FIGURES.md has the rate from 200."""
    rows = [answers(sessions(np.random.default_rng(seed))[0]) for seed in range(3)]
    false = sum(row["label"].is_in(["improving", "slipping"]).sum() for row in rows)
    assert false <= 3
    assert sum(map(len, rows)) > 2000


@pytest.mark.parametrize(
    ("planted", "outcome", "label", "least"),
    [
        ({"steadier": 3.0}, "consistency", "improving", 0.15),
        ({"lost_a_pause": 6.0}, "keeping", "slipping", 0.3),
        ({"behind": 8.0}, "transfer_pace", "slipping", 0.3),
        ({"other_club": 8.0}, "transfer_club", "slipping", 0.3),
    ],
)
def test_a_planted_change_is_found_and_is_that_of_those_who_change(planted, outcome, label, least):
    rows, changing = sessions(np.random.default_rng(7), share=0.4, **planted)
    found = said(answers(rows), outcome, label)
    right = found.filter(pl.col("student").is_in(changing))
    assert len(right) >= 0.9 * len(found)
    assert len(right) >= least * 6 * len(changing)


def of_diaries(world, seed):
    """What is said of academies by another hand, beside what is true there."""
    book = diaries.beside_the_level(world, 30, seed)
    keys = ["session", "club_family", "pace", "part", "device", "metric"]
    swings = book.tables["academy.swing"].join(
        book.tables["academy.swing_metric"], on=["session", "swing_no"]
    )
    values = swings.unpivot(on=list(diaries.SIX), index=keys[:-1], variable_name="metric")
    rows = (
        values.group_by(keys, maintain_order=True)
        .agg(mean=pl.col("value").mean(), sd=pl.col("value").std(), n=pl.len().cast(pl.Int32))
        .join(book.tables["academy.session"].drop("device"), on="session")
        .with_columns(heel_source=pl.lit("none"))
    )
    spread = {"worthwhile": diaries.SPREAD / 5, "sd_session": np.hypot(diaries.DAY, diaries.BLOCK)}
    said = answers(rows, {**spread, "sd_swing": diaries.SWING}, [m for m in METRICS if METRICS[m][0] < 0])
    side = pl.col("label").replace_strict({"improving": 1, "slipping": -1}, default=0)
    both = said.join(book.truth, on=["student", "metric", "outcome"], suffix="_true").with_columns(side=side)
    return both.with_columns(right=pl.col("side") * pl.col("change_true") > 0)


@pytest.mark.parametrize(
    "world", ["nobody_changes", "unequal_noise", "level_only", "multiplicative", "heavy_tails", "drop_outs"]
)
def test_noise_levels_and_leaving_are_not_taken_for_outcomes(world):
    """Rates of more academies are in tests/FIGURES.md: at most 0.2 false rows each, of 1,080."""
    rows = of_diaries(world, 3)
    assert len(rows) > 900
    assert len(rows.filter(pl.col("side") != 0, ~pl.col("right"))) <= 1


@pytest.mark.parametrize(
    ("world", "outcome", "least"),
    [
        ("steadier", "consistency", 0.15),
        ("away", "keeping", 0.04),
        ("pace", "transfer_pace", 0.12),
        ("clubs", "transfer_club", 0.12),
    ],
)
def test_large_changes_by_another_hand_are_found(world, outcome, least):
    """Three academies, as what the budget allows differs much; tests/FIGURES.md has the shares of more."""
    rows = pl.concat(of_diaries(world, seed) for seed in range(3))
    assert rows.filter(pl.col("change_true") != 0, outcome=outcome)["right"].mean() >= least
    assert rows.filter(pl.col("side") != 0)["right"].mean() >= 0.9


def test_a_slope_is_that_of_weighted_least_squares():
    """Beside statsmodels, whose scale is 1 here: the values vary as much as their variances say, or less."""
    found, known = read(sessions(np.random.default_rng(1), students=1, metrics=1)[0])
    own = found.filter(outcome="consistency", club_family="iron")
    t = (own["day"] - own["day"][0]).dt.total_days().to_numpy()
    fit = sm.WLS(own["z"].to_numpy(), sm.add_constant(t), weights=1 / own["v"].to_numpy()).fit()
    row = known.filter(outcome="consistency", club_family="iron").row(-1, named=True)
    assert row["change"] == pytest.approx(fit.params[1] * t[-1])
    usual = fit.bse[1] * t[-1] * np.sqrt(max(1, 1 / fit.scale))
    assert row["half"] == pytest.approx(usual * stats.t.ppf(0.95, len(own) - 2), rel=1e-6)


def test_the_log_of_few_swings_spread_is_not_too_small():
    rng = np.random.default_rng(2)
    rows, _ = sessions(rng, students=60, metrics=4)
    z = read(rows)[0].filter(outcome="consistency", club_family="iron")["z"]
    assert -z.mean() == pytest.approx(np.log(SWING_SD), abs=0.03)


def test_a_pause_with_logged_practice_in_it_is_none():
    rows, _ = sessions(np.random.default_rng(3), students=4, metrics=1)
    paused = read(rows)[0].filter(outcome="keeping", club_family="iron")
    assert len(paused) > 0
    every_day = [date(2026, 3, 2) + timedelta(days=k) for k in range(300)]
    busy = pl.DataFrame(
        [(f"s{s:02d}", day) for s in range(4) for day in every_day], schema=["student", "day"], orient="row"
    )
    assert read(rows, practised=busy)[0].filter(outcome="keeping").is_empty()


def test_where_down_is_better_a_rise_in_a_pause_is_a_loss():
    rows, _ = sessions(np.random.default_rng(4), students=3, metrics=1)
    up, down = (read(rows, falling=falling)[0].filter(outcome="keeping")["z"] for falling in ((), ("m0",)))
    assert up.to_list() == (-down).to_list()


def test_before_the_fourth_session_there_is_no_row():
    rows, _ = sessions(np.random.default_rng(5), students=5, metrics=1)
    third = (
        rows.filter(club_family="iron", pace="full")
        .sort("student", "day")
        .group_by("student", maintain_order=True)
        .head(3)
    )
    assert set(read(third)[1]["outcome"]) <= {"keeping"}


def test_the_order_in_which_sessions_are_kept_changes_no_bit():
    rows, _ = sessions(np.random.default_rng(6), students=4, metrics=1)
    found = read(rows)[1]
    assert found.equals(read(rows.sample(fraction=1, shuffle=True, seed=1))[1])
