"""The film player by itself in a real browser, with a film of a swing that no plate measured."""

import base64
import json

import av
import numpy as np
import pytest

from dashboard.components import script
from dashboard.pages.student import films

pytestmark = pytest.mark.browser

SCRIPT = script("film_player")
MOUNT = """async ([script, data]) => {
    const player = (await import('data:text/javascript;base64,' + script)).default;
    player({ data: JSON.parse(data), parentElement: document.body });
}"""


def test_a_film_without_lanes_stands_alone_and_plays_by_the_browsers_own_controls(tmp_path, chromium):
    with av.open(str(tmp_path / "film.webm"), "w") as container:
        stream = container.add_stream("libvpx", rate=30)
        stream.width, stream.height, stream.pix_fmt = 160, 120, "yuv420p"
        for k in range(30):
            picture = np.full((120, 160, 3), 8 * k, np.uint8)
            container.mux(stream.encode(av.VideoFrame.from_ndarray(picture, format="rgb24")))
        container.mux(stream.encode())
    data = films.without_lanes() | {
        "film": base64.b64encode((tmp_path / "film.webm").read_bytes()).decode(),
        "kind": "video/webm",
        "title": "Film of swing 3",
        "words": dict(films.film_player.WORDS),
    }
    page = chromium.new_page()
    page.set_content("<!doctype html><html lang='en'><title>Film</title><body></body></html>")
    page.evaluate(MOUNT, [base64.b64encode(SCRIPT.encode()).decode(), json.dumps(data)])
    page.wait_for_function("() => document.querySelector('video').readyState >= 2")
    assert page.locator("h3").inner_text() == "Film of swing 3"
    assert page.locator("video").get_attribute("aria-label") == "Film of swing 3"
    assert page.locator("svg, input, button").count() == 0
    assert page.evaluate("() => document.querySelector('video').controls")
    page.evaluate("() => document.querySelector('video').play()")
    page.wait_for_function("() => document.querySelector('video').currentTime > 0.2")
    page.evaluate("() => { document.querySelector('video').src = 'data:video/mp4;base64,AAAA'; }")
    page.get_by_text("can't play this film's format").wait_for()
    page.close()
