"""Removing what is past its time or no longer agreed to (see warehouse/retention.py).

Films and refused deliveries just go. Visits and notes are part of what the warehouse is made from, so they go
as forgotten students do: noted on disk first, taken out of what is filed, the warehouse made again. That is
work, so what is due within `AHEAD` days goes with what is due today: once a week at most.

The signed list has a line for each of these, with counts, under nobody's name.
"""

import shutil
from collections.abc import Mapping, Sequence
from contextlib import closing, suppress
from datetime import date

from ingest.redaction import Identity
from warehouse import forgotten, journal, retention
from warehouse.consent import Roster
from warehouse.errors import CallError
from warehouse.forgotten import NOBODY
from warehouse.home import Home
from warehouse.retention import KEEP_FILM, Kept, remove_films, remove_whole_films
from warehouse.store import open_snapshot

AHEAD = 6
VISITS, NOTES, FILMS, REFUSED = "sessions_days", "notes_days", "films_days", "refused_days"


def carry_out(home: Home) -> None:
    """Remove the films and refused deliveries that are to go; ask for visits and notes to be removed.

    `forgetting.forget` then takes those out, with the students who are to be forgotten.
    """
    settings = home.settings()
    if any(r.student == NOBODY for r in forgotten.asked(home)):
        return
    today = settings.today
    with suppress(CallError), closing(open_snapshot(home)) as snapshot:
        kept = {of.key: of for of in retention.kept(home, snapshot, settings)}
        past = {key for key, of in kept.items() if of.past(today)}
        if past & {FILMS, REFUSED, KEEP_FILM}:
            with home.lock():
                _remove_now(home, snapshot, {key: kept[key].past(today) for key in past})
        if past & {VISITS, NOTES}:
            _ask(home, snapshot, kept, today, settings.time_zone)


def _remove_now(home: Home, roster: Roster, past: Mapping[str, Sequence[str]]) -> None:
    remove_whole_films(home, roster, past.get(KEEP_FILM, ()))
    films, refused = past.get(FILMS, ()), past.get(REFUSED, ())
    if films or refused:
        n = sum(remove_films(home, roster, content) for content in films)
        for name in refused:
            shutil.rmtree(home.refused / name)
        removed = {"films": n, "refused_removed": len(refused)}
        forgotten.sign(home, NOBODY, removed, films)
        journal.record(home, "past_its_time", **removed)


def _ask(home: Home, roster: Roster, kept: Mapping[str, Kept], today: date, time_zone: str) -> None:
    """Ask for visits and notes to be removed, with what will go."""
    sessions = set(kept[VISITS].past(today, AHEAD)) if VISITS in kept else set()
    notes = kept[NOTES].past(today, AHEAD) if NOTES in kept else []
    known = {name for _, name in kept[VISITS].items} if VISITS in kept else set()
    who = Identity(
        NOBODY,
        frozenset(),
        sessions=frozenset(sessions),
        others=frozenset(known - sessions),
        notes_before=kept[NOTES].before(today, AHEAD).isoformat() if notes else "",
        time_zone=time_zone,
        sore=retention.sore_places(roster),
    )
    listed = [sorted(sessions)]
    deliveries = roster.sql(
        "SELECT DISTINCT delivery FROM academy.delivery WHERE session IN (SELECT unnest(?))", listed
    ).to_series()
    swings = roster.sql("SELECT count(*) FROM academy.swing WHERE session IN (SELECT unnest(?))", listed)
    counts = {"sessions": len(sessions), "swings": int(swings.item()), "notes": len(notes)}
    noted = who.to_json() | {"counts": counts, "deliveries": sorted(deliveries)}
    forgotten.ask(home, NOBODY, noted=noted)
