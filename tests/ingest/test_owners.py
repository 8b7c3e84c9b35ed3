"""Who a recording is likely to be of: the body mass in it counts, and room is left for a stranger."""

from datetime import date

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ingest.owners import Known, Shown, known_students, likely_owners

ADULT, CHILD = {"adult": Known(82.0)}, {"child": Known(35.0)}


def chances(students, shown_kg) -> dict[str, float]:
    return {owner.person: owner.chance for owner in likely_owners(students, Shown(shown_kg))}


def test_body_mass_tells_a_child_from_an_adult():
    first = likely_owners(ADULT | CHILD, Shown(35.8))[0]
    assert first.person == "child"
    assert first.chance > 0.9
    assert first.because == ("body_mass",)


def test_two_who_are_alike_are_about_as_likely():
    found = chances(ADULT | {"twin": Known(82.5)}, 82.2)
    assert 0.4 < found["adult"] < 0.6
    assert 0.4 < found["twin"] < 0.6


def test_a_longer_foot_is_likelier_where_the_pressure_goes_far_and_a_lesson_counts_for_more():
    feet = {"long": Known(foot_mm=295.0), "short": Known(foot_mm=215.0)}
    assert [o.person for o in likely_owners(feet, Shown(farthest_mm=240.0))] == ["long", "short"]
    assert [o.person for o in likely_owners(feet, Shown(farthest_mm=170.0))] == ["short", "long"]
    alike = {"a": Known(70.0), "b": Known(70.0, has_lesson=True)}
    first = likely_owners(alike, Shown(70.5))[0]
    assert (first.person, first.because) == ("b", ("lesson", "body_mass"))


def test_somebody_who_is_none_of_the_students_is_not_given_to_one_of_them():
    assert max(chances(ADULT | CHILD, 60.0).values()) < 0.9


def test_with_nothing_shown_all_are_as_likely():
    owners = likely_owners(ADULT | CHILD, Shown())
    assert [owner.person for owner in owners] == ["adult", "child"]
    assert {(owner.chance, owner.because) for owner in owners} == {(0.4, ())}


def test_a_student_of_whom_nothing_is_known_stays_possible():
    found = chances(ADULT | {"new": Known()}, 64.0)
    assert found["new"] > found["adult"]


@given(
    st.dictionaries(
        st.text("abc", min_size=1),
        st.builds(Known, st.none() | st.floats(25, 120), st.none() | st.floats(150, 330), st.booleans()),
        max_size=6,
    ),
    st.builds(Shown, st.none() | st.floats(20, 150), st.none() | st.floats(50, 350)),
)
def test_chances_are_chances_and_leave_room_for_a_stranger(students, shown):
    owners = likely_owners(students, shown)
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
        first = likely_owners({str(k): Known(float(m)) for k, m in enumerate(masses)}, Shown(shown))[0]
        said.append(first.chance)
        right.append(first.person == str(of))
    sure = np.array(said) >= 0.9
    assert np.mean(np.array(right)[sure]) >= 0.9
    assert np.mean(right) == pytest.approx(np.mean(said), abs=0.08)


def test_the_masses_of_an_academys_students_come_from_their_last_session(academy, made):
    made.deliver(academy.inbox / "v1", made.toml(head="body_mass_kg = 70"), made.plate())
    assert academy.load().refused == []
    day = academy.sql("SELECT max(day) FROM academy.session").item()
    known = academy.with_writer(lambda _, w: (known_students(w, day), known_students(w, date(2025, 1, 1))))
    masses = {student: one.mass_kg for student, one in known[0].items()}
    assert masses == {"s1": 70.0, "s2": None, "s3": None}
    assert known[1] == {}
