"""Every page under axe-core, by keyboard, at 200 % and with less motion; and how soon its first picture stands."""

import numpy as np
import pytest

import browser
from dashboard.app import PAGES
from warehouse.reach import viewers

pytestmark = pytest.mark.browser

STAFF_PAGES = [page.path for page in PAGES if "head_coach" in page.roles]
# What Streamlit itself leaves open: (axe's rule, the part of Streamlit), with the reason.
STREAMLITS_OWN = {
    # The drop zone is a section with no role of its own and a name; it takes the focus only by script.
    ("presentation-role-conflict", "stFileUploaderDropzone"),
    # A navigation in groups has a section between its list and the items; screen readers still say the links.
    ("list", "stSidebarNavItems"),
    ("listitem", "data-nav-item"),
}
NAME_NAV_ITEMS = """document.querySelectorAll('[data-testid=stSidebarNavItems] li').forEach((item) => {
    item.dataset.navItem = '';
})"""
BELOW_A_PICTURE = "In words, as a table, to save"
FIRST_PICTURE_S = 1.5  # the promise, on two quiet cores; where others work too, longer by their number


UNFOLD = """() => {
    const all = (root) => {
        root.querySelectorAll('details').forEach((folded) => { folded.open = true; });
        root.querySelectorAll('*').forEach((part) => part.shadowRoot && all(part.shadowRoot));
    };
    all(document);
}"""
FOCUSED = """() => {
    let at = document.activeElement;
    while (at && at.shadowRoot && at.shadowRoot.activeElement) at = at.shadowRoot.activeElement;
    return [at.name || '', at.type || '', at.textContent || ''];
}"""
MOVING = """[...document.querySelectorAll('*')].map((part) => getComputedStyle(part)).filter((style) =>
    style.transitionDuration.split(', ').some((time) => time !== '0s') || style.animationName !== 'none').length"""


@pytest.fixture(scope="module")
def site(demo, tmp_path_factory):
    browser.require_chromium()
    with browser.served(demo.home.path, tmp_path_factory.mktemp("axe") / "server.log") as base:
        yield base


@pytest.fixture(scope="module")
def people(demo):
    head = next(v.person for v in viewers(demo.snapshot) if v.role == "head_coach")
    student, guardian = demo.sql(
        "SELECT guardian_of[1], person FROM academy.person WHERE role = 'guardian' "
        "AND guardian_of[1] IN (SELECT student FROM academy.session) ORDER BY 1"
    ).row(0)
    return {"head": head, "student": student, "guardian": guardian}


def opened(chromium, site, path, width=1280, **more):
    page = chromium.new_page(**browser.screen(width), **more)
    page.goto(site + path)
    browser.settle(page)
    return page


@pytest.fixture(scope="module")
def visitor(playwright, site, people, tmp_path_factory):
    """A browser with a profile of its own that was here a few times, as a coach's; each page in a new tab.

    Chromium keeps what it made of a script from the second visit on, and only in a profile on disk.
    """
    profile = tmp_path_factory.mktemp("profile")
    context = playwright.chromium.launch_persistent_context(
        profile, executable_path=browser.require_chromium(), args=browser.ARGS, **browser.screen(1280)
    )
    for path in ("student", "week", "lesson"):
        page = context.new_page()
        page.goto(f"{site}/{path}?as={people['head']}")
        browser.settle(page)
        page.close()
    yield context
    context.close()


@pytest.fixture(scope="module")
def times():
    """Seconds to the first picture of each page opened here, printed at the end."""
    took: dict[str, float] = {}
    yield took
    for path, found in took.items():
        print(f"\n{path}: first picture after {found:.2f} s", end="")
    p95 = float(np.percentile([*took.values()], 95))
    print(f"\nall pages: p95 {p95:.2f} s, to stand within {FIRST_PICTURE_S} s on two quiet cores")
    assert p95 < 20  # a hang; the figure itself is printed, since a busy machine is no fault of a page


def violations(page):
    """What axe finds on a page that stands still, less what is Streamlit's own."""
    from axe_playwright_python.sync_playwright import Axe  # noqa: PLC0415 - only browser tests need it

    page.evaluate(NAME_NAV_ITEMS)
    found = Axe().run(page, options={"resultTypes": ["violations"]}).response["violations"]
    return [
        f"{rule['id']}: {node['html'][:160]}"
        for rule in found
        for node in rule["nodes"]
        if not any(rule["id"] == known and part in node["html"] for known, part in STREAMLITS_OWN)
    ]


@pytest.mark.parametrize("path", STAFF_PAGES)
def test_a_staff_page_opens_clean_at_a_desk_and_axe_finds_nothing_of_ours_on_it(
    visitor, site, people, times, path
):
    page = visitor.new_page()
    said = browser.errors_of(page)
    times[path] = browser.first_picture_s(
        page, f"{site}/{path}?as={people['head']}&student={people['student']}"
    )
    browser.settle(page)
    assert browser.problems(page, said) == []
    summaries = page.locator('[data-testid="stMain"] summary')
    for folded in summaries.filter(has_not_text=BELOW_A_PICTURE).all():
        folded.click()  # what is in there cannot be reached until then
    browser.settle(page)
    for folded in summaries.filter(has_text=BELOW_A_PICTURE).all():
        # By script, since a fold around it may close again as the page is made anew; the server makes what is in there.
        folded.evaluate("element => element.click()")
        browser.settle(page)
    page.evaluate(UNFOLD)
    page.wait_for_timeout(300)
    assert violations(page) == []
    page.close()


def test_axe_finds_nothing_of_ours_on_a_parents_phone(chromium, site, people):
    page = opened(chromium, site, f"/progress?as={people['guardian']}", 390)
    assert violations(page) == []
    page.close()


def test_a_note_is_written_by_keyboard_alone(chromium, site, people):
    page = opened(chromium, site, f"/notes?as={people['head']}&student={people['student']}")
    reached = []
    for _ in range(90):
        page.keyboard.press("Tab")
        name, kind, text = page.evaluate(FOCUSED)
        if name == "drill" and "drill" not in reached:
            page.keyboard.press("ArrowDown")
        reached.append(name or text)
        if kind == "submit":
            break
    assert {"fault", "drill", "dose", "text", "Save this note"} <= set(reached)
    assert page.locator("input[name=drill]:checked").count() == 1
    page.close()


@pytest.mark.parametrize("path", ["student", "lesson", "notes", "deliveries"])
def test_at_200_percent_nothing_is_cut_off(chromium, site, people, path):
    """1280 px at 200 % is 640 px of layout."""
    page = opened(chromium, site, f"/{path}?as={people['head']}&student={people['student']}", 640)
    assert page.evaluate("document.scrollingElement.scrollWidth") <= 642
    page.close()


def test_with_less_motion_asked_for_nothing_moves_by_itself(chromium, site, people):
    page = opened(chromium, site, f"/student?as={people['head']}", reduced_motion="reduce")
    assert page.evaluate(MOVING) == 0
    page.close()
