"""From an empty folder to a student's page, in a real browser, as a coach who has no plate and never saw a config file."""

import time

import pytest

from browser import screen, settle
from warehouse.store import open_snapshot

pytestmark = pytest.mark.browser
LIMIT_MS = 60_000


def noted(home):
    """How many notes of what was seen are published."""
    snapshot = open_snapshot(home)
    n = snapshot.sql("SELECT count(*) FROM academy.note WHERE kind = 'saw' AND student = 's001'").item()
    snapshot.close()
    return n


def test_a_by_eye_academy_is_one_page_and_one_note_away(chromium, command):
    home, command = command
    context = chromium.new_context(**screen(390))
    page = context.new_page()
    started, clicks = time.monotonic(), 0
    try:
        page.goto(command)
        page.get_by_label("Name of the academy").fill("Foot first", timeout=LIMIT_MS)
        page.get_by_label("Your name").fill("Ada Kern")
        page.get_by_label("Type one name per line").fill("Mia Orr\nTom Pell")
        page.get_by_label("Type one name per line").press("Control+Enter")
        page.get_by_text("2\u00a0students.").wait_for()
        page.get_by_role("button", name="Make the academy").click()
        clicks += 4  # three fields and the button
        page.get_by_role("heading", name="A new academy").wait_for(state="detached", timeout=LIMIT_MS)
        page.get_by_role("heading", name="The academy is made").wait_for(state="detached", timeout=LIMIT_MS)
        settle(page)
        made = time.monotonic() - started
        base = command.split("/start")[0]
        page.goto(f"{base}/notes?student=s001")
        page.get_by_text("What you saw", exact=True).wait_for(timeout=LIMIT_MS)
        page.locator("label.pill:visible").first.click()
        page.get_by_role("button", name="Save this note").click()
        clicks += 2
        page.get_by_text("Saved at").first.wait_for(timeout=LIMIT_MS)
        while noted(home) == 0 and time.monotonic() - started < LIMIT_MS / 1000:
            time.sleep(0.2)
        assert noted(home) == 1
        page.goto(f"{base}/student?student=s001")
        page.get_by_role("heading", name="Mia Orr").first.wait_for(timeout=LIMIT_MS)
        print(
            f"pages after {made:.1f} s, noted and loaded after {time.monotonic() - started:.1f} s, {clicks} clicks"
        )
        other = chromium.new_context().new_page()
        other.goto(f"{base}/student?student=s001")
        other.get_by_text("This browser is not signed in").wait_for(timeout=LIMIT_MS)
        assert "Mia" not in other.inner_text("body")
        other.goto(command)  # used up by the first browser
        other.get_by_text("has already been used").wait_for()
        other.context.close()
    finally:
        context.close()
