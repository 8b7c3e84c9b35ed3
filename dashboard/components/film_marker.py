"""Marking an ordinary film by eye, in the browser: frames one by one, key moments, each heel up or down.

The film is opened on the viewer's own device and goes nowhere: only what was marked is sent.
"""

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from dashboard import elements as st
from dashboard import theme
from dashboard.text.catalogue import Words

HERE = Path(__file__).parent
# What the marker says, by the names that film_marker.js uses.
WORDS = Words({
    "camera": "Where to put the camera", "choose": "Choose a film on this device",
    "private": "The film stays on this device. Only the moments and heels that you mark are saved.",
    "back_more": "−10", "back": "−1", "on": "+1", "on_more": "+10",
    "frame": "Picture {n}, {t} s", "zoom": "Zoom", "position": "Place in the film",
    "tap": "Tap the picture to bring that place to the middle.",
    "lead": "Lead heel", "trail": "Trail heel", "down": "down", "up": "up",
    "mark": "Mark here: {moment}", "marked": "{moment}: {t} s", "unmark": "Remove", "go": "Go there",
    "club": "Club", "pace": "Pace", "slow": "slow", "half": "half", "full": "full",
    "filmed_at": "Filmed at", "rate": "Pictures a second as filmed (more than it plays: slow motion)",
    "fault": "Note the fault: trail heel still down at impact",
    "save": "Save what is marked", "sending": "Sending…",
    "unplayable": "This browser can't play this film's format; save it as MP4 (H.264) and choose that.",
    "few": "Mark at least two moments, each with a heel up or down.",
})  # fmt: skip

_marker = st.component(
    "underfoot_film_marker",
    js=(HERE / "film_marker.js").read_text(encoding="utf-8"),
    css=theme.CSS + (HERE / "film_marker.css").read_text(encoding="utf-8"),
)
CAMERA = (HERE / "camera.svg").read_text(encoding="utf-8")


def show(data: Mapping[str, Any], key: str, on_marked: Callable[[Mapping[str, Any]], None]) -> None:
    """Mount the marker. `on_marked` is called with what was marked, before the page runs again."""

    def sent() -> None:
        marked = st.session_state[key].get("marked")
        if isinstance(marked, Mapping):
            on_marked(marked)

    _marker(key=key, data={**data, "words": dict(WORDS), "drawing": CAMERA}, on_marked_change=sent)
