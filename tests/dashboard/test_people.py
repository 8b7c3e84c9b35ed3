"""The People page: each save is a roster delivery that loads, by a head coach alone, and never over another's change."""

from datetime import date, timedelta

import pytest

import builders
from dashboard.pages.people import changes, content
from dashboard.queries import people
from dashboard.student_list import Student
from dashboard.text.labels import PURPOSES as PURPOSE_WORDS
from warehouse.access import open_reader
from warehouse.errors import AccessError, CallError
from warehouse.store import writer
from warehouse.vocabulary import PURPOSES


@pytest.fixture
def academy(filled):
    """A small academy that was loaded from files, as its head coach reads it now: academy()."""
    with writer(filled) as w:
        w.execute("UPDATE academy.person SET joined = DATE '2026-01-01'")
        w.publish()
    return lambda person="h1": open_reader(filled, person)


def loaded(reader):
    assert builders.load_all(reader.home, [reader.home.inbox]) == []


def row(reader, code):
    return content.person(reader, code).row


def coach_of(reader, code):
    return people.student(reader, code)["coach"]


def test_a_change_is_a_delivery_that_loads_and_changes_nothing_else(academy):
    before = academy()
    others = {c: r for c, r in content.rows(before).items() if c != "s1"}
    was = row(before, "s1")
    changes.change(before, was, was | {"foot_length_mm": 251.0, "level": "club"})
    loaded(before)
    after = academy()
    assert row(after, "s1") == was | {"foot_length_mm": 251.0, "level": "club"}
    assert {c: r for c, r in content.rows(after).items() if c != "s1"} == others
    assert after.sql("SELECT delivered_by, kind FROM delivery ORDER BY sequence DESC LIMIT 1").row(0) == (
        "h1",
        "roster",
    )


def test_what_was_changed_meanwhile_is_shown_and_not_written_over(academy):
    reader = academy()
    was = row(reader, "s1")
    (reader.home.inbox / "people.csv").write_text(
        "person,role,display_name,joined,foot_length_mm\ns1,student,Petra Quill-Fenn,2026-01-01,262\n"
    )
    with pytest.raises(CallError, match="still being loaded"):
        changes.change(reader, was, was | {"level": "club"})
    loaded(reader)
    with pytest.raises(CallError, match=r"changed meanwhile .*Petra Quill-Fenn.*262"):
        changes.change(reader, was, was | {"level": "club"})
    assert list(reader.home.inbox.iterdir()) == []
    now = row(academy(), "s1")
    changes.change(academy(), now, now | {"level": "club"})
    loaded(reader)
    assert row(academy(), "s1")["display_name"] == "Petra Quill-Fenn"


def test_nothing_is_saved_while_a_load_at_work_may_be_changing_it(academy):
    """A load takes a delivery from the inbox before what it changed is published."""
    reader = academy()
    was = row(reader, "s1")
    with reader.home.lock(), pytest.raises(CallError, match="something is being loaded"):
        changes.change(reader, was, was | {"level": "club"})
    assert list(reader.home.inbox.iterdir()) == []


@pytest.mark.parametrize("person", ["c1", "s1", "g2"])
def test_nobody_but_a_head_coach_changes_the_roster(academy, person):
    reader, head = academy(person), academy()
    was, line = (
        row(head, "s1"),
        {"student": "s1", "given_by": "s1", "purpose": "film", "from": date(2026, 1, 1), "to": None},
    )
    writes = [
        lambda: changes.change(reader, was, was | {"level": "x"}),
        lambda: changes.add(reader, {"role": "student", "display_name": "X", "joined": date(2026, 1, 1)}),
        lambda: changes.add_students(reader, [Student("X")], "c1"),
        lambda: changes.end(reader, was, date(2026, 2, 1)),
        lambda: changes.change_coach(reader, "s1", "c2", date(2026, 2, 1)),
        lambda: changes.give_consent(reader, "s1", "film", "s1", date(2026, 1, 1)),
        lambda: changes.end_consent(reader, line, date(2026, 2, 1)),
        lambda: changes.add_season(reader, "x", date(2026, 1, 1), date(2026, 2, 1)),
    ]
    for write in writes:
        with pytest.raises(AccessError, match="Only a head coach"):
            write()
    assert list(head.home.inbox.iterdir()) == []


def test_new_people_get_codes_of_their_own_and_their_coach(academy):
    changes.add(
        academy(),
        {
            "role": "student",
            "display_name": "Nora Vale",
            "born": date(1999, 1, 2),
            "joined": date(2026, 5, 1),
        },
        "c2",
    )
    loaded(academy())
    changes.add_students(
        academy(), [Student("Ivo Dale", guardian="Una Dale"), Student("Ada Dale", guardian="una dale")], "c1"
    )
    loaded(academy())
    reader = academy()
    names = {r["display_name"]: c for c, r in content.rows(reader).items()}
    assert coach_of(reader, names["Nora Vale"]) == "c2"
    assert coach_of(reader, names["Ivo Dale"]) == "c1"
    assert sorted(row(reader, names["Una Dale"])["guardian_of"]) == sorted(
        [names["Ivo Dale"], names["Ada Dale"]]
    )
    assert len(set(names.values())) == len(names)


def test_who_leaves_is_coached_no_more_and_may_come_back(academy):
    reader = academy()
    last = reader.today - timedelta(days=1)
    changes.end(reader, row(reader, "s1"), last)
    loaded(reader)
    reader = academy()
    assert row(reader, "s1")["left"] == last
    assert coach_of(reader, "s1") is None
    assert content.missing(content.Known.of(reader), row(reader, "s1")) == []
    with pytest.raises(AccessError):
        academy("s1")
    was = row(reader, "s1")
    changes.change(reader, was, was | {"left": None})
    loaded(reader)
    academy("s1")


def test_a_new_coach_ends_the_one_before_and_keeps_the_history(academy):
    reader = academy()
    first = reader.today
    changes.change_coach(reader, "s1", "c2", first)
    loaded(reader)
    spans = content.coaching(academy(), "s1").rows()
    assert [(coach, start, end) for _, coach, start, end in spans] == [
        ("c2", first, None), ("c1", date(2026, 1, 1), first - timedelta(days=1))
    ]  # fmt: skip
    with pytest.raises(CallError, match="begins on that day or later"):
        changes.change_coach(academy(), "s1", "c1", date(2026, 1, 1))


def test_a_consent_is_given_by_who_may_and_ends(academy):
    reader = academy()
    with pytest.raises(CallError, match="guardian"):
        changes.give_consent(reader, "s2", "film", "s2", date(2026, 1, 1))
    changes.give_consent(reader, "s2", "keep_film", "g2", date(2026, 1, 1))
    loaded(reader)
    line = next(
        c for c in content.consents(academy(), "s2").iter_rows(named=True) if c["purpose"] == "keep_film"
    )
    assert (line["given_by"], line["to"]) == ("g2", None)
    changes.end_consent(academy(), line, date(2026, 3, 1))
    loaded(reader)
    ended = next(
        c for c in content.consents(academy(), "s2").iter_rows(named=True) if c["purpose"] == "keep_film"
    )
    assert ended["to"] == date(2026, 3, 1)
    with pytest.raises(CallError, match="changed meanwhile"):
        changes.end_consent(academy(), line, date(2026, 4, 1))


def test_seasons_are_added_and_never_overlap(academy):
    reader = academy()
    changes.add_season(reader, "Winter 2031", date(2031, 1, 1), date(2031, 3, 1))
    loaded(reader)
    with pytest.raises(CallError, match="overlaps the season Winter-2031"):
        changes.add_season(academy(), "other", date(2031, 2, 1), date(2031, 5, 1))


def test_what_is_missing_is_said_with_what_it_costs(academy):
    reader = academy()
    was = row(reader, "s1")
    told = " ".join(
        content.missing(
            content.Known.of(reader), was | {"foot_length_mm": None, "handed": None, "born": None}
        )
    )
    for words in (
        "no foot length: pressure positions",
        "not known whether right or left handed",
        "no birth date",
    ):
        assert words in told
    assert "no foot length" not in " ".join(
        content.missing(content.Known.of(reader), was | {"foot_length_mm": 250.0})
    )
    assert content.missing(content.Known.of(reader), row(reader, "c1")) == []


@pytest.mark.parametrize(
    "wrong", [{"display_name": " "}, {"left": date(2000, 1, 1), "joined": date(2026, 1, 1)}]
)
def test_what_would_not_load_is_not_delivered(academy, wrong):
    reader = academy()
    was = row(reader, "s1")
    with pytest.raises(CallError):
        changes.change(reader, was, was | wrong)
    assert list(reader.home.inbox.iterdir()) == []


def test_every_purpose_has_words():
    assert set(PURPOSES) <= set(PURPOSE_WORDS)
