"""Calendars: entries of a day by the examples of RFC 5545, and whom an entry names."""

from contextlib import suppress
from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from warehouse.errors import UnderfootError
from warehouse.lessons import Entry, Named, check, entries, match
from warehouse.settings import parse_settings

NEW_YORK = ZoneInfo("America/New_York")
ZONE = """BEGIN:VTIMEZONE
TZID:America/New_York
BEGIN:DAYLIGHT
DTSTART:19970406T020000
TZOFFSETFROM:-0500
TZOFFSETTO:-0400
TZNAME:EDT
RRULE:FREQ=YEARLY;BYDAY=1SU;BYMONTH=4
END:DAYLIGHT
BEGIN:STANDARD
DTSTART:19971026T020000
TZOFFSETFROM:-0400
TZOFFSETTO:-0500
TZNAME:EST
RRULE:FREQ=YEARLY;BYDAY=-1SU;BYMONTH=10
END:STANDARD
END:VTIMEZONE
"""


def calendar(*events, head=ZONE):
    body = "".join(f"BEGIN:VEVENT\n{event.strip()}\nEND:VEVENT\n" for event in events)
    text = f"BEGIN:VCALENDAR\nVERSION:2.0\nPRODID:-//hacksw/handcal//NONSGML v1.0//EN\n{head}{body}END:VCALENDAR\n"
    return text.replace("\n", "\r\n").encode()


def on(data, *days, zone=NEW_YORK):
    """The days (of these) that have an entry."""
    return [day for day in days if entries(data, zone, day)]


def september(*days):
    return [date(1997, 9, day) for day in days]


def rule(text, more=""):
    """An entry of RFC 5545, 3.8.5.3: all its examples begin on 2 September 1997 at 9 in New York."""
    return calendar(
        f"UID:1\nDTSTART;TZID=America/New_York:19970902T090000\nDURATION:PT1H\nRRULE:{text}\nSUMMARY:x\n{more}"
    )


@pytest.mark.parametrize(
    ("text", "has", "has_not"),
    [
        # RFC 5545, 3.8.5.3: "Daily for 10 occurrences"
        ("FREQ=DAILY;COUNT=10", september(2, 11), september(1, 12)),
        # "Daily until December 24, 1997"
        ("FREQ=DAILY;UNTIL=19971224T000000Z", [date(1997, 12, 23)], [date(1997, 12, 24)]),
        # "Every other day - forever"
        ("FREQ=DAILY;INTERVAL=2", [*september(2, 4, 30), date(1997, 12, 3)], september(3, 5)),
        # "Weekly for 10 occurrences"
        ("FREQ=WEEKLY;COUNT=10", [*september(2, 9, 30), date(1997, 11, 4)], [date(1997, 11, 11)]),
        # "Every other week - forever"
        ("FREQ=WEEKLY;INTERVAL=2;WKST=SU", [*september(2, 16, 30), date(1998, 2, 17)], september(9, 23)),
        # "Weekly on Tuesday and Thursday for five weeks"
        ("FREQ=WEEKLY;UNTIL=19971007T000000Z;WKST=SU;BYDAY=TU,TH", [*september(2, 4, 9), date(1997, 10, 2)], [date(1997, 10, 7)]),
        # "Monthly on the first Friday for 10 occurrences"
        ("FREQ=MONTHLY;COUNT=10;BYDAY=1FR", [*september(5), date(1998, 6, 5)], [*september(12), date(1998, 7, 3)]),
        # "Monthly on the second-to-last Monday of the month for 6 months"
        ("FREQ=MONTHLY;COUNT=6;BYDAY=-2MO", [*september(22), date(1998, 2, 16)], [*september(29), date(1998, 3, 23)]),
        # Of "every Friday the 13th", less the first day, which is none.
        ("FREQ=MONTHLY;BYDAY=FR;BYMONTHDAY=13", [date(1998, 2, 13), date(2000, 10, 13)], [date(1997, 10, 13)]),
        # Days that there are not are passed over, as the 30th of February
        ("FREQ=MONTHLY;BYMONTHDAY=15,30;COUNT=5", september(15, 30), [date(1998, 2, 28), date(1998, 3, 2)]),
    ],
)  # fmt: skip
def test_recurrences_are_those_of_the_standards_examples(text, has, has_not):
    more = "EXDATE;TZID=America/New_York:19970902T090000" if "FR" in text and "13" in text else ""
    assert on(rule(text, more), *has) == has
    assert on(rule(text, more), *has_not) == []


def test_nine_in_the_morning_stays_nine_across_the_change_of_the_clock():
    """RFC 5545, 3.8.5.3, "Daily until December 24": 9:00 AM EDT until October 25, 9:00 AM EST from the 26th."""
    data = rule("FREQ=DAILY;UNTIL=19971224T000000Z")
    before, after = entries(data, NEW_YORK, date(1997, 10, 25)), entries(data, NEW_YORK, date(1997, 10, 26))
    assert [one.start.astimezone(UTC).hour for one in (*before, *after)] == [13, 14]
    assert [one.start.hour for one in (*before, *after)] == [9, 9]


def test_an_exception_date_takes_one_lesson_out():
    """RFC 5545, 3.8.5.1."""
    data = rule("FREQ=WEEKLY;COUNT=4", "EXDATE;TZID=America/New_York:19970909T090000")
    assert on(data, *september(2, 9, 16)) == september(2, 16)


def test_added_dates_are_lessons_too():
    """RFC 5545, 3.8.5.2."""
    data = calendar(
        "UID:1\nDTSTART:19970714T123000Z\nDTEND:19970714T133000Z\nRDATE:19970716T123000Z\nSUMMARY:x"
    )
    assert on(data, date(1997, 7, 14), date(1997, 7, 15), date(1997, 7, 16), zone=UTC_ZONE) == [
        date(1997, 7, 14), date(1997, 7, 16),
    ]  # fmt: skip


def test_one_lesson_of_a_series_that_was_moved_is_on_its_new_day_alone():
    """RFC 5545, 3.8.4.4: RECURRENCE-ID."""
    series = "UID:1\nDTSTART;TZID=America/New_York:19970902T090000\nDURATION:PT1H\nRRULE:FREQ=WEEKLY;COUNT=3\nSUMMARY:x"
    moved = "UID:1\nRECURRENCE-ID;TZID=America/New_York:19970909T090000\nDTSTART;TZID=America/New_York:19970910T110000\nDURATION:PT1H\nSUMMARY:x"
    assert on(calendar(series, moved), *september(2, 9, 10, 16)) == september(2, 10, 16)


def test_a_cancelled_entry_is_no_lesson():
    """RFC 5545, 3.8.1.11."""
    data = calendar("UID:1\nDTSTART:19970903T163000Z\nDTEND:19970903T190000Z\nSTATUS:CANCELLED\nSUMMARY:x")
    assert on(data, *september(3)) == []


def test_a_time_without_a_zone_is_the_academys_own():
    """RFC 5545, 3.3.5, form 1."""
    [one] = entries(
        calendar("UID:1\nDTSTART:19980118T230000\nDURATION:PT30M\nSUMMARY:x"), NEW_YORK, date(1998, 1, 18)
    )
    assert one.start == datetime(1998, 1, 18, 23, 0, tzinfo=NEW_YORK)


def test_an_entry_of_whole_days_is_on_each_of_them():
    """RFC 5545, 3.6.1: the third example, from the 28th of June to the 8th of July inclusive."""
    data = calendar(
        "UID:20070423T123432Z-541111@example.com\nDTSTART;VALUE=DATE:20070628\nDTEND;VALUE=DATE:20070709\nSUMMARY:Festival"
    )
    assert on(data, date(2007, 6, 27), date(2007, 6, 28), date(2007, 7, 8), date(2007, 7, 9)) == [
        date(2007, 6, 28), date(2007, 7, 8),
    ]  # fmt: skip


def test_a_folded_line_and_an_escaped_comma_are_one_text():
    """RFC 5545, 3.1 and 3.3.11."""
    data = calendar("UID:1\nDTSTART:19970903T163000Z\nDURATION:PT1H\nSUMMARY:Lesson with Mia\\, an\n d Odo")
    assert entries(data, NEW_YORK, date(1997, 9, 3))[0].text == "Lesson with Mia, and Odo"


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"", "not a calendar"), (b"\xff\xfe\0", "not a calendar"), (b"BEGIN:VCALENDAR\r\n", "not a calendar"),
        (b"BEGIN:VEVENT\r\nEND:VEVENT\r\n", "not a calendar"),
        (rule("FREQ=SECONDLY"), "more than once a day"), (rule("FREQ=DAILY;BYMINUTE=1,2,3"), "more than once a day"),
        (rule("FREQ=HOURLY"), "more than once a day"), (b"x" * (9 << 20), "at most"),
    ],
)  # fmt: skip
def test_what_cannot_be_read_is_one_sentence(data, says):
    with pytest.raises(UnderfootError, match=says):
        check(data)


@given(st.binary(max_size=300) | st.text(max_size=300).map(lambda t: calendar(f"UID:1\n{t}")))
def test_no_bytes_end_in_anything_but_a_sentence(data):
    with suppress(UnderfootError):
        check(data)
        entries(data, NEW_YORK, date(1997, 9, 3))


PEOPLE = (
    Named("s1", "Mia Orr", frozenset({"mia@example.org", "parent@example.org"})), Named("s2", "Odo Fenn"),
    Named("s3", "Mia Mae Orr"), Named("s4", "Ada Kern"), Named("s5", "Ada Kern"), Named("s6", "Jo Li"),
)  # fmt: skip
AT = datetime(2026, 5, 5, 16, tzinfo=UTC)


@pytest.mark.parametrize(
    ("text", "addresses", "names", "students", "perhaps"),
    [
        ("Lesson: Odo Fenn", (), (), ("s2",), ()),
        ("FENN, odo (7-iron)", (), (), ("s2",), ()),
        ("Lesson", ("parent@example.org",), (), ("s1",), ()),
        ("Odo Fenn", ("mia@example.org",), (), ("s1",), ()),  # an address says more than a text
        ("Lesson", (), ("Odo Fenn",), ("s2",), ()),
        ("s2 putting", (), (), ("s2",), ()),
        ("Mia Orr", (), (), ("s1",), ()),
        ("Mia Mae Orr", (), (), ("s3",), ()),
        ("Odo Fenn and Mia Orr", (), (), ("s1", "s2"), ()),
        ("Ada Kern", (), (), (), ("s4", "s5")),  # two of one name
        ("Mia", (), (), (), ("s1", "s3")),
        ("Odo", (), (), (), ("s2",)),  # a part of a name is a question
        ("jo", (), (), (), ()),  # too short to think of anybody
        ("Dentist", ("nobody@example.org",), (), (), ()),
        ("", (), (), (), ()),
    ],
)  # fmt: skip
def test_an_entry_names_whom_it_names_and_else_it_is_a_question(text, addresses, names, students, perhaps):
    found = match(Entry("1", AT, AT, text, addresses, names), PEOPLE)
    assert (found.students, found.perhaps) == (students, perhaps)


@pytest.mark.parametrize("value", ["http://example.org/a.ics", "file:///etc/passwd", 3, "ftp://x"])
def test_a_calendar_in_the_settings_is_a_file_or_a_secure_address(value):
    line = f"calendar = {value!r}".replace("'", '"')
    with pytest.raises(UnderfootError, match="calendar"):
        parse_settings(f'name = "A"\ntime_zone = "UTC"\n{line}\n'.encode())


UTC_ZONE = ZoneInfo("UTC")
