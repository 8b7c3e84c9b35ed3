"""Calendars as deliveries, and fetched from an address: the newest counts, and what can't be read is said."""

import io
from datetime import date
from pathlib import PurePath

import pytest

from ingest.formats import calendars
from ingest.load import replay
from ingest.redaction import Identity, calendar_without
from warehouse.deliverer import Deliverer, put
from warehouse.errors import UnderfootError
from warehouse.lessons import FETCHED, lessons
from warehouse.store import rebuilding

DAY = date(2026, 5, 5)


def ics(*summaries):
    events = "".join(
        f"BEGIN:VEVENT\r\nUID:{k}\r\nDTSTART:20260505T1{k}0000\r\nDURATION:PT1H\r\nSUMMARY:{one}\r\nEND:VEVENT\r\n"
        for k, one in enumerate(summaries)
    )
    return f"BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:x\r\n{events}END:VCALENDAR\r\n".encode()


def students(academy, day=DAY):
    return academy.with_writer(
        lambda home, w: [one.students for one in lessons(home, home.settings(), w, day)]
    )


def test_a_delivered_calendar_says_who_comes_and_its_newest_version_counts(academy):
    (academy.inbox / "lessons.ics").write_bytes(ics("Tam Brackley", "Ada Fennimore"))
    report = academy.load()
    assert (report.refused, report.files) == ([], {"lessons.ics": "accepted"})
    assert students(academy) == [("s2",), ("s1",)]
    (academy.inbox / "lessons.ics").write_bytes(ics("Ada Fennimore"))
    academy.load()
    assert students(academy) == [("s1",)]
    (academy.inbox / "lessons.ics").write_bytes(ics("Ada Fennimore"))
    assert academy.load().files == {"lessons.ics": "unchanged"}
    assert academy.left_in_inbox() == []


def test_a_rebuild_keeps_the_calendar(academy):
    (academy.inbox / "lessons.ics").write_bytes(ics("Tam Brackley"))
    academy.load()
    with rebuilding(academy.home) as w:
        replay(academy.home, w)
    assert students(academy) == [("s2",)]


def test_what_is_no_calendar_is_refused_in_a_sentence(academy):
    (academy.inbox / "lessons.ics").write_bytes(b"BEGIN:VCALENDAR\r\n")
    [refused] = academy.load().refused
    assert (refused.reason, "export it again" in refused.sentence) == ("calendar", True)


@pytest.mark.parametrize(("person", "reasons"), [("c1", []), ("s1", ["not_yours"])])
def test_a_coach_delivers_a_calendar_and_a_student_does_not(academy, person, reasons):
    put(academy.home, {PurePath("mine.ics"): ics("Tam Brackley")}, Deliverer.now(person))
    assert [one.reason for one in academy.load().refused] == reasons


def test_a_file_named_in_the_settings_is_read_where_it_is(academy):
    text = academy.home.settings_file.read_text("utf-8")
    academy.home.settings_file.write_text(f'calendar = "own.ics"\n{text}', "utf-8")
    assert students(academy) == []
    (academy.home.path / "own.ics").write_bytes(ics("Tam Brackley"))
    assert students(academy) == [("s2",)]
    (academy.home.path / "own.ics").write_bytes(b"no calendar")
    with pytest.raises(UnderfootError, match="can be read"):
        students(academy)


@pytest.fixture
def shared(academy):
    """An academy whose calendar is at an address; what answers there, and a clock."""
    text = academy.home.settings_file.read_text("utf-8")
    academy.home.settings_file.write_text(f'calendar = "webcal://calendar.example/a.ics"\n{text}', "utf-8")
    asked, now = [], [0.0]

    def fetch(answer):
        def opening(address, timeout):
            asked.append((address, timeout))
            if isinstance(answer, Exception):
                raise answer
            return io.BytesIO(answer)

        return calendars.fetch(academy.home, opening, lambda: now[0])

    yield academy, fetch, asked, now
    calendars._tried.clear()


def test_an_address_is_fetched_within_a_time_limit_and_not_again_at_once(shared):
    academy, fetch, asked, now = shared
    assert fetch(ics("Tam Brackley"))
    assert asked == [("https://calendar.example/a.ics", calendars.TIMEOUT_S)]
    assert students(academy) == [("s2",)]
    assert not fetch(ics("Ada Fennimore"))
    now[0] = calendars.EVERY_S
    assert fetch(ics("Ada Fennimore"))
    assert (len(asked), students(academy)) == (2, [("s1",)])


def test_the_same_calendar_is_not_another_one_also_with_a_byte_order_mark(shared):
    _academy, fetch, _asked, now = shared
    for now[0], other in ((0.0, True), (calendars.EVERY_S, False)):
        assert fetch(b"\xef\xbb\xbf" + ics("Tam Brackley")) is other


@pytest.mark.parametrize("answer", [TimeoutError("slow"), b"<html>", b"x" * (9 << 20), OSError("gone")])
def test_what_does_not_answer_leaves_what_was_fetched_last(shared, answer):
    academy, fetch, _asked, now = shared
    fetch(ics("Tam Brackley"))
    now[0] = calendars.EVERY_S
    assert not fetch(answer)
    assert students(academy) == [("s2",)]
    assert '"event": "calendar"' in academy.home.events.read_text("utf-8")


def test_nothing_is_fetched_without_an_address(academy):
    def opening(*_, **__):
        pytest.fail("somebody was asked")

    assert not calendars.fetch(academy.home, opening)
    assert not (academy.home.path / FETCHED).exists()


def test_who_is_forgotten_is_out_of_every_text_also_where_a_line_is_folded():
    who = Identity("s2", frozenset({"s2"}), frozenset({"Tam Brackley"}), frozenset({"tam@example.org"}))
    data = ics("Lesson of Tam Bra\r\n ckley", "Ada Fennimore\r\nATTENDEE:mailto:Tam@example.org")
    without = calendar_without(data, who)
    assert b"Brackley" not in without.replace(b"\r\n ", b"")
    assert b"ckley" not in without
    assert b"tam@example" not in without.lower()
    assert b"Ada Fennimore" in without
    assert calendar_without(ics("Ada Fennimore"), who) == ics("Ada Fennimore")
