"""Every page in a real browser, as each of four persons, on a desk and on a phone."""

import pytest

import browser
from dashboard.app import PAGES as TABLE
from warehouse.reach import viewers

pytestmark = pytest.mark.browser

PAGES = {
    role: tuple(page.path for page in TABLE if role in page.roles)
    for role in ("head_coach", "coach", "student", "guardian")
}
# A coach opens these between lessons, a student at home: on a phone. A head coach's desk is in test_accessibility.py.
WIDTHS = {"head_coach": (390,), "coach": (390,), "student": (390,), "guardian": (1280, 390)}


@pytest.fixture(scope="module")
def site(demo, tmp_path_factory):
    browser.require_chromium()
    log = tmp_path_factory.mktemp("browser") / "server.log"
    with browser.served(demo.home.path, log) as base:
        yield base, log


@pytest.fixture(scope="module")
def people(demo):
    """One person of each role; the coach and the student have students and sessions."""
    measured = set(demo.sql("SELECT DISTINCT student FROM academy.session WHERE has_plate").to_series())
    coaches = set(demo.sql('SELECT DISTINCT coach FROM academy.coaching WHERE "to" IS NULL').to_series())
    fits = {"student": measured, "coach": coaches}
    return {
        role: next(
            v.person
            for v in viewers(demo.snapshot)
            if v.role == role and v.person in fits.get(role, {v.person})
        )
        for role in PAGES
    }


@pytest.mark.parametrize("role", PAGES)
def test_each_page_opens_clean_at_the_widths_its_reader_uses(chromium, site, people, role):
    base, log = site
    problems = []
    for width in WIDTHS[role]:
        page = chromium.new_page(**browser.screen(width))
        said = browser.errors_of(page)
        for name in PAGES[role]:
            said.clear()
            page.goto(f"{base}/{name}?as={people[role]}")
            browser.settle(page)
            problems += [f"{role} {name}: {problem}" for problem in browser.problems(page, said)]
        page.close()
    assert problems == []
    assert "Traceback" not in log.read_text()


def test_a_student_who_follows_a_link_to_a_staff_page_is_told_so(chromium, site, people):
    base, _ = site
    page = chromium.new_page(**browser.screen(390))
    page.goto(f"{base}/deliveries?as={people['student']}")
    browser.settle(page)
    assert page.get_by_text("This page is not for you").count() == 1
    page.close()


def test_looking_as_another_person_changes_the_pages_at_once(chromium, site, demo, people):
    base, _ = site
    name = demo.sql(f"SELECT display_name FROM academy.person WHERE person = '{people['student']}'").item()
    page = chromium.new_page(**browser.screen(1280))
    page.goto(f"{base}/students?as={people['head_coach']}")
    browser.settle(page)
    look_as = page.get_by_role("combobox", name="Look as")
    look_as.scroll_into_view_if_needed()
    browser.settle(page)  # a list that opens while its box is still scrolled to closes again
    look_as.click()
    page.get_by_role("option", name=f"{name}, student").click()
    page.get_by_text(f"Seen as {name}").wait_for(timeout=20_000)
    browser.settle(page)
    assert page.get_by_text("This page is not for you").count() == 1
    assert page.locator('[data-testid="stVegaLiteChart"]').count() == 0
    page.get_by_role("link", name="Progress page").first.click()
    page.locator('[data-testid="stMain"] h1', has_text=name).wait_for(timeout=20_000)
    page.close()
