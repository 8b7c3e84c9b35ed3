"""Sentences a coach would say: numbers with their units, and doubt in words."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

NBSP = "\u00a0"
FEW_SWINGS = 5
FEW_SESSIONS = 3
IMPROVING, SLIPPING, HOLDING = "Improving", "Slipping", "Holding (no large change)"
NOT_CLEAR, TOO_FEW = "Not clear yet", "Too few sessions"
BETTER, WORSE = "Better", "Worse"
SHAPES = {IMPROVING: "▲", BETTER: "▲", HOLDING: "●", SLIPPING: "▽", WORSE: "▽"}

FAMILIES = {
    "wedge": "Wedges", "iron": "Irons", "hybrid": "Hybrids", "wood": "Woods", "driver": "Driver",
    "putter": "Putter",
}  # fmt: skip
PHASES = {
    "address": "at address", "back": "going back", "top": "at the top", "down": "coming down",
    "impact": "at impact", "finish": "at the finish",
}  # fmt: skip
EVENTS = {
    "address": "address", "takeaway": "takeaway", "mid_back": "lead arm parallel, back", "top": "top",
    "mid_down": "lead arm parallel, down", "impact": "impact", "finish": "finish",
}  # fmt: skip
# What keeps a swing out of the season's answers, or makes it less sure, in words.
FLAGS = {
    "no_metric": "no measure could be computed",
    "dropout": "samples were missing for a moment",
    "negative_load": "the plate read below zero",
    "saturated": "the plate reached its limit",
    "weight_mismatch": "the load at address does not fit the body mass given",
    "short_quiet": "the stand before the swing was too short",
    "low_rate": "the plate samples too slowly for the fast parts",
    "unmarked": "some events were not marked; estimated from the plate where that can be done",
    "feet_not_found": "the two feet could not be told apart",
    "feet_swapped": "the two feet may be swapped",
    "sensors_filled": "sensors of the grid were dead or stuck and were filled from those beside them",
    "clip_unsynced": "the clip and the plate do not match",
    "clip_unchecked": "too few clips beside it to be sure that the clip is of this swing",
}
ROLES = {"head_coach": "head coach", "coach": "coach", "student": "student", "guardian": "guardian"}
DISCOMFORT = (
    "Stop any drill that hurts or loads this area. This page does not diagnose: see a physician or "
    "physiotherapist. It stays first until a note says that it is over."
)
EYES_CLOSED = (
    "With eyes closed: a flat, dry floor, clear space, someone within reach, and stop at the first step. Not "
    "when dizzy, recently injured or unsure on your feet."
)
IF_IT_HURTS = (
    "If anything hurts, stop and tell your coach. This page can't say what it is; a physician or "
    "physiotherapist can."
)
CLEAR_SPACE = "Leave clear room for the club and let nobody stand in it. Plates are easy to trip over."
GROWING = (
    "Pain while growing, at the heels or knees for example, belongs to a physician. Rest days count too."
)
MINORS = (
    "Film and measurement of young players need the guardian's consent and follow the academy's safeguarding "
    "policy and local law. Film the feet only, unless agreed otherwise. Nothing here is public, ranked, or "
    "shared by link without consent."
)
FEET = (
    "The lead foot is the one nearer the target, the trail foot the other. Load is how hard a foot presses "
    "on the ground."
)
POINT = "A point is one hundredth of all the load on your two feet."
# What a swing looks like without the fault, as a student would hear it; the sentence before it counts swings.
WITHOUT = {
    "heels_at_address": "you stand over the middle of your feet before you start",
    "toes_at_address": "you stand over the middle of your feet before you start",
    "uneven_at_address": "both feet carry about the same before you start",
    "unsteady_at_address": "you stand quietly before you start",
    "rocking_start": "you start without rocking on your feet",
    "stays_centred": "your load moves to the trail foot as the club goes back",
    "trail_heel_sink": "your trail foot stays evenly planted as the club goes back",
    "lead_heel_heavy": "your lead heel gets light as the club goes back",
    "heels_together_back": "your feet take turns, not both to the heels, as the club goes back",
    "lead_heel_high": "your lead heel stays low as the club goes back",
    "no_recentre": "your load is already coming back to the middle at the top",
    "reverse_load": "your load is not on the lead foot at the top",
    "trail_push": "your trail foot gets lighter as the club starts down",
    "late_crossing": "your load reaches the lead foot in good time before you strike",
    "little_lead_load": "the lead foot carries most of your load halfway down",
    "toes_together_down": "your feet take turns, not both to the toes, as the club comes down",
    "target_drift": "you stay steady over the lead foot as you strike",
    "trail_heel_down": "your trail heel is light when you strike",
}
# What a label of the season tables means to a student; nothing is claimed that the tables do not.
PLAINLY = {
    IMPROVING: "▲ Improving: the change is larger than chance would make it.",
    BETTER: "▲ Better than before: the change is larger than chance would make it.",
    HOLDING: "● Holding steady.",
    SLIPPING: "▽ Not as steady lately. A good thing to look at in your next lesson.",
    WORSE: "▽ Not as often lately. A good thing to look at in your next lesson.",
    NOT_CLEAR: "Not clear yet whether this has changed. A few more visits will tell.",
    TOO_FEW: "Too few sessions yet to tell whether this has changed.",
}
BANDS_ARE_CUSTOM = (
    "Bands are coaching custom, set by the academy; they are not medicine or law. "
    "Local rules and licensed practice come first."
)


@dataclass(frozen=True)
class Measure:
    """One metric as it is shown: a row of academy.metric."""

    metric: str
    label: str
    unit: str
    explain: str
    better: str
    decimals: int
    phase: str = ""

    @classmethod
    def of(cls, row: Mapping[str, Any]) -> "Measure":
        """From a row of academy.metric."""
        names = ("metric", "label", "unit", "explain", "better", "decimals", "phase")
        return cls(**{name: row[name] for name in names})

    @property
    def axis(self) -> str:
        """Axis title: the unit; the picture's own title says what is measured."""
        return self.unit or self.label

    def say(self, value: float | None, *, signed: bool = False) -> str:
        """A value with its unit: 71 %, 0.14 s, +3 points; a dash when there is none."""
        # A unit that is a span, as of a correlation, says where a value may lie and is not said after it.
        return number(value, "" if " to " in self.unit else self.unit, self.decimals, signed=signed)

    def say_both(self, one: float | None, two: float | None, between: str, *, signed: bool = False) -> str:
        """Two values: 68 % → 71 %; a long unit is said once: 18 → 2 % of body weight."""
        unit = self.unit if len(self.unit) <= 3 else ""
        first = number(one, unit, self.decimals, signed=signed)
        return f"{first}{between}{self.say(two, signed=signed)}"


def number(value: float | None, unit: str = "", decimals: int = 0, *, signed: bool = False) -> str:
    """A number with its unit, a real minus sign, and never a minus nought."""
    if value is None or value != value:  # noqa: PLR0124 - not a number
        return "–"
    rounded = round(value, decimals) + 0.0
    sign = "−" if rounded < 0 else "+" if signed and rounded > 0 else ""
    text = f"{sign}{abs(rounded):.{decimals}f}"
    return f"{text}{NBSP}{unit}" if unit else text


def share(rate: float | None) -> str:
    """A rate of 0–1 as a percentage."""
    return number(None if rate is None else 100 * rate, "%")


def in_ten(rate: float) -> str:
    """A rate of 0–1 as swings of ten; "about" where it is not exact."""
    tens = round(10 * rate)
    return f"{'' if abs(10 * rate - tens) < 0.05 else 'about '}{tens} of 10"


def on(day: date | None) -> str:
    """A day: 7 April 2026."""
    return "–" if day is None else f"{day.day} {day:%B %Y}"


def count(n: int, one: str, many: str | None = None) -> str:
    """`n` things, in the right number."""
    return f"{n:,}{NBSP}{one if n == 1 else many or one + 's'}"


def listed(names: list[str]) -> str:
    """a, b and c."""
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}" if names else ""


def marked(label: str) -> str:
    """A label with its shape: ▲ Improving. Better or worse is never said by colour."""
    shape = SHAPES.get(label)
    return f"{shape} {label}" if shape else label


def band_place(value: float | None, lo: float | None, hi: float | None) -> str:
    """Where a value stands against its band."""
    if value is None or (lo is None and hi is None):
        return "no band set"
    if lo is not None and value < lo:
        return "below the band"
    if hi is not None and value > hi:
        return "above the band"
    return "inside the band"


def certainty(p: float | None) -> str:
    """How sure, in words and numbers."""
    if p is None:
        return ""
    word = "Real, not noise" if p > 0.95 else "Likely" if p > 0.8 else "Not sure"
    return f"{word} ({share(min(p, 0.99))})"


def trend_sentence(measure: Measure, trend: Mapping[str, Any] | None, place: str, sessions: int) -> str:
    """What a season's fit says of one metric, with its doubt; claims nothing that the table does not."""
    if trend is None and sessions < FEW_SESSIONS:
        return f"{measure.label}: {count(sessions, 'session')}. {TOO_FEW} to speak of change."
    if trend is None:
        return f"{measure.label}: no season line yet, so nothing is claimed about change."
    label = str(trend["label"])
    if label == TOO_FEW:
        return f"{measure.label}: {count(int(trend['n_sessions']), 'session')}. {TOO_FEW} to speak of change."
    sure = {IMPROVING: trend["p_better"], SLIPPING: trend["p_worse"]}.get(label)
    # A change of a share is in points: "+7 %" of 61 % would be another number.
    shift = replace(measure, unit="points") if measure.unit == "%" else measure
    change = (
        f"{measure.label}: {measure.say_both(trend['start_value'], trend['value_now'], ' → ')}, {place}. "
        f"Change {shift.say(trend['change'], signed=True)}, 90{NBSP}% between "
        f"{shift.say_both(trend['change_lo'], trend['change_hi'], ' and ', signed=True)}."
    )
    return f"{change} {marked(label)}{'. ' + certainty(sure) if sure is not None else ''}."


def fault_sentence(name: str, now: Mapping[str, Any] | None, before: Mapping[str, Any] | None) -> str:
    """One fault, now against before."""
    if now is None or now["rate"] is None:
        return f"{name}: not measured lately."
    text = (
        f"{name}: {share(now['rate'])} of {count(int(now['usable']), 'swing')} lately "
        f"(90{NBSP}% between {share(now['rate_lo'])} and {share(now['rate_hi'])})"
    )
    if before is not None and before["rate"] is not None:
        text += f", before {share(before['rate'])}"
    return f"{text}. {marked(str(now['label']))}."
