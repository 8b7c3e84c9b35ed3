"""Random academies: who sees, opens and writes what is what a second, naive statement of the rules says.

Every viewer on every day on which an answer changes, and the days around it: each table's rows, each page, each
link, each kind of delivery. What people may do is compared as strictly as what they may not.
"""

import csv
import json
import random
import re
import shutil
import zipfile
from collections import Counter
from datetime import date, datetime, timedelta
from functools import cache
from itertools import product

import duckdb
import polars as pl
import pytest

import builders
import naive_access as naive
import random_academies as made
from command import underfoot_command
from dashboard.app import PAGES
from dashboard.pages.notes import command as note_command
from dashboard.queries import people
from ingest import lots
from ingest.rights import right_of
from warehouse import links, settings
from warehouse.access import Reader, open_by_link, open_reader
from warehouse.deliverer import Deliverer
from warehouse.errors import AccessError, Refused, UnknownViewerError
from warehouse.reach import WRITINGS, viewer_of, visible_students
from warehouse.store import Snapshot, make_tables, open_snapshot, opened

SEEDS = range(3)
ROLES_OF = {page.path: page.roles for page in PAGES}
PAGE_OF = {
    "progress_page": "progress", "student_page": "student", "lesson_sheet": "lesson", "sessions": "swings",
    "films": "student", "notes": "notes", "trends": "students", "own_week": "week", "own_deliveries": "deliveries",
    "own_students": "students", "coaches_page": "coaches", "data_quality": "quality",
}  # fmt: skip
ABOUT_SOMEBODY = {"page", "page_link", "lesson", "review", "export", "draw", "invite"}
SLOWLY = {"plan": "Slowly.", "grade": 2, "unit": "reps", "place": "lesson", "shared": True} | dict.fromkeys(
    ("saw", "drill", "dose", "pace", "hurts", "side", "words", "over", "goal")
)
COUNTED: Counter[str] = Counter()


def fill(connection, academy):
    """The rows of a random academy, beside them what is made of a session and of a note."""

    def put(table, rows):
        if rows:
            connection.register("_rows", pl.DataFrame(rows, infer_schema_length=None).to_arrow())
            columns = ", ".join(f'"{name}"' for name in rows[0])
            connection.execute(f"INSERT INTO {table} ({columns}) SELECT {columns} FROM _rows")

    put("academy.person", [
        {"person": p.code, "role": p.role, "display_name": p.code.title(), "born": p.born, "joined": p.joined,
         "left": p.left, "guardian_of": list(p.guardian_of) or None} for p in academy.people
    ])  # fmt: skip
    put("academy.coaching", [
        {"student": c.student, "coach": c.coach, "from": c.first, "to": c.last} for c in academy.coaching
    ])  # fmt: skip
    put("academy.consent", [
        {"student": c.student, "given_by": c.given_by, "purpose": c.purpose, "from": c.first, "to": c.last}
        for c in academy.consents
    ])  # fmt: skip
    for session in academy.sessions:
        how = {"has_plate": "measure" in session.recorded, "has_clip": "film" in session.recorded}
        frame = builders.session_frame(session.code, session.student, session.coach, body_mass_kg=70.0, **how)
        put("academy.session", frame.to_dicts())
        put_recordings(put, session)
        put("academy.delivery", [{
            "delivery": f"d-{session.code}", "sequence": 1, "received_at": datetime(2026, 5, 5), "kind": "session",  # noqa: DTZ001
            "outcome": "accepted", "session": session.code, "delivered_by": session.filed_by,
        }])  # fmt: skip
        put("academy.swing_fault", [
            {"session": session.code, "swing_no": 1, "student": session.student, "fault": "f", "flagged": True,
             "rule_version": "1"}
        ])  # fmt: skip
        put("academy.refusal", [
            {"delivery": f"d-{session.code}", "session": session.code, "reason": "r", "sentence": f"{session.code} is wrong.",
             "at": datetime(2026, 5, 5), "name": session.code, "student": session.student, "coach": session.coach}  # noqa: DTZ001
        ])  # fmt: skip
        put("season.data_health", [
            {"day": session.started_at.date(), "coach": session.coach, "student": session.student, "reason": "usable", "n": 1}
        ])  # fmt: skip
    put("academy.drill", [{"drill": code, "name": code} for code in ("slow", "step")])
    put_signals(put, academy.of_role("student"))
    put("academy.withheld", [
        {"student": student, "purpose": how}
        for student in academy.of_role("student") for how in ("measure", "film")
        if not naive.naive_in_use(academy, student, how, made_on(academy))
    ])  # fmt: skip
    for number, note in enumerate(academy.notes):
        frame = builders.note_frame(
            f"n{number}",
            note.student,
            shared=note.shared,
            author=note.author,
            kind=note.kind,
            code=note.code,
            text=note.text,
        )
        put("academy.note", frame.to_dicts())


def put_signals(put, students):
    """A weekly review in which nobody was measured for long."""
    week = {"week": date(2026, 5, 4)}
    put("season.signal", [
        {"as_of": date(2026, 5, 8), "rank": n, "signal": f"unmeasured:{student}:", "kind": "unmeasured", "student": student,
         "kindred": []} | week for n, student in enumerate(students)
    ])  # fmt: skip
    put("season.signal_evidence", [
        {"signal": f"unmeasured:{student}:", "place": 1, "role": "main", "subject": "sessions", "day": date(2026, 1, 5),
         "days": 120} | week for student in students
    ])  # fmt: skip


def made_on(academy):
    """The day on which the numbers were made."""
    days = made.days_of_change(academy)
    return days[len(days) // 2]


def put_recordings(put, session):
    """A swing, and what plate and film leave of it."""
    key = {"session": session.code, "swing_no": 1}
    put("academy.swing", [key | {
        "part": "baseline", "pace": "full", "n_samples": 9, "usable": True, "flags": ["low_rate"], "flag_counts": [60],
        "file_flags": ["low_rate"], "file_flag_counts": [60], "heel_source": "measured", "rate_hz": 60.0, "kind": "swing",
        "sure": 0.9,
    }])  # fmt: skip
    event = key | {"event": "impact", "t_s": 1.0, "expected_error_s": 0.0}
    if "measure" in session.recorded:
        put("academy.hold", [key | {"eyes": "open", "seconds": 9.0, "n_samples": 9, "rocking": False}])
        put("academy.swing_event", [event | {"source": "marked", "clock": "plate"}])
    if "film" in session.recorded:
        put("academy.clip_point", [key | {"frame": 1, "point": "lead_heel"}])
        put(
            "academy.heel_seen",
            [key | {"event": "top", "t_s": 1.0, "foot": "lead", "up": True, "source": "eye"}],
        )
        put("academy.outline_rise", [key | {"foot": "lead", "times_s": [0.0], "rises_mm": [1.0]}])
        put("academy.swing_event", [event | {"source": "marked", "clock": "clip"}])
    if session.recorded == ("measure", "film"):
        put("academy.swing_event", [event | {"event": "top", "source": "clip", "clock": "plate"}])


@cache
def academy_of(seed):
    return made.random_academy(random.Random(seed))


@pytest.fixture(scope="module")
def snapshots(tmp_path_factory):
    """The published snapshot of a seed's academy, made once: its rows are only read."""
    made_of = {}

    def of(seed):
        if seed not in made_of:
            academy = academy_of(seed)
            home = builders.make_home(
                tmp_path_factory.mktemp("random") / "academy",
                f'name = "A"\ntime_zone = "{academy.time_zone}"\n[device.mat]\nkind = "pressure_mat"\n',
            )
            connection = duckdb.connect()
            make_tables(connection)
            fill(connection, academy)
            made_of[seed] = Snapshot(home, "random", connection)
        return made_of[seed]

    yield of
    for snapshot in made_of.values():
        snapshot.close()


@pytest.fixture
def published(snapshots, request):
    """A random academy as it is, and as a published snapshot."""
    return academy_of(request.param), snapshots(request.param)


def seen(academy, viewer, day):
    """Students whose rows a viewer may read, by the naive rules."""
    person = academy.person(viewer)
    what = "sessions" if person and person.role in ("head_coach", "coach") else "progress_page"
    return naive.naive_students_seen(academy, viewer, what, day)


@pytest.mark.parametrize("published", SEEDS, indirect=True)
def test_each_page_about_a_student_or_a_coach_opens_for_those_alone_whom_the_rules_let_in(published):
    academy, snapshot = published
    settings = snapshot.home.settings()
    for day in made.days_to_check(academy):
        for person in [p.code for p in academy.people] + ["nobody"]:
            viewer = viewer_of(snapshot, person, day)
            reached = set(visible_students(snapshot, viewer, settings, day)) if viewer else set()
            assert reached == seen(academy, person, day)
            for what, page in PAGE_OF.items():
                has_page = viewer is not None and viewer.role in ROLES_OF[page]
                if what in naive.ABOUT_A_STUDENT:
                    for student in academy.of_role("student"):
                        may = naive.naive_may_see(academy, person, student, what, day)
                        assert (has_page and student in reached) is may, (person, student, what, day)
                        COUNTED["page"] += 1
                elif what in naive.OF_THE_ACADEMY:
                    assert has_page is naive.naive_may_see(academy, person, None, what, day)
                    COUNTED["page"] += 1


@pytest.mark.parametrize("published", SEEDS, indirect=True)
def test_each_tables_rows_are_those_that_the_rules_allow(published):
    academy, snapshot = published
    for day in made.days_of_change(academy)[::6]:
        for person in academy.people:
            try:
                reader = open_reader(snapshot.home, person.code, snapshot=snapshot, today=day)
            except UnknownViewerError:
                assert naive.naive_has_ended(person, day)
                continue
            allowed, staff = seen(academy, person.code, day), person.role in ("head_coach", "coach")
            for table, whole in (
                ("session", True),
                ("coaching", True),
                ("consent", True),
                ("data_health", staff),
            ):
                rows = set(reader.sql(f"SELECT student FROM {table}").to_series())
                full = {
                    row.student
                    for row in {"coaching": academy.coaching, "consent": academy.consents}.get(
                        table, academy.sessions
                    )
                }
                assert rows == (allowed & full if whole else set()), (person, table, day)
                COUNTED["table"] += len(academy.of_role("student"))
            sessions = {s.code for s in academy.sessions if s.student in allowed}
            own = set(reader.sql("SELECT session FROM delivery").to_series())
            assert own == (sessions if staff else set()), (person, day)
            COUNTED["table"] += len(academy.sessions)
            check_recordings(academy, reader, allowed, day)
            check_notes(academy, reader, allowed, staff=staff)
            check_people(academy, reader, person, allowed)


def check_recordings(academy, reader, allowed, day):
    """What is seen of recordings, and of the numbers made of them, is what may be used on a day."""

    def seen(query):
        return set(reader.sql(query).rows())

    sessions = [s for s in academy.sessions if s.student in allowed]
    of_session, of_swing, events, holds, points, heels, faults = (set() for _ in range(7))
    for session in sessions:
        code, used = session.code, naive.naive_recordings(academy, session, day)
        plate, film = "measure" in used, "film" in used
        measured = naive.naive_in_use(academy, session.student, "measure", day)
        of_session.add((code, plate, film, 70.0 if measured else None))
        out = bool(session.recorded) and not used
        flags, made_of = ("no_consent", 1) if out else ("low_rate", 60), (0, "none", None, None, None)
        of_swing.add(
            (code, *flags, *flags, not out, *(made_of if out else (9, "measured", "swing", 0.9, 60.0)))
        )
        events |= {(code, "impact", "plate")} if plate else set()
        events |= {(code, "impact", "clip")} if film else set()
        events |= {(code, "top", "plate")} if plate and film else set()
        holds |= {(code,)} if plate else set()
        points |= {(code,)} if film else set()
        heels |= {(code,)} if film else set()
        if naive.naive_numbers_in_use(academy, session.student, made_on(academy), day):
            faults.add((code,))
        COUNTED["recording"] += 7
    assert seen("SELECT session, has_plate, has_clip, body_mass_kg FROM session") == of_session
    of_flags = "flags[1], flag_counts[1], file_flags[1], file_flag_counts[1]"
    of_samples = "usable, n_samples, heel_source, kind, sure, rate_hz"
    assert seen(f"SELECT session, {of_flags}, {of_samples} FROM swing") == of_swing
    assert seen("SELECT session, event, clock FROM swing_event") == events
    assert seen("SELECT session FROM hold") == holds
    assert seen("SELECT session FROM clip_point") == points
    assert seen("SELECT session FROM heel_seen") == heels
    assert seen("SELECT session FROM outline_rise") == heels
    assert seen("SELECT session FROM swing_fault") == faults


def check_notes(academy, reader, allowed, *, staff):
    rows = dict(reader.sql("SELECT note, text FROM note").iter_rows())
    for number, note in enumerate(academy.notes):
        own_body = note.kind in ("discomfort", "discomfort_over", "falls")  # seen by whoever signed in
        may = note.student in allowed and (staff or note.shared or own_body)
        assert (f"n{number}" in rows) is may, note
        COUNTED["table"] += 1


def check_people(academy, reader, person, allowed):
    for row in reader.sql("SELECT person, role, born, guardian_of FROM person").iter_rows(named=True):
        known = academy.person(row["person"])
        own = {row["person"]} & (allowed | {person.code})
        assert own or known.role in ("coach", "head_coach") or set(known.guardian_of) & allowed
        if not own and person.role != "head_coach":
            assert row["born"] is None
            assert set(row["guardian_of"] or ()) <= allowed
        COUNTED["table"] += 1
    everyone = {p.code for p in academy.people if p.role in ("coach", "head_coach")} | allowed | {person.code}
    assert everyone <= set(reader.sql("SELECT person FROM person").to_series())


@pytest.mark.parametrize("published", SEEDS, indirect=True)
def test_each_link_opens_its_own_page_while_the_rules_let_it(published):
    academy, snapshot = published
    home = snapshot.home
    for link in academy.links:
        token = links.signed(
            home,
            links._PAGE,
            {"s": link.student, "n": "x", "m": link.made_at.timestamp(), "u": link.until.timestamp()},
        )
        moments = [m for m in made.moments_to_check(academy) if m >= link.made_at]
        for at in [
            *moments,
            link.until - timedelta(seconds=1),
            link.until,
            *([link.ended_at] if link.ended_at else []),
        ]:
            ended = {link.student: link.ended_at.timestamp()} if link.ended_at and at >= link.ended_at else {}
            (home.path / links.ENDED).write_text(json.dumps(ended))
            try:
                opened = links.read_link(home, snapshot, token, now=at).student
            except AccessError:
                opened = None
            for what, page in PAGE_OF.items():
                for student in academy.of_role("student"):
                    opens = opened == student and "student" in ROLES_OF[page]
                    if what in naive.ABOUT_A_STUDENT:
                        assert opens is naive.naive_link_opens(academy, link, student, what, at), (
                            link,
                            what,
                            at,
                        )
                        COUNTED["link"] += 1
        reader = open_reader(home, link.student, snapshot=snapshot, today=made.FIRST_DAY, link="x")
        check_linked_notes(academy, reader, link.student)


def check_linked_notes(academy, reader: Reader, student):
    assert reader.students == [student]
    rows = dict(reader.sql("SELECT note, text FROM note").iter_rows())
    for number, note in enumerate(academy.notes):
        if f"n{number}" in rows:
            assert note.student == student
            assert naive.naive_note_on_progress_page(note)
            assert not note.text or naive.naive_text_on_progress_page(note)
        elif note.student == student:
            assert not note.shared
        COUNTED["link"] += 1


@pytest.mark.parametrize("published", SEEDS, indirect=True)
def test_each_delivery_is_taken_from_those_who_may_deliver_it(published):
    academy, snapshot = published
    settings = snapshot.home.settings()
    rng = random.Random(0)
    for moment in made.moments_to_check(academy):
        for person in academy.people:
            right = right_of(snapshot, settings, Deliverer(person.code, moment.isoformat(), ("d",)))
            for student in academy.of_role("student"):
                under = rng.choice([None, person.code, *academy.of_role("coach")])
                may = naive.naive_may_write(academy, person.code, "note", student, moment, under=under)
                assert (right.problem(student, under) is None) is may, (person, student, under, moment)
                COUNTED["write"] += 1
                for session in rng.sample(academy.sessions, min(1, len(academy.sessions))):
                    may = naive.naive_may_write(
                        academy, person.code, "session", student, moment, under=under, replaces=session
                    )
                    assert taken(right, student, under, session) is may, (person, student, under, session)
                    COUNTED["write"] += 1


def taken(right, student, under, session):
    filed = {
        "student": session.student,
        "coach": session.coach,
        "delivery": "d",
        "delivered_by": session.filed_by,
    }
    try:
        right.check(student, under, session=session.code)
        right.check_correction(session.code, filed)
    except Refused:
        return False
    return True


def practice(student, author):
    return {
        "student": student, "author": author, "kind": "practice", "code": "d1", "grade": 2, "value": 10.0, "unit": "reps",
        "pace": "slow", "place": "home", "shared": True, "overruled_by": None,
    }  # fmt: skip


def may_now(reader, what, student):
    """Whether a page lets its reader write this: by their role and reach, and for a film by consent."""
    return reader.may_write(what, student) and (what != "film" or people.may_film(reader, student))


@pytest.mark.parametrize("published", SEEDS, indirect=True)
def test_a_family_reports_practice_and_sends_films_of_its_own_and_staff_decide_on_them(published):
    academy, snapshot = published
    settings = snapshot.home.settings()
    for moment in made.moments_to_check(academy)[::16]:
        day = naive.naive_day(academy, moment)
        for person in academy.people:
            right = right_of(snapshot, settings, Deliverer(person.code, moment.isoformat()))
            try:
                reader = open_reader(snapshot.home, person.code, snapshot=snapshot, today=day)
            except UnknownViewerError:
                reader = None
            for student in academy.of_role("student"):
                for author in (person.code, "c1"):
                    # A coach's own note of practice is a note like any other.
                    what = "note" if person.role in ("coach", "head_coach") else "practice"
                    may = naive.naive_may_write(academy, person.code, what, student, moment, under=author)
                    assert (right.problem_of_line(practice(student, author)) is None) is may, (
                        person,
                        student,
                        moment,
                    )
                for what in ("practice", "discomfort", "film", "film_decision"):
                    may = naive.naive_may_write(academy, person.code, what, student, moment)
                    assert (reader is not None and may_now(reader, what, student)) is may, (
                        person,
                        student,
                        what,
                        moment,
                    )
                    COUNTED["family"] += 1


@pytest.mark.parametrize("published", SEEDS, indirect=True)
def test_whoever_holds_a_link_writes_what_its_student_might_on_that_page_and_nothing_else(published):
    academy, snapshot = published
    home, settings = snapshot.home, snapshot.home.settings()
    for link in academy.links:
        token = links.signed(
            home,
            links._PAGE,
            {"s": link.student, "n": "x", "m": link.made_at.timestamp(), "u": link.until.timestamp()},
        )
        for at in [m for m in made.moments_to_check(academy) if m >= link.made_at]:
            ended = {link.student: link.ended_at.timestamp()} if link.ended_at and at >= link.ended_at else {}
            (home.path / links.ENDED).write_text(json.dumps(ended))
            try:
                opened = open_by_link(home, token, snapshot=snapshot, now=at)
            except (AccessError, UnknownViewerError):
                opened = None
            right = right_of(snapshot, settings, Deliverer(link.student, at.isoformat(), (), "x"))
            here = not naive.naive_has_ended(academy.person(link.student), naive.naive_day(academy, at))
            for student in academy.of_role("student"):
                for what in WRITINGS:
                    may = here and naive.naive_link_may_write(academy, link, what, student, at)
                    assert (opened is not None and may_now(opened, what, student)) is may, (
                        link,
                        what,
                        student,
                        at,
                    )
                    COUNTED["family"] += 1
                assert right.problem(student, None) is not None
                own = student == link.student and here
                assert (right.problem_of_line(practice(student, link.student)) is None) is own
                for kind in ("saw", "drill", "plan", "goal", "felt", "discomfort", "talked"):
                    line = practice(student, link.student) | {"kind": kind}
                    assert right.problem_of_line(line) is not None


@pytest.fixture
def kept(tmp_path, request, monkeypatch):
    """A random academy, a home in which it is published, and a way to set the clock."""
    academy = academy_of(request.param)
    home = builders.make_home(
        tmp_path / "academy",
        f'name = "A"\ntime_zone = "{academy.time_zone}"\n[device.mat]\nkind = "pressure_mat"\n',
    )
    with opened(home) as w:
        fill(w.connection, academy)
        w.publish()

    def set_clock(moment):
        class Clock(datetime):
            @classmethod
            def now(cls, tz=None):
                return moment.astimezone(tz)

        for module in (settings, links, lots):
            monkeypatch.setattr(module, "datetime", Clock)

    return academy, home, set_clock


def run(home, verb, person, out):
    """What a command makes about a person, all as text; None where it was refused."""
    words = {
        "page": ["page", person, "--to", out], "page_link": ["page", person, "--link", "9"],
        "lesson": ["lesson", person, "--to", out], "review": ["review", "--as", person, "--to", out],
        "export": ["export", person, "--to", out], "draw": ["draw", "slow", "step", "--student", person],
        "invite": ["invite", person], "sql": ["sql", "SELECT * FROM academy.session", "--format", "csv"],
        "refused": ["refused"], "health": ["health"],
    }  # fmt: skip
    out.unlink(missing_ok=True)
    ran = underfoot_command(*words[verb], "--home", home.path)
    if ran.returncode and verb not in (
        "refused",
        "health",
    ):  # 1 says that there are some, or that something is wrong
        assert "fault of Underfoot" not in ran.stderr
        return None
    if not out.exists() or verb != "export":
        return ran.stdout + (out.read_text() if out.exists() else "")
    with zipfile.ZipFile(out) as archive:
        return "".join(name + archive.read(name).decode() for name in archive.namelist())


@pytest.mark.parametrize("kept", SEEDS, indirect=True)
def test_each_command_shows_whom_the_rules_let_it_and_nobody_else(kept, tmp_path):
    academy, home, set_clock = kept
    rng = random.Random(1)
    sore = {note.student for note in academy.notes if note.kind == "discomfort"}  # of whom no drill is drawn
    for moment in rng.sample(made.moments_to_check(academy), 2):
        set_clock(moment)
        for verb in naive.COMMANDS:
            people = [p.code for p in academy.people] if verb in ABOUT_SOMEBODY else [None]
            people = [p for p in people if verb != "draw" or p not in sore]
            for person in rng.sample(people, min(3, len(people))):
                text = run(home, verb, person, tmp_path / "out")
                allowed = naive.naive_command_shows(academy, verb, person, moment)
                COUNTED["command"] += len(academy.of_role("student"))
                assert (text is None) is (allowed is None), (verb, person, moment, text)
                if text is None:
                    continue
                if verb == "page_link":
                    token = text.split("link=")[1].split()[0]
                    assert links.read_link(home, open_snapshot(home), token, now=moment).student == person
                    continue
                shown = set(re.findall(r"\bs\d+\b", text.lower()))
                if verb == "review":  # of numbers that may be used
                    day = naive.naive_day(academy, moment)
                    allowed = {
                        s for s in allowed if naive.naive_numbers_in_use(academy, s, made_on(academy), day)
                    }
                assert shown <= allowed, (verb, person, moment)
                assert shown == allowed or verb not in ABOUT_SOMEBODY, (verb, person, moment)
        for file in home.inbox.iterdir():  # what was drawn, under whose name
            for line in csv.DictReader(file.read_text().splitlines()):
                assert naive.naive_may_write(academy, line["author"], "draw", line["student"], moment)
            file.unlink()


@pytest.mark.parametrize("kept", SEEDS, indirect=True)
def test_the_note_command_writes_for_those_who_may_under_their_own_name(kept):
    academy, home, set_clock = kept
    rng = random.Random(2)
    pairs = list(product([*(p.code for p in academy.people), "nobody"], academy.of_role("student")))
    for moment in rng.sample(made.moments_to_check(academy), 2):
        set_clock(moment)
        may = {pair for pair in pairs if naive.naive_may_write(academy, pair[0], "note", pair[1], moment)}
        allowed, refused = sorted(may), sorted(set(pairs) - may)
        for writer, student in rng.sample(allowed, min(3, len(allowed))) + rng.sample(refused, 5):
            try:
                said = note_command.write(home, student, writer, **SLOWLY)
            except (AccessError, UnknownViewerError):
                said = None
            assert (said is not None) is ((writer, student) in may), (writer, student, moment)
            files = list(home.inbox.rglob("notes.jsonl"))
            assert len(files) == (said is not None)
            for file in files:
                line = json.loads(file.read_text())
                assert (line["author"], line["student"]) == (writer, student)
                shutil.rmtree(file.parent)
            COUNTED["command"] += 1


def test_these_were_many_cases_of_each_kind():
    assert sum(COUNTED.values()) >= 10_000, COUNTED
    assert min(COUNTED.values()) >= 500, COUNTED
