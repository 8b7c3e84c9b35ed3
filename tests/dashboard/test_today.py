"""Today: who was seen lately and what that day still lacks, and who is overdue; only students in reach."""

from datetime import timedelta

import pytest

from dashboard.pages.today import content
from warehouse.access import open_reader
from warehouse.errors import UnderfootError
from warehouse.store import writer


@pytest.fixture
def academy(filled):
    """Three students without anything seen; what is done with the writer is published: academy(change, person)."""
    with writer(filled) as w:
        for table in ("session", "note", "swing"):
            w.execute(f"DELETE FROM academy.{table}")
        w.execute("UPDATE academy.person SET joined = CAST(today() - INTERVAL 3 DAY AS DATE)")

    def go(changes=(), person="h1"):
        with writer(filled) as w:
            for statement in changes:
                w.execute(statement)
            w.publish()
        return open_reader(filled, person)

    return go


def session(student, days_ago, *, plate):
    return (
        "INSERT INTO academy.session (session, student, coach, started_at, day, delivery, has_plate, has_clip, feet_checked, reduced) "
        f"VALUES ('{student}-{days_ago}', '{student}', 'c1', now() - INTERVAL {days_ago} DAY, "
        f"CAST(today() - INTERVAL {days_ago} DAY AS DATE), 'd', {plate}, false, false, true)"
    )


def note(student, days_ago, kind, place="NULL"):
    return (
        'INSERT INTO academy.note (note, student, "at", day, author, kind, place, shared, delivery, loose) '
        f"VALUES ('{student}-{kind}-{days_ago}', '{student}', now() - INTERVAL {days_ago} DAY, "
        f"CAST(today() - INTERVAL {days_ago} DAY AS DATE), 'c1', '{kind}', {place}, true, 'd', true)"
    )


def test_who_was_seen_lately_is_said_with_what_that_day_lacks(academy):
    reader = academy(
        [
            session("s1", 2, plate=True),
            note("s2", 1, "saw"),
            session("s3", 3, plate=True),
            note("s3", 3, "drill", "'home'"),
        ]
    )
    found = {line.student: line.sentence for line in content.lately(reader)}
    assert list(found) == ["s2", "s1", "s3"]
    assert found["s1"].endswith("no note and no home practice set")
    assert found["s2"].endswith("no measurement and no home practice set")
    assert found["s3"].endswith("nothing is missing")
    assert content.others(reader) == []


def test_who_was_not_seen_for_four_weeks_is_overdue_the_longest_first(academy):
    reader = academy(
        [session("s1", 26, plate=True), session("s2", 31, plate=True),
         "UPDATE academy.person SET joined = CAST(today() - INTERVAL 90 DAY AS DATE) WHERE person = 's3'"]
    )  # fmt: skip
    assert [line.student for line in content.overdue(reader)] == ["s3", "s2"]
    assert content.overdue(reader)[0].sentence.startswith("never seen")
    assert [line.student for line in content.others(reader)] == ["s1"]


def test_who_has_left_is_nobody_to_see_and_a_coach_sees_their_own(academy):
    changes = [session("s1", 60, plate=True), session("s2", 1, plate=True), session("s3", 1, plate=True)]
    ended = "UPDATE academy.person SET \"left\" = CAST(today() - INTERVAL 1 DAY AS DATE) WHERE person = 's1'"
    assert content.overdue(academy([*changes, ended])) == []
    own = academy(person="c1")
    assert [line.student for line in content.lately(own)] == ["s2"]
    assert timedelta(days=7) == content.LATELY


def test_without_students_it_says_what_to_do(academy):
    reader = academy(["DELETE FROM academy.person WHERE role = 'student'"])
    with pytest.raises(UnderfootError, match="People page"):
        content.lately(reader)
