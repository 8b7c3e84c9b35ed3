"""Rows into the warehouse: one session, one roster file or one loose file, each inside one transaction."""

import json
from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

import polars as pl

from ingest.readers.roster import RosterKind
from ingest.reading import SessionRows
from ingest.rows import note_frames
from warehouse.errors import Refusal
from warehouse.home import Settings
from warehouse.store import Writer

_OF_A_SESSION = (
    "academy.session",
    "academy.swing",
    "academy.swing_event",
    "academy.swing_metric",
    "academy.swing_fault",
    "academy.clip_point",
    "academy.hold",
)
_FROM_NOTES = ("academy.drill_dose", "academy.steadiness")
_REFUSAL_TYPES = {
    "delivery": pl.String(),
    "session": pl.String(),
    "swing_no": pl.Int32(),
    "file": pl.String(),
    "line": pl.Int64(),
    "column": pl.String(),
    "reason": pl.String(),
    "sentence": pl.String(),
    "at": pl.Datetime("us"),
    "name": pl.String(),
    "student": pl.String(),
    "coach": pl.String(),
    "device": pl.String(),
}


def land_session(writer: Writer, rows: SessionRows, *, replaces: bool) -> dict[str, int]:
    """Put a session's rows in, in place of an earlier version's; returns the rows landed by table.

    Loose notes and shots survive: a shot that came on its own keeps its swing.
    """
    session = rows.sheet.session
    frames = dict(rows.frames)
    if replaces:
        for table in _OF_A_SESSION:
            writer.execute(f"DELETE FROM {table} WHERE session = ?", [session])
        own = "SELECT note FROM academy.note WHERE session = ? AND NOT loose"
        for table in _FROM_NOTES:
            writer.execute(f"DELETE FROM {table} WHERE note IN ({own})", [session])
        for table in ("academy.note", "academy.shot"):
            writer.execute(f"DELETE FROM {table} WHERE session = ? AND NOT loose", [session])
        taken = writer.sql("SELECT swing_no FROM academy.shot WHERE session = ?", [session]).to_series()
        frames["academy.shot"] = frames["academy.shot"].filter(~pl.col("swing_no").is_in(taken.to_list()))
    fresh = _new_notes(writer, frames["academy.note"])
    frames |= note_frames(fresh)
    for table, frame in frames.items():
        writer.append(table, frame)
    return {table: len(frame) for table, frame in frames.items()}


def _new_notes(writer: Writer, notes: pl.DataFrame) -> pl.DataFrame:
    """Notes whose content does not stand in the warehouse yet."""
    if notes.is_empty():
        return notes
    ids = notes["note"].to_list()
    known = writer.connection.execute(
        "SELECT note FROM academy.note WHERE note IN (SELECT unnest(CAST(? AS VARCHAR[])))", [ids]
    ).fetchall()
    return notes.filter(~pl.col("note").is_in([row[0] for row in known])) if known else notes


def land_notes(writer: Writer, notes: pl.DataFrame) -> dict[str, int]:
    """Put loose notes in; a note that also came in its session's folder counts as loose from now on."""
    fresh = _new_notes(writer, notes)
    writer.execute(
        "UPDATE academy.note SET loose = true WHERE NOT loose "
        "AND note IN (SELECT unnest(CAST(? AS VARCHAR[])))",
        [notes["note"].to_list()],
    )
    frames = note_frames(fresh)
    for table, frame in frames.items():
        writer.append(table, frame)
    return {table: len(frame) for table, frame in frames.items()}


def land_shots(writer: Writer, shots: pl.DataFrame) -> dict[str, int]:
    """Put loose shots in, each in place of the one its swing had."""
    writer.connection.register("_shots", shots.select("session", "swing_no").to_arrow())
    try:
        writer.execute(
            "DELETE FROM academy.shot s USING _shots n "
            "WHERE s.session = n.session AND s.swing_no = n.swing_no"
        )
    finally:
        writer.connection.unregister("_shots")
    writer.append("academy.shot", shots)
    return {"academy.shot": len(shots)}


def changed_rows(writer: Writer, table: str, frame: pl.DataFrame) -> pl.DataFrame:
    """The rows of a frame that do not stand in the table exactly so."""
    columns = ", ".join(f'"{name}"' for name in frame.columns)
    writer.connection.register("_given", frame.to_arrow())
    try:
        return writer.sql(f"SELECT {columns} FROM _given EXCEPT SELECT {columns} FROM {table} ORDER BY ALL")
    finally:
        writer.connection.unregister("_given")


def land_roster(writer: Writer, kind: RosterKind, changed: pl.DataFrame) -> int:
    """Upsert roster rows by key."""
    keys = changed.select(kind.key)
    same = " AND ".join(f't."{name}" = k."{name}"' for name in kind.key)
    writer.connection.register("_keys", keys.to_arrow())
    try:
        writer.execute(f"DELETE FROM {kind.table} t USING _keys k WHERE {same}")
    finally:
        writer.connection.unregister("_keys")
    writer.append(kind.table, changed)
    return len(changed)


def sessions_to_read_again(writer: Writer, people: pl.DataFrame) -> list[str]:
    """Sessions that were read by a hand or foot length that these people rows change, by their start."""
    writer.connection.register("_people", people.select("person", "handed", "foot_length_mm").to_arrow())
    try:
        found = writer.sql(
            "SELECT s.session FROM academy.session s JOIN academy.person p ON p.person = s.student "
            "JOIN _people n ON n.person = p.person WHERE (s.has_plate OR s.has_clip) AND "
            "(n.handed IS DISTINCT FROM p.handed OR n.foot_length_mm IS DISTINCT FROM p.foot_length_mm) "
            "ORDER BY s.started_at, s.session"
        )
    finally:
        writer.connection.unregister("_people")
    return found.to_series().to_list()


def changed_seasons(writer: Writer, seasons: pl.DataFrame) -> pl.DataFrame:
    """Session and season of the sessions whose season changes with these season rows."""
    writer.connection.register("_seasons", seasons.to_arrow())
    try:
        return writer.sql(
            'WITH after AS (SELECT * FROM _seasons UNION ALL SELECT season, "from", "to" FROM academy.season '
            "WHERE season NOT IN (SELECT season FROM _seasons)) "
            "SELECT s.session, a.season FROM academy.session s "
            'LEFT JOIN after a ON s.day BETWEEN a."from" AND a."to" '
            "WHERE a.season IS DISTINCT FROM s.season ORDER BY s.session"
        )
    finally:
        writer.connection.unregister("_seasons")


def assign_seasons(writer: Writer) -> None:
    """Give every session the season its day lies in."""
    writer.execute(
        "UPDATE academy.session AS s SET season = (SELECT a.season FROM academy.season a "
        'WHERE s.day BETWEEN a."from" AND a."to") WHERE s.season IS DISTINCT FROM '
        '(SELECT a.season FROM academy.season a WHERE s.day BETWEEN a."from" AND a."to")'
    )


def refused_sentences(writer: Writer, delivery: str) -> list[str]:
    """What a delivery was last refused for, in words."""
    found = writer.sql("SELECT sentence FROM academy.refusal WHERE delivery = ?", [delivery])
    return sorted(found.to_series())


def land_devices(writer: Writer, settings: Settings) -> int:
    """Upsert the devices of academy.toml; returns how many changed."""
    rows = [
        {
            "device": device.name,
            "kind": device.kind,
            "settings": json.dumps(dict(device.raw), sort_keys=True, default=str),
        }
        for device in settings.devices.values()
    ]
    if not rows:
        return 0
    changed = changed_rows(writer, "academy.device", pl.DataFrame(rows))
    if changed.is_empty():
        return 0
    with writer.transaction():
        writer.execute(
            "DELETE FROM academy.device WHERE device IN (SELECT unnest(CAST(? AS VARCHAR[])))",
            [changed["device"].to_list()],
        )
        writer.append("academy.device", changed)
    return len(changed)


def land_delivery(writer: Writer, entry: Mapping[str, Any], n_files: int, n_bytes: int) -> None:
    """One row of academy.delivery for a ledger entry."""
    writer.execute(
        "INSERT INTO academy.delivery BY NAME SELECT ? AS delivery, ? AS sequence, CAST(? AS TIMESTAMP) AS "
        "received_at, ? AS kind, ? AS name, ? AS session, ? AS outcome, ? AS n_files, ? AS n_bytes",
        [
            entry["content"],
            entry["sequence"],
            entry["received_at"],
            entry["kind"],
            entry["name"],
            entry["session"],
            entry["outcome"],
            n_files,
            n_bytes,
        ],
    )


def land_refusals(
    writer: Writer,
    refused: Sequence[Refusal],
    *,
    delivery: str,
    session: str | None,
    at: datetime,
    name: str,
    who: Mapping[str, str | None],
) -> None:
    """Refusals of one delivery, in place of those of it or of an earlier version of its session."""
    writer.execute("DELETE FROM academy.refusal WHERE delivery = ? OR session = ?", [delivery, session or ""])
    rows = [
        {name: getattr(r, name, None) for name in _REFUSAL_TYPES}
        | {"delivery": delivery, "at": at, "name": name, **who}
        for r in refused
    ]
    writer.append("academy.refusal", pl.DataFrame(rows, schema=_REFUSAL_TYPES))
