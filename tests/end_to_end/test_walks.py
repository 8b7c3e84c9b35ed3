"""Three people, each from opening the pages to having what they came for, their clicks counted and printed."""

import json
import os
import re
import shutil
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

import browser
import pdf_pages
from dashboard.handouts import write_of_student
from dashboard.pdf import pdfs
from warehouse.home import Home
from warehouse.reach import viewers

pytestmark = pytest.mark.browser

LINKED = {".parquet", ".duckdb", ".mp4", ".webm"}  # large and never written to by the pages


def copy_file(source, target):
    """A copy for what the pages may add to, a link for the rest."""
    return os.link(source, target) if Path(source).suffix in LINKED else shutil.copy2(source, target)


def own_home(path: Path, target: Path) -> Home:
    """The demo for one module's own use: published rows and samples linked, everything else its own."""
    left_out = shutil.ignore_patterns("filed", "warehouse.duckdb", "writer.lock", "planted_truth*")
    shutil.copytree(path, target, copy_function=copy_file, ignore=left_out)
    home = Home(target)
    home.make_folders()
    return home


@pytest.fixture(scope="module")
def home(demo, tmp_path_factory):
    return own_home(demo.home.path, tmp_path_factory.mktemp("walks") / "academy")


@pytest.fixture(scope="module")
def site(home, tmp_path_factory):
    browser.require_chromium()
    log = tmp_path_factory.mktemp("walks-log") / "server.log"
    with browser.served(home.path, log) as base:
        yield base
    assert "Traceback" not in log.read_text()


@pytest.fixture(scope="module")
def people(demo):
    """A head coach, a coach with a measured student of theirs, and a guardian with a ward."""
    everyone = viewers(demo.snapshot)
    coach, student = demo.sql(
        "SELECT c.coach, c.student FROM academy.coaching c JOIN academy.person p ON p.person = c.coach "
        "AND p.role = 'coach' WHERE c.\"to\" IS NULL AND c.student IN "
        "(SELECT student FROM season.student_fault_rate WHERE span = 'now') "
        # Neither age nor pain may rule out the drill that is tapped.
        "AND c.student IN (SELECT person FROM academy.person WHERE born < DATE '2005-01-01') "
        "AND c.student NOT IN (SELECT student FROM academy.note WHERE kind = 'discomfort') ORDER BY 1, 2"
    ).row(0)
    ward = demo.sql(
        "SELECT person, guardian_of[1] AS ward FROM academy.person WHERE role = 'guardian' "
        "AND guardian_of[1] IN (SELECT student FROM academy.session) ORDER BY 1"
    ).row(0)
    head = next(v.person for v in everyone if v.role == "head_coach")
    hurt = demo.sql(
        "SELECT student FROM academy.note WHERE kind = 'discomfort' AND student NOT IN "
        "(SELECT student FROM academy.note WHERE kind = 'discomfort_over') ORDER BY 1"
    ).row(0)[0]
    return {
        "head": head,
        "hurt": hurt,
        "coach": coach,
        "student": student,
        "guardian": ward[0],
        "ward": ward[1],
    }


class Walk:
    """One person's page, counting what they click or tap."""

    def __init__(self, chromium, site, width, path):
        self.page = chromium.new_page(**browser.screen(width))
        self.errors: list[str] = []
        self.page.on("pageerror", lambda e: self.errors.append(str(e)))
        self.clicks = 0
        self.page.goto(site + path)
        browser.settle(self.page)

    def click(self, place):
        place.click()
        self.clicks += 1

    def done(self, who, what):
        assert self.errors == []
        assert self.page.locator('[data-testid="stException"]').count() == 0
        print(f"\n{who}: {what} in {self.clicks} clicks")
        self.page.close()


def plans_of(home):
    return [line["text"] for line in kept_lines(home) if line["kind"] == "plan"]


def kept_lines(home):
    """Every line of notes in the inbox."""
    return [json.loads(text) for f in home.inbox.glob("*/notes.jsonl") for text in f.read_text().splitlines()]


def test_a_head_coach_on_monday_finds_why_sees_the_evidence_and_ticks_it_off(chromium, site, people, home):
    walk = Walk(chromium, site, 1280, f"/?as={people['head']}")
    page = walk.page
    page.get_by_role("heading", name="This week", exact=True).wait_for()
    lines = page.locator('[class*="st-key-line-"]')
    lines.locator("img").first.wait_for()  # its last visits are beside the sentence, without a click
    walk.click(page.get_by_text("Talked about", exact=True).first)
    page.get_by_text("Saved.").first.wait_for()
    (line,) = [line for line in kept_lines(home) if line["kind"] == "talked"]
    assert (line["author"], line["shared"]) == (people["head"], False)
    walk.click(lines.get_by_role("link").first)
    page.get_by_role("heading", name="The season", exact=True).wait_for()
    page.locator('[data-testid="stVegaLiteChart"]').first.wait_for()
    assert walk.clicks <= 2
    walk.done("Head coach, Monday", "a signal, its evidence, ticked off, and the student's page")


def test_a_coach_before_a_lesson_reads_the_sheet_and_keeps_a_note(chromium, site, people, home):
    student = people["student"]
    walk = Walk(chromium, site, 390, f"/lesson?as={people['coach']}&student={student}")
    page = walk.page
    for heading in ("Last visit and practice", "What changed since last time", "Faults now"):
        page.get_by_role("heading", name=heading, exact=True).wait_for()
    walk.click(page.get_by_role("link", name="Add note →"))
    form = page.locator("form", has=page.get_by_role("button", name="Save this note"))
    form.wait_for()
    before = walk.clicks
    for group in ("What you saw", "Drill"):
        walk.click(form.get_by_role("group", name=group, exact=True).locator("label.pill").first)
    walk.click(form.get_by_role("group", name="Dose").locator("label.pill", has_text="30"))
    walk.click(page.get_by_role("button", name="Save this note"))
    page.get_by_text(re.compile(r"^Saved at \d\d:\d\d")).wait_for()
    note = [line for line in kept_lines(home) if line["student"] == student and line["kind"] != "talked"]
    assert [(line["kind"], line.get("value")) for line in note] == [("saw", None), ("drill", 30.0)]
    assert walk.clicks - before <= 6
    assert form.locator("input[name=fault]:checked").count() == 0
    walk.done(
        "Coach, before a lesson", f"sheet read, fault, drill and dose kept ({walk.clicks - before} taps)"
    )


def test_an_aim_of_two_measures_says_before_it_is_saved_what_would_show_and_what_more_would_buy(
    chromium, site, people, demo
):
    """Beside the rows of season.aim_forecast, read by SQL."""
    walk = Walk(chromium, site, 390, f"/notes?as={people['coach']}&student={people['student']}")
    page = walk.page
    page.get_by_text("An aim you both agree on").click()
    chosen = ["trail_heel_lightens_pts", "recentre_pts"]
    for number, metric in enumerate(chosen, 1):
        page.locator(f"select[name=aim_{number}]").select_option(metric)
    said = page.locator("#forecast")
    assert not said.inner_text()  # without a due date nothing is foreseen
    page.locator("input[name=aim_due]").fill(f"{datetime.now(UTC) + timedelta(weeks=14):%Y-%m-%d}")
    rows = demo.snapshot.sql(
        "SELECT * FROM season.aim_forecast WHERE student = ? AND metrics = ? ORDER BY weeks",
        [people["student"], sorted(chosen)],
    ).to_dicts()
    (until,) = [row for row in rows if row["weeks"] == 13]
    worthwhile = until["worthwhile"][1]
    size = "{:.0f} points".format
    found = said.inner_text().replace("\u00a0", " ")
    assert (
        f"in 13 weeks (in 7 to 8 cases of 10) if the first changed by {size(until['least'] * worthwhile)} and each"
        in found
    )
    assert f"With a visit every week: {size(until['least_weekly'] * worthwhile)}." in found
    page.locator("input[name=aim_size]").fill("100")
    soonest = next(row["weeks"] for row in rows if row["least"] is not None)
    assert f"When a change of 100 points would show: in {soonest} weeks;" in said.inner_text().replace(
        "\u00a0", " "
    )
    page.locator("input[name=aim_size]").fill("0.01")
    assert "would show: not within 26 weeks;" in said.inner_text().replace("\u00a0", " ")
    page.locator("select[name=aim_2]").select_option("")
    assert "a change of" in said.inner_text()
    walk.done("Coach, an aim", "what would show of two measures together, before it is saved")


def test_a_note_written_without_a_connection_is_there_after_a_reload_and_kept_once_connected(
    chromium, site, people, home
):
    walk = Walk(chromium, site, 390, f"/notes?as={people['coach']}&student={people['student']}")
    page = walk.page
    form = page.locator("form", has=page.get_by_role("button", name="Save this note"))
    form.wait_for()
    page.context.set_offline(True)
    page.get_by_label("Plan, in your words").fill("Ten slow ones before every bucket.")
    form.get_by_role("group", name="Drill", exact=True).locator("label.pill").nth(1).click()
    page.get_by_role("button", name="Save this note").click()
    page.get_by_text("Not saved yet: no connection").wait_for()
    kept = page.evaluate("Object.entries(localStorage).find(([key]) => key.startsWith('underfoot-note'))[1]")
    assert "Ten slow ones before every bucket." in kept
    page.context.set_offline(False)
    page.get_by_text(re.compile(r"^Saved at")).wait_for()  # nobody pressed again
    # It may have gone twice, with the same bytes, which are loaded once.
    files = {f.read_text() for f in home.inbox.glob("*/notes.jsonl") if '"plan"' in f.read_text()}
    assert len(files) == 1
    assert set(plans_of(home)) == {"Ten slow ones before every bucket."}
    page.reload()
    form.wait_for()
    assert page.get_by_label("Plan, in your words").input_value() == ""
    walk.done("Coach, no connection", "the words outlive a reload")


def test_a_parent_on_a_phone_sees_in_one_look_how_it_goes_and_what_to_practise(chromium, site, people, demo):
    walk = Walk(chromium, site, 390, f"/?as={people['guardian']}")
    page = walk.page
    name = demo.sql(f"SELECT display_name FROM academy.person WHERE person = '{people['ward']}'").item()
    page.locator('[data-testid="stMain"] h1', has_text=name).wait_for()
    page.get_by_text("One thing:").wait_for()
    page.get_by_text("tell your coach").first.wait_for()  # the caution
    main = page.locator('[data-testid="stMain"]').inner_text()
    others = demo.sql(
        f"SELECT display_name FROM academy.person WHERE role = 'student' AND person <> '{people['ward']}'"
    )
    assert [other for other in others.to_series() if other in main] == []
    assert walk.clicks == 0
    walk.done("Parent, on a phone", "how it goes, one thing to practise and its caution")


def test_the_lesson_sheet_and_the_progress_page_are_one_sheet_each_on_a4_and_on_letter(
    chromium, home, people, tmp_path
):
    pdf_pages.require()
    from dashboard.pages.lesson.content import sheet_of  # noqa: PLC0415 - the other commands don't wait for it
    from dashboard.pages.progress.content import page_of  # noqa: PLC0415 - likewise

    page = chromium.new_page()
    for make, student in ((sheet_of, people["student"]), (page_of, people["ward"])):
        file = write_of_student(home, "paper", make, student, tmp_path / "paper.html")
        assert file.stat().st_size < 200_000
        page.goto(file.as_uri())
        for size in ("A4", "Letter"):
            pdf = page.pdf(format=size, prefer_css_page_size=False)
            assert len(re.findall(rb"/Type\s*/Page[^s]", pdf)) == 1, (student, size)
            assert pdf_pages.sheets(pdfs([file.read_text("utf-8")], size)[0]) == [pdf_pages.POINTS[size]]
    page.close()


def test_a_dropped_delivery_is_kept_and_shown_waiting(chromium, site, people, home, tmp_path):
    file = tmp_path / "shots-2026.csv"
    file.write_text("session,swing_no,carry_m,side_m\n")
    walk = Walk(chromium, site, 1280, f"/deliveries?as={people['head']}")
    page = walk.page
    page.locator('input[type="file"]').nth(1).set_input_files(str(file))
    page.get_by_text("shots-2026.csv").first.wait_for()
    walk.click(page.get_by_role("button", name="Save this delivery"))
    page.get_by_text(re.compile("Saved: 1.file")).wait_for()
    page.get_by_text("in the inbox. The loader").wait_for()
    (kept,) = home.inbox.glob("*/shots-2026.csv")
    assert kept.read_text() == file.read_text()
    shutil.rmtree(kept.parent)  # what a loader does once it is through
    page.get_by_text("gone through. What loaded is listed below").wait_for(timeout=15_000)
    walk.done("Head coach, a delivery", "dropped, kept and followed")


def bottom(place):
    """Where something on the page ends, in px from the top of the window."""
    box = place.bounding_box()
    return box["y"] + box["height"]


def test_this_week_has_its_answers_on_the_first_screen_of_a_desk(chromium, site, people):
    page = chromium.new_page(viewport={"width": 1280, "height": 800})
    page.goto(f"{site}/week?as={people['head']}")
    browser.settle(page)
    order = ["Pain and safety", "See these first"]
    tops = [page.get_by_role("heading", name=name, exact=True).bounding_box()["y"] for name in order]
    assert tops == sorted(tops)
    for name in ("Since last Monday", "Data to fix"):
        assert bottom(page.get_by_role("heading", name=name, exact=True)) <= 800, name
    assert bottom(page.get_by_role("heading", name=re.compile("shows most"))) <= 800
    actions = page.locator('[class*="st-key-line-"]').get_by_text("→ ")
    assert bottom(actions.nth(4)) <= 800  # the fifth person's
    assert bottom(page.get_by_role("link", name="Fix on Deliveries →")) <= 800
    sizes = page.evaluate(
        "['h1', 'h2'].map(tag => parseFloat(getComputedStyle(document.querySelector(`[data-testid=stMain] ${tag}`)).fontSize))"
    )
    assert sizes[0] <= 28
    assert sizes[1] <= 18
    page.close()


def first_screen(chromium, address, width, height):
    """A page as it opens, before anybody scrolls."""
    page = chromium.new_page(**browser.screen(width) | {"viewport": {"width": width, "height": height}})
    page.goto(address)
    browser.settle(page)
    return page


def heading(page, start):
    return page.get_by_role("heading", name=re.compile(f"^{start}")).first


@pytest.mark.parametrize("kind", ["student", "hurt"])
def test_a_lesson_sheet_has_todays_aim_its_drill_and_the_buttons_on_the_first_screen_of_a_desk(
    chromium, site, people, kind
):
    page = first_screen(chromium, f"{site}/lesson?as={people['head']}&student={people[kind]}", 1280, 800)
    why = page.get_by_text(re.compile("the target is|target|agreed|kept", re.IGNORECASE)).first
    order = [
        page.locator("h1"),
        page.get_by_role("link", name="Add note →"),
        heading(page, "Today('s fault)?:"),
        why,
    ]
    if kind == "hurt":
        order[1:1] = [page.get_by_text("Before you start.")]
        order[3:3] = [heading(page, "What is safe today")]
        order += [heading(page, "Drills")]
        assert page.get_by_text(re.compile("then measure")).count() == 0  # no drill while it hurts
    else:
        order += [heading(page, "First drill"), page.get_by_text(re.compile("then measure")).first]
    assert [bottom(place) for place in order] == sorted(bottom(place) for place in order)
    assert bottom(order[-1]) <= 800
    for name in ("Add note →", "Add swings →", "Compare with last visit →"):
        assert bottom(page.get_by_role("link", name=name)) <= bottom(heading(page, "Today('s fault)?:"))
    page.close()


@pytest.mark.parametrize("who", ["student", "guardian"])
def test_a_progress_page_has_how_it_goes_one_thing_the_drill_and_the_buttons_on_the_first_screen_of_a_phone(
    chromium, site, people, who
):
    page = first_screen(chromium, f"{site}/progress?as={people[who]}", 390, 844)
    verdict = page.locator('[data-testid="stMain"] h2').first
    shoes = page.locator('[data-testid="stMain"] img')
    assert [words.split(":")[0] for words in (shoe.get_attribute("alt") for shoe in shoes.all())][1:] == [
        "Not like this",
        "Like this",
    ]
    card = page.locator('[data-testid="stMain"] h3').first  # the drill
    order = [page.locator("h1"), verdict, page.get_by_text("One thing:"), card, shoes.nth(1)]
    assert [bottom(place) for place in order] == sorted(bottom(place) for place in order)
    assert bottom(shoes.first) <= bottom(card)
    for place in (page.get_by_text(re.compile("practi[cs]e.* this week")), page.get_by_text("What to feel:")):
        assert bottom(place.first) <= 844
    for name in ("I practised", "Something hurts?"):
        assert bottom(page.get_by_role("button", name=re.compile(re.escape(name))).first) <= 844, name
    page.close()


def test_a_panel_of_students_opens_its_students_page_by_a_click(chromium, site, people):
    page = first_screen(chromium, f"{site}/students?as={people['head']}", 1280, 800)
    chart = page.locator('[data-testid="stVegaLiteChart"]').first
    chart.click(position={"x": 140, "y": 130})  # inside the first panel
    page.wait_for_url(re.compile(r"/student\?.*student=s\d+"))
    page.get_by_role("heading", name="The season", exact=True).wait_for()
    assert f"as={people['head']}" in page.url
    page.close()


def test_the_review_is_two_sheets_on_a4_and_on_letter(chromium, home, tmp_path):
    pdf_pages.require()
    from dashboard.pages.week.paper import write_review  # noqa: PLC0415 - the other commands don't wait for it

    file, whole = write_review(home, None, tmp_path / "review.html")
    assert whole is not None
    assert file.stat().st_size < 200_000
    text = file.read_text(encoding="utf-8")
    for heading in ("Season plan", "Coaches' groups", "Drills to keep, change, stop and try", "Data to fix"):
        assert heading in text.replace("&#39;", "'"), heading
    page = chromium.new_page()
    page.goto(file.as_uri())
    for size in ("A4", "Letter"):
        pdf = page.pdf(format=size, prefer_css_page_size=False)
        assert len(re.findall(rb"/Type\s*/Page[^s]", pdf)) == 2, size
        assert pdf_pages.sheets(pdfs([text], size)[0]) == [pdf_pages.POINTS[size]] * 2
    page.close()
