"""What goes together with the ball, within a student."""

import numpy as np
import polars as pl
import pytest
import statsmodels.api as sm
from statsmodels.stats.multitest import multipletests

from models.season.ball import ball_link_rows, ball_links
from models.season.estimation import holm


def pairs(x, y, student="s1", metric="m", sessions=8, plates="mat"):
    """Swings in equal sessions, one after the other."""
    each = len(x) // sessions
    session = np.repeat(np.arange(sessions), each).astype(str)
    return pl.DataFrame({"measure": x, "value": y, "session": session}).with_columns(
        season=pl.lit("spring"), student=pl.lit(student), club_family=pl.lit("iron"), metric=pl.lit(metric),
        outcome=pl.lit("carry_m"), swing_no=pl.Series(np.tile(np.arange(each), sessions)),
        compared=pl.col("session") + (pl.lit(plates) if isinstance(plates, str) else pl.Series(plates)),
    )  # fmt: skip


def test_one_students_link_is_the_regression_with_a_line_for_each_session():
    """Against statsmodels' OLS with a constant and a slope for each session."""
    rng = np.random.default_rng(1)
    session, place = np.repeat(np.arange(8), 6), np.tile(np.arange(6.0), 8)
    x = rng.normal(60, 3, 48) + 4 * session
    y = 100 + 2 * x + rng.normal(0, 6, 48) + 10 * session - session * place
    row = ball_links(pairs(x, y)).row(0, named=True)
    own = np.eye(8)[session]
    theirs = sm.OLS(y, np.column_stack([x, own, own * place[:, None]])).fit()
    left = sm.OLS(x, np.column_stack([own, own * place[:, None]])).fit()
    sd = np.sqrt(left.scale)
    assert row["per_sd"] == pytest.approx(theirs.params[0] * sd)
    lo, hi = theirs.conf_int(alpha=0.10)[0]
    assert (row["lo"], row["hi"]) == (pytest.approx(lo * sd), pytest.approx(hi * sd))
    assert row["p"] == pytest.approx(theirs.pvalues[0])
    assert (row["n_sessions"], row["label"]) == (8, "goes_together")


def test_what_changes_from_session_to_session_is_no_link():
    rng = np.random.default_rng(2)
    level = np.repeat(np.arange(8.0), 6)
    row = ball_links(pairs(level + rng.normal(size=48), -3 * level + rng.normal(size=48))).row(0, named=True)
    assert row["label"] == "not_clear"


def test_another_plate_within_a_session_is_no_change_that_goes_with_the_ball():
    rng = np.random.default_rng(4)
    plates = np.tile([" mat"] * 6 + [" plates"] * 6, 8)
    second = (plates == " plates").astype(float)
    x = rng.normal(60, 1, 96) + 12 * second  # the second plate reads higher
    y = rng.normal(150, 3, 96) + 15 * second  # and carry is longer there
    assert ball_links(pairs(x, y, plates=plates)).row(0, named=True)["label"] == "not_clear"
    linked = ball_links(pairs(x, y + 4 * x, plates=plates)).row(0, named=True)
    assert linked["label"] == "goes_together"
    assert linked["per_sd"] == pytest.approx(4, rel=0.3)


def test_holms_step_down_is_that_of_statsmodels():
    rng = np.random.default_rng(5)
    p = rng.uniform(0, 0.2, 12)
    np.testing.assert_allclose(holm(p), multipletests(p, method="holm")[1])
    assert np.isnan(holm(np.array([np.nan, 0.01]))).tolist() == [True, False]
    assert holm(np.array([np.nan, 0.01]))[1] == 0.01  # what is not known does not count


def test_holm_counts_all_of_a_students_rows_of_the_season_and_no_others():
    rng = np.random.default_rng(6)
    frames = [pairs(rng.normal(size=48), rng.normal(size=48), s, m) for s in ("s1", "s2") for m in "abc"]
    both = pl.concat([*frames, frames[0].with_columns(outcome=pl.lit("side_spread_m"))])
    for (student,), rows in ball_links(both).group_by("student"):
        assert len(rows) == (4 if student == "s1" else 3)
        assert rows["q"].to_list() == pytest.approx(multipletests(rows["p"], method="holm")[1])


def test_among_many_metrics_chance_seldom_goes_together():
    rng = np.random.default_rng(3)
    frames = [
        pairs(rng.normal(size=48), rng.normal(size=48), f"s{s}", f"m{m}")
        for s in range(40)
        for m in range(12)
    ]
    found = ball_links(pl.concat(frames))
    assert (found["p"] < 0.05).mean() == pytest.approx(0.05, abs=0.03)
    students = found.filter(pl.col("label") == "goes_together")["student"].n_unique()
    assert students <= 8  # one in ten a student: 4 of 40, and its chance


@pytest.mark.parametrize(("sessions", "x", "label"), [(5, None, "too_few"), (8, 3.0, "not_clear")])
def test_few_sessions_or_a_metric_that_does_not_move_claim_nothing(sessions, x, label):
    rng = np.random.default_rng(7)
    y = rng.normal(size=6 * sessions)
    row = ball_links(pairs(y + 1 if x is None else np.full(y.size, x), y, sessions=sessions)).row(
        0, named=True
    )
    assert (row["label"], row["per_sd"], row["q"]) == (label, None, None)


def test_no_shots_give_no_rows(bench):
    bench.touch("s1")
    assert ball_link_rows(bench.writer).is_empty()


def test_each_shot_is_set_beside_its_own_swing(bench):
    bench.reference({"recentre_pts": False})
    rng = np.random.default_rng(4)
    for k in range(7):
        bench.session(f"v{k}", day=10 * k)
        level = list(10 - k + rng.normal(0, 1, 8))  # falls from visit to visit while carry grows
        bench.swings(f"v{k}", {"recentre_pts": level})
        bench.swings(f"v{k}", {"recentre_pts": [99.0] * 6}, first=20, pace="slow")
        for no, value in [*enumerate(level, 1), *((no, 99.0) for no in range(20, 26))]:
            carry = 100 + 20 * k + 3 * (value + k) + float(rng.normal(0, 0.5))
            bench.writer.execute(
                "INSERT INTO academy.shot BY NAME SELECT ? AS session, ? AS swing_no, ? AS carry_m, ? AS side_m, "
                "'d' AS delivery, false AS loose",
                [f"v{k}", no, carry, 5 + 4 * (value - np.mean(level)) * (-1) ** no],
            )
    bench.touch("s1")
    rows = {row["outcome"]: row for row in ball_link_rows(bench.writer).to_dicts()}
    assert set(rows) == {"carry_m", "side_spread_m"}
    assert rows["carry_m"]["n_sessions"] == 7
    assert rows["carry_m"]["per_sd"] == pytest.approx(3, rel=0.3)
    assert rows["carry_m"]["label"] == "goes_together"
    assert rows["side_spread_m"]["label"] == "not_clear"  # high and low swings both end to the side
