"""The ball over a season: planted changes are found, none is claimed where there is none, intervals hold the truth."""

from datetime import date, datetime, time, timedelta

import numpy as np
import polars as pl
import pytest

import builders
from models.samples import temporary
from models.season.ball_season import ball_season_rows, ball_trends, session_balls
from warehouse.store import writer

START = date(2026, 4, 6)


def summed(carry, side, strike, *, session="v1", day=START, student="s1"):
    """Rows as the query gives them, of one session's shots."""
    keys = {"season": "2026", "student": student, "session": session, "started_at": datetime.combine(day, time(10)),
            "day": day, "club_family": "iron", "club": "7-iron"}  # fmt: skip
    shots = {"carry_m": carry, "side_m": side, "strike_ratio": strike}
    return [
        keys | {"quantity": name, "n": len(v), "mean": float(np.mean(v)), "sd": float(np.std(v, ddof=1))}
        for name, v in shots.items()
    ]


def season(rng, *, carry_gain=0.0, spread_factor=1.0, strike_gain=0.0, sessions=8, student="s1"):
    rows = []
    for k in range(sessions):
        along = k / (sessions - 1)
        carry = 130 + carry_gain * along + rng.normal(0, 1.5) + rng.normal(0, 6, 10)
        side = rng.normal(0, 8 * spread_factor**along, 10)
        strike = 1.30 + strike_gain * along + rng.normal(0, 0.01) + rng.normal(0, 0.03, 10)
        day = START + timedelta(days=14 * k)
        rows += summed(carry, side, strike, session=f"v{k}", day=day, student=student)
    return session_balls(pl.DataFrame(rows))


def labels(rows):
    return dict(ball_trends(rows).select("outcome", "label").iter_rows())


def test_a_planted_change_is_found_and_its_direction_is_the_players():
    rng = np.random.default_rng(1)
    farther = ball_trends(season(rng, carry_gain=15)).filter(outcome="carry_m").row(0, named=True)
    assert farther["label"] == "improving"
    assert farther["change_lo"] < 15 < farther["change_hi"]
    assert labels(season(rng, carry_gain=-15))["carry_m"] == "slipping"
    assert labels(season(rng, spread_factor=0.3))["side_spread_m"] == "improving"
    assert labels(season(rng, spread_factor=3.0))["side_spread_m"] == "slipping"
    assert labels(season(rng, strike_gain=0.1))["strike_ratio"] == "improving"


def test_with_nothing_planted_a_change_is_seldom_claimed():
    rng = np.random.default_rng(2)
    rows = ball_trends(pl.concat([season(rng, student=f"s{k}") for k in range(200)]))
    claimed = rows.filter(pl.col("label").is_in(["improving", "slipping"]))["student"].n_unique()
    assert claimed <= 30  # of 200 students; at q of one in ten some 20 by chance


def test_the_intervals_hold_the_truth_nine_times_in_ten():
    rng = np.random.default_rng(3)
    held = {"carry_m": 0, "carry_spread_m": 0, "side_spread_m": 0, "strike_ratio": 0}
    truth = {"carry_m": 130, "carry_spread_m": 6, "side_spread_m": 8, "strike_ratio": 1.3}
    shots = [
        summed(rng.normal(130, 6, 8), rng.normal(0, 8, 8), rng.normal(1.3, 0.03, 8), session=f"v{k}")
        for k in range(1000)
    ]
    for row in session_balls(pl.DataFrame([r for rows in shots for r in rows])).iter_rows(named=True):
        held[row["outcome"]] += row["lo"] <= truth[row["outcome"]] <= row["hi"]
    assert all(870 <= n <= 930 for n in held.values()), held


def test_five_sessions_are_too_few():
    rows = ball_trends(season(np.random.default_rng(4), carry_gain=40, sessions=5))
    assert set(rows["label"]) == {"too_few"}
    assert rows["change"].null_count() == rows.height


def test_a_ball_that_never_varies_is_no_reason_to_stop():
    flat = [r for k in range(6) for r in summed(np.full(5, 130.0), np.zeros(5), np.full(5, 1.3), session=f"v{k}",
            day=START + timedelta(days=k))]  # fmt: skip
    rows = session_balls(pl.DataFrame(flat))
    assert set(rows["outcome"]) == {"carry_m", "strike_ratio"}
    assert set(ball_trends(rows)["label"]) == {"not_clear"}


@pytest.fixture
def shot_home(home):
    """One session: eight full shots with a 7-iron, and others that do not count."""
    with writer(home) as w:
        w.append("academy.session", builders.session_frame("v1", "s1", season="2026"))
        kinds = [("7-iron", "iron", "full", "baseline")] * 8 + [
            ("5-iron", "iron", "full", "baseline"), ("7-iron", "iron", "slow", "baseline"),
            ("7-iron", "iron", "full", "after_drill"), ("putter", "putter", "full", "baseline"),
        ]  # fmt: skip
        swings = [
            {"session": "v1", "swing_no": no, "club": club, "club_family": family, "pace": pace, "part": part,
             "usable": False, "n_samples": 0, "flags": [], "flag_counts": [], "file_flags": [], "file_flag_counts": [],
             "heel_source": "none"}
            for no, (club, family, pace, part) in enumerate(kinds, 1)
        ]  # fmt: skip
        lists = {"flags": pl.List(pl.String), "file_flags": pl.List(pl.String)}
        counts = {"flag_counts": pl.List(pl.Int32), "file_flag_counts": pl.List(pl.Int32)}
        w.append("academy.swing", pl.DataFrame(swings, schema_overrides=lists | counts))
        w.append(
            "academy.shot",
            pl.DataFrame(
                {
                    "session": "v1", "swing_no": range(1, 13), "carry_m": [130.0 + k for k in range(8)] + [190.0] * 4,
                    "side_m": [float(k) for k in range(12)], "club_speed_m_s": [35.0] * 7 + [0.0] + [35.0] * 4,
                    "ball_speed_m_s": [45.5] * 6 + [90.0] + [45.5] * 5, "delivery": "x", "loose": False,
                }
            ),
        )  # fmt: skip
    return home


def test_only_full_shots_with_the_usual_club_count_and_mixed_up_speeds_are_left_out(shot_home):
    with writer(shot_home) as w:
        temporary(w, "touched", "student", ["s1"])
        found = {row["outcome"]: row for row in ball_season_rows(w)[0].iter_rows(named=True)}
    assert found["carry_m"]["value"] == pytest.approx(133.5)
    assert {row["n"] for name, row in found.items() if name != "strike_ratio"} == {8}
    assert found["carry_spread_m"]["value"] == pytest.approx(np.std(np.arange(8), ddof=1))
    strike = found["strike_ratio"]  # one shot without a club speed, one faster than a ball can leave
    assert (strike["n"], strike["value"], strike["lo"]) == (6, pytest.approx(1.3), pytest.approx(1.3))
    assert {row["club"] for row in found.values()} == {"7-iron"}
