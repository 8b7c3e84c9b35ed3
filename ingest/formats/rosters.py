"""Roster files: people, coaching, drills, seasons, consents, device checks. A bad line refuses the file."""

import re
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, date, datetime

import polars as pl

from ingest.academy import Academy
from ingest.formats.format import RosterFormat
from ingest.formats.tables import Table, TableFormat, read_table
from ingest.refusals import refuse, shown
from warehouse.contracts.base import Contract
from warehouse.contracts.deliveries import (
    CoachingLine,
    ConsentLine,
    DeviceCheckLine,
    DrillLine,
    PersonLine,
    SeasonLine,
)
from warehouse.errors import Refused
from warehouse.vocabulary import DEVICE_CHECKS

_AGAIN = "correct the file and deliver it again"
_ROLES = {"student": ("student",), "coach": ("coach", "head_coach")}  # by the column that names a person
MOST_OFF = 1.5  # times: kg for lb is 2.2, and a device that far off is broken; common practice, no source
Check = Callable[[Table, Academy], None]


class Roster(TableFormat, RosterFormat):
    """One roster file: its contract, the table it lands in, its key, and what else its lines must hold."""

    def __init__(
        self, name: str, table: str, contract: type[Contract], key: tuple[str, ...], check: Check
    ) -> None:
        self.names, self.table, self.contract, self.key, self._check = (name,), table, contract, key, check

    def read(self, data: bytes, academy: Academy) -> pl.DataFrame:
        """Rows ready for the roster file's own table."""
        file = self.names[0]
        table = read_table(data, file, self.contract, academy.settings.zone)
        if table.broken:
            raise Refused(table.refusal(_AGAIN, *table.broken))
        if self.table == "academy.device_check":
            table = replace(table, frame=_device_check(table.frame))
        _keys_once(table, self.key)
        self._check(table, academy)
        if self.table != "academy.person":
            return table.frame
        children = pl.col("guardian_of").fill_null("").str.replace_all(r"[;,\s]+", " ").str.strip_chars()
        nobody = pl.lit([], dtype=pl.List(pl.String))
        listed = pl.when(children == "").then(nobody).otherwise(children.str.split(" "))
        return table.frame.with_columns(guardian_of=listed)


def _keys_once(table: Table, columns: tuple[str, ...]) -> None:
    seen: dict[tuple[object, ...], int] = {}
    for row, key in enumerate(table.frame.select(columns).iter_rows()):
        if key in seen:
            named = " ".join(str(part) for part in key)
            what = f"{named} appears twice (first on line {table.lines[seen[key]]})"
            raise _stop(table, row, columns[0], "key_twice", what)
        seen[key] = row


def _stop(table: Table, row: int, column: str, reason: str, what: str) -> Exception:
    return refuse(reason, what, _AGAIN, file=table.file, line=table.lines[row], column=column)


def _spans(table: Table, first: str = "from", last: str = "to") -> None:
    for row, (start, end) in enumerate(table.frame.select(first, last).iter_rows()):
        if end is not None and end < start:
            what = f"{last} ({end}) is before {first} ({start})"
            raise _stop(table, row, last, "dates", what)


def _people(table: Table, academy: Academy) -> None:
    _spans(table, "joined", "left")
    rows = table.frame.select("person", "role", "guardian_of", "born").rows()
    students = {person for person, role, _, _ in rows if role == "student"}
    students |= {p.person for p in academy.people.values() if p.role == "student"}
    for row, (_, role, children, born) in enumerate(rows):
        unknown = [c for c in re.split(r"[;,\s]+", children or "") if c and c not in students]
        if unknown:
            what = f"guardian_of names {shown(unknown[0])}, who is not a student"
            raise _stop(table, row, "guardian_of", "unknown_person", what)
        if children and role != "guardian":
            raise _stop(table, row, "guardian_of", "unknown_value", f"a {role} can't have guardian_of")
        if born is not None and not date(1900, 1, 1) <= born <= date(2100, 1, 1):
            raise _stop(table, row, "born", "out_of_range", f"{born} is no birth date")


def _named(table: Table, academy: Academy) -> None:
    """Everybody named is in people.csv, in the right role; spans run forward."""
    _spans(table)
    for column in (column for column in _ROLES if column in table.frame.columns):
        for row, name in enumerate(table.frame[column]):
            person = academy.people.get(name)
            if person is None or person.role not in _ROLES[column]:
                found = "is not in people.csv" if person is None else f"is a {person.role} in people.csv"
                raise _stop(table, row, column, "unknown_person", f"{column} {name} {found}")


def _drills(table: Table, academy: Academy) -> None:
    for row, aim in enumerate(table.frame["aim"]):
        if aim is not None and aim not in academy.faults and aim not in academy.metrics:
            what = f"aim {shown(aim)} is neither a fault code nor a metric"
            raise _stop(table, row, "aim", "unknown_value", what)


def _seasons(table: Table, academy: Academy) -> None:
    _spans(table)
    spans = {name: (first, last) for name, first, last in academy.seasons}
    for row, (name, first, last) in enumerate(table.frame.select("season", "from", "to").iter_rows()):
        spans[name] = (first, last)
        for other, (start, end) in spans.items():
            replaced = other in table.frame["season"].to_list()[row + 1 :]
            if other != name and not replaced and first <= end and start <= last:
                what = f"season {name} overlaps season {other} but a day belongs to one season"
                raise _stop(table, row, "from", "dates", what)


def _device_check(lines: pl.DataFrame) -> pl.DataFrame:
    """Lines with what they leave out, and the error of each."""
    return lines.with_columns(
        pl.col("side").fill_null("whole"),
        pl.col("recalibrated").fill_null(value=False),
        error_pct=100 * (pl.col("reading_kg") / pl.col("known_kg") - 1),
    )


def _device_checks(table: Table, academy: Academy) -> None:
    """A device of academy.toml, a time that has come, and a reading that can be of that weight."""
    now = datetime.now(UTC).replace(tzinfo=None)
    for row, line in enumerate(table.frame.iter_rows(named=True)):
        device, known, reading = line["device"], line["known_kg"], line["reading_kg"]
        if device not in academy.settings.devices:
            what = f"device {shown(device)} is not in academy.toml"
            raise _stop(table, row, "device", "unknown_device", what)
        if line["at"] > now:
            raise _stop(table, row, "at", "dates", f"{line['at']} UTC is yet to come")
        if not 1 / MOST_OFF < reading / known < MOST_OFF:
            what = (
                f"reading_kg is {reading:g} with {known:g} kg on it, which looks like another weight or unit"
            )
            raise _stop(table, row, "reading_kg", "out_of_range", what)


ROSTERS = (
    Roster("people.csv", "academy.person", PersonLine, ("person",), _people),
    Roster("drills.csv", "academy.drill", DrillLine, ("drill",), _drills),
    Roster("seasons.csv", "academy.season", SeasonLine, ("season",), _seasons),
    Roster("coaching.csv", "academy.coaching", CoachingLine, ("student", "coach", "from"), _named),
    Roster("consents.csv", "academy.consent", ConsentLine, ("student", "purpose", "from"), _named),
    Roster(DEVICE_CHECKS, "academy.device_check", DeviceCheckLine, ("device", "side", "at"), _device_checks),
)
"""Roster files in the order they are loaded: people first, since the others name them."""
