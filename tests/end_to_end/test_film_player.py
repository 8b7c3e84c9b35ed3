"""The film player by itself in a real browser: one slider moves the film and the line over the heel lanes."""

import base64
import json
from pathlib import Path

import av
import numpy as np
import pytest

from dashboard.components import script
from dashboard.components.film_player import WORDS

pytestmark = pytest.mark.browser

SCRIPT = script("film_player")
OFFSET_S = 0.2
MOUNT = """async ([script, data]) => {
    const player = (await import('data:text/javascript;base64,' + script)).default;
    const setTriggerValue = (name, value) => { window.sent = [name, value]; };
    player({ data: JSON.parse(data), parentElement: document.body, setTriggerValue });
}"""


def film(path: Path) -> str:
    """A film of two and a half seconds in which a bar grows from left to right, base64."""
    with av.open(str(path), "w") as container:
        stream = container.add_stream("libvpx", rate=30)
        stream.width, stream.height, stream.pix_fmt = 160, 120, "yuv420p"
        for k in range(75):
            picture = np.zeros((120, 160, 3), np.uint8)
            picture[:, : 2 * k] = 200
            container.mux(stream.encode(av.VideoFrame.from_ndarray(picture, format="rgb24")))
        container.mux(stream.encode())
    return base64.b64encode(path.read_bytes()).decode()


@pytest.fixture(scope="module")
def page(chromium, tmp_path_factory):
    times = np.arange(0, 2.5, 0.01)
    data = {
        "film": film(tmp_path_factory.mktemp("film") / "bar.webm"), "kind": "video/webm", "title": "Film of swing 3",
        "times": times.tolist(), "lead": (10 * times).tolist(), "trail": (25 - 10 * times).tolist(),
        "events": [["top", 1.4], ["impact", 1.7]], "offset_s": OFFSET_S,
        "picture_s": 1 / 30, "words": dict(WORDS),
    }  # fmt: skip
    opened = chromium.new_page()
    opened.set_content("<!doctype html><html lang='en'><title>Film</title><body></body></html>")
    opened.evaluate(MOUNT, [base64.b64encode(SCRIPT.encode()).decode(), json.dumps(data)])
    opened.wait_for_function("() => document.querySelector('video').readyState >= 2")
    yield opened
    opened.close()


def state(page):
    return page.evaluate(
        "() => { const film = document.querySelector('video'), line = document.querySelector('.cursor');"
        " return [film.currentTime, Number(line.getAttribute('x1')) / document.querySelector('svg').viewBox.baseVal.width]; }"
    )


def test_the_slider_moves_the_film_and_the_line_over_the_lanes(page):
    page.locator("input[type=range]").fill("1.5")
    seconds, along = state(page)
    assert seconds == pytest.approx(
        1.5 - OFFSET_S, abs=0.01
    )  # the film's clock is the plate's less the offset
    assert along == pytest.approx(1.5 / 2.49, abs=0.001)
    assert page.locator(".said").inner_text() == "1.50 s: lead heel 15 %, trail heel 10 % of body weight"
    assert page.locator("input[type=range]").get_attribute("aria-valuetext").startswith("1.50 s: lead heel")


def test_the_keyboard_moves_it_too(page):
    slider = page.locator("input[type=range]")
    slider.fill("1.5")
    slider.focus()
    page.keyboard.press("ArrowRight")
    assert state(page)[0] == pytest.approx(1.505 - OFFSET_S, abs=0.002)


def test_the_playing_film_moves_the_slider(page):
    slider = page.locator("input[type=range]")
    slider.fill("0.5")
    page.get_by_role("button", name="Play").click()
    page.wait_for_function("() => document.querySelector('input').value > 0.8")
    page.get_by_role("button", name="Pause").click()
    seconds, _ = state(page)
    assert float(slider.input_value()) == pytest.approx(seconds + OFFSET_S, abs=0.1)


def test_a_film_is_moved_against_the_load_by_pictures_and_kept_where_it_is(page):
    page.locator("input[type=range]").fill("1.5")
    for name in ("+10", "−1", "−1"):
        page.get_by_role("button", name=name, exact=True).click()
    moved = OFFSET_S - 8 / 30
    assert state(page)[0] == pytest.approx(1.5 - moved, abs=0.01)
    page.get_by_role("button", name="Keep this place").click()
    name, sent = page.evaluate("() => window.sent")
    assert (name, sent) == ("kept", {"offset_s": pytest.approx(moved, abs=1e-6)})


def test_a_film_that_the_browser_cannot_play_says_so(page):
    page.evaluate("() => { document.querySelector('video').src = 'data:video/mp4;base64,AAAA'; }")
    page.get_by_text("can't play this film's format").wait_for()
