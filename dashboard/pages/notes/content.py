"""A coach's note from the form: what was tapped becomes lines of notes.jsonl, kept in the inbox."""

import json
from collections.abc import Callable, Mapping
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from dashboard import inbox
from warehouse.access import Reader
from warehouse.errors import AccessError, CallError
from warehouse.home import Home

OLDEST = timedelta(days=14)  # a note may have waited this long on a phone without a connection
AHEAD = timedelta(minutes=5)  # a phone's clock may run this much before ours
MOST_LETTERS = 2000

Line = dict[str, Any]


def keep(home: Home, reader: Reader, student: str, form: Mapping[str, Any]) -> list[Line]:
    """Keep a note: flushed to disk in the inbox before this returns its lines.

    Raises
        AccessError: the student is not in the viewer's reach.
        CallError: the form says nothing, or a number in it can't be.
        OSError: the disk did not take it.
    """
    if student not in reader.students:
        raise AccessError(f"There is no student {student} that you may see.")
    written = lines(form, author=reader.viewer.person, student=student, now=datetime.now(UTC))
    before = waiting(home, student)
    if all(line in before for line in written):
        return written  # sent twice by a device that did not hear that it was kept
    text = "".join(json.dumps(line, ensure_ascii=False) + "\n" for line in written)
    inbox.keep(home, [("notes.jsonl", text.encode())])
    return written


def waiting(home: Home, student: str) -> list[Line]:
    """Lines about a student that lie in the inbox and are not loaded yet, oldest first."""
    found: list[Line] = []
    for file in sorted(home.inbox.glob("dropped-*/notes.jsonl")):
        found += [line for line in _read(file) if line.get("student") == student]
    return found


def _read(file: Path) -> list[Line]:
    """Lines of a file; none when the loader has just taken it, or when it is not ours."""
    try:
        rows = [json.loads(text) for text in file.read_text(encoding="utf-8").splitlines() if text.strip()]
    except (OSError, ValueError):
        return []
    return [row for row in rows if isinstance(row, dict)]


def lines(form: Mapping[str, Any], *, author: str, student: str, now: datetime) -> list[Line]:
    """The lines of notes.jsonl that a filled form stands for, one a kind.

    Raises
        CallError: nothing was chosen or written, or a number can't be.
    """
    at = _at(form.get("at"), now)
    common = {"student": student, "at": at.isoformat(timespec="seconds"), "author": author}
    shared = form.get("shared") is True
    found = [line for make in _KINDS for line in make(form, shared)]
    if not found:
        raise CallError("Nothing is chosen or written yet; tap what you saw, a drill, or write a plan.")
    return [common | {key: value for key, value in line.items() if value is not None} for line in found]


def _at(said: Any, now: datetime) -> datetime:
    """When the note was written, by the device; our own clock where that can't be."""
    try:
        at = datetime.fromisoformat(str(said))
    except ValueError:
        return now
    if at.tzinfo is None or not now - OLDEST <= at <= now + AHEAD:
        return now
    return at.astimezone(UTC)


def _text(form: Mapping[str, Any], name: str) -> str | None:
    return str(form.get(name) or "").strip()[:MOST_LETTERS] or None


def _number(form: Mapping[str, Any], name: str, what: str) -> float | None:
    said = _text(form, name)
    if said is None:
        return None
    try:
        value = float(said.replace(",", "."))
    except ValueError:
        raise CallError(f"{what} is “{said}”, which is no number; write one such as 15.") from None
    if not abs(value) <= 10_000:
        raise CallError(f"{what} is {said}, which can't be; write a smaller number.")
    return value


def _saw(form: Mapping[str, Any], shared: bool) -> list[Line]:  # noqa: ARG001, FBT001 - what was seen is the coach's own
    if not _text(form, "fault"):
        return []
    grade = int(_number(form, "grade", "The strength") or 2)
    return [{"kind": "saw", "code": _text(form, "fault"), "grade": grade, "shared": False}]


def _drill(form: Mapping[str, Any], shared: bool) -> list[Line]:  # noqa: FBT001
    if not _text(form, "drill"):
        return []
    dose = {
        "value": _number(form, "dose", "The dose"),
        "unit": _text(form, "unit"),
        "pace": _text(form, "pace"),
    }
    return [
        {"kind": "drill", "code": _text(form, "drill"), "place": _text(form, "place"), "shared": shared}
        | dose
    ]


def _plan(form: Mapping[str, Any], shared: bool) -> list[Line]:  # noqa: FBT001
    return [{"kind": "plan", "text": _text(form, "text"), "shared": shared}] if _text(form, "text") else []


def _hurts(form: Mapping[str, Any], shared: bool) -> list[Line]:  # noqa: ARG001, FBT001 - a student always sees what hurts
    found: list[Line] = []
    area, side = _text(form, "area"), _text(form, "side")
    if area is None and _text(form, "hurts"):
        raise CallError("Where it hurts is not chosen; tap the nearest area.")
    if area:
        named = area if side in (None, "both") else f"{side} {area}"
        found.append({"kind": "discomfort", "code": named, "text": _text(form, "hurts"), "shared": True})
    if _text(form, "over"):
        found.append({"kind": "discomfort_over", "code": _text(form, "over"), "shared": True})
    return found


def _nudge(form: Mapping[str, Any], shared: bool) -> list[Line]:  # noqa: ARG001, FBT001
    if not _text(form, "nudge"):
        return []
    lost = int(_text(form, "lost") == "1")
    eyes = f"eyes {_text(form, 'eyes') or 'open'}"
    return [
        {"kind": "steadiness", "code": _text(form, "nudge"), "grade": lost, "unit": eyes, "shared": False}
    ]


def _practice(form: Mapping[str, Any], shared: bool) -> list[Line]:  # noqa: ARG001, FBT001 - it is the student's own
    if not _text(form, "practised"):
        return []
    minutes = _number(form, "minutes", "The minutes of practice")
    if minutes is not None and minutes <= 0:
        raise CallError("The minutes of practice must be more than none.")
    return [
        {
            "kind": "practice", "code": _text(form, "practised"), "value": minutes, "unit": "minutes",
            "pace": _text(form, "practice_pace"), "place": "home", "shared": True,
        }
    ]  # fmt: skip


def _target(form: Mapping[str, Any], shared: bool) -> list[Line]:  # noqa: ARG001, FBT001
    if not _text(form, "metric"):
        return []
    lo, hi = _number(form, "lo", "The band's start"), _number(form, "hi", "The band's end")
    if lo is None and hi is None:
        raise CallError("The band has neither a start nor an end; write one of them, or both.")
    if lo is not None and hi is not None and lo >= hi:
        raise CallError(
            f"The band runs from {lo:g} to {hi:g}, which is no span; write the lower number first."
        )
    return [{"kind": "target", "code": _text(form, "metric"), "value": lo, "value_to": hi, "shared": False}]


_KINDS: tuple[Callable[[Mapping[str, Any], bool], list[Line]], ...] = (
    _saw, _drill, _plan, _hurts, _nudge, _practice, _target,
)  # fmt: skip
