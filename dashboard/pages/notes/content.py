"""A coach's note: the form to fill in, and how what was tapped becomes lines of notes.jsonl in the inbox."""

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import polars as pl

from dashboard import inbox, safety
from dashboard.queries import lesson, people, sessions
from dashboard.text.catalogue import Words, _
from dashboard.text.cautions import DISCOMFORT, EYES_CLOSED
from dashboard.text.numbers import count, listed
from warehouse.access import Reader
from warehouse.errors import AccessError, CallError, UnderfootError
from warehouse.home import Home

OLDEST = timedelta(days=14)  # a note may have waited this long on a phone without a connection
AHEAD = timedelta(minutes=5)  # a phone's clock may run this much ahead of ours
MOST_LETTERS = 2000
DOSES = (5, 10, 15, 20, 30, 50)
FAULTS_IN_SIGHT = 6  # the others are behind one more tap
NOTE_KINDS = Words({
    "saw": "Saw", "drill": "Set a drill", "steadiness": "Nudge check", "plan": "Plan",
    "discomfort": "Discomfort", "discomfort_over": "Discomfort over", "talked": "Talked about",
    "practice": "Home practice", "target": "Own band",
})  # fmt: skip
Line = dict[str, Any]


def form_data(reader: Reader, person: Mapping[str, Any], outcome: dict[str, Any] | None) -> dict[str, Any]:
    """What the form in the browser is made of; `outcome`: what became of the note sent last."""
    student = person["student"]
    given = lesson.doses(reader, student).filter(kind="drill")
    found = sessions.open_discomfort(reader, student).drop_nulls("code").unique("code", maintain_order=True)
    hurting = found["area"].to_list()
    recent = given["drill"].unique(maintain_order=True).to_list()
    drills = people.drills(reader).to_dicts()
    drills.sort(key=lambda row: recent.index(row["drill"]) if row["drill"] in recent else len(recent))
    return {
        "author": reader.viewer.person,
        "student": student,
        "faults": _faults(reader, student),
        "drills": [(row["drill"], _drill_label(reader, person, row, hurting)) for row in drills],
        "doses": sorted({*DOSES, *_last_dose(given)}),
        "areas": list(safety.AREAS.items()),
        "open": found.select("code", "area").rows(),
        "metrics": [(m.metric, m.label) for m in people.measures(reader).values() if m.better == "band"],
        "cautions": {"hurts": _(DISCOMFORT), "closed": _(EYES_CLOSED)},
        "defaults": _defaults(given),
        "outcome": outcome,
    }


def _faults(reader: Reader, student: str) -> list[tuple[str, str, bool]]:
    """Code, name, and whether it is in sight: those this student shows most, then the order of the swing."""
    names = people.faults(reader)
    often = [code for code in people.faults_shown(reader, student) if code in names][:FAULTS_IN_SIGHT]
    rest = [code for code in names if code not in often]
    often += rest[: FAULTS_IN_SIGHT - len(often)]
    return [(code, names[code], True) for code in often] + [
        (code, name, False) for code, name in names.items() if code not in often
    ]


def _drill_label(
    reader: Reader, person: Mapping[str, Any], drill: Mapping[str, Any], hurting: list[str]
) -> str:
    """A drill's name with what speaks against it for this student."""
    against = [
        _("may load {area}").format(area=area) for area in hurting if safety.drill_may_load(drill, area)
    ]
    if safety.too_young(drill, person["born"], reader.today):
        against.append(_("for ages {years} and over").format(years=drill["min_age"]))
    return f"{drill['name']} ({listed(against)})" if against else str(drill["name"])


def _last_dose(given: pl.DataFrame) -> list[int]:
    return [int(dose) for dose in given["dose"].drop_nulls().head(1)]


def _defaults(given: pl.DataFrame) -> dict[str, Any]:
    """What the last lesson set; the drill itself is chosen anew each time."""
    last = given.row(0, named=True) if len(given) else {}
    dose = _last_dose(given)
    return {
        "grade": "2", "dose": str(dose[0] if dose else 20), "unit": last.get("unit") or "reps",
        "pace": last.get("pace") or "slow", "place": last.get("place") or "lesson", "shared": True,
        "lost": "0", "eyes": "open",
    }  # fmt: skip


def outcome(home: Home, reader: Reader, student: str, form: Mapping[str, Any]) -> dict[str, Any]:
    """Keep what was sent, and what the form then says: kept is true only once the disk has it."""
    text, kept = "", False
    try:
        written = keep(home, reader, student, form)
    except UnderfootError as error:
        text = _("Not saved. {error}").format(error=error)
    except OSError as error:
        text = _("Not saved: the disk did not take it ({error}). Try again, or tell the head coach.").format(
            error=error.strerror
        )
    else:
        kept, at = True, datetime.now(reader.settings.zone)
        kinds = listed([NOTE_KINDS[line["kind"]].lower() for line in written])
        text = _("Saved at {time}: {kinds}. It shows on the pages once it is loaded.").format(
            time=f"{at:%H:%M}", kinds=kinds
        )
    return {"id": str(form.get("id")), "kept": kept, "text": text}


def keep(home: Home, reader: Reader, student: str, form: Mapping[str, Any]) -> list[Line]:
    """Keep a note: flushed to disk in the inbox before this returns its lines.

    Raises
        AccessError: the student is not in the viewer's reach.
        CallError: the form says nothing, or a number in it is impossible.
        OSError: the disk did not take it.
    """
    if student not in reader.students:
        raise AccessError(_("There is no student {code} that you may see.").format(code=student))
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


def waiting_sentence(home: Home, student: str) -> str:
    """How many lines wait to be loaded; empty when none does."""
    found = len(waiting(home, student))
    text = _("In the inbox, to be loaded: {lines} of notes on this student.")
    return text.format(lines=count(found, "line")) if found else ""


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
        CallError: nothing was chosen or written, or a number is impossible.
    """
    at = _at(form.get("at"), now)
    common = {"student": student, "at": at.isoformat(timespec="seconds"), "author": author}
    found = [line for make in _KINDS for line in make(Filled(form))]
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
    """A filled form: each of its fields by name."""

    values: Mapping[str, Any]

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
    if not form.text("fault"):
        return []
    grade = int(form.number("grade", _("The strength")) or 2)
    return [{"kind": "saw", "code": form.text("fault"), "grade": grade, "shared": False}]


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


def _nudge(form: Filled) -> list[Line]:
    if not form.text("nudge"):
        return []
    lost = int(form.text("lost") == "1")
    eyes = f"eyes {form.text('eyes') or 'open'}"
    return [{"kind": "steadiness", "code": form.text("nudge"), "grade": lost, "unit": eyes, "shared": False}]


def _practice(form: Filled) -> list[Line]:
    """Home practice: the student's own, so they always see it."""
    if not form.text("practised"):
        return []
    minutes = form.number("minutes", _("The time practised"))
    if minutes is not None and minutes <= 0:
        raise CallError(_("The time practised must be more than 0 minutes."))
    return [
        {
            "kind": "practice", "code": form.text("practised"), "value": minutes, "unit": "minutes",
            "pace": form.text("practice_pace"), "place": "home", "shared": True,
        }
    ]  # fmt: skip


def _target(form: Filled) -> list[Line]:
    if not form.text("metric"):
        return []
    lo, hi = form.number("lo", _("The start of the band")), form.number("hi", _("The end of the band"))
    if lo is None and hi is None:
        raise CallError(_("The band has neither a start nor an end; write one of them, or both."))
    if lo is not None and hi is not None and lo >= hi:
        raise CallError(
            _("The band runs from {lo} to {hi}, which is backwards; write the lower number first.").format(
                lo=f"{lo:g}", hi=f"{hi:g}"
            )
        )
    return [{"kind": "target", "code": form.text("metric"), "value": lo, "value_to": hi, "shared": False}]


_KINDS: tuple[Callable[[Filled], list[Line]], ...] = (
    _saw, _drill, _plan, _hurts, _nudge, _practice, _target,
)  # fmt: skip
