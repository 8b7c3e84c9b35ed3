"""A new academy: its academy.toml and its first roster, which is delivered to the inbox as any other.

academy.toml is made once and never written over. A home that has one and nothing else, written by hand or
left by a crash, is given the roster alone.
"""

import os
from collections.abc import Sequence
from contextlib import closing
from dataclasses import dataclass
from datetime import UTC, date, datetime
from functools import cache
from pathlib import Path, PurePath
from typing import Any
from zoneinfo import ZoneInfo, available_timezones

from warehouse import journal, toml
from warehouse.body import Exercise
from warehouse.consent import Roster
from warehouse.definitions import rule_tables
from warehouse.deliverer import put
from warehouse.errors import CallError
from warehouse.home import Home, holder, write_new
from warehouse.publishing import is_published
from warehouse.rosters import roster_csv
from warehouse.settings import parse_settings
from warehouse.store import open_snapshot

ELSEWHERE = "kept elsewhere"
Row = dict[str, Any]


@dataclass(frozen=True)
class NewAcademy:
    """What a new academy begins with; rows have the columns of their roster files."""

    name: str
    time_zone: str
    people: Sequence[Row]
    seasons: Sequence[Row]
    coaching: Sequence[Row] = ()
    consents: Sequence[Row] = ()
    drills: Sequence[Row] = ()
    consents_kept_elsewhere: bool = False

    def settings_text(self) -> str:
        """Its academy.toml."""
        consents = ELSEWHERE if self.consents_kept_elsewhere else None
        settings = {
            "name": " ".join(self.name.split()), "time_zone": self.time_zone, "consents": consents,
        }  # fmt: skip
        return "\n".join([*toml.lines(settings), ""])

    def files(self) -> dict[PurePath, bytes]:
        """Its roster files; one without rows is left out."""
        rows = {
            "people.csv": self.people, "seasons.csv": self.seasons, "coaching.csv": self.coaching,
            "consents.csv": self.consents, "drills.csv": self.drills,
        }  # fmt: skip
        return {PurePath(file): roster_csv(file, lines) for file, lines in rows.items() if lines}


def is_founded(home: Home) -> bool:
    """Whether an academy is at this home: somebody is on its roster, or a delivery waits to be loaded."""
    if not home.settings_file.exists():
        return False
    if waiting(home):
        return True
    if not is_published(home):
        return False
    with closing(open_snapshot(home)) as snapshot:
        return has_people(snapshot)


def has_people(roster: Roster) -> bool:
    """Whether anybody is on a roster."""
    return not roster.sql("SELECT 1 FROM academy.person LIMIT 1").is_empty()


def waiting(home: Home) -> list[Path]:
    """What waits in the inbox."""
    return [path for path in home.inbox.iterdir() if path.name[0] != "."] if home.inbox.is_dir() else []


def is_loading(home: Home) -> bool:
    """Whether something waits in the inbox, or a load that may have taken it is at work."""
    return bool(waiting(home)) or holder(home.path) is not None


def found(home: Home, academy: NewAcademy) -> Path:
    """Make an academy: write its academy.toml, put its roster into the inbox; returns the roster's folder.

    Raises
        CallError: there is an academy here, no head coach, or a season that ends before it begins.
        UnderfootError: academy.toml would not be right.
    """
    if is_founded(home):
        raise CallError(f"There is an academy at {home.path} already; nothing was changed.")
    if not any(row["role"] == "head_coach" for row in academy.people):
        raise CallError("An academy needs a head coach; give their name.")
    if any(row["to"] < row["from"] for row in academy.seasons):
        raise CallError("The season ends before it begins; correct one of its days.")
    text = academy.settings_text()
    parse_settings(text.encode())
    home.make_folders()
    if not home.settings_file.exists():
        write_new(home.settings_file, text)
    kept = put(home, academy.files())
    journal.record(home, "founded", people=len(academy.people), delivery=kept.name)
    return kept


def this_year(time_zone: str) -> Row:
    """The calendar year in a time zone as a season."""
    year = datetime.now(UTC).astimezone(ZoneInfo(time_zone)).year
    return {"season": str(year), "from": date(year, 1, 1), "to": date(year, 12, 31)}


@cache
def starter_drills() -> tuple[Exercise, ...]:
    """The drills that a new academy is offered."""
    return tuple(map(Exercise.of, rule_tables("drills.toml")["drill"]))


@cache
def time_zones() -> tuple[str, ...]:
    """Every time zone by its place, as in Europe/Berlin, and UTC."""
    places = {
        name
        for name in available_timezones()
        if "/" in name and not name.startswith(("Etc/", "posix", "right"))
    }
    return (*sorted(places), "UTC")


def machine_time_zone() -> str:
    """The time zone this machine is set to; UTC where it does not say."""
    for said in (os.environ.get("TZ", ""), _localtime()):
        if said in time_zones():
            return said
    return "UTC"


def _localtime() -> str:
    link = Path("/etc/localtime")
    _, _, place = str(link.resolve()).partition("zoneinfo/")
    if place in time_zones():
        return place
    try:
        return Path("/etc/timezone").read_text("utf-8").strip()
    except OSError:
        return ""
