"""Who may do which drill, and how much: one rule each for pain, age, balance and a young player's week.

Kept on the careful side: a drill may load an area when its name, its text or its cautions mention it or what
works with it. The lists are common sense, no source; they diagnose nothing.
"""

import re
from collections.abc import Iterable, Mapping
from datetime import date, timedelta
from typing import Any

from dashboard.queries import lesson
from dashboard.text import sentences
from dashboard.text.catalogue import Words
from warehouse.access import Reader
from warehouse.vocabulary import STAFF, age

_LEG = (
    "leg", "knee", "ankle", "heel", "foot", "feet", "toe", "calf", "hip", "step", "walk", "press", "stand",
)  # fmt: skip
_ARM = ("arm", "hand", "wrist", "elbow", "shoulder", "club", "swing", "strike", "ball")
_ANY_MOVEMENT = ("",)  # any movement on the feet with a club may load the trunk and the hips
# Area of the body → words of a drill's text that mention it or what works with it.
WORKS_WITH = {
    "lower back": _ANY_MOVEMENT, "upper back": _ANY_MOVEMENT, "neck": _ANY_MOVEMENT, "hip": _ANY_MOVEMENT,
    "shoulder": _ARM, "elbow": _ARM, "wrist": _ARM, "hand": _ARM,
    "knee": (*_LEG, "turn"), "ankle": _LEG, "heel": _LEG, "foot": _LEG, "calf": _LEG,
}  # fmt: skip
AREAS = Words({
    "lower back": "lower back", "upper back": "upper back", "neck": "neck", "hip": "hip",
    "shoulder": "shoulder", "elbow": "elbow", "wrist": "wrist", "hand": "hand",
    "knee": "knee", "ankle": "ankle", "heel": "heel", "foot": "foot", "calf": "calf",
})  # fmt: skip
SIDES = ("lead", "trail", "left", "right")


def may_load(area: str | None, texts: Iterable[str | None]) -> bool:
    """Whether a drill of these texts may load an area. An unknown area, or none named: yes."""
    named = " ".join(word for word in re.split(r"[\s_]+", (area or "").lower()) if word not in SIDES).strip()
    words = WORKS_WITH.get(named) or next(
        (found for name, found in WORKS_WITH.items() if name in named), None
    )
    if words is None or words is _ANY_MOVEMENT:
        return True
    text = " ".join(part for part in texts if part).lower()
    return any(re.search(rf"\b{word}(s|es|ing|ed)?\b", text) for word in (*words, named))


def drill_may_load(drill: Mapping[str, Any], area: str | None) -> bool:
    """Whether a drill (a row with name, how and cautions) may load an area."""
    return may_load(area, [drill["name"], drill["how"], drill["cautions"]])


def too_young(drill: Mapping[str, Any], born: date | None, today: date) -> bool:
    """Whether a student is below a drill's age; without a birth date, below every age."""
    years = age(born, today)
    return drill["min_age"] is not None and (years is None or years < drill["min_age"])


def needs_balance_caution(aim: str | None, *texts: str | None) -> bool:
    """Whether a drill is done with eyes closed or trains balance, and so needs `cautions.EYES_CLOSED`."""
    text = " ".join(part for part in texts if part).lower()
    return "eyes closed" in text or "close the eyes" in text or aim == "unsteady_at_address"


def practice_week(reader: Reader, student: str) -> str:
    """A young player's home practice of the last seven days against the academy's limit, in one sentence."""
    last = lesson.as_of(reader, student)
    first = last - timedelta(days=6)
    days = lesson.active_days(reader, student, first, last)
    return sentences.week_sentence(
        float(days["minutes"].sum() or 0),
        int(days["untimed"].sum()),
        first,
        last,
        reader.settings.young_practice_minutes_a_week,
        staff=reader.viewer.role in STAFF,
    )
