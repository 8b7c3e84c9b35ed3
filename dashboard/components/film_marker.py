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
    "points": "Heel and toe", "lead_heel": "Lead heel", "lead_toe": "Lead toe", "trail_heel": "Trail heel",
    "trail_toe": "Trail toe",
    "points_help": "To measure how high a heel is, choose a point, then tap it on the picture: both heels "
    "and both toes at address; later the heels, and the toes too if the camera moved.",
    "near": "Tap near it to enlarge: {point}.", "exactly": "Now tap it exactly: {point}.",
    "placed": "{point} is set; tap again or move it.", "forget": "Remove the point",
    "left": "Move left", "right": "Move right", "higher": "Move up", "lower": "Move down",
    "view": "Filmed from", "down_line": "behind, along the target line", "face_on": "the front",
    "shoe": "Shoe length, mm", "shoe_known": "from the foot: about {mm}",
    "no_scale": "Without the shoe's length, heels are only up or down, without a height.",
    "end_on": "From the front, shoes are seen end on: heels are only up or down, without a height.",
    "by_foot": "If empty, the shoe counts as the foot's {foot} mm and {more} mm more.",
    "feet_right": "The feet are as I tapped them, even if they look swapped (a mirrored film)",
    "down": "down", "up": "up",
    "mark": "Mark here: {moment}", "marked": "{moment}: {t} s", "unmark": "Remove", "go": "Go there",
    "club": "Club", "pace": "Pace", "slow": "slow", "half": "half", "full": "full",
    "filmed_at": "Filmed at", "rate": "Pictures per second as filmed (more than it plays: slow motion)",
    "fault": "Note the fault: trail heel still down at impact",
    "save": "Save what is marked", "sending": "Sending…",
    "unplayable": "This browser can't play this film's format; save it as MP4 (H.264) and choose that.",
})  # fmt: skip
CAMERA = (HERE / "camera.svg").read_text(encoding="utf-8")
show = Component("film_marker", WORDS, sends="marked", drawing=CAMERA).show
