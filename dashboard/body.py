"""Areas of the body, as a note names them, and which drills may load one.

Kept on the careful side: a drill may load an area when its name, its text or its cautions mention it or what
works with it. The lists are common sense, no source; they diagnose nothing.
"""

import re
from collections.abc import Iterable

_LEG = (
    "leg",
    "knee",
    "ankle",
    "heel",
    "foot",
    "feet",
    "toe",
    "calf",
    "hip",
    "step",
    "walk",
    "press",
    "stand",
)
_ARM = ("arm", "hand", "wrist", "elbow", "shoulder", "club", "swing", "strike", "ball")
_EVERY = ("",)  # any movement on the feet with a club may load the trunk and the hips
# Area → words of a drill's text that speak of it or of what works with it.
AREAS = {
    "lower back": _EVERY, "upper back": _EVERY, "neck": _EVERY, "hip": _EVERY,
    "shoulder": _ARM, "elbow": _ARM, "wrist": _ARM, "hand": _ARM,
    "knee": (*_LEG, "turn"), "ankle": _LEG, "heel": _LEG, "foot": _LEG,
    "calf": _LEG,
}  # fmt: skip
SIDES = ("lead", "trail", "left", "right")


def may_load(area: str | None, texts: Iterable[str | None]) -> bool:
    """Whether a drill of these texts may load an area. An area that is not known, or not named: yes."""
    said = " ".join(word for word in re.split(r"[\s_]+", (area or "").lower()) if word not in SIDES).strip()
    words = AREAS.get(said) or next((found for name, found in AREAS.items() if name in said), None)
    if words is None or words is _EVERY:
        return True
    text = " ".join(part for part in texts if part).lower()
    return any(re.search(rf"\b{word}(s|es|ing|ed)?\b", text) for word in (*words, said))
