"""Who a recording is likely to be of: the body mass in it counts, and room is left for a stranger."""

from datetime import date

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ingest.owners import likely_owners, masses_kg

ADULT, CHILD = {"adult": 82.0}, {"child": 35.0}


def chances(students, shown_kg) -> dict[str, float]:
    return {owner.person: owner.chance for owner in likely_owners(students, shown_kg)}


def test_body_mass_tells_a_child_from_an_adult():
    first = likely_owners(ADULT | CHILD, 35.8)[0]
    assert first.person == "child"
    assert first.chance > 0.9
    assert first.because == ("body_mass",)


def test_two_who_are_alike_are_about_as_likely():
    found = chances(ADULT | {"twin": 82.5}, 82.2)
    assert 0.4 < found["adult"] < 0.6
    assert 0.4 < found["twin"] < 0.6


def test_somebody_who_is_none_of_the_students_is_not_given_to_one_of_them():
    assert max(chances(ADULT | CHILD, 60.0).values()) < 0.9


def test_with_nothing_shown_all_are_as_likely():
    owners = likely_owners(ADULT | CHILD, None)
    assert [owner.person for owner in owners] == ["adult", "child"]
    assert {(owner.chance, owner.because) for owner in owners} == {(0.4, ())}


def test_a_student_of_whom_nothing_is_known_stays_possible():
    found = chances(ADULT | {"new": None}, 64.0)
    assert found["new"] > found["adult"]


@given(
    st.dictionaries(st.text("abc", min_size=1), st.none() | st.floats(25, 120), max_size=6),
    st.floats(20, 150),
)
def test_chances_are_chances_and_leave_room_for_a_stranger(students, mass_kg):
    owners = likely_owners(students, mass_kg)
    assert sum(owner.chance for owner in owners) <= 1.0 + 1e-9
    assert all(0.0 <= owner.chance <= 1.0 for owner in owners)
    assert [o.chance for o in owners] == sorted((o.chance for o in owners), reverse=True)


def test_chances_are_as_often_right_as_they_say():
    chance = np.random.default_rng(5)
    said, right = [], []
    for _ in range(400):
        masses = chance.normal(68.0, 20.0, 12).clip(25.0, 140.0)
        of = int(chance.integers(12))
        shown = float(masses[of] + chance.normal(0.0, np.hypot(1.5, 0.03 * masses[of])))
        first = likely_owners({str(k): float(m) for k, m in enumerate(masses)}, shown)[0]
        said.append(first.chance)
        right.append(first.person == str(of))
    sure = np.array(said) >= 0.9
    assert np.mean(np.array(right)[sure]) >= 0.9
    assert np.mean(right) == pytest.approx(np.mean(said), abs=0.08)


def test_the_masses_of_an_academys_students_come_from_their_last_session(academy, made):
    made.deliver(academy.inbox / "v1", made.toml(head="body_mass_kg = 70"), made.plate())
    assert academy.load().refused == []
    day = academy.sql("SELECT max(day) FROM academy.session").item()
    known = academy.with_writer(lambda _, w: (masses_kg(w, day), masses_kg(w, date(2025, 1, 1))))
    assert known == ({"s1": 70.0, "s2": None, "s3": None}, {})
