"""Who a recording is likely to be of: every piece of evidence counts, and what is not clear is asked."""

from datetime import date

import numpy as np
import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from warehouse.owners import Candidate, Shown, clear_owner, likely_owners, students_of

ADULT = Candidate("adult", 82.0, 275.0, "right")
CHILD = Candidate("child", 35.0, 215.0, "right")
LEFTY = Candidate("lefty", 81.0, 272.0, "left")
TWIN = Candidate("twin", 82.5, 276.0, "right")


def chances(candidates, shown) -> dict[str, float]:
    return {owner.person: owner.chance for owner in likely_owners(candidates, shown)}


def test_body_mass_alone_tells_a_child_from_an_adult():
    owners = likely_owners([ADULT, CHILD], Shown(mass_kg=35.8))
    assert clear_owner(owners) == "child"
    assert owners[0].because == ("body_mass",)


def test_the_hand_tells_two_of_one_weight_apart():
    assert clear_owner(likely_owners([ADULT, LEFTY], Shown(mass_kg=81.5, handed="left"))) == "lefty"


def test_two_who_are_alike_are_asked_about_unless_one_is_expected():
    shown = Shown(mass_kg=82.2, foot_length_mm=275.0, handed="right")
    owners = likely_owners([ADULT, TWIN], shown)
    assert clear_owner(owners) is None
    assert {owner.person for owner in owners[:2]} == {"adult", "twin"}
    due = Candidate("twin", 82.5, 276.0, "right", expected=True)
    first = likely_owners([ADULT, due], shown)[0]
    assert first.person == "twin"
    assert first.because == ("expected", "body_mass", "foot_length", "hand")


def test_somebody_who_is_none_of_the_students_is_not_given_to_one_of_them():
    assert clear_owner(likely_owners([ADULT, CHILD], Shown(mass_kg=60.0, foot_length_mm=245.0))) is None


def test_nothing_shown_is_nobodys_and_those_expected_come_first():
    due = Candidate("z", expected=True)
    owners = likely_owners([ADULT, CHILD, due], Shown())
    assert owners[0].person == "z"
    assert clear_owner(owners) is None


def test_a_student_of_whom_nothing_is_known_stays_possible():
    found = chances([ADULT, Candidate("new")], Shown(mass_kg=64.0))
    assert found["new"] > found["adult"]


@given(
    st.lists(st.builds(Candidate, st.text("abc", min_size=1), st.none() | st.floats(25, 120)), max_size=6),
    st.floats(20, 150),
)
def test_chances_are_chances_and_leave_room_for_a_stranger(candidates, mass_kg):
    owners = likely_owners(candidates, Shown(mass_kg=mass_kg))
    assert sum(owner.chance for owner in owners) <= 1.0 + 1e-9
    assert all(0.0 <= owner.chance <= 1.0 for owner in owners)
    assert [o.chance for o in owners] == sorted((o.chance for o in owners), reverse=True)


def test_proposals_are_as_often_right_as_they_say():
    chance = np.random.default_rng(5)
    said, right = [], []
    for _ in range(400):
        masses = chance.normal(68.0, 20.0, 12).clip(25.0, 140.0)
        students = [Candidate(str(k), float(m)) for k, m in enumerate(masses)]
        of = int(chance.integers(12))
        shown = Shown(mass_kg=float(masses[of] + chance.normal(0.0, np.hypot(1.5, 0.03 * masses[of]))))
        first = likely_owners(students, shown)[0]
        said.append(first.chance)
        right.append(first.person == str(of))
    sure = np.array(said) >= 0.9
    assert np.mean(np.array(right)[sure]) >= 0.9
    assert np.mean(right) == pytest.approx(np.mean(said), abs=0.08)


def test_students_of_a_day_carry_their_last_known_mass():
    asked = []

    def sql(query, given):
        asked.append(given)
        return pl.DataFrame(
            {"person": ["a"], "mass_kg": [70.0], "foot_length_mm": [None], "handed": ["right"]},
            schema_overrides={"foot_length_mm": pl.Float64},
        )

    assert students_of(sql, date(2026, 5, 5), ["a"]) == [Candidate("a", 70.0, None, "right", expected=True)]
    assert asked == [[date(2026, 5, 5)] * 3]
