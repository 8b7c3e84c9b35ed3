"""Felt against measured in seasons in which it is known whether agreement rose."""

from datetime import date

import polars as pl
import pytest

from models.season.felt import agreement
from planted_feelings import WORLDS, planted_feelings
from warehouse.tables import columns

STUDENTS = 150
RISES = [name for name, world in WORLDS.items() if world.agreement == "rises"]
STAYS = [name for name, world in WORLDS.items() if world.agreement == "stays"]


@pytest.fixture(scope="module")
def answers():
    """World → rows of season.felt, and of what is said of them."""
    return {name: said(name, seed) for seed, name in enumerate(WORLDS)}


def said(name, seed):
    answered = planted_feelings(name, students=STUDENTS, seed=seed).answers
    rows = answered.with_columns(
        note=pl.format("{}:{}:{}", "student_code", "session_no", "answer_no"), student="student_code",
        season=pl.lit("2026"), session=pl.format("{}:{}", "student_code", "session_no"),
        day=pl.lit(date(2026, 4, 1)) + pl.duration(days="session_day"), feeling=pl.lit("lead_heel_light"),
        swing_no=pl.lit(None, pl.Int32), drill=pl.lit(None, pl.String), judged=pl.lit(3, pl.Int32),
        against=pl.lit(0, pl.Int32),
    ).select(columns("season.felt").keys())  # fmt: skip
    return rows, agreement(rows)


def labels(answers, name):
    return answers[name][1].filter(span="now")["label"].to_list()


@pytest.mark.parametrize("name", RISES)
def test_agreement_that_rises_is_found_in_a_third_or_more_and_never_turned_around(answers, name):
    assert labels(answers, name).count("better") >= STUDENTS / 3
    assert "worse" not in labels(answers, name)


def test_agreement_that_falls_is_found(answers):
    assert labels(answers, "falling").count("worse") >= STUDENTS / 3
    assert "better" not in labels(answers, "falling")


@pytest.mark.parametrize("name", STAYS)
def test_where_agreement_stays_neither_way_is_said_of_more_than_one_in_twenty_or_so(answers, name):
    found = labels(answers, name)
    for way in ("better", "worse"):
        assert found.count(way) <= (0.13 if name == "days_differ" else 0.10) * STUDENTS


@pytest.mark.parametrize(
    "name", [name for name, world in WORLDS.items() if world.sessions * world.answers < 20]
)
def test_too_few_answers_are_called_too_few(answers, name):
    assert set(labels(answers, name)) == {"too_few"}


def test_answers_that_nothing_was_measured_beside_do_not_count(answers):
    rows, found = answers["often_unmeasured"]
    season = found.filter(span="season")
    assert season["n"].sum() == rows["measured"].is_not_null().sum() < len(rows)
    assert (season["agreed"] + season["felt_only"] + season["measured_only"]).to_list() == season[
        "n"
    ].to_list()


def test_whoever_always_says_yes_agrees_as_often_as_the_swing_was_so(answers):
    season = answers["always_yes"][1].filter(span="season")
    assert season["rate"].mean() == pytest.approx(0.5, abs=0.03)
    assert season["measured_only"].sum() == 0


@pytest.mark.parametrize(
    ("name", "rate"), [("middling_throughout", 0.7), ("days_differ", None), ("few_answers_now", 0.7)]
)
def test_the_seasons_interval_holds_the_rate_nine_times_in_ten(answers, name, rate):
    season = answers[name][1].filter(span="season")
    true = rate or season["rate"].mean()  # where days differ, of all students' days together
    held = season.filter(pl.lit(true).is_between("rate_lo", "rate_hi"))
    assert 0.82 <= len(held) / STUDENTS <= 0.97
