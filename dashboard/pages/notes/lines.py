"""What was tapped in the note form as lines of notes.jsonl, one a kind; impossible ones are said at once."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import Any

from dashboard.inbox import AHEAD
from dashboard.text.catalogue import _
from warehouse.errors import CallError
from warehouse.observations import feelings
from warehouse.vocabulary import DIRECTIONS, LONGEST_AIM_DAYS

OLDEST = timedelta(days=14)  # a note may have waited this long on a phone without a connection
MOST_LETTERS = 2000
Line = dict[str, Any]


def lines(form: Mapping[str, Any], *, author: str, student: str, now: datetime) -> list[Line]:
    """The lines of notes.jsonl that a filled form stands for, one a kind.

    Raises
        CallError: nothing was chosen or written, or a number is impossible.
    """
    at = _at(form.get("at"), now)
    common = {"student": student, "at": at.isoformat(timespec="seconds"), "author": author}
    found = [line for make in _KINDS for line in make(Filled(form, at.date()))]
    if not found:
        raise CallError(_("Nothing is chosen or written yet; tap what you saw, a drill, or write a plan."))
    return [common | {key: value for key, value in line.items() if value is not None} for line in found]


def _at(value: Any, now: datetime) -> datetime:
    """When the note was written, by the device; our own clock where that is impossible."""
    try:
        at = datetime.fromisoformat(str(value))
    except ValueError:
        return now
    if at.tzinfo is None or not now - OLDEST <= at <= now + AHEAD:
        return now
    return at.astimezone(UTC)


@dataclass(frozen=True)
class Filled:
    """A filled form: each of its fields by name, and the day on which it was filled."""

    values: Mapping[str, Any]
    day: date

    @property
    def shared(self) -> bool:
        """Whether the student sees the drill and the plan."""
        return self.values.get("shared") is True

    def text(self, name: str) -> str | None:
        """What was chosen or written; None where nothing was."""
        return str(self.values.get(name) or "").strip()[:MOST_LETTERS] or None

    def number(self, name: str, what: str) -> float | None:
        """A number; `what` is how a sentence about it begins.

        Raises
            CallError: it is not a number, or far too large.
        """
        text = self.text(name)
        if text is None:
            return None
        try:
            value = float(text.replace(",", "."))
        except ValueError:
            raise CallError(
                _("{what} is “{text}”, which is not a number; write one such as 15.").format(
                    what=what, text=text
                )
            ) from None
        if not abs(value) <= 10_000:
            raise CallError(
                _("{what} is {text}, which is impossible; write a smaller number.").format(
                    what=what, text=text
                )
            )
        return value


def _saw(form: Filled) -> list[Line]:
    given = form.number("grade", _("The strength"))
    grade = 2 if given is None else int(given)  # 0: looked for, and not there
    seen = [code for name in ("fault", "sign") if (code := form.text(name))]
    return [{"kind": "saw", "code": code, "grade": grade, "shared": False} for code in seen]


def _drill(form: Filled) -> list[Line]:
    if not form.text("drill"):
        return []
    return [
        {
            "kind": "drill", "code": form.text("drill"), "place": form.text("place"), "shared": form.shared,
            "value": form.number("dose", _("The dose")), "unit": form.text("unit"), "pace": form.text("pace"),
        }
    ]  # fmt: skip


def _plan(form: Filled) -> list[Line]:
    return [{"kind": "plan", "text": form.text("text"), "shared": form.shared}] if form.text("text") else []


def _hurts(form: Filled) -> list[Line]:
    """What hurts, and what no longer does: a student always sees it."""
    found: list[Line] = []
    area, side = form.text("area"), form.text("side")
    if area is None and form.text("hurts"):
        raise CallError(_("Where it hurts is not chosen; tap the nearest area."))
    if area:
        named = area if side in (None, "both") else f"{side} {area}"
        found.append({"kind": "discomfort", "code": named, "text": form.text("hurts"), "shared": True})
    if form.text("over"):
        found.append({"kind": "discomfort_over", "code": form.text("over"), "shared": True})
    return found


def _falls(form: Filled) -> list[Line]:
    """The answer to whether the student has fallen in the past year; a link does not show it."""
    fell = form.text("fell")
    return [{"kind": "falls", "grade": int(fell), "shared": False}] if fell in ("0", "1") else []


def _nudge(form: Filled) -> list[Line]:
    """One line for a whole nudge check, with the directions that were tried."""
    said = {way: form.text(f"nudge_{way}") for way in DIRECTIONS}
    if not any(said.values()):
        return []
    eyes, stood_by = form.text("eyes") or "closed", form.text("stood_by")
    if eyes == "closed" and stood_by is None:
        raise CallError(_("Who stood within reach is not written; with eyes closed somebody always does."))
    ways = {
        column: " ".join(way for way, found in said.items() if found == column) or None
        for column in ("held", "lost")
    }
    return [
        {
            "kind": "steadiness", "unit": f"eyes {eyes}", "announced": form.text("announced") == "1",
            "stood_by": stood_by, "shared": False,
        }
        | ways
    ]  # fmt: skip


def _felt(form: Filled) -> list[Line]:
    """What the player felt: in a swing, in the swings after a drill, or today."""
    swing = form.number("felt_swing", _("The swing"))
    where: Line = {"drill": form.text("felt_drill")}
    if swing is not None:
        where = {"session": form.text("felt_session"), "swing_no": int(swing)}
    said = {feeling.code: form.text(f"felt_{feeling.code}") for feeling in feelings()}
    return [
        {"kind": "felt", "code": code, "grade": int(yes), "shared": True} | where
        for code, yes in said.items()
        if yes in ("0", "1")
    ]


def _practice(form: Filled) -> list[Line]:
    """Home practice: the student's own, so they always see it."""
    if not form.text("practised"):
        return []
    minutes = form.number("minutes", _("The time practised"))
    if minutes is not None and minutes <= 0:
        raise CallError(_("The time practised must be more than 0 minutes."))
    reps = form.number("practice_reps", _("The number of times"))
    if reps is not None and (reps <= 0 or reps % 1):
        raise CallError(_("How many times it was practised must be a whole number from 1 up."))
    if reps is not None and minutes is not None:
        raise CallError(_("Practice is counted in minutes or in times: write one of them."))
    felt = form.number("practice_felt", _("How it felt"))
    return [
        {
            "kind": "practice", "code": form.text("practised"), "pace": form.text("practice_pace"),
            "value": minutes if reps is None else reps, "unit": "minutes" if reps is None else "reps",
            "grade": None if felt is None else int(felt), "place": "home", "shared": True,
        }
    ]  # fmt: skip


def _goal(form: Filled) -> list[Line]:
    """What the player came for, in their words: their own, so they always see it."""
    words, nearest = form.text("goal_words"), form.text("goal")
    if words is None and nearest is None:
        return []
    if words is None:
        raise CallError(_("The player's own words are missing from the goal; write what they said."))
    return [{"kind": "goal", "code": nearest, "text": words, "shared": True}]


def _agreed_aim(form: Filled) -> list[Line]:
    """What coach and student agreed to change: the student always sees it."""
    metrics = [code for number in range(1, 5) if (code := form.text(f"aim_{number}"))]
    due, size = form.text("aim_due"), form.number("aim_size", _("How much would matter"))
    if not metrics:
        return []
    if len({*metrics}) < len(metrics):
        raise CallError(_("The agreed aim names a measure twice; choose each once."))
    if size is not None and size <= 0:
        raise CallError(_("How much would matter must be more than 0."))
    try:
        day = date.fromisoformat(due or "")
    except ValueError:
        raise CallError(_("The agreed aim has no due date; choose one.")) from None
    if not 0 < (day - form.day).days <= LONGEST_AIM_DAYS:
        raise CallError(_("An agreed aim is due after today and within a year; choose another day."))
    return [
        {
            "kind": "agreed_aim", "code": metrics[0], "kindred": " ".join(metrics[1:]) or None,
            "due": day.isoformat(), "value": size, "shared": True,
        }
    ]  # fmt: skip


def _target(form: Filled) -> list[Line]:
    if not form.text("metric"):
        return []
    lo, hi = form.number("lo", _("The start of the target")), form.number("hi", _("The end of the target"))
    if lo is None and hi is None:
        raise CallError(_("The target has neither a start nor an end; write one of them, or both."))
    if lo is not None and hi is not None and lo >= hi:
        raise CallError(
            _("The target runs from {lo} to {hi}, which is backwards; write the lower number first.").format(
                lo=f"{lo:g}", hi=f"{hi:g}"
            )
        )
    return [{"kind": "target", "code": form.text("metric"), "value": lo, "value_to": hi, "shared": False}]


_KINDS: tuple[Callable[[Filled], list[Line]], ...] = (
    _saw, _drill, _plan, _hurts, _falls, _nudge, _felt, _practice, _goal, _agreed_aim, _target,
)  # fmt: skip
