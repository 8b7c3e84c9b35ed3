"""`session.toml`: who, when, on which device, with which club, and what was swung."""

import re
import tomllib
from datetime import UTC, datetime
from typing import Any

from ingest.academy import Academy
from ingest.delimited import decode
from ingest.formats.swing_tables import SwingTables, club_name
from ingest.refusals import refuse, shown
from ingest.session_file import FILE, ClipSettings, SessionHeader, is_number, line_of
from ingest.tables import day_of
from warehouse.contracts.base import NAME_PATTERN, NAME_RULE
from warehouse.vocabulary import VIEWS

_AGAIN = "mend it and deliver the session again"
_KEYS = {
    "session", "student", "coach", "started_at", "club", "device", "body_mass_kg",
    "swing", "hold", "stance", "clip", "feet_checked",
}  # fmt: skip
_STANCE = ("lead_heel", "lead_toe", "trail_heel", "trail_toe")
_CLIP_KEYS = {"fps", "shoe_length_mm", "view", "offset_s", "mm_per_px", "shoe_width_mm"}


class _Reader:
    """Reads one session.toml; knows its text, to give lines."""

    def __init__(self, data: bytes, academy: Academy) -> None:
        self.text = decode(data, FILE)
        self.academy = academy
        self.session: str | None = None
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
        if not is_number(value) or not low <= value <= high:
            unit = " mm" if key.endswith("_mm") else ""
            what = f"{key} is {shown(str(value))} but must be a number from {low:g} to {high:g}{unit}"
            raise self.stop("out_of_range", what, _AGAIN, key, table)
        return float(value)

    def read(self) -> SessionHeader:
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
        header = SessionHeader(
            session=self.session,
            student=self.person("student", ("student",)),
            coach=self.person("coach", ("coach", "head_coach")) if "coach" in self.table else None,
            started_at=started_at,
            day=day_of(started_at, self.academy.settings.zone),
            club=self.club(),
            device=self.device(),
            body_mass_kg=self.number("body_mass_kg", 15, 250),
            stance_mm=self.stance(),
            feet_checked=self.table.get("feet_checked") is True,
            text=self.text,
            clip=self.clip(),
        )
        SwingTables(self.text, self.table, header, self.academy).read()
        return header

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
        at = _utc(value)
        if at is None:
            what = f"started_at = {value.isoformat()} lies outside the years that can be counted"
            raise self.stop("no_time", what, example, "started_at")
        return at

    def club(self) -> str | None:
        try:
            return club_name(self.table.get("club"))
        except ValueError as error:
            raise self.stop("unknown_value", str(error), _AGAIN, "club") from error

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
                or not all(is_number(v) and abs(v) <= 5000 for v in pair)
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

    def clip(self) -> ClipSettings | None:
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
        return ClipSettings(
            fps,
            shoe,
            view,
            self.number("offset_s", -1e6, 1e6, "clip"),
            self.number("mm_per_px", 0.05, 20, "clip"),
            self.number("shoe_width_mm", 50, 160, "clip"),
        )


def read_header(data: bytes, academy: Academy) -> SessionHeader:
    """Read session.toml against the roster and the settings.

    Raises
        Refused: the session as a whole can't be taken; single swings that can't stand in `refused`.
    """
    return _Reader(data, academy).read()


def _utc(at: datetime) -> datetime | None:
    """A time with its offset in UTC, naive; None when that lies before the year 1 or after 9999."""
    try:
        return at.astimezone(UTC).replace(tzinfo=None)
    except OverflowError:
        return None


def glance(data: bytes) -> tuple[str | None, datetime | None]:
    """Name and start of a session, as far as they can be read, to bring sessions into order."""
    head = re.split(rb"^\s*\[", data, maxsplit=1, flags=re.MULTILINE)[0]
    try:
        table = tomllib.loads(head.decode("utf-8-sig"))
    except (UnicodeDecodeError, tomllib.TOMLDecodeError):
        return None, None
    name, at = table.get("session"), table.get("started_at")
    if not isinstance(at, datetime):
        at = None
    elif at.tzinfo is not None:
        at = _utc(at)
    return (name if isinstance(name, str) else None), at
