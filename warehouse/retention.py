"""How long what is kept is needed, by [retention] of academy.toml: what is past its time, what is due next.

- sessions_days: visits with everything recorded in them, and the numbers made from that
- films_days: the moving pictures; what was marked in them stays with the visit
- notes_days: notes, but not while they say that something still hurts
- refused_days: deliveries that were refused
- access_log_days: lines of the access log

A key that is not there keeps for good. What has reached its days goes on the next day the loader runs.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

from warehouse import filed
from warehouse.body import open_discomfort
from warehouse.consent import Roster
from warehouse.home import Home
from warehouse.settings import Settings

_NOTES = 'SELECT student, "at", day, kind, code FROM academy.note'


@dataclass(frozen=True)
class Kept:
    """What one key of [retention] is about: its days, and the day of everything that it holds."""

    key: str
    days: int
    items: tuple[tuple[date, str], ...]

    def before(self, today: date, ahead: int = 0) -> date:
        """What is older than this day is past its time, or will be some days ahead."""
        return today - timedelta(days=self.days - ahead)

    def past(self, today: date, ahead: int = 0) -> list[str]:
        """What is past its time, or will be some days ahead."""
        return [name for day, name in self.items if day < self.before(today, ahead)]

    def next_due(self) -> date | None:
        """The first day on which something of it goes; null when there is nothing."""
        return min(day for day, _ in self.items) + timedelta(days=self.days + 1) if self.items else None


def kept(home: Home, roster: Roster, settings: Settings) -> list[Kept]:
    """What each key of [retention] is about, but for the access log, which shortens itself."""
    find = {"sessions_days": _sessions, "films_days": _films, "notes_days": _notes, "refused_days": _refused}
    return [
        Kept(key, days, tuple(find[key](home, roster, settings)))
        for key, days in settings.retention.items()
        if key in find
    ]


def sore_places(roster: Roster) -> frozenset[str]:
    """Where somebody still hurts; such notes stay. Empty text: a place that was not named."""
    found = open_discomfort(roster.sql(f"{_NOTES} WHERE kind IN ('discomfort', 'discomfort_over')"))
    return frozenset(code or "" for code in found["code"])


def _sessions(_home: Home, roster: Roster, _settings: Settings) -> Iterator[tuple[date, str]]:
    yield from roster.sql("SELECT day, session FROM academy.session").iter_rows()


def _notes(_home: Home, roster: Roster, _settings: Settings) -> Iterator[tuple[date, str]]:
    sore = sore_places(roster)
    for day, kind, code in roster.sql("SELECT day, kind, code FROM academy.note").iter_rows():
        if kind != "discomfort" or (code or "") not in sore:
            yield day, kind


def _films(home: Home, roster: Roster, _settings: Settings) -> Iterator[tuple[date, str]]:
    """By the folders of filed/ that hold moving pictures."""
    rows = roster.sql(
        "SELECT DISTINCT session.day, delivery.delivery FROM academy.delivery AS delivery "
        "JOIN academy.session AS session USING (session) "
        "WHERE session.has_clip AND delivery.outcome <> 'refused' ORDER BY ALL"
    )
    for day, content in rows.iter_rows():
        if filed.films_in(home.filed / content):
            yield day, content


def _refused(home: Home, _roster: Roster, settings: Settings) -> Iterator[tuple[date, str]]:
    """By the folders of refused/, from the day on which each was last refused."""
    for folder in home.refused.iterdir() if home.refused.is_dir() else ():
        if folder.is_dir() and not folder.name.startswith("."):
            at = datetime.fromtimestamp(_last_change(folder), UTC)
            yield at.astimezone(settings.zone).date(), folder.name


def _last_change(folder: Path) -> float:
    why = folder / "why.json"
    return (why if why.exists() else folder).stat().st_mtime
