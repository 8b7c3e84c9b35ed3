"""Removing what is past its time, by [retention] of academy.toml (see warehouse/retention.py).

Films and refused deliveries just go. Visits and notes are part of what the warehouse is made from, so they go
as forgotten students do: noted on disk first, taken out of what is filed, the warehouse made again. That is
work, so what is due within `AHEAD` days goes with what is due today: once a week at most.

The signed list has a line for each of these, with counts, under nobody's name.
"""

import shutil
from collections.abc import Mapping
from contextlib import closing, suppress
from datetime import date

from ingest.redaction import Identity
from warehouse import filed, forgotten, journal, retention
from warehouse.consent import Roster
from warehouse.errors import CallError
from warehouse.forgotten import PAST_ITS_TIME
from warehouse.home import Home
from warehouse.retention import Kept
from warehouse.store import open_snapshot

AHEAD = 6
VISITS, NOTES, FILMS, REFUSED = "sessions_days", "notes_days", "films_days", "refused_days"


def carry_out(home: Home) -> None:
    """Remove the films and refused deliveries that are past their time; ask for visits and notes to be.

    `forgetting.forget` then takes those out, with the students who are to be forgotten.
    """
    settings = home.settings()
    if not settings.retention or any(r.student == PAST_ITS_TIME for r in forgotten.asked(home)):
        return
    today = settings.today
    with suppress(CallError), closing(open_snapshot(home)) as snapshot:
        kept = {of.key: of for of in retention.kept(home, snapshot, settings)}
        past = {key for key, of in kept.items() if of.past(today)}
        if past & {FILMS, REFUSED}:
            with home.lock():
                _remove_now(home, kept, today)
        if past & {VISITS, NOTES}:
            _ask(home, snapshot, kept, today, settings.time_zone)


def _remove_now(home: Home, kept: Mapping[str, Kept], today: date) -> None:
    removed, contents = {"films": 0, "refused_removed": 0}, []
    for content in kept[FILMS].past(today) if FILMS in kept else ():
        removed["films"] += filed.remove_films(home.filed / content)
        contents.append(content)
    for name in kept[REFUSED].past(today) if REFUSED in kept else ():
        shutil.rmtree(home.refused / name)
        removed["refused_removed"] += 1
    forgotten.sign(home, PAST_ITS_TIME, removed, contents)
    journal.record(home, "past_its_time", **removed)


def _ask(home: Home, roster: Roster, kept: Mapping[str, Kept], today: date, time_zone: str) -> None:
    """Ask for visits and notes to be removed, with what will go."""
    sessions = set(kept[VISITS].past(today, AHEAD)) if VISITS in kept else set()
    notes = kept[NOTES].past(today, AHEAD) if NOTES in kept else []
    known = {name for _, name in kept[VISITS].items} if VISITS in kept else set()
    who = Identity(
        PAST_ITS_TIME,
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
    forgotten.ask(home, PAST_ITS_TIME, noted=noted)
