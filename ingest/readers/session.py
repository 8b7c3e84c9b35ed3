"""`session.toml`: who, when, on which device, with which club, and what was swung."""

import math
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from typing import Any

from ingest.academy import Academy
from ingest.readers.tables import day_of, decode
from ingest.refusing import refusal, refuse, shown
from warehouse.contracts.base import NAME_PATTERN, NAME_RULE
from warehouse.contracts.words import EYES, PACES, PARTS, VIEWS
from warehouse.errors import Refusal, UnderfootError

FILE = "session.toml"
_AGAIN = "mend it and deliver the session again"
_KEYS = {
    "session", "student", "coach", "started_at", "club", "device", "body_mass_kg",
    "swing", "hold", "stance", "clip", "feet_checked",
}  # fmt: skip
_SWING_KEYS = {"no", "part", "drill", "pace", "club", "file", "events", "clip_events"}
_HOLD_KEYS = {"no", "eyes", "from_s", "to_s", "file"}
_STANCE = ("lead_heel", "lead_toe", "trail_heel", "trail_toe")
_CLIP_KEYS = {"fps", "shoe_length_mm", "view", "offset_s"}
SHORTEST_HOLD_S = 10.0


@dataclass(frozen=True)
class SwingSheet:
    """One `[[swing]]`: what session.toml says about it, events still by clock and as written."""

    no: int
    part: str
    pace: str
    drill: str | None
    club: str | None
    club_family: str | None
    events: Mapping[str, Any]
    clip_events: Mapping[str, Any]


@dataclass(frozen=True)
class HoldSheet:
    """One `[[hold]]`: a quiet stand on the plates."""

    no: int
    eyes: str
    from_s: float | None
    to_s: float | None


@dataclass(frozen=True)
class ClipSheet:
    """`[clip]`: how the session's clips were filmed."""

    fps: float
    shoe_length_mm: float
    view: str
    offset_s: float | None


@dataclass(frozen=True)
class SessionSheet:
    """One session.toml, read. `refused` lists the swings that its own lines rule out."""

    session: str
    student: str
    coach: str | None
    started_at: datetime
    day: date
    club: str | None
    device: str | None
    body_mass_kg: float | None
    stance_mm: tuple[float, ...] | None
    feet_checked: bool
    clip: ClipSheet | None
    swings: dict[int, SwingSheet] = field(default_factory=dict)
    holds: dict[int, HoldSheet] = field(default_factory=dict)
    refused: list[Refusal] = field(default_factory=list)


def line_of(text: str, key: str, table: str = "", place: int = 1) -> int | None:
    """Line on which a key stands in the `place`-th table of that name ("" is the top of the file)."""
    heading, seen = "", {"": 1}
    for number, line in enumerate(text.splitlines(), start=1):
        stripped = line.strip()
        if stripped.startswith("["):
            heading = stripped.split("#")[0].strip().strip("[]").strip()
            seen[heading] = seen.get(heading, 0) + 1
            if not key and heading == table and seen[heading] == place:
                return number
        elif heading == table and seen.get(heading) == place and re.match(rf"{re.escape(key)}\s*=", stripped):
            return number
        elif "." in table and heading == table.split(".", maxsplit=1)[0] and seen.get(heading) == place:
            if stripped.startswith(table.split(".")[1]):
                return number
    return None


class _Reader:
    """Reads one session.toml; knows its text, to give lines."""

    def __init__(self, data: bytes, academy: Academy) -> None:
        self.text = decode(data, FILE)
        self.academy = academy
        self.session: str | None = None
        self.refused: list[Refusal] = []
        try:
            self.table: dict[str, Any] = tomllib.loads(self.text.lstrip("\ufeff"))
        except tomllib.TOMLDecodeError as error:
            found = re.search(r"line (\d+)", str(error))
            raise refuse(
                "unreadable_toml",
                f"this is not readable TOML ({str(error).split(' (at')[0]})",
                _AGAIN,
                file=FILE,
                line=int(found.group(1)) if found else None,
            ) from error

    def stop(self, reason: str, what: str, todo: str, key: str, table: str = "", place: int = 1) -> Exception:
        return refuse(
            reason,
            what,
            todo,
            session=self.session,
            file=FILE,
            line=line_of(self.text, key, table, place),
            column=key,
        )

    def name(self, key: str) -> str | None:
        value = self.table.get(key)
        if value is None:
            return None
        if not isinstance(value, str) or not re.match(NAME_PATTERN, value) or "\n" in value:
            what = f"{key} is {shown(str(value))} but must be {NAME_RULE}"
            raise self.stop("bad_name", what, _AGAIN, key)
        return value

    def number(self, key: str, low: float, high: float, table: str = "") -> float | None:
        source = self.table.get(table, {}) if table else self.table
        value = source.get(key)
        if value is None:
            return None
        if not _is_number(value) or not low <= value <= high:
            what = f"{key} is {shown(str(value))} but must be a number from {low:g} to {high:g}"
            raise self.stop("out_of_range", what, _AGAIN, key, table)
        return float(value)

    def read(self) -> SessionSheet:
        self.session = self.name("session")
        if self.session is None:
            raise self.stop(
                "missing_key",
                "there is no session name",
                'add a line such as session = "2026-04-07-s014-a" and deliver again',
                "session",
            )
        strange = next((key for key in self.table if key not in _KEYS), None)
        if strange is not None:
            raise self.stop(
                "unknown_key",
                f'"{strange}" is not a line of session.toml',
                "correct or remove it and deliver the session again",
                strange,
            )
        started_at = self.started_at()
        sheet = SessionSheet(
            session=self.session,
            student=self.person("student", ("student",)),
            coach=self.person("coach", ("coach", "head_coach")) if "coach" in self.table else None,
            started_at=started_at,
            day=day_of(started_at, self.academy.settings.zone),
            club=self.table.get("club"),
            device=self.device(),
            body_mass_kg=self.number("body_mass_kg", 15, 250),
            stance_mm=self.stance(),
            feet_checked=self.table.get("feet_checked") is True,
            clip=self.clip(),
            refused=self.refused,
        )
        self.swings(sheet)
        self.holds(sheet)
        return sheet

    def started_at(self) -> datetime:
        value = self.table.get("started_at")
        example = "write it with its offset, as in started_at = 2026-04-07T16:10:00+01:00, and deliver again"
        if not isinstance(value, datetime):
            what = (
                "started_at is missing" if value is None else f"started_at is {shown(str(value))}, not a time"
            )
            raise self.stop("no_time", what, example, "started_at")
        if value.tzinfo is None:
            raise self.stop(
                "no_offset", f"started_at = {value.isoformat()} has no offset from UTC", example, "started_at"
            )
        return value.astimezone(UTC).replace(tzinfo=None)

    def person(self, key: str, roles: tuple[str, ...]) -> str:
        name = self.name(key)
        if name is None:
            raise self.stop(
                "missing_key",
                f"there is no {key}",
                f'add a line {key} = "…" with a code of people.csv and deliver again',
                key,
            )
        person = self.academy.people.get(name)
        if person is None:
            raise self.stop(
                "unknown_person",
                f"{key} {name} is not in people.csv",
                "add them to people.csv or correct the code, then deliver again",
                key,
            )
        if person.role not in roles:
            raise self.stop(
                "unknown_person",
                f"{key} {name} is a {person.role} in people.csv",
                "correct the code or the role, then deliver again",
                key,
            )
        return name

    def device(self) -> str | None:
        name = self.table.get("device")
        if name is not None and name not in self.academy.settings.devices:
            raise self.stop(
                "unknown_device",
                f"device {shown(str(name))} is not in academy.toml",
                f"add a [device.{name}] table there or correct the name, then deliver again",
                "device",
            )
        return name

    def stance(self) -> tuple[float, ...] | None:
        table = self.table.get("stance")
        if table is None:
            return None
        values: list[float] = []
        for point in _STANCE:
            pair = table.get(point) if isinstance(table, dict) else None
            if (
                not isinstance(pair, list)
                or len(pair) != 2
                or not all(_is_number(v) and abs(v) <= 5000 for v in pair)
            ):
                raise self.stop(
                    "bad_stance",
                    f"[stance] {point} must be two numbers in mm, as in [x, y]",
                    _AGAIN,
                    point,
                    "stance",
                )
            values += [float(v) for v in pair]
        return tuple(values)

    def clip(self) -> ClipSheet | None:
        table = self.table.get("clip")
        if table is None:
            return None
        strange = (
            next((key for key in table if key not in _CLIP_KEYS), None) if isinstance(table, dict) else "clip"
        )
        if strange is not None:
            raise self.stop(
                "unknown_key",
                f'"{strange}" is not a line of [clip]',
                "correct or remove it and deliver again",
                strange,
                "clip",
            )
        fps, shoe = self.number("fps", 1, 2000, "clip"), self.number("shoe_length_mm", 120, 450, "clip")
        view = table.get("view", "face_on")
        if fps is None or shoe is None or view not in VIEWS:
            what = f"[clip] needs fps, shoe_length_mm and a view that is one of {', '.join(VIEWS)}"
            raise self.stop("bad_clip", what, _AGAIN, "", "clip")
        return ClipSheet(fps, shoe, view, self.number("offset_s", -1e6, 1e6, "clip"))

    def swings(self, sheet: SessionSheet) -> None:
        twice = self.twice()
        for place, row in enumerate(self.rows("swing"), start=1):
            no = self.no(row, "swing", place)
            try:
                if no in twice:
                    raise self.bad_swing("swing_twice", f"swing number {no} stands twice", no, "no", place)
                sheet.swings[no] = self.swing(row, no, place, sheet)
            except _BadSwing as bad:
                if all(r.swing_no != no for r in self.refused):
                    self.refused.append(bad.refusal)

    def twice(self) -> set[int]:
        numbers = [row.get("no") for kind in ("swing", "hold") for row in self.rows(kind)]
        return {no for no in numbers if isinstance(no, int) and numbers.count(no) > 1}

    def rows(self, kind: str) -> list[dict[str, Any]]:
        rows = self.table.get(kind, [])
        if not isinstance(rows, list) or not all(isinstance(row, dict) for row in rows):
            raise self.stop("unreadable", f"{kind} must be written as [[{kind}]] tables", _AGAIN, kind)
        return rows

    def no(self, row: dict[str, Any], kind: str, place: int) -> int:
        no = row.get("no")
        if not isinstance(no, int) or isinstance(no, bool) or not 0 <= no <= 1_000_000:
            raise self.stop(
                "bad_number", f"[[{kind}]] number {place} has no whole number no", _AGAIN, "no", kind, place
            )
        return no

    def swing(self, row: dict[str, Any], no: int, place: int, sheet: SessionSheet) -> SwingSheet:
        strange = next((key for key in row if key not in _SWING_KEYS), None)
        if strange is not None:
            raise self.bad_swing("unknown_key", f'"{strange}" is not a line of [[swing]]', no, strange, place)
        part, pace, drill = row.get("part", "baseline"), row.get("pace", "full"), row.get("drill")
        if part not in PARTS:
            raise self.bad_swing(
                "unknown_value",
                f"part is {shown(str(part))} but must be one of {', '.join(PARTS)}",
                no,
                "part",
                place,
            )
        if pace not in PACES:
            raise self.bad_swing(
                "unknown_value",
                f"pace is {shown(str(pace))} but must be one of {', '.join(PACES)}",
                no,
                "pace",
                place,
            )
        if drill is not None and drill not in self.academy.drills:
            raise self.bad_swing(
                "unknown_drill", f"drill {shown(str(drill))} is not in drills.csv", no, "drill", place
            )
        club = row.get("club", sheet.club)
        events, clip_events = row.get("events", {}), row.get("clip_events", {})
        if not isinstance(events, dict) or not isinstance(clip_events, dict):
            raise self.bad_swing(
                "event_name", "events must be a table of names and seconds", no, "events", place
            )
        return SwingSheet(no, part, pace, drill, club, self.family(club, no, place), events, clip_events)

    def family(self, club: Any, no: int, place: int) -> str | None:
        if club is None:
            return None
        try:
            return self.academy.settings.club_family(str(club))
        except UnderfootError as error:
            what = f"the club {shown(str(club))} fits no club family"
            raise self.bad_swing(
                "unknown_club",
                what,
                no,
                "club",
                place,
                "name it so or add it under [club_families] in academy.toml, then deliver again",
            ) from error

    def holds(self, sheet: SessionSheet) -> None:
        twice = self.twice()
        for place, row in enumerate(self.rows("hold"), start=1):
            no = self.no(row, "hold", place)
            if no in twice:
                if all(r.swing_no != no for r in self.refused):
                    self.refused.append(
                        self.bad_swing(
                            "swing_twice", f"swing number {no} stands twice", no, "no", place
                        ).refusal
                    )
                continue
            eyes, spans = row.get("eyes"), [row.get(key) for key in ("from_s", "to_s")]
            strange = next((key for key in row if key not in _HOLD_KEYS), None)
            if strange is not None or eyes not in EYES or not all(v is None or _is_number(v) for v in spans):
                what = (
                    'a [[hold]] has no, eyes = "open" or "closed", from_s and to_s in seconds, '
                    f"but eyes is {shown(str(eyes))}"
                    if strange is None
                    else f'"{strange}" is not a line of [[hold]]'
                )
                self.refused.append(
                    self.bad_swing("bad_hold", what, no, strange or "eyes", place, table="hold").refusal
                )
                continue
            sheet.holds[no] = HoldSheet(no, eyes, *(None if v is None else float(v) for v in spans))

    def bad_swing(
        self, reason: str, what: str, no: int, key: str, place: int, todo: str = _AGAIN, table: str = "swing"
    ) -> "_BadSwing":
        line = line_of(self.text, key, table, place)
        return _BadSwing(
            refusal(reason, what, todo, session=self.session, swing_no=no, file=FILE, line=line, column=key)
        )


class _BadSwing(Exception):  # noqa: N818 - it ends one swing, not the program
    def __init__(self, refusal: Refusal) -> None:
        super().__init__(refusal.sentence)
        self.refusal = refusal


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)


def read_sheet(data: bytes, academy: Academy) -> SessionSheet:
    """Read session.toml against the roster and the settings.

    Raises
        Refused: the session as a whole can't be taken; single swings that can't stand in `refused`.
    """
    return _Reader(data, academy).read()


def glance(data: bytes) -> tuple[str | None, datetime | None]:
    """Name and start of a session, as far as they can be read, to bring sessions into order."""
    try:
        table = tomllib.loads(data.decode("utf-8-sig"))
    except (UnicodeDecodeError, tomllib.TOMLDecodeError):
        return None, None
    name, at = table.get("session"), table.get("started_at")
    at = at if isinstance(at, datetime) else None
    if at is not None:
        at = at.astimezone(UTC).replace(tzinfo=None) if at.tzinfo else at
    return (name if isinstance(name, str) else None), at
