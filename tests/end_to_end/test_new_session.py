"""From an empty folder to a student's page with an export of swings, on a phone, by the pages alone."""

import time
from dataclasses import replace

import polars as pl
import pytest

import made_c3d
import made_films
import made_spreadsheets
from browser import LIMIT_MS, Hand, screen, settle
from odd_exports import from_the_toe_unsaid
from planted_recordings import QUIET, recording
from warehouse.store import open_snapshot

pytestmark = pytest.mark.browser
MOST_CLICKS = 12
FOOT_LENGTH = "SELECT foot_length_mm FROM academy.person WHERE person = 's001'"


def asked(home, query):
    """The rows of a query to what is published now."""
    snapshot = open_snapshot(home)
    rows = snapshot.sql(query).rows()
    snapshot.close()
    return rows


def make_academy(hand, address):
    """The first page, filled in with one student of whom the hand is not said."""
    page = hand.page
    page.goto(address)
    hand.fill("Name of the academy", "Foot first")
    hand.fill("Your name", "Ada Kern")
    hand.fill("Type one name per line", "Mia Orr")
    page.get_by_label("Type one name per line").press("Control+Enter")
    page.get_by_text("1\u00a0student.").wait_for()
    hand.tap(page.get_by_text("We keep the consents elsewhere"))
    hand.button("Make the academy")
    page.get_by_role("heading", name="A new academy").wait_for(state="detached", timeout=LIMIT_MS)
    page.get_by_role("heading", name="The academy is made").wait_for(state="detached", timeout=LIMIT_MS)
    settle(page)


def save(hand):
    """Press Save; how many seconds later the student's picture is there."""
    button = hand.page.get_by_role("button", name="Save", exact=True)
    button.wait_for(timeout=LIMIT_MS)
    pressed = time.monotonic()
    button.dblclick()  # a nervous thumb
    hand.clicks += 1
    hand.page.get_by_text("Saved and loaded").wait_for(timeout=LIMIT_MS)
    hand.page.get_by_text("Seconds from the takeaway").first.wait_for(
        timeout=LIMIT_MS
    )  # an axis of the picture
    return time.monotonic() - pressed


def minute(seed):
    """A minute on the plates, with practice swings."""
    return recording(replace(QUIET, practice=(1,), step_off=0.0), seed=seed, minutes=1.2, broken_off=0.0)


def lesson(made):
    """As a mat exports it."""
    columns = ("t_s", "left_n", "right_n", "left_along_pct", "right_along_pct")
    return pl.DataFrame({name: getattr(made, name) for name in columns}).fill_nan(None).write_csv().encode()


def choose(hand, label, option):
    """Choose in a list, which closes again where an upload ends just then and the page runs anew."""
    found = hand.page.get_by_role("option", name=option, exact=True)
    for _ in range(LIMIT_MS // 3000):
        hand.tap(hand.page.get_by_role("combobox", name=label))
        hand.page.wait_for_timeout(3000)
        if found.is_visible():
            break
    hand.tap(found)


def put_impact_later(hand, *, tapped):
    """Open the first swing large, and move its impact by tapping the curve or with the keyboard."""
    page = hand.page
    hand.tap(page.get_by_role("button", name="Moments of swing 2"))
    page.get_by_text("Impact at").first.wait_for(timeout=LIMIT_MS)
    if tapped:
        curve = page.locator('[data-testid="stVegaLiteChart"]').filter(visible=True).first
        curve.wait_for(timeout=LIMIT_MS)
        box = curve.bounding_box()
        curve.tap(position={"x": 0.8 * box["width"], "y": 0.5 * box["height"]})
        hand.clicks += 1
    else:
        page.get_by_role("slider").focus()
        for _ in range(3):
            page.keyboard.press("ArrowRight")
        hand.clicks += 4
    page.get_by_text("placed by you").wait_for(timeout=LIMIT_MS)
    hand.button("Done")


def test_from_today_to_the_students_picture_with_a_recording_and_one_moment_put_right(chromium, command):
    home, address = command
    context = chromium.new_context(**screen(390))
    hand = Hand(context.new_page())
    page, base = hand.page, address.split("/start")[0]
    figures = []
    try:
        make_academy(hand, address)
        for turn in (1, 2):
            hand.clicks, started = 0, time.monotonic()
            page.goto(f"{base}/today")
            hand.tap(page.get_by_test_id("stMain").get_by_role("link", name="New session"))
            page.get_by_text("New session with Mia Orr").wait_for(timeout=LIMIT_MS)
            hand.drop(f"monday {turn}.csv", lesson(minute(3 + turn)))
            if turn == 1:
                hand.button("right")
            put_impact_later(hand, tapped=turn == 2)
            saved_s = save(hand)
            hand.tap(page.get_by_role("link", name="The student's page"))
            page.get_by_role("heading", name="Mia Orr").first.wait_for(timeout=LIMIT_MS)
            page.locator('[data-testid="stVegaLiteChart"]').first.wait_for(timeout=LIMIT_MS)
            figures.append((hand.clicks, time.monotonic() - started, saved_s))
        for clicks, seconds, saved_s in figures:
            print(f"{clicks} clicks, {seconds:.1f} s, shown {saved_s:.1f} s after Save")
        assert figures[1][0] <= MOST_CLICKS
    finally:
        context.close()
    snapshot = open_snapshot(home)
    put = snapshot.sql(
        "SELECT event, expected_error_s FROM academy.swing_event WHERE source = 'by_hand'"
    ).rows()
    snapshot.close()
    assert put == [("impact", 0.02)] * 2


def test_an_export_is_one_question_one_hand_and_save_away(chromium, command):
    home, address = command
    [data] = from_the_toe_unsaid().files.values()
    context = chromium.new_context(**screen(390))
    hand, started = Hand(context.new_page()), time.monotonic()
    page, base = hand.page, address.split("/start")[0]
    try:
        make_academy(hand, address)
        page.goto(f"{base}/session")
        hand.clicks += 1
        page.get_by_text("New session with Mia Orr").wait_for(timeout=LIMIT_MS)
        hand.drop("Export 7.csv", data)
        hand.button("at the toes")
        hand.button("right")
        shown_s = save(hand)
        first_s, first_clicks = time.monotonic() - started, hand.clicks
        hand.tap(page.get_by_role("link", name="The student's page"))
        page.get_by_role("heading", name="Mia Orr").first.wait_for(timeout=LIMIT_MS)

        hand.clicks, started = 0, time.monotonic()
        page.goto(f"{base}/session")
        page.get_by_text("New session with Mia Orr").wait_for(timeout=LIMIT_MS)
        hand.drop("Export 8.csv", data.replace(b"350.1,", b"350.2,", 1))
        page.get_by_text("3\u00a0swings found").wait_for(timeout=LIMIT_MS)
        assert not page.get_by_text("Where is 0").count()  # it was answered once, for good
        again_s = save(hand)
        page.get_by_text("Against the session before").wait_for(timeout=LIMIT_MS)
        later_s = time.monotonic() - started
        print(
            f"first time: {first_clicks} clicks, {first_s:.1f} s, shown {shown_s:.1f} s after Save; then: "
            f"{hand.clicks} clicks, {later_s:.1f} s, shown {again_s:.1f} s after Save"
        )
    finally:
        context.close()
    snapshot = open_snapshot(home)
    loaded = snapshot.sql("SELECT session, count(*) FROM academy.swing GROUP BY 1")
    toes = snapshot.sql("SELECT handed FROM academy.person WHERE person = 's001'").item()
    snapshot.close()
    assert {n for _, n in loaded.rows()} == {3}
    assert len(loaded) == 2  # a double click saved nothing twice
    assert toes == "right"
    assert 'origin = "toe"' in home.settings_file.read_text("utf-8")


def workbook(made, _):
    return "Lesson.xlsx", made_spreadsheets.xlsx(
        [line.split(",") for line in lesson(made).decode().splitlines()]
    )


def c3d(made, folder):
    return "Lesson.c3d", made_c3d.write_recording(folder / "Lesson.c3d", made).read_bytes()


@pytest.mark.parametrize("exported", [workbook, c3d])
def test_a_spreadsheet_and_a_c3d_recording_are_saved_as_an_export_is_though_the_upload_broke_off_once(
    chromium, command, tmp_path, exported
):
    home, address = command
    made = minute(4)
    context = chromium.new_context(**screen(390))
    hand = Hand(context.new_page())
    try:
        make_academy(hand, address)
        hand.page.goto(f"{address.split('/start')[0]}/session")
        hand.page.get_by_text("New session with Mia Orr").wait_for(timeout=LIMIT_MS)
        hand.page.route("**/upload_file/**", lambda route: route.abort())
        hand.drop(*exported(made, tmp_path))
        hand.page.get_by_text("Network Error").wait_for(timeout=LIMIT_MS)
        assert not hand.page.get_by_role("button", name="Save", exact=True).count()
        hand.page.unroute("**/upload_file/**")
        hand.drop(*exported(made, tmp_path))
        hand.button("right")
        save(hand)
    finally:
        context.close()
    snapshot = open_snapshot(home)
    kinds = dict(snapshot.sql("SELECT kind, count(*) FROM academy.swing GROUP BY 1").iter_rows())
    snapshot.close()
    assert kinds["swing"] == len(made.of("swing"))


def test_a_film_and_a_photo_go_with_an_export_and_a_foot_length_with_the_player(chromium, command, tmp_path):
    home, address = command
    base = address.split("/start")[0]
    made_films.film(tmp_path / "IMG_0420.mp4", seconds=1.6)
    context = chromium.new_context(**screen(390))
    hand = Hand(context.new_page())
    page = hand.page
    try:
        make_academy(hand, address)
        page.goto(f"{base}/session")
        page.get_by_text("New session with Mia Orr").wait_for(timeout=LIMIT_MS)
        film = (tmp_path / "IMG_0420.mp4").read_bytes()
        photo = b"\xff\xd8\xff\xe0 a page of notes"
        for name, data in (
            ("monday.csv", lesson(minute(4))),
            ("IMG_0420.mp4", film),
            ("notebook.jpg", photo),
        ):
            hand.drop(name, data)
            page.get_by_text(name).first.wait_for(timeout=LIMIT_MS)  # as somebody would before the next
            settle(page)
        hand.button("right")
        choose(hand, "IMG_0420.mp4", "Swing 2")
        page.get_by_text("Filmed from").wait_for(timeout=LIMIT_MS)
        save(hand)

        page.goto(f"{base}/people?person=s001")
        hand.fill("Foot length, mm", "262")
        hand.button("Save")
        for _ in range(LIMIT_MS // 500):  # that it is being loaded may be on the page for a moment only
            if asked(home, FOOT_LENGTH) == [(262.0,)]:
                break
            page.wait_for_timeout(500)
    finally:
        context.close()
    [(delivery, *measured)] = asked(home, "SELECT delivery, has_plate, has_clip FROM academy.session")
    assert measured == [True, True]
    assert [file.name for file in (home.filed / delivery).rglob("*.jpg")] == ["notebook.jpg"]
    assert asked(home, FOOT_LENGTH) == [(262.0,)]
