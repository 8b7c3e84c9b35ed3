"""How long what is kept is needed: what is past its time, what is due next.

By [retention] of academy.toml:

- sessions_days: visits with everything recorded in them, and the numbers made from that
- films_days: the moving pictures; what was marked in them stays with the visit
- notes_days: notes, but not while they say that something still hurts
- refused_days: deliveries that were refused
- access_log_days: lines of the access log

A key that is not there keeps for good. What has reached its days goes on the next day the loader runs.

By consent: a minor's films as delivered go on the day after the last of keep_film.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

from warehouse import consent, filed, forgotten, journal
from warehouse.body import open_discomfort
from warehouse.consent import Roster
from warehouse.home import Home
from warehouse.settings import Settings
from warehouse.vocabulary import is_minor

KEEP_FILM = "keep_film"
_DELIVERED = (
    "SELECT DISTINCT session.day, delivery.delivery, delivery.session, person.born, delivery.delivery IN "
    f"(SELECT delivery FROM academy.refusal WHERE reason = '{filed.BY_ROSTER}') AS waits "
    "FROM academy.delivery AS delivery JOIN academy.session AS session USING (session) "
    "JOIN academy.person AS person ON person.person = session.student WHERE "
)
_WITH_FILMS = "session.has_clip OR delivery.delivery IN (SELECT delivery FROM academy.refusal)"
_NOTES = 'SELECT student, "at", day, kind, code FROM academy.note'


@dataclass(frozen=True)
class Kept:
    """What one key of [retention] is about: its days, and the day of everything that it holds.

    keep_film has no days of its own: the day of each of its films is the last of their consent.
    """

    key: str
    days: int
    items: tuple[tuple[date, str], ...]

    @property
    def rule(self) -> str:
        """The key, and its days where it has any."""
        return f"{self.key} = {self.days}" if self.days else self.key

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
    """What each key of [retention] is about, and keep_film where a consent to it has ended or will.

    The access log shortens itself.
    """
    find = {"sessions_days": _sessions, "films_days": _films, "notes_days": _notes, "refused_days": _refused}
    found = [
        Kept(key, days, tuple(find[key](home, roster, settings)))
        for key, days in settings.retention.items()
        if key in find
    ]
    whole = tuple(_whole_films(home, roster, settings))
    return [*found, Kept(KEEP_FILM, 0, whole)] if whole else found


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
    rows = roster.sql(f"{_DELIVERED} {_WITH_FILMS} ORDER BY ALL")
    for day, content, _session, _born, waits in rows.iter_rows():
        if filed.cut_films(home.filed / content) or _originals(home, content, waits=waits):
            yield day, content


def _originals(home: Home, content: str, *, waits: bool) -> list[Path]:
    """The films of a delivery as delivered that can go: not those that a roster will have read again."""
    folder = home.filed / content
    return [] if waits and not filed.are_followed(folder) else filed.films_in(folder)


def _whole_films(home: Home, roster: Roster, settings: Settings) -> Iterator[tuple[date, str]]:
    """By the contents of deliveries that hold a minor's film whole, under a consent that has a last day."""
    copies = [why for _, why in _replaced(home)]
    for (student, purpose), spans in consent.recorded(roster).items():
        last = consent.last_day(spans, settings.today)
        if purpose != KEEP_FILM or last == date.max:
            continue
        rows = roster.sql(f"{_DELIVERED} session.student = ? ORDER BY ALL", [student])
        for day, content, session, born, waits in rows.iter_rows():
            if is_minor(born, day, settings.minor_until_age):
                found = {why["delivery"] for why in copies if why.get("session") == session}
                found |= {content} if _originals(home, content, waits=waits) else set()
                yield from ((last, content) for content in sorted(found))


def _replaced(home: Home) -> list[tuple[Path, dict[str, Any]]]:
    """The why.json, and what it says, of refused deliveries with films that a later delivery replaced."""
    found = []
    for path in sorted(home.refused.glob(f"*/{filed.WHY}")):
        why = filed.why_refused(path.parent)
        if {"superseded_by", "delivery"} <= why.keys() and filed.films_in(path.parent):
            found.append((path, why))
    return found


def remove_whole_films(home: Home, roster: Roster, contents: Sequence[str]) -> None:
    """Remove from deliveries what `kept` lists under keep_film, and sign that it went."""
    n = sum(remove_films(home, roster, content, cut=False) for content in contents)
    for file, why in _replaced(home) if contents else ():
        n += filed.remove_refused_films(file, why) if why["delivery"] in contents else 0
    if n:
        forgotten.sign(home, forgotten.NOBODY, {forgotten.FILMS_AS_DELIVERED: n}, contents)
        journal.record(home, "no_longer_agreed_to", **{forgotten.FILMS_AS_DELIVERED: n})


def remove_films(home: Home, roster: Roster, content: str, *, cut: bool = True) -> int:
    """Remove the films of a filed delivery, also those `cut` to the feet or not; returns how many went."""
    rows = roster.sql(
        'SELECT session, swing_no, file, line, "column", reason, sentence FROM academy.refusal '
        "WHERE delivery = ?",
        [content],
    )
    refused = {row["file"]: row for row in rows.iter_rows(named=True)}
    folder = home.filed / content
    leaving = _originals(home, content, waits=filed.BY_ROSTER in rows["reason"])
    leaving += filed.cut_films(folder) if cut else []
    return filed.remove_films(folder, leaving, refused) if leaving else 0


def _refused(home: Home, _roster: Roster, settings: Settings) -> Iterator[tuple[date, str]]:
    """By the folders of refused/, from the day on which each was last refused."""
    for folder in home.refused.iterdir() if home.refused.is_dir() else ():
        if folder.is_dir() and not folder.name.startswith("."):
            at = datetime.fromtimestamp(_last_change(folder), UTC)
            yield at.astimezone(settings.zone).date(), folder.name


def _last_change(folder: Path) -> float:
    why = folder / filed.WHY
    return (why if why.exists() else folder).stat().st_mtime
