"""Files dropped without a session.toml, placed by what their device's recipe says of names or columns.

`file_name = "{student}_{date}_{time}"` under a device's layout says how its files are named; `student` and
`started_at` there name columns that say the same. A file that says both becomes a session's folder in the
inbox, with a session.toml; one that leaves its student open is refused (`whose`), beside the likely owners.
"""

import re
import shutil
from collections.abc import Callable, Iterable, Mapping
from dataclasses import asdict, dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any, TypeVar

import numpy as np

from ingest.delivery import MOST_HELD_BYTES, SESSION, SHEET, STRAY, Delivery, find, placed
from ingest.formats.format import SampleFormat, formats
from ingest.formats.plate_columns import Recipe
from ingest.formats.plate_layout import read_layout
from ingest.formats.recipe_reading import read_by_layout
from ingest.outcomes import AcceptedDeliveries
from ingest.owners import Shown, known_students, likely_owners
from ingest.reading_process import is_little, read_within_limits
from ingest.recording.moves import ON
from ingest.refusals import UNREADABLE, refusal, shown
from warehouse import lessons, toml
from warehouse.devices import DeviceSettings, Layout, file_name_pattern
from warehouse.errors import Refusal, Refused, UnderfootError
from warehouse.home import write_synced
from warehouse.units import LENGTH_UNITS, STANDARD_GRAVITY_M_S2
from warehouse.vocabulary import bare, words

USUAL_FOOT_MM = 260.0  # to read a file with whose golfer is not known
AROUND = timedelta(minutes=15)  # a lesson's recording begins so near it
FARTHEST_PCT = 99.0  # percentile of positions along a foot
BEYOND_LIMITS = ("over_time", "over_memory")
Read = TypeVar("Read")


@dataclass(frozen=True)
class Label:
    """What a file says of itself: whose it is in its own words, when it began, and the club."""

    device: str
    student: str | None
    started_at: datetime
    club: str | None = None


class Placing:
    """Places the loose files of a load."""

    def __init__(self, accepted: AcceptedDeliveries) -> None:
        self.job, self.refused = accepted.job, accepted.refused
        devices = self.job.academy.settings.devices.values()
        self.devices = [one for one in devices if one.layout is not None and one.layout.says_whose]

    def place(self, deliveries: Iterable[Delivery]) -> list[Delivery]:
        """The deliveries, each loose file that says whose it is and when as a session's folder."""
        return [found for one in deliveries for found in self._one(one)] if self.devices else list(deliveries)

    def _one(self, delivery: Delivery) -> list[Delivery]:
        if delivery.kind != STRAY and not (delivery.kind == SESSION and SHEET not in delivery.files):
            return [delivery]
        labels: dict[str, Label] = {}
        stopped: dict[str, Refusal] = {}
        for name in delivery.files:
            try:
                said = self._label(delivery, name)
            except Refused as beyond:
                stopped[name] = beyond.refusal
            else:
                labels |= {} if said is None else {name: said}
        left = tuple(name for name in delivery.files if name not in labels and name not in stopped)
        moved = [one for name, said in labels.items() for one in self._place(delivery, name, said)]
        for name, refused in stopped.items():
            self._refuse(delivery, name, refused, None)
        return moved + ([replace(delivery, files=left)] if left or not delivery.files else [])

    def _label(self, delivery: Delivery, name: str) -> Label | None:
        """What a file says by the recipe of the one device it fits; None where it fits none, or several."""
        if not any(one.recognises(f"plate{Path(name).suffix.lower()}") for one in formats(SampleFormat)):
            return None
        if (delivery.base / name).stat().st_size > MOST_HELD_BYTES:
            return None  # it is refused for its size
        by_device = (self._by(device, delivery.base / name) for device in self.devices)
        found = [one for one in by_device if one is not None]
        return found[0] if len(found) == 1 else None

    def _by(self, device: DeviceSettings, file: Path) -> Label | None:
        layout, said = device.layout, dict[str, str]()
        if layout is None:
            return None
        if layout.file_name is not None:
            match = re.fullmatch(file_name_pattern(layout.file_name), file.stem, re.IGNORECASE)
            if match is None:
                return None
            said = match.groupdict()
        columns = {
            part: name for part in ("student", "started_at") if (name := getattr(layout, part)) is not None
        }
        if columns:
            try:
                said |= _apart(file, _said_in, layout, columns)
            except Refused as refused:
                if refused.refusal.reason in BEYOND_LIMITS:
                    raise
                return None
            except OSError:
                return None
        at = self._when(said)
        return None if at is None else Label(device.name, said.get("student"), at, said.get("club"))

    def _when(self, said: Mapping[str, str]) -> datetime | None:
        """When a file began, in the academy's own time where it has no offset."""
        zone = self.job.academy.settings.zone
        if "started_at" in said:
            try:
                at = datetime.fromisoformat(said["started_at"].strip())
            except ValueError:
                return None
            return at if at.tzinfo is not None else at.replace(tzinfo=zone)
        day, time = said.get("date", ""), re.sub(r"\D", "", said.get("time", ""))
        digits = "".join(reversed(day.split("."))) if "." in day else day.replace("-", "")
        try:
            at = datetime.strptime(f"{digits} {time.ljust(6, '0')}", "%Y%m%d %H%M%S")  # noqa: DTZ007
        except ValueError:
            return None
        return at.replace(tzinfo=zone) if len(time) in (4, 6) else None

    def _place(self, delivery: Delivery, name: str, label: Label) -> list[Delivery]:
        """A session's folder in the inbox for a file whose student is clear; else it is refused and waits."""
        students = self._named(label.student)
        plain = re.sub(r"[^a-z0-9]+", "-", bare(name))[-40:].strip("-")  # its ending is part of it
        session = f"{label.started_at:%Y-%m-%d-%H%M}-{plain}"
        if len(students) != 1:
            self._ask(delivery, name, label, students, session)
            return []
        folder = self._folder(delivery) / session
        part = folder.with_name(f".{session}.part")
        shutil.rmtree(part, ignore_errors=True)
        part.mkdir(parents=True)
        kept = f"plate{Path(name).suffix.lower()}"
        shutil.copyfile(delivery.base / name, part / kept)
        coach = (delivery.by.person or None) if delivery.by is not None else None
        write_synced(part / SHEET, _sheet(session, students[0], coach, label))
        shutil.rmtree(folder, ignore_errors=True)
        part.replace(folder)
        if folder.parent == delivery.base and not delivery.waiting:
            (delivery.base / name).unlink()
        return placed(self.job.home, find([folder]))

    def _shown(self, file: Path, device: str) -> Shown:
        """What a file shows of the golfer in it, as far as it does."""
        recipe = Recipe(file.name, self.job.academy.settings.devices[device], "right", USUAL_FOOT_MM, None)
        try:
            return _apart(file, _shown_in, recipe)
        except UNREADABLE:
            return Shown()

    def _coming(self, at: datetime) -> set[str]:
        """Who had a lesson at a time, by the calendar; nobody where it can't be read."""
        settings = self.job.academy.settings
        day = at.astimezone(settings.zone).date()
        try:
            found = lessons.lessons(self.job.home, settings, self.job.writer, day)
        except UnderfootError:
            return set()
        return {
            student
            for one in found
            if one.entry.start - AROUND <= at <= one.entry.end + AROUND
            for student in one.students
        }

    def _folder(self, delivery: Delivery) -> Path:
        """Where the session's folder goes: in the inbox, beside the file if that is there."""
        inbox = self.job.home.inbox.resolve()
        return delivery.base if delivery.base.is_relative_to(inbox) else inbox

    def _named(self, student: str | None) -> list[str]:
        """Students whose code or name a file's word may be: the whole one before a part of one."""
        if student is None:
            return []
        people = self.job.writer.sql(
            "SELECT person, display_name FROM academy.person WHERE role = 'student'"
        ).rows()
        wanted = words(student)
        whole = [code for code, name in people if wanted in (words(code), words(name))]
        return whole or [code for code, name in people if wanted and wanted <= words(name)]

    def _ask(self, delivery: Delivery, name: str, label: Label, students: list[str], session: str) -> None:
        """Refuse a file whose student is open, with the likeliest owners beside the reason."""
        known = known_students(self.job.writer, label.started_at.date(), self._coming(label.started_at))
        named = {student: one for student, one in known.items() if student in students}
        seen = self._shown(delivery.base / name, label.device)
        owners = likely_owners(named or known, seen)
        if label.student is None:
            what = "it does not say whose it is"
        elif students:
            what = f"{shown(label.student)} may be {' or '.join(students)}"
        else:
            what = f"{shown(label.student)} is no student's code or name in people.csv"
        todo = "say whose it is on the page Deliveries, or add a session.toml and deliver both again"
        found = refusal("whose", what, todo, file=name)
        proposal: dict[str, Any] = {
            "session": session, "device": label.device, "started_at": label.started_at.isoformat(),
            "club": label.club, "mass_kg": seen.mass_kg, "owners": [asdict(one) for one in owners],
        }  # fmt: skip
        self._refuse(delivery, name, replace(found, proposal=proposal), session)

    def _refuse(self, delivery: Delivery, name: str, found: Refusal, session: str | None) -> None:
        """Refuse one file of a delivery; it is listed for whoever delivered it."""
        by = delivery.by
        alone = Delivery(STRAY, delivery.base / name, name, (name,), session, waiting=delivery.waiting, by=by)
        try:
            contents = alone.read()
        except OSError:
            return  # it is no longer there, or can't be read: the next load finds what there is
        who = {"student": None, "coach": (by.person or None) if by else None, "device": None}
        self.refused.refuse(alone, contents, [found], who)


def _apart(file: Path, read: Callable[..., Read], *given: Any) -> Read:
    """What `read` makes of a file's bytes, in a process of its own if it is more than a little text.

    Raises
        Refused: it goes beyond the limits of a load, or as `read` does.
        OSError: it can't be read.
    """
    data = file.read_bytes()
    here = is_little((file.name,), len(data))
    return read_within_limits(file.name, read, data, file.name, *given, here=here)


def _said_in(data: bytes, name: str, layout: Layout, columns: Mapping[str, str]) -> dict[str, str]:
    """What the columns of a file say, by the parts that they name; when it began is the first value."""
    cells, said = read_layout(data, name, layout, set(columns.values())).cells, {}
    for part, column in columns.items():
        values = cells[column].drop_nulls().unique(maintain_order=True).to_list()
        if (part == "started_at" and values) or len(values) == 1:
            said[part] = values[0]
    return said


def _shown_in(data: bytes, name: str, recipe: Recipe) -> Shown:
    """The body mass of the standing load, where loads are forces, and how far the pressure goes in mm."""
    read = read_by_layout(recipe, {name: data}, 1)
    total = read.columns["lead_n"] + read.columns["trail_n"]
    on = total > ON * np.nanmedian(total)
    mass = farthest = None
    if on.any() and not any("shares_only" in flags for flags in read.flags.values()):
        mass = round(float(np.median(total[on])) / STANDARD_GRAVITY_M_S2, 1)
    feet = [f"{foot}_along_pct" for foot in ("lead", "trail")]
    if all(foot in read.sources and read.sources[foot].unit in LENGTH_UNITS for foot in feet):
        along = np.concatenate([read.columns[foot][on] for foot in feet])
        along = along[np.isfinite(along)]
        if along.size:
            farthest = round(float(np.percentile(along, FARTHEST_PCT)) / 100.0 * USUAL_FOOT_MM, 1)
    return Shown(mass, farthest)


def _sheet(session: str, student: str, coach: str | None, label: Label) -> str:
    """A session.toml that says what the file did."""
    head = {
        "session": session, "student": student, "coach": coach, "device": label.device, "club": label.club,
        "started_at": label.started_at,
    }  # fmt: skip
    return "\n".join([*toml.lines(head), ""])
