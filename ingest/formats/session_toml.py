"""`session.toml`: who, when, on which device, with which club, and what was swung.

A bad `[[swing]]` or `[[hold]]` refuses its own swing only; anything else that is wrong refuses the session.
"""

import json
import re
import tomllib
from collections import Counter
from collections.abc import Collection
from dataclasses import dataclass, fields
from datetime import datetime
from pathlib import Path
from typing import Any

from ingest.academy import Academy, day_of
from ingest.cells import decode
from ingest.formats.explanation import Explanation, Knowing
from ingest.formats.format import Format
from ingest.refusals import AGAIN, refuse, shown
from ingest.session_file import (
    FILE,
    USUAL_PACE,
    ClipSettings,
    HoldEntry,
    SessionHeader,
    SwingEntry,
    glance,
    line_of,
    utc,
)
from warehouse import toml
from warehouse.contracts.base import NAME_PATTERN, NAME_RULE
from warehouse.errors import Refused, UnderfootError
from warehouse.toml import is_number, is_whole
from warehouse.vocabulary import CLIP_SYNCS, EYES, PACES, PARTS, POINTS, VIEWS

_REMOVE = "correct or remove it and deliver the session again"
_KEYS = {
    "session", "student", "coach", "started_at", "club", "device", "body_mass_kg",
    "swing", "hold", "stance", "clip", "feet_checked", "pace",
}  # fmt: skip
_CLIP_KEYS = {field.name for field in fields(ClipSettings)}
_SWING_KEYS = {"no", "part", "drill", "pace", "club", "file", "clip", "events", "clip_events"}
_HOLD_KEYS = {"no", "eyes", "from_s", "to_s", "rocking"}


class SessionToml(Format):
    """The file that makes a folder a session's."""

    title = "A settings or session file"
    names = (FILE,)

    def looks_like(self, path: Path) -> bool:
        """Any TOML file, which may be a session's under another name."""
        return path.suffix.lower() == ".toml"

    def explain(self, path: Path, knowing: Knowing) -> Explanation:  # noqa: ARG002 - it is not a device's
        """The session's name and start."""
        session, started = glance(path.read_bytes())
        found = Explanation(path.name, self.title)
        found.facts["session"] = json.dumps(session) if session else "none: not a session.toml"
        if started is not None:
            found.facts["started at"] = started.isoformat()
        return found


@dataclass(frozen=True)
class _Place:
    """A table of the file: the `count`-th of that name (from 1); `no` is the swing's number, if it is one."""

    table: str = ""
    count: int = 1
    no: int | None = None


_TOP = _Place()


def read_header(data: bytes, academy: Academy) -> SessionHeader:
    """Read session.toml against the roster and the settings; single swings refused are in `refused`."""
    return _Reader(data, academy).read()


class _Reader:
    """Reads one session.toml; knows its text, to give lines."""

    def __init__(self, data: bytes, academy: Academy) -> None:
        self.text = decode(data, FILE)
        self.academy = academy
        self.session: str | None = None
        try:
            self.table: dict[str, Any] = toml.tables(self.text.lstrip("\ufeff"))
        except tomllib.TOMLDecodeError as error:
            found = re.search(r"line (\d+)", str(error))
            what = f"this is not readable TOML ({str(error).split(' (at')[0]})"
            line = int(found.group(1)) if found else None
            raise refuse("unreadable_toml", what, AGAIN, file=FILE, line=line) from error

    def stop(self, reason: str, what: str, key: str, place: _Place = _TOP, todo: str = AGAIN) -> Refused:
        line = line_of(self.text, key, place.table, place.count)
        where: dict[str, Any] = {"swing_no": place.no, "file": FILE, "line": line, "column": key}
        return refuse(reason, what, todo, session=self.session, **where)

    def read(self) -> SessionHeader:
        self.session = self.name("session")
        if self.session is None:
            todo = 'add a line such as session = "2026-04-07-s014-a" and deliver again'
            raise self.stop("missing_key", "there is no session name", "session", todo=todo)
        self.only(self.table, _KEYS, "session.toml", _TOP)
        started_at = self.started_at()
        header = SessionHeader(
            session=self.session,
            student=self.person("student", ("student",)),
            coach=self.person("coach", ("coach", "head_coach")) if "coach" in self.table else None,
            started_at=started_at,
            day=day_of(started_at, self.academy.settings.zone),
            club=self.club(self.table.get("club"), _TOP),
            device=self.device(),
            body_mass_kg=self.number("body_mass_kg", 15, 250),
            stance_mm=self.stance(),
            feet_checked=self.table.get("feet_checked") is True,
            text=self.text,
            clip=self.clip(),
            pace=self.word(self.table, "pace", PACES, USUAL_PACE, _TOP),
        )
        self.swings(header)
        return header

    def only(self, table: dict[str, Any], known: Collection[str], name: str, place: _Place) -> None:
        """Refuse a table with a key that is not known."""
        unknown = next((key for key in table if key not in known), None)
        if unknown is not None:
            raise self.stop("unknown_key", f'"{unknown}" is not a line of {name}', unknown, place, _REMOVE)

    def name(self, key: str) -> str | None:
        value = self.table.get(key)
        if value is None or (isinstance(value, str) and re.match(NAME_PATTERN, value) and "\n" not in value):
            return value
        raise self.stop("bad_name", f"{key} is {shown(value)} but must be {NAME_RULE}", key)

    def number(self, key: str, low: float, high: float, table: str = "") -> float | None:
        source = self.table.get(table, {}) if table else self.table
        value = source.get(key)
        if value is None:
            return None
        if not is_number(value) or not low <= value <= high:
            unit = " mm" if key.endswith("_mm") else ""
            what = f"{key} is {shown(value)} but must be a number from {low:g} to {high:g}{unit}"
            raise self.stop("out_of_range", what, key, _Place(table))
        return float(value)

    def started_at(self) -> datetime:
        value = self.table.get("started_at")
        todo = "write it with its offset, as in started_at = 2026-04-07T16:10:00+01:00, and deliver again"
        reason, at = "no_time", None
        if value is None:
            what = "started_at is missing"
        elif not isinstance(value, datetime):
            what = f"started_at is {shown(value)}, not a time"
        elif value.tzinfo is None:
            reason, what = "no_offset", f"started_at = {value.isoformat()} has no offset from UTC"
        else:
            at, what = utc(value), f"started_at = {value.isoformat()} is outside the years 1 to 9999"
        if at is None:
            raise self.stop(reason, what, "started_at", todo=todo)
        return at

    def club(self, given: Any, place: _Place) -> str | None:
        """A club as it is named; a bare loft may be written as a number, 56 for "56"."""
        if given is None or isinstance(given, str):
            return given
        if is_number(given):
            return f"{given:g}"
        what = f'club is {shown(given)} but must be a name such as "7-iron" or a loft such as 56'
        raise self.stop("unknown_value", what, "club", place)

    def person(self, key: str, roles: tuple[str, ...]) -> str:
        name = self.name(key)
        if name is None:
            todo = f'add a line {key} = "…" with a code of people.csv and deliver again'
            raise self.stop("missing_key", f"there is no {key}", key, todo=todo)
        person = self.academy.people.get(name)
        if person is None:
            todo = "add them to people.csv or correct the code, then deliver again"
            raise self.stop("unknown_person", f"{key} {name} is not in people.csv", key, todo=todo)
        if person.role not in roles:
            what, todo = f"{key} {name} is a {person.role} in people.csv", "correct the code or the role"
            raise self.stop("unknown_person", what, key, todo=f"{todo}, then deliver again")
        return name

    def device(self) -> str | None:
        name = self.table.get("device")
        if name is not None and name not in self.academy.settings.devices:
            todo = f"add a [device.{name}] table there or correct the name, then deliver again"
            what = f"device {shown(name)} is not in academy.toml"
            raise self.stop("unknown_device", what, "device", todo=todo)
        return name

    def stance(self) -> tuple[float, ...] | None:
        table = self.table.get("stance")
        if table is None:
            return None
        values: list[float] = []
        for point in POINTS:
            pair = table.get(point) if isinstance(table, dict) else None
            pair = pair if isinstance(pair, list) else []
            if len(pair) != 2 or not all(is_number(v) and abs(v) <= 5000 for v in pair):
                what = f"[stance] {point} must be two numbers in mm, as in [x, y]"
                raise self.stop("bad_stance", what, point, _Place("stance"))
            values += [float(v) for v in pair]
        return tuple(values)

    def clip(self) -> ClipSettings | None:
        table = self.table.get("clip")
        if table is None:
            return None
        self.only(table if isinstance(table, dict) else {"clip": table}, _CLIP_KEYS, "[clip]", _Place("clip"))
        fps, shoe = self.number("fps", 1, 2000, "clip"), self.number("shoe_length_mm", 120, 450, "clip")
        view = table.get("view", "face_on")
        if fps is None or view not in VIEWS:
            what = f"[clip] needs fps and a view that is one of {', '.join(VIEWS)}"
            raise self.stop("bad_clip", what, "", _Place("clip"))
        offset_s = self.number("offset_s", -1e6, 1e6, "clip")
        mm_per_px = self.number("mm_per_px", 0.05, 20, "clip")
        sync, through = table.get("sync"), self.truth(table, "runs_through", "bad_clip", _Place("clip"))
        if sync not in (None, *CLIP_SYNCS):
            what = f'[clip] sync is {shown(sync)} but may only be "stamp", a heel stamped before set-up'
            raise self.stop("bad_clip", what, "sync", _Place("clip"))
        width = self.number("shoe_width_mm", 50, 160, "clip")
        away = self.number("microphone_m", 0, 100, "clip")
        return ClipSettings(fps, shoe, view, offset_s, mm_per_px, width, sync, through, away)

    def swings(self, header: SessionHeader) -> None:
        """Fill `header.swings`, `header.holds` and `header.refused`; refused where one has no number."""
        numbers = [row.get("no") for kind in ("swing", "hold") for row in self.rows(kind)]
        times, refused = Counter(no for no in numbers if isinstance(no, int)), set[int]()
        for kind in ("swing", "hold"):
            for count, row in enumerate(self.rows(kind), start=1):
                no = self.no(row, kind, count)
                place = _Place(kind, count, no)
                try:
                    if times[no] > 1:
                        what = f"swing number {no} appears twice"
                        raise self.stop("swing_twice", what, "no", place)
                    if kind == "swing":
                        header.swings[no] = self.swing(row, place, header)
                    else:
                        header.holds[no] = self.hold(row, place)
                except Refused as bad:
                    if no not in refused:
                        header.refused.append(bad.refusal)
                        refused.add(no)

    def rows(self, kind: str) -> list[dict[str, Any]]:
        rows = self.table.get(kind, [])
        if not isinstance(rows, list) or not all(isinstance(row, dict) for row in rows):
            raise self.stop("unreadable", f"{kind} must be written as [[{kind}]] tables", kind)
        return rows

    def no(self, row: dict[str, Any], kind: str, count: int) -> int:
        no = row.get("no")
        if not is_whole(no) or not 0 <= no <= 1_000_000:
            what = f"[[{kind}]] number {count} has no whole number no"
            raise self.stop("bad_number", what, "no", _Place(kind, count))
        return no

    def swing(self, row: dict[str, Any], place: _Place, header: SessionHeader) -> SwingEntry:
        self.only(row, _SWING_KEYS, "[[swing]]", place)
        part = self.word(row, "part", PARTS, "baseline", place)
        pace = self.word(row, "pace", PACES, header.pace, place)
        drill, no = row.get("drill"), int(row["no"])
        if drill is not None and drill not in self.academy.drills:
            what = f"drill {shown(drill)} is not in drills.csv"
            raise self.stop("unknown_drill", what, "drill", place)
        club = self.club(row.get("club", header.club), place)
        events, clip_events = row.get("events", {}), row.get("clip_events", {})
        if not isinstance(events, dict) or not isinstance(clip_events, dict):
            raise self.stop("event_name", "events must be a table of names and seconds", "events", place)
        for key, what in (("file", "a recording"), ("clip", "a keypoint file")):
            if not isinstance(row.get(key, ""), str):
                raise self.stop("unknown_value", f"{key} must be the name of {what}", key, place)
        family, file, clip = self.family(club, place), row.get("file"), row.get("clip")
        return SwingEntry(no, part, pace, drill, club, family, events, clip_events, file, place.count, clip)

    def word(self, row: dict[str, Any], key: str, words: tuple[str, ...], usual: str, place: _Place) -> str:
        word = row.get(key, usual)
        if word not in words:
            what = f"{key} is {shown(word)} but must be one of {', '.join(words)}"
            raise self.stop("unknown_value", what, key, place)
        return str(word)

    def truth(self, row: dict[str, Any], key: str, reason: str, place: _Place) -> bool:
        value = row.get(key, False)
        if not isinstance(value, bool):
            raise self.stop(reason, f"{key} is {shown(value)} but must be true or false", key, place)
        return value

    def family(self, club: str | None, place: _Place) -> str | None:
        if club is None:
            return None
        try:
            return self.academy.settings.club_family(club)
        except UnderfootError as error:
            what = f"the club {shown(club)} fits no club family"
            todo = "name it so or add it under [club_families] in academy.toml, then deliver again"
            raise self.stop("unknown_club", what, "club", place, todo) from error

    def hold(self, row: dict[str, Any], place: _Place) -> HoldEntry:
        self.only(row, _HOLD_KEYS, "[[hold]]", place)
        eyes, spans = row.get("eyes"), [row.get(key) for key in ("from_s", "to_s")]
        if eyes not in EYES:
            what = f'eyes is {shown(eyes)} but must be "open" or "closed"'
            raise self.stop("bad_hold", what, "eyes", place)
        if not all(v is None or is_number(v) for v in spans):
            raise self.stop("bad_hold", "from_s and to_s must be seconds", "from_s", place)
        rocking = self.truth(row, "rocking", "bad_hold", place)
        start, end = (None if v is None else float(v) for v in spans)
        return HoldEntry(int(row["no"]), eyes, start, end, rocking)
