"""What a coach says of a swing that is filed already: its kind, its drill, its events, where its film lies.

These are notes, kept as they came; what they change is changed again whenever their session lands. Of several
that speak of one thing the latest counts. A note with a time in `value` means the swing whose samples hold
that time, so that it stays with its swing if a recording is ever cut differently.
"""

from collections.abc import Collection, Iterable
from itertools import groupby, pairwise
from operator import itemgetter

from ingest.rows import Row
from warehouse.store import Writer
from warehouse.vocabulary import (
    CORRECTIONS,
    EVENTS,
    LEFT_OUT,
    SWING,
    SWING_DRILL,
    SWING_EVENT,
    SWING_FILM,
    SWING_KIND,
)

_NOTES = f"""
    SELECT session, swing_no, kind, code, value, "at" FROM academy.note
    WHERE kind IN {CORRECTIONS} AND session IN (SELECT unnest(CAST(? AS VARCHAR[]))) ORDER BY "at", note
"""
_SWINGS = """
    SELECT
        session, swing_no, kind, t0_s, t0_s + (n_samples - 1) / rate_hz AS end_s, file_flags, file_flag_counts
    FROM academy.swing WHERE session IN (SELECT unnest(CAST(? AS VARCHAR[]))) ORDER BY session, swing_no
"""
BY_HAND_S = 0.02  # expected error of an event put on the load curve by eye; common practice, no source
_ONE = "WHERE session = ? AND swing_no = ?"


def correct(writer: Writer, sessions: Collection[str | None]) -> list[str]:
    """Make the changes that the notes of these sessions ask for; what can't be made, a sentence each.

    A session in which something changed is reduced anew.
    """
    names = sorted({name for name in sessions if name is not None})
    notes = writer.sql(_NOTES, [names]).rows(named=True)
    if not notes:
        return []
    swings: dict[str, list[Row]] = {}
    for row in writer.sql(_SWINGS, [names]).iter_rows(named=True):
        swings.setdefault(row["session"], []).append(row)
    problems = [
        problem
        for _, at_once in groupby(notes, itemgetter("at"))
        for problem in _apply_all(writer, at_once, swings)
    ]
    changed = sorted({note["session"] for note in notes})
    writer.execute(
        "UPDATE academy.session SET reduced = false WHERE session IN (SELECT unnest(CAST(? AS VARCHAR[])))",
        [changed],
    )
    return problems


def _apply_all(writer: Writer, notes: Iterable[Row], swings: dict[str, list[Row]]) -> list[str]:
    """Apply notes of one time, which have no order: one event may have to make room for another first."""
    waiting = list(notes)
    while True:
        failed = [(note, why) for note in waiting if (why := _apply(writer, note, swings)) is not None]
        if len(failed) in (0, len(waiting)):
            return [why for _, why in failed]
        waiting = [note for note, _ in failed]


def _apply(writer: Writer, note: Row, swings: dict[str, list[Row]]) -> str | None:
    swing = _meant(note, swings.get(note["session"], []))
    if swing is None:
        return _unused(note, "there is no such swing in it any more")
    at = [note["session"], swing["swing_no"]]
    if note["kind"] == SWING_KIND:
        flags = dict(zip(swing["file_flags"], swing["file_flag_counts"], strict=True))
        flags = {name: n for name, n in flags.items() if name not in LEFT_OUT}
        if note["code"] != SWING:
            flags[note["code"]] = 1
        swing["file_flags"], swing["file_flag_counts"] = list(flags), list(flags.values())
        values = [note["code"], list(flags), list(flags.values()), *at]
        writer.execute(
            "UPDATE academy.swing SET kind = ?, sure = NULL, file_flags = CAST(? AS VARCHAR[]), "
            f"file_flag_counts = CAST(? AS INTEGER[]) {_ONE}",
            values,
        )
    elif note["kind"] == SWING_DRILL:
        part = "baseline" if note["code"] is None else "after_drill"
        writer.execute(f"UPDATE academy.swing SET drill = ?, part = ? {_ONE}", [note["code"], part, *at])
    elif note["kind"] == SWING_FILM:
        writer.execute(
            "UPDATE academy.swing SET clip_offset_s = ?, clip_offset_se_s = NULL, "
            f"clip_offset_source = 'by_hand' {_ONE}",
            [note["value"], *at],
        )
    elif note["kind"] == SWING_EVENT:
        return _move(writer, note, swing)
    return None


def _meant(note: Row, swings: Iterable[Row]) -> Row | None:
    """The swing a note is about: of those cut from a recording, the one that holds its time."""
    numbered = next((row for row in swings if row["swing_no"] == note["swing_no"]), None)
    by_number = note["kind"] == SWING_FILM or note["value"] is None
    if by_number or (numbered is not None and numbered["kind"] is None):
        return numbered
    holding = [
        row for row in swings if row["t0_s"] is not None and row["t0_s"] <= note["value"] <= row["end_s"]
    ]
    return numbered if numbered in holding or not holding else holding[0]


def _move(writer: Writer, note: Row, swing: Row) -> str | None:
    """Put an event where the note says, within the swing's samples and its marked events' order."""
    event, t_s = note["code"], note["value"]
    where = f"{_ONE} AND source IN ('marked', 'by_hand') AND clock = 'plate'"
    at = [note["session"], swing["swing_no"]]
    marked = dict(writer.sql(f"SELECT event, t_s FROM academy.swing_event {where}", at).iter_rows())
    ordered = [(marked | {event: t_s})[name] for name in EVENTS if name in marked or name == event]
    if swing["t0_s"] is None or not swing["t0_s"] <= t_s <= swing["end_s"]:
        return _unused(note, f"{event} at {t_s:g} s is outside the swing's samples")
    if any(b <= a for a, b in pairwise(ordered)):
        return _unused(note, f"{event} at {t_s:g} s is against the order of the events marked")
    writer.execute(f"DELETE FROM academy.swing_event {where} AND event = ?", [*at, event])
    writer.execute(
        "INSERT INTO academy.swing_event (session, swing_no, event, t_s, source, expected_error_s, clock) "
        "VALUES (?, ?, ?, ?, 'by_hand', ?, 'plate')",
        [*at, event, t_s, BY_HAND_S],
    )
    return None


def _unused(note: Row, why: str) -> str:
    return f"Session {note['session']}: the note on swing {note['swing_no']} changes nothing, as {why}."
