"""The ball over a season against worlds in which it is known what changed, from rows of shots to the claim."""

from datetime import datetime

import polars as pl
import pytest

import builders
from models.samples import temporary
from models.season.ball_season import ball_season_rows
from planted_balls import LONGER_BY_M, WORLDS, planted_ball_world
from season_worlds.academy import NO_FLAGS
from warehouse.store import writer

STUDENTS = 20
ODD = ["odd_session", "odd_last_session"]
FEW = ["few_sessions", "few_shots"]
CHANGED = [name for name, world in WORLDS.items() if world.change]
UNCHANGED = [name for name, world in WORLDS.items() if name not in CHANGED + ODD + FEW]
START = datetime(2026, 3, 1, 10, 0)  # noqa: DTZ001 - UTC without a zone, as in the warehouse
KEYS = ["world", "student_code", "outcome"]


def add(opened, world, shots):
    """A world's shots as rows of the warehouse; its students' codes begin with its name."""
    at = pl.lit(START) + pl.duration(days="session_day")
    rows = shots.select(
        "club", "club_family", "carry_m", "side_m", "ball_speed_m_s", "club_speed_m_s",
        student=pl.format("{}:{}", pl.lit(world), "student_code"), started_at=at, day=at.dt.date(),
        session=pl.format("{}:{}:{}", pl.lit(world), "student_code", "session_no"),
        swing_no=pl.col("shot_no").cast(pl.Int32),
    )  # fmt: skip
    visits = rows.unique("session", keep="first", maintain_order=True).select(
        "session", "student", "started_at", "day", season=pl.lit("2026"), delivery=pl.lit("d"), club="club",
        has_plate=False, has_clip=False, feet_checked=False, reduced=True,
    )  # fmt: skip
    opened.append("academy.session", visits)
    swings = rows.select(
        "session", "swing_no", "club", "club_family", part=pl.lit("baseline"), pace=pl.lit("full"),
        n_samples=0, usable=False, heel_source=pl.lit("none"), **NO_FLAGS,
    )  # fmt: skip
    opened.append("academy.swing", swings)
    ball = ["session", "swing_no", "carry_m", "side_m", "ball_speed_m_s", "club_speed_m_s"]
    opened.append("academy.shot", rows.select(*ball, delivery=pl.lit("d"), loose=False))
    return visits["student"].unique().to_list()


@pytest.fixture(scope="module")
def judged(tmp_path_factory):
    """What is said of every student of every world, beside what was planted."""
    truths, students = [], []
    with writer(builders.make_home(tmp_path_factory.mktemp("balls"))) as opened:
        for seed, world in enumerate(WORLDS):
            planted = planted_ball_world(world, students=STUDENTS, seed=seed)
            students += add(opened, world, planted.shots)
            truths.append(planted.truth.with_columns(world=pl.lit(world)))
        temporary(opened, "touched", "student", students)
        _, found = ball_season_rows(opened)
    code = pl.col("student").str.split(":")
    found = found.with_columns(world=code.list.get(0), student_code=code.list.get(1)).drop("student")
    return (
        pl.concat(truths).rename({"change": "planted"}).join(found, on=KEYS, how="left")
        .with_columns(claimed=pl.col("label").is_in(["improving", "slipping"]).fill_null(value=False))
    )  # fmt: skip


def students_claimed(rows):
    """The share of students of whom any change is claimed; rows of worlds without a change."""
    return rows.group_by("world", "student_code").agg(pl.col("claimed").any())["claimed"].mean()


@pytest.mark.parametrize(
    ("world", "outcome", "direction", "found"),
    [
        ("longer", "carry_m", "improving", 0.6),
        ("longer_at_once", "carry_m", "improving", 0.6),
        ("shorter", "carry_m", "slipping", 0.6),
        ("tighter", "carry_spread_m", "improving", 0.6),
        ("tighter", "side_spread_m", "improving", 0.6),
        ("wider", "carry_spread_m", "slipping", 0.4),
        ("wider", "side_spread_m", "slipping", 0.4),
        ("purer", "strike_ratio", "improving", 0.9),
    ],
)
def test_a_planted_change_is_found_in_most_and_never_turned_around(judged, world, outcome, direction, found):
    labels = judged.filter(world=world, outcome=outcome)["label"].to_list()
    assert labels.count(direction) >= found * STUDENTS
    assert set(labels) <= {direction, "not_clear"}


def test_where_nothing_changed_a_change_is_claimed_of_one_student_in_ten_at_most(judged):
    unchanged = judged.filter(pl.col("world").is_in(UNCHANGED))
    assert students_claimed(unchanged) <= 0.10 + 3 * (0.09 / (STUDENTS * len(UNCHANGED))) ** 0.5
    for _, rows in unchanged.group_by("world"):
        assert students_claimed(rows) <= 0.30  # of 20 students; over 6 by chance in one world of four hundred


def test_of_what_is_claimed_of_a_student_a_tenth_at_most_did_not_change(judged):
    """As the false discovery rate counts: the mean over students, 0 for one of whom nothing is claimed."""
    changed = judged.filter(pl.col("world").is_in(CHANGED))
    false = (pl.col("claimed") & (pl.col("planted") == 0)).sum() / pl.col("claimed").sum().clip(lower_bound=1)
    of_each = changed.group_by("world", "student_code").agg(false=false)["false"]
    assert of_each.mean() <= 0.10
    assert changed["claimed"].sum() > 100


def test_the_interval_of_a_steady_change_holds_it_nine_times_in_ten(judged):
    known = judged.filter(~pl.col("world").is_in(ODD), "straight").drop_nulls("change")
    held = known.with_columns(held=pl.col("planted").is_between("change_lo", "change_hi"))
    assert 0.87 <= held["held"].mean() <= 0.94
    for _, rows in held.group_by("outcome"):
        assert 0.85 <= rows["held"].mean() <= 0.96


def test_too_few_sessions_or_shots_claim_nothing(judged):
    few = judged.filter(pl.col("world").is_in(FEW))
    assert set(few["label"].to_list()) <= {"too_few", None}


def test_a_longer_club_is_no_longer_ball(judged):
    of_one_club = judged.filter(world="same", outcome="carry_m")["change"].std()
    for world in ("another_club", "more_of_another_club"):
        carry = judged.filter(world=world, outcome="carry_m").drop_nulls("change")
        assert len(carry) >= 0.8 * STUDENTS
        assert abs(carry["change"].mean()) < of_one_club < LONGER_BY_M / 2


def test_one_odd_session_moves_the_line_but_its_interval_grows_with_it(judged):
    """An odd last session looks like a change: claimed of more students than elsewhere, yet of under half."""
    odd = judged.filter(world="odd_last_session")
    assert odd.filter(outcome="carry_m")["change"].mean() < -5
    assert students_claimed(judged.filter(world="odd_session")) <= 0.25
    assert students_claimed(odd) <= 0.5
