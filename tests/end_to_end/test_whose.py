"""Recordings of people who are not said: a file in the drop folder, and one recording of a group, on a phone."""

import re
import subprocess
import sys
import time
from datetime import datetime
from zoneinfo import ZoneInfo

import polars as pl
import pytest

from browser import LIMIT_MS, ROOT, Hand, free_port, screen, settle
from builders import load_all, make_home
from planted_recordings import CHILD, QUIET, recording
from warehouse.store import open_snapshot

pytestmark = pytest.mark.browser
LATER_S, DUBLIN = 30.0, ZoneInfo("Europe/Dublin")
SETTINGS = """\
name = "Foot first"
time_zone = "Europe/Dublin"
consents = "kept elsewhere"
[device.run]
kind = "force_plates"
[device.run.layout]
swings = "found"
file_name = "{student}_{date}_{time}"
[device.run.columns]
t_s = "t_s"
left_n = "left_n"
right_n = "right_n"
"""
PEOPLE = (
    "person,role,display_name,handed,joined,born\nh1,head_coach,Runa Oake,,2025-01-01,\n"
    "c1,coach,Bram Tolliver,,2025-01-01,\ns1,student,Petra Quill,right,2025-01-01,1990-01-01\n"
    "s2,student,Odo Fenn,right,2025-01-01,2014-01-01\ns3,student,Mina Harrow,right,2025-01-01,1971-01-01\n"
)
COACHING = "student,coach,from,to\ns1,c1,2025-01-01,\ns2,c1,2025-01-01,\n"
SHEET = 'session = "{0}"\nstudent = "{0}"\ncoach = "c1"\nstarted_at = 2026-05-01T10:00:00+01:00\nbody_mass_kg = {1}\n'
TALKED = "at,author,kind,text\n2026-05-01T10:00:00+01:00,c1,plan,Keep at it.\n"


def export(*players, seed, minutes):
    made = recording(*players, seed=seed, minutes=minutes, turn=3)
    return made, pl.DataFrame(
        {name: getattr(made, name) for name in ("t_s", "left_n", "right_n")}
    ).write_csv()


@pytest.fixture(scope="module")
def phone(tmp_path_factory, chromium):
    """The pages of an academy with its loader at work, open on a coach's phone."""
    home = make_home(tmp_path_factory.mktemp("whose") / "academy", SETTINGS)
    (home.inbox / "people.csv").write_text(PEOPLE, "utf-8")
    (home.inbox / "coaching.csv").write_text(COACHING, "utf-8")
    for student, kg in (("s1", 74.0), ("s2", 35.0), ("s3", 74.5)):
        (home.inbox / student).mkdir()
        (home.inbox / student / "session.toml").write_text(SHEET.format(student, kg), "utf-8")
        (home.inbox / student / "notes.csv").write_text(TALKED, "utf-8")
    assert load_all(home, [home.inbox]) == []
    call = [sys.executable, "-m", "underfoot", "serve", "--home", str(home.path), "--no-browser"]
    call += ["--as", "c1", "--port", str(free_port())]
    with subprocess.Popen(call, cwd=ROOT, stdout=subprocess.PIPE, text=True) as running:
        context = chromium.new_context(**screen(390))
        try:
            said = ""
            while not (found := re.findall(r"http://localhost:\d+/\S*key=\S+", said)):
                said = running.stdout.readline()
                assert said
            page = context.new_page()
            page.goto(found[0])
            settle(page)
            yield home, page, re.match(r"http://localhost:\d+", found[0])[0]
        finally:
            context.close()
            running.terminate()


def sessions(home) -> dict[str, int]:
    snapshot = open_snapshot(home)
    rows = snapshot.sql(
        "SELECT s.student, count(*) FILTER (WHERE w.kind = 'swing') FROM academy.session s "
        "JOIN academy.swing w USING (session) GROUP BY ALL"
    ).rows()
    snapshot.close()
    return dict(rows)


def test_a_recording_nobody_named_is_one_tap_from_its_students_page(phone):
    home, page, base = phone
    made, text = export(CHILD, seed=31, minutes=4.0)
    (home.inbox / "mat 3_2026-05-05_1610.csv").write_text(text, "utf-8")
    while not list(home.refused.glob("*/why.json")):
        time.sleep(0.2)
    hand, started = Hand(page), time.monotonic()
    page.goto(f"{base}/deliveries")
    page.get_by_role("heading", name="Whose is this?").wait_for(timeout=LIMIT_MS)
    assert not page.get_by_text("Mina Harrow").count()  # another coach's student
    hand.tap(page.get_by_role("button", name="Odo Fenn (the weight fits)"))
    link = page.get_by_role("link", name="Odo Fenn's page")
    link.wait_for(timeout=LIMIT_MS)
    loaded_s = time.monotonic() - started
    hand.tap(link)
    page.get_by_role("heading", name="Odo Fenn").first.wait_for(timeout=LIMIT_MS)
    print(f"whose: {hand.clicks} taps, {loaded_s:.1f} s to loaded, {time.monotonic() - started:.1f} s in all")
    assert time.monotonic() - started < LATER_S
    assert sessions(home) == {"s2": len(made.of("swing"))}
    assert not list(home.refused.iterdir())


def test_a_recording_of_two_is_shared_out_and_saved_for_both(phone):
    home, page, base = phone
    made, text = export(QUIET, CHILD, seed=33, minutes=6.0)
    hand, started = Hand(page), time.monotonic()
    page.goto(f"{base}/session?student=s1")
    page.get_by_text("New session with Petra Quill").wait_for(timeout=LIMIT_MS)
    hand.drop("Lesson.csv", text.encode())
    page.get_by_text("2\u00a0people in this recording").wait_for(timeout=LIMIT_MS)
    for name in ("Petra Quill", "Odo Fenn"):
        page.get_by_role("heading", name=name, exact=True).wait_for(timeout=LIMIT_MS)
    page.get_by_role("button", name="Save", exact=True).dblclick(timeout=LIMIT_MS)
    hand.clicks += 1
    page.get_by_text("Saved and loaded").nth(1).wait_for(timeout=LIMIT_MS)
    print(f"shared: {hand.clicks} taps, {time.monotonic() - started:.1f} s")
    assert time.monotonic() - started < LATER_S
    snapshot = open_snapshot(home)
    rows = snapshot.sql(
        "SELECT s.student, count(*) FROM academy.session s JOIN academy.swing w USING (session) "
        "WHERE w.kind = 'swing' AND s.day > DATE '2026-06-01' GROUP BY ALL ORDER BY ALL"
    ).rows()
    snapshot.close()
    of = {name: len([one for one in made.of("swing") if one.person == name]) for name in ("quiet", "child")}
    assert rows == [("s1", of["quiet"]), ("s2", of["child"])]


def test_a_lesson_that_may_be_anyones_is_asked_about_once_on_today(phone):
    home, page, base = phone
    begins = f"{datetime.now(DUBLIN):%Y%m%d}T220000"
    lesson = (
        f"BEGIN:VEVENT\r\nUID:1\r\nDTSTART:{begins}\r\nDURATION:PT1H\r\nSUMMARY:Odo late\r\nEND:VEVENT\r\n"
    )
    calendar = f"BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:x\r\n{lesson}END:VCALENDAR\r\n"
    (home.inbox / "lessons.ics").write_text(calendar, "utf-8")
    hand, asked = Hand(page), page.get_by_text("perhaps Odo Fenn")
    open_until(page, f"{base}/today", lambda: asked.count() == 1)
    hand.tap(page.get_by_role("combobox", name="Who is coming?"))
    hand.tap(page.get_by_role("option", name="Odo Fenn").first)
    page.get_by_text("Saved: Odo Fenn").wait_for(timeout=LIMIT_MS)
    open_until(page, f"{base}/today", lambda: page.get_by_text("Odo late").count() == 1 and not asked.count())
    assert hand.clicks == 2


def open_until(page, address: str, ready) -> None:
    """Open a page anew until it is as wanted: what was delivered is loaded meanwhile."""
    end = time.monotonic() + LATER_S
    while time.monotonic() < end:
        page.goto(address)
        settle(page)
        if ready():
            return
    pytest.fail(f"{address} stayed as it was")


def test_a_note_written_without_a_connection_is_sent_once_there_is_one_and_loaded_once(phone):
    home, page, base = phone
    page.goto(f"{base}/notes?student=s1")
    page.get_by_role("button", name="Save this note").wait_for(timeout=LIMIT_MS)
    settle(page)
    page.context.set_offline(True)
    page.get_by_label("Plan, in your words").fill("Ten slow ones.")
    page.get_by_role("button", name="Save this note").dblclick()
    page.get_by_text("Not saved yet: no connection").wait_for()
    page.context.set_offline(False)
    page.get_by_text(re.compile(r"^Saved at")).wait_for(timeout=LIMIT_MS)
    assert page.get_by_label("Plan, in your words").input_value() == ""
    for _ in range(100):
        snapshot = open_snapshot(home)
        found = snapshot.sql("SELECT count(*) FROM academy.note WHERE text = 'Ten slow ones.'").item()
        snapshot.close()
        if found:
            break
        time.sleep(0.2)
    time.sleep(6.0)  # longer than between two tries
    snapshot = open_snapshot(home)
    assert snapshot.sql("SELECT count(*) FROM academy.note WHERE text = 'Ten slow ones.'").item() == 1
    snapshot.close()
    assert not list(home.inbox.iterdir())
