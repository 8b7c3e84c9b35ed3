"""What goes together with the ball, within a student."""

import numpy as np
import polars as pl
import pytest
from scipy import stats

from models.season.ball import ball_link_rows, ball_links, within_slope


def pairs(x, y, student="s1", metric="m", outcome="carry_m", plates="mat"):
    return pl.DataFrame({"mean": x, "value": y}).with_columns(
        season=pl.lit("spring"), student=pl.lit(student), club_family=pl.lit("iron"), metric=pl.lit(metric),
        outcome=pl.lit(outcome), measured_by=pl.lit(plates) if isinstance(plates, str) else pl.Series(plates), session=pl.int_range(pl.len()).cast(pl.String),
    )  # fmt: skip


def test_one_students_link_is_the_plain_regression():
    rng = np.random.default_rng(1)
    x = rng.normal(60, 3, 12)
    y = 100 + 2 * x + rng.normal(0, 2, 12)
    row = ball_links(pairs(x, y)).row(0, named=True)
    theirs = stats.linregress(x, y)
    sd = x.std(ddof=1)
    half = stats.t.ppf(0.95, 10) * theirs.stderr
    assert row["per_sd"] == pytest.approx(theirs.slope * sd)
    assert (row["lo"], row["hi"]) == (
        pytest.approx((theirs.slope - half) * sd), pytest.approx((theirs.slope + half) * sd),
    )  # fmt: skip
    assert row["p"] == pytest.approx(theirs.pvalue)
    assert row["label"] == "goes_together"


def test_means_of_groups_do_not_enter_the_slope_within():
    rng = np.random.default_rng(2)
    owner = np.repeat(np.arange(5.0), 8)
    x = rng.normal(size=40) + 10 * owner
    y = x - 30 * owner + rng.normal(0, 0.1, 40)
    slope, _, freedom = within_slope(x, y, owner)
    assert slope == pytest.approx(1.0, abs=0.05)
    assert freedom == 34


def test_another_plate_in_mid_season_is_no_change_that_goes_with_the_ball():
    rng = np.random.default_rng(4)
    plates = ["mat"] * 8 + ["plates"] * 8
    later = np.repeat([0.0, 1.0], 8)
    x = rng.normal(60, 1, 16) + 12 * later  # the second plate reads higher
    y = rng.normal(150, 3, 16) + 15 * later  # and carry has grown meanwhile
    assert ball_links(pairs(x, y)).row(0, named=True)["label"] == "goes_together"
    row = ball_links(pairs(x, y, plates=plates)).row(0, named=True)
    assert row["label"] == "not_clear"
    linked = ball_links(pairs(x, y + 4 * (x - 12 * later - 60), plates=plates)).row(0, named=True)
    assert linked["label"] == "goes_together"
    assert linked["per_sd"] == pytest.approx(4 * np.sqrt(x.reshape(2, 8).var(axis=1, ddof=1).mean()), rel=0.5)


def test_among_many_metrics_chance_seldom_goes_together():
    rng = np.random.default_rng(3)
    frames = [
        pairs(rng.normal(size=8), rng.normal(size=8), f"s{s}", f"m{m}") for s in range(40) for m in range(12)
    ]
    found = ball_links(pl.concat(frames))
    assert (found["p"] < 0.05).mean() == pytest.approx(0.05, abs=0.03)
    students = found.filter(pl.col("label") == "goes_together")["student"].n_unique()
    assert students <= 8  # q ≤ 0.10 a student: a tenth of 40, and its chance


@pytest.mark.parametrize(("x", "label"), [(np.arange(5.0), "too_few"), (np.full(8, 3.0), "not_clear")])
def test_few_sessions_or_a_metric_that_does_not_move_claim_nothing(x, label):
    row = ball_links(pairs(x, np.arange(float(x.size)))).row(0, named=True)
    assert (row["label"], row["per_sd"], row["q"]) == (label, None, None)


def test_no_shots_give_no_rows(bench):
    bench.touch("s1")
    assert ball_link_rows(bench.writer).is_empty()


def test_shots_of_full_swings_with_a_metric_are_paired_by_session(bench):
    bench.reference({"recentre_pts": False})
    rng = np.random.default_rng(4)
    for k in range(7):
        bench.session(f"v{k}", day=10 * k)
        level = 10.0 + k
        bench.swings(f"v{k}", {"recentre_pts": list(level + rng.normal(0, 0.1, 6))})
        bench.swings(f"v{k}", {"recentre_pts": [99.0] * 6}, first=20, pace="slow")
        for no in (*range(1, 7), *range(20, 26)):
            bench.writer.execute(
                "INSERT INTO academy.shot BY NAME SELECT ? AS session, ? AS swing_no, ? AS carry_m, ? AS side_m, "
                "'d' AS delivery, false AS loose",
                [f"v{k}", no, 100 + 3 * level + float(rng.normal(0, 0.5)), float(rng.normal())],
            )
    bench.touch("s1")
    rows = {row["outcome"]: row for row in ball_link_rows(bench.writer).to_dicts()}
    assert set(rows) == {"carry_m", "side_spread_m"}
    assert rows["carry_m"]["n_sessions"] == 7
    assert rows["carry_m"]["per_sd"] == pytest.approx(3 * np.std(np.arange(7), ddof=1), rel=0.1)
    assert rows["carry_m"]["label"] == "goes_together"
