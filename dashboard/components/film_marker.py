"""Marking an ordinary film by eye, in the browser: frames one by one, key moments, each heel up or down.

The film is opened on the viewer's own device and goes nowhere, or it is one that the family sent: only what
was marked is sent.
"""

from dashboard.components import HERE, Component
from dashboard.text.catalogue import Words

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
CAMERA = (HERE / "camera.svg").read_text(encoding="utf-8")
show = Component("film_marker", WORDS, sends="marked", drawing=CAMERA).show
