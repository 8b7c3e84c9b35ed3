"""Today: who was seen lately and what that day still lacks, and who is overdue; only students in reach."""

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from app_test import AppTest
from dashboard import inbox
from dashboard.pages.session.content import began
from dashboard.pages.today import content, screen
from ingest.load import load, replay
from warehouse.access import open_reader
from warehouse.errors import AccessError, UnderfootError
from warehouse.home import Home
from warehouse.lesson_answers import read_answers
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
    later = academy(
        ["UPDATE academy.person SET joined = CAST(today() - INTERVAL 30 DAY AS DATE) WHERE person = 's3'"]
    )
    assert [line.student for line in content.overdue(later)] == ["s2", "s3"]
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


def lesson(hour, text, uid="1", minutes=60):
    return (
        f"BEGIN:VEVENT\r\nUID:{uid}\r\nDTSTART:{datetime.now(ZoneInfo('Europe/Dublin')):%Y%m%d}T{hour:02}0000\r\n"
        f"DURATION:PT{minutes}M\r\nSUMMARY:{text}\r\nEND:VEVENT\r\n"
    )


def with_calendar(reader, *lessons):
    text = f"BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:x\r\n{''.join(lessons)}END:VCALENDAR\r\n"
    (reader.home.path / "own.ics").write_text(text, "utf-8")
    settings = reader.home.settings_file.read_text("utf-8")
    if "calendar =" not in settings:
        reader.home.settings_file.write_text(f'calendar = "own.ics"\n{settings}', "utf-8")
    return open_reader(reader.home, reader.viewer.person)


def test_who_comes_is_said_by_the_calendar_in_order_of_time(academy):
    reader = with_calendar(academy(), lesson(23, "Petra Quill"), lesson(0, "Odo Fenn: putting", "2"))
    found = content.coming(reader)
    assert [(one.when, one.text, [line.student for line in one.students]) for one in found] == [
        ("00:00–01:00", "Odo Fenn: putting", ["s2"]), ("23:00–00:00", "Petra Quill", ["s1"]),
    ]  # fmt: skip


def test_a_lesson_that_is_over_says_what_is_missing_and_one_to_come_when_they_were_seen(academy):
    reader = with_calendar(
        academy([note("s1", 0, "saw"), note("s3", 9, "saw")]), lesson(0, "Petra Quill", minutes=1)
    )
    [over] = content.coming(reader)
    assert over.students[0].sentence == "no measurement and no home practice set"
    reader = with_calendar(reader, lesson(0, "Mina Harrow", minutes=1439))
    [going] = content.coming(reader)
    assert going.students[0].sentence.startswith("last seen on ")


def test_a_coach_sees_the_lessons_of_their_own_students_and_no_word_of_others(academy):
    reader = academy()
    mine, others = reader.sql("SELECT student FROM coaching WHERE coach = 'c2'"), "Petra Quill"
    assert mine["student"].to_list() == ["s3"]
    with_calendar(
        reader, lesson(9, others), lesson(10, f"{others} and Mina Harrow", "2"), lesson(11, "Petra", "3")
    )
    coach = open_reader(reader.home, "c2")
    [one] = content.coming(coach)
    assert (one.text, [line.student for line in one.students]) == ("", ["s3"])
    for person in ("s1", "g2"):
        assert open_reader(reader.home, person).lessons(reader.today) == []


def test_students_are_listed_in_one_order_today_then_lately_then_overdue_then_the_rest(academy):
    reader = academy(
        [session("s1", 31, plate=True), session("s2", 9, plate=True), session("s3", 1, plate=True)]
    )
    assert content.order(reader) == ["s3", "s1", "s2"]
    lessons = lesson(9, "Odo Fenn"), lesson(8, "Petra Quill", "2")
    assert content.order(with_calendar(reader, *lessons)) == ["s1", "s2", "s3"]
    (reader.home.path / "own.ics").write_bytes(b"x")
    assert content.order(open_reader(reader.home, "h1")) == ["s3", "s1", "s2"]
    assert content.order(open_reader(reader.home, "c2")) == ["s3"]


def test_where_it_is_not_clear_who_is_meant_it_is_a_question(academy):
    [one] = content.coming(with_calendar(academy(), lesson(9, "Odo at nine")))
    assert (one.asked, [line.student for line in one.students]) == (True, ["s2"])
    assert content.unclear(one).startswith("09:00–10:00 “Odo at nine”: perhaps Odo Fenn.")


def test_a_calendar_that_can_not_be_read_is_a_sentence_and_no_calendar_is_no_lesson(academy):
    reader = academy()
    assert content.coming(reader) == []
    with_calendar(reader)
    (reader.home.path / "own.ics").write_bytes(b"x")
    with pytest.raises(UnderfootError, match="calendar"):
        content.coming(open_reader(reader.home, "h1"))


def test_a_new_session_begins_with_todays_lesson(academy):
    reader = with_calendar(academy(), lesson(0, "Petra Quill"), lesson(23, "Mina Harrow", "2"))
    assert began(reader, "s1").hour == 0
    assert began(reader, "s3") == inbox.this_minute(reader)


def answered(reader, one, code):
    """The academy once a load has taken the answer in."""
    content.answer(reader, one, code)
    with writer(reader.home) as w:
        report = load(reader.home, w)
        w.publish()
    assert report.refused == []
    return open_reader(reader.home, reader.viewer.person)


def test_an_unclear_entry_is_asked_about_once_and_its_words_are_clear_from_then_on(academy, tmp_path):
    reader = with_calendar(academy(), lesson(9, "Odo at nine"))
    [one] = content.coming(reader)
    assert list(content.choices(reader, one))[:2] == ["s2", content.NO_LESSON]
    reader = answered(reader, one, "s1")
    [now] = content.coming(reader)
    assert (now.asked, [line.student for line in now.students]) == (False, ["s1"])
    assert now.perhaps == ("s2",)  # for whoever says that somebody else comes
    reader = with_calendar(reader, lesson(9, "odo AT  nine", "another"), lesson(8, "Odo, eight", "3"))
    assert [one.asked for one in content.coming(reader)] == [True, False]
    twin = Home(tmp_path / "twin")  # what a rebuild knows of it
    twin.path.mkdir()
    twin.settings_file.write_bytes(reader.home.settings_file.read_bytes())
    twin.filed.symlink_to(reader.home.filed)
    with writer(twin) as w:
        replay(twin, w)
        name, delivery = w.sql("SELECT name, delivery FROM academy.delivery WHERE kind = 'calendar'").row(0)
    [known] = read_answers([twin.filed / delivery / name]).values()
    assert (known.student, known.perhaps) == ("s1", {"s2"})


def test_what_is_no_lesson_is_gone_and_a_later_answer_counts(academy):
    reader = with_calendar(academy(), lesson(9, "Fenn bridge closed"))
    [one] = content.coming(reader)
    gone = answered(reader, one, content.NO_LESSON)
    assert content.coming(gone) == []
    [line] = content.coming(answered(gone, one, "s2"))
    assert [student.student for student in line.students] == ["s2"]


def test_a_new_student_of_that_name_opens_the_question_anew_and_so_does_one_who_left(academy):
    reader = with_calendar(academy(), lesson(9, "Odo at nine"))
    [one] = content.coming(reader)
    reader = answered(reader, one, "s2")
    with writer(reader.home) as w:
        w.execute("UPDATE academy.person SET display_name = 'Odo Harrow' WHERE person = 's3'")
        w.publish()
    [again] = content.coming(open_reader(reader.home, "h1"))
    assert (again.asked, set(again.perhaps)) == (True, {"s2", "s3"})
    with writer(reader.home) as w:
        w.execute("UPDATE academy.person SET display_name = 'Mina Harrow' WHERE person = 's3'")
        w.execute(
            "UPDATE academy.person SET \"left\" = CAST(today() - INTERVAL 1 DAY AS DATE) WHERE person = 's2'"
        )
        w.publish()
    assert content.coming(open_reader(reader.home, "h1")) == []  # nobody of that name is there any more


def test_a_coach_answers_only_where_everybody_it_may_mean_is_theirs(academy):
    reader = academy()
    with_calendar(reader, lesson(9, "Harrow"), lesson(10, "Quill or Harrow", "2"))
    coach = open_reader(reader.home, "c2")  # of s3, Mina Harrow, alone
    own, shared = content.coming(coach)
    assert own.key
    assert (shared.key, shared.text) == ("", "")
    assert set(content.choices(coach, own)) == {"s3", content.NO_LESSON}
    with pytest.raises(AccessError):
        content.answer(coach, own, "s1")
    assert [one.asked for one in content.coming(answered(coach, own, "s3"))] == [False, True]


def today_page(reader):
    from dashboard import gate  # noqa: PLC0415 - run as a page of its own
    from dashboard.pages.today import screen  # noqa: PLC0415

    gate.enter(reader)
    screen.show(reader)


def test_the_page_asks_in_one_quiet_line_and_keeps_what_is_chosen(academy, monkeypatch):
    monkeypatch.setattr(screen.navigation, "link", lambda *_, **__: None)
    reader = with_calendar(academy(), lesson(9, "Odo at nine"))
    at = AppTest.from_function(today_page, args=(reader,)).run()
    assert not at.exception
    [box] = at.selectbox
    box.set_value("s2").run()
    assert not at.selectbox
    assert any("Saved: Odo Fenn" in one.value for one in at.markdown)
    [file] = reader.home.inbox.rglob("*.ics")
    assert file.name.startswith("lesson-answer-")
