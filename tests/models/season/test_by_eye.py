"""What was seen by eye: which visits were looked at for what, nudge checks among them, and the rates."""

from datetime import date, timedelta

import polars as pl
import pytest

from models.season.by_eye import eye_rates, looked_for
from models.season.estimation import wilson

DAY = date(2026, 4, 1)
SAW = {
    "season": pl.String, "session": pl.String, "visit": pl.String, "student": pl.String, "day": pl.Date,
    "coach": pl.String, "code": pl.String, "seen": pl.Boolean,
}  # fmt: skip


def rows(*notes):
    """(visit, coach, code), and whether it was seen if not so; visits a to z of student s1 a week apart."""
    known = [
        ("spring", v, v, "s1", DAY + timedelta(weeks=ord(v) - 97), c, code, *(more or [True]))
        for v, c, code, *more in notes
    ]
    return pl.DataFrame(known, SAW, orient="row")


def test_a_lost_nudge_is_seen_and_a_held_one_is_looked_for_but_nothing_else_is():
    found = looked_for(
        rows(("a", "c1", "hips_wind"), ("b", "c1", "sink")),
        rows(("a", "c1", "heels", True), ("c", "c1", "heels", False), ("c", "c1", "toes", False)),
    )
    assert {(r["visit"], r["code"]): r["seen"] for r in found.to_dicts()} == {
        ("a", "hips_wind"): True, ("a", "sink"): False, ("a", "heels"): True, ("b", "sink"): True,
        ("b", "hips_wind"): False, ("c", "heels"): False, ("c", "toes"): False,
    }  # fmt: skip


def test_heels_both_noted_and_nudged_in_one_visit_are_one_look():
    found = looked_for(rows(("a", "c1", "heels")), rows(("a", "c1", "heels", False)))
    assert found.select("code", "seen").rows() == [("heels", True)]


def test_rates_count_visits_now_and_before_with_wilsons_interval():
    notes = rows(*((v, "c1", "hips_wind") for v in "abcd"), *((v, "c1", "sink") for v in "abcdefgh"))
    found = {row["span"]: row for row in eye_rates(notes, rows()).filter(code="hips_wind").to_dicts()}
    assert (found["season"]["seen"], found["season"]["looked"]) == (4, 8)
    assert (found["now"]["seen"], found["now"]["looked"]) == (0, 4)  # e, f, g and h lie in 28 days
    assert (found["before"]["seen"], found["before"]["looked"]) == (4, 4)
    assert found["season"]["last_seen"] == DAY + timedelta(weeks=3)
    lo, hi = wilson([4], [8])
    assert (found["season"]["rate_lo"], found["season"]["rate_hi"]) == (
        pytest.approx(lo[0]),
        pytest.approx(hi[0]),
    )


def test_two_coaches_of_one_visit_are_one_look_and_it_was_seen_if_either_saw_it():
    notes = rows(("a", "c1", "sink"), ("a", "c2", "push"), ("b", "c2", "sink"))
    found = eye_rates(notes, rows()).filter(span="season")
    assert {(r["code"], r["seen"], r["looked"]) for r in found.to_dicts()} == {("sink", 2, 2), ("push", 1, 2)}


def test_a_code_looked_for_and_not_there_is_no_sighting_and_gives_a_rate_its_denominator():
    said = rows(
        ("a", "c1", "blocked", True), ("b", "c1", "blocked", False), ("c", "c1", "blocked", False), ("d", "c2", "sink", True),
    )  # fmt: skip
    found = {r["code"]: r for r in eye_rates(said, rows()).filter(span="season").to_dicts()}
    assert (found["blocked"]["seen"], found["blocked"]["looked"]) == (1, 3)
    assert found["blocked"]["last_seen"] == DAY
    either = rows(("a", "c1", "blocked", False), ("a", "c2", "blocked", True))
    assert eye_rates(either, rows()).filter(span="season")["seen"].to_list() == [1]


def test_no_notes_at_all_are_no_rates():
    assert eye_rates(rows(), rows()).is_empty()
