"""Whatever somebody wrote, and whoever reads it: the browser fetches nothing for it, runs nothing and shows it."""

from urllib.parse import quote, urlsplit
from urllib.request import Request, urlopen

import pytest

import browser
import builders
import hostile_texts
from dashboard.app import PAGES
from warehouse.store import writer

pytestmark = pytest.mark.browser

PLACE = "http://other.example"
HOSTILE = (
    f"![x]({PLACE}/a.png) <img src={PLACE}/b.png onerror=window.ran=1> <script>window.ran=1</script> "
    f"[open]({PLACE}/c) {PLACE}/d www.other.example me@other.example **bold** $x^2$ :smile: `code` "
    "\n\n# Title\n\n```mermaid\ngraph TD\n```"
)
# Texts by somebody who has not seen the pages, all in one note.
OTHERS = " ".join(text.text.replace("\x00", "") for text in hostile_texts.TEXTS if len(text.text) < 300)
# Every column that people fill with words of their own.
WRITTEN = {
    "person": ["display_name"], "drill": ["name", "how", "cautions"], "note": ["text"],
    "fault": ["name", "looks_like", "instead", "in_words"], "metric": ["label", "explain"],
    "delivery": ["name"], "refusal": ["name", "file", "column", "sentence"],
}  # fmt: skip
VISITS = [
    *(("h01", page.path, {}) for page in PAGES),
    ("c01", "week", {}), ("c01", "student", {"student": "s01"}), ("c01", "lesson", {"student": "s01"}),
    ("s01", "progress", {}), ("g01", "progress", {}),
    ("c01", "student", {"student": HOSTILE}), ("h01", "students", {"on": HOSTILE, "season": HOSTILE}),
    ("c01", "progress", {"link": HOSTILE}), (HOSTILE, "week", {}),
]  # fmt: skip
MADE = """() => [...document.querySelectorAll('img, a, script, iframe, video, audio, source, link, h1, h2, h3')]
    .filter((e) => e.dataset.testid !== 'stSkipToContent')
    .filter((e) => /(other|trap)\\.example|:smile:/.test(e.src || e.href || '') || e.innerText === 'Title').map((e) => e.outerHTML)"""


@pytest.fixture(scope="module")
def hostile(homes, tmp_path_factory):
    home = homes("hostile")
    home.settings_file.write_text(
        home.settings_file.read_text().replace('"Test academy"', "'''" + HOSTILE.replace("'", "") + "'''")
    )
    with writer(home) as w:
        for table, columns in WRITTEN.items():
            for column in columns:
                w.execute(f'UPDATE academy."{table}" SET "{column}" = ?', [HOSTILE])
        w.execute(
            'INSERT INTO academy.note (note, student, "at", day, author, kind, code, text, shared, delivery, loose) '
            "VALUES ('d', 's01', '2026-03-02', '2026-03-02', 'c01', 'discomfort', 'left_knee', ?, true, 'x', true)",
            [HOSTILE],
        )
        w.execute(
            "UPDATE academy.note SET text = ? WHERE note <> 'd' AND student = 's01'", [HOSTILE + OTHERS]
        )
        w.publish()
    builders.call_invented(home)
    browser.require_chromium()
    log = tmp_path_factory.mktemp("hostile") / "server.log"
    with browser.served(home.path, log) as base:
        yield base, log


def test_no_page_fetches_runs_or_links_what_somebody_wrote(chromium, hostile):
    base, log = hostile
    page = chromium.new_page(**browser.screen(1280))
    asked, shown, wrong = [], 0, []
    page.on("request", lambda request: asked.append(request.url))
    page.on("console", lambda m: wrong.append(m.text) if "Content Security Policy" in m.text else None)
    for person, path, address in VISITS:
        page.goto(
            f"{base}/{path}?" + "&".join(f"{k}={quote(v)}" for k, v in {"as": person, **address}.items())
        )
        browser.settle(page, quiet_ms=200)
        assert page.evaluate("[window.ran, window.trapped]") == [None, None]
        assert page.locator('[data-testid="stException"]').count() == 0
        made = page.evaluate(MADE)
        assert made == [], f"{person} {path} {address}"
        shown += page.locator("body").inner_text().replace("\u2060", "").count(f"![x]({PLACE}/a.png)")
    page.close()
    assert shown > 40
    assert wrong == []
    outside = {
        url for url in asked if urlsplit(url).scheme in {"http", "https"} and not url.startswith(f"{base}/")
    }
    assert outside == set()
    assert "Traceback" not in log.read_text()


DOTS = """() => [...document.querySelectorAll('[data-testid="stVegaLiteChart"] svg .mark-symbol.role-mark path')]
    .map((e) => e.getBoundingClientRect()).map((box) => [box.x + box.width / 2, box.y + box.height / 2])"""
TOOLTIP = "#vg-tooltip-element.visible"


def test_what_somebody_wrote_is_text_in_the_tooltips_of_pictures(chromium, hostile):
    base, _ = hostile
    page = chromium.new_page(viewport={"width": 1280, "height": 2400})
    asked, said = [], []
    page.on("request", lambda request: asked.append(request.url))
    page.goto(f"{base}/drills?as=h01")
    browser.settle(page, quiet_ms=1500)
    tooltip = page.locator(TOOLTIP)
    for x, y in page.evaluate(DOTS):
        page.mouse.move(x, y)
        page.mouse.move(x + 1, y, steps=3)
        page.wait_for_timeout(100)
        if tooltip.count():
            said.append(tooltip.inner_text())
            assert tooltip.locator("img, a, script, iframe, strong, h1").count() == 0
    assert any(f"<img src={PLACE}/b.png onerror=window.ran=1>" in text for text in said), said
    assert page.evaluate("[window.ran, window.trapped]") == [None, None]
    page.close()
    assert [url for url in asked if url.startswith("http") and not url.startswith(f"{base}/")] == []


def test_every_answer_says_what_a_page_may_fetch_and_where_it_may_be_shown(hostile):
    base, _ = hostile
    for path in (
        "/",
        "/week",
        "/_stcore/health",
        "/_stcore/host-config",
        "/static/js/none.js",
        "/media/none.csv",
    ):
        try:
            with urlopen(base + path) as answer:
                headers = answer.headers
        except OSError as refused:
            headers = refused.headers
        content = headers["Content-Security-Policy"]
        assert "default-src 'none'" in content
        assert "frame-ancestors 'none'" in content
        assert "unsafe-eval" not in content
        assert "http" not in content
        script = content.split("script-src ")[1].split(";")[0]
        assert "unsafe-inline" not in script
        assert "*" not in content
        assert headers["Referrer-Policy"] == "no-referrer"
        assert headers["X-Content-Type-Options"] == "nosniff"
        assert headers["X-Frame-Options"] == "DENY"


def test_a_file_is_not_taken_in_before_somebody_has_signed_in(hostile):
    base, _ = hostile
    upload = Request(f"{base}/_stcore/upload_file/some-visit/some-file", data=b"x" * 1000, method="PUT")
    with pytest.raises(OSError, match="403") as refused:
        urlopen(upload)
    assert refused.value.read() == b"Sign in first; only then are files taken in."
