"""Lots between two drills: drawn fairly, recorded in the inbox, and landed by the next load."""

import csv
import io
from collections import Counter

import polars as pl
import pytest

from changed_academies import falls
from ingest.lots import _hands, draw_lots
from warehouse.errors import CallError
from warehouse.store import writer


@pytest.fixture
def ready(academy, made):
    made.deliver(academy.inbox / "v1", made.toml(), made.plate())
    academy.load()
    with writer(academy.home) as w:
        w.publish()
    return academy


def test_a_draw_is_in_the_inbox_before_it_is_said_and_the_next_load_lands_it(ready):
    drawn = draw_lots(ready.home, ("d1", "d2"), ["s1", "s2", "s3"])
    assert {lot.drill for lot in drawn.lots} == {"d1", "d2"}
    assert all({lot.drill, lot.against} == {"d1", "d2"} for lot in drawn.lots)
    lines = list(csv.DictReader(io.StringIO(drawn.file.read_text())))
    assert [(line["student"], line["code"]) for line in lines] == [
        (lot.student, lot.drill) for lot in drawn.lots
    ]
    assert [line["author"] for line in lines] == [
        "c1",
        "c1",
        "h1",
    ]  # s3 has no coach: the head coach notes it
    assert ready.load().refused == []
    found = ready.sql("SELECT student, code, drawn_against, kind FROM academy.note ORDER BY student").rows()
    assert found == sorted((lot.student, lot.drill, lot.against, "plan") for lot in drawn.lots)


@pytest.mark.parametrize(
    ("answer", "said"), [(None, "was not asked about falls"), (1, "fell less than a year ago")]
)
def test_no_drill_with_eyes_closed_is_drawn_before_a_no_to_falls(ready, answer, said):
    with writer(ready.home) as w:
        w.execute("UPDATE academy.drill SET how = 'Close your eyes.' WHERE drill = 'd1'")
        w.execute("UPDATE academy.person SET born = '1990-01-01' WHERE person = 's1'")
        if answer is not None:
            w.execute(falls("s1", fell=bool(answer)))
        w.publish()
    with pytest.raises(CallError, match=said):
        draw_lots(ready.home, ("d1", "d2"), ["s1"])
    with writer(ready.home) as w:
        w.execute("DELETE FROM academy.note WHERE kind = 'falls'")
        w.execute(falls("s1"))
        w.publish()
    assert draw_lots(ready.home, ("d1", "d2"), ["s1"]).lots


def test_two_draws_of_one_second_are_two_files(ready):
    assert (
        draw_lots(ready.home, ("d1", "d2"), ["s1"]).file != draw_lots(ready.home, ("d1", "d2"), ["s1"]).file
    )


def test_each_drill_goes_to_half_and_an_odd_one_out_to_either(ready):
    odd = Counter(draw_lots(ready.home, ("d1", "d2"), ["s1"]).lots[0].drill for _ in range(40))
    assert set(odd) == {"d1", "d2"}  # missed by chance once in 5e11 runs
    for _ in range(10):
        drawn = Counter(lot.drill for lot in draw_lots(ready.home, ("d1", "d2"), ["s1", "s2"]).lots)
        assert drawn == {"d1": 1, "d2": 1}


def test_no_coach_gets_two_more_of_one_drill_than_of_the_other():
    nobody = pl.DataFrame(schema={"student": pl.String, "author": pl.String, "drill": pl.String})
    earlier, ahead = nobody, []
    for turn in range(60):
        (hand,) = _hands(("d1", "d2"), ["c1"], earlier)
        row = pl.DataFrame({"student": [f"s{turn}"], "author": ["c1"], "drill": [hand]})
        earlier = pl.concat([earlier, row])
        ahead.append(abs(earlier.select((pl.col("drill") == "d1").cast(pl.Int8).sum() * 2 - pl.len()).item()))
    assert max(ahead) <= 2
    hands = _hands(("d1", "d2"), ["c1", "c2"] * 4, nobody)
    assert hands[::2].count("d1") == hands[1::2].count("d1") == 2


@pytest.mark.parametrize(
    ("drills", "students", "sentence"),
    [
        (("d1", "d1"), ["s1"], "two drills"),
        (("d1", "d9"), ["s1"], "no drill d9"),
        (("d1", "d2"), [], "at least one"),
        (("d1", "d2"), ["c1"], "not a student"),
        (("d1", "d2"), ["s9"], "not a student"),
    ],
)
def test_a_draw_that_can_not_be_is_one_sentence_and_leaves_nothing(ready, drills, students, sentence):
    with pytest.raises(CallError, match=sentence):
        draw_lots(ready.home, drills, students)
    assert list(ready.inbox.glob("notes-lots*")) == []


def test_nobody_draws_a_drill_they_are_too_young_for(ready):
    with writer(ready.home) as w:
        w.execute("UPDATE academy.drill SET min_age = 16 WHERE drill = 'd2'")
        w.publish()
    with pytest.raises(CallError, match="16 and over"):
        draw_lots(ready.home, ("d1", "d2"), ["s2"])
