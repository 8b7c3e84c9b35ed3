"""Rows into the warehouse: sessions, roster files, loose files, each inside its caller's transaction."""

import json
from collections.abc import Collection, Mapping, Sequence
from datetime import datetime
from typing import Any

import polars as pl

from ingest.formats.format import RosterFormat
from ingest.rows import SessionRows, note_frames, typed
from warehouse.contracts.base import require
from warehouse.contracts.rows import contract_of
from warehouse.errors import Refusal
from warehouse.settings import Settings
from warehouse.store import Writer
from warehouse.tables import columns

_OF_A_SESSION = (
    "academy.session",
    "academy.swing",
    "academy.swing_event",
    "academy.swing_metric",
    "academy.swing_fault",
    "academy.clip_point",
    "academy.heel_seen",
    "academy.outline_rise",
    "academy.hold",
)
_FROM_NOTES = ("academy.drill_dose", "academy.steadiness")


def land_sessions(
    writer: Writer, sessions: Sequence[SessionRows], replaced: Collection[str]
) -> dict[str, int]:
    """Put sessions' rows in, those in `replaced` in place of an earlier version; returns rows by table.

    Loose notes and shots survive: a shot that came on its own keeps its swing.
    """
    rows: dict[str, list[dict[str, Any]]] = {}
    for session in sessions:
        for table, more in session.rows.items():
            rows.setdefault(table, []).extend(more)
    for name in replaced:
        taken = _clear_session(writer, name)
        rows["academy.shot"] = [
            r for r in rows["academy.shot"] if r["session"] != name or r["swing_no"] not in taken
        ]
    frames = {table: typed(table, more) for table, more in rows.items()}
    points = [s.points.with_columns(session=pl.lit(s.header.session)) for s in sessions]
    if points:
        frames["academy.clip_point"] = pl.concat(points)
    frames |= note_frames(_new_notes(writer, frames["academy.note"]))
    return _append(writer, frames)


def _append(writer: Writer, frames: Mapping[str, pl.DataFrame]) -> dict[str, int]:
    for table, frame in frames.items():
        writer.append(table, require(contract_of(table), frame))
    return {table: len(frame) for table, frame in frames.items()}


def _clear_session(writer: Writer, session: str) -> set[int]:
    """Delete what a session's folder brought; returns the swings whose shots came on their own."""
    for table in _OF_A_SESSION:
        writer.execute(f"DELETE FROM {table} WHERE session = ?", [session])
    own = "SELECT note FROM academy.note WHERE session = ? AND NOT loose"
    for table in _FROM_NOTES:
        writer.execute(f"DELETE FROM {table} WHERE note IN ({own})", [session])
    for table in ("academy.note", "academy.shot"):
        writer.execute(f"DELETE FROM {table} WHERE session = ? AND NOT loose", [session])
    return set(writer.sql("SELECT swing_no FROM academy.shot WHERE session = ?", [session]).to_series())


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
    return _append(writer, note_frames(fresh))


def land_shots(writer: Writer, shots: pl.DataFrame) -> dict[str, int]:
    """Put loose shots in, each in place of the one its swing had."""
    with writer.given(shots.select("session", "swing_no")):
        writer.execute(
            "DELETE FROM academy.shot s USING _given n "
            "WHERE s.session = n.session AND s.swing_no = n.swing_no"
        )
    return _append(writer, {"academy.shot": shots})


def changed_rows(writer: Writer, table: str, frame: pl.DataFrame) -> pl.DataFrame:
    """The rows of a frame that do not stand in the table exactly so."""
    columns = ", ".join(f'"{name}"' for name in frame.columns)
    with writer.given(frame):
        return writer.sql(f"SELECT {columns} FROM _given EXCEPT SELECT {columns} FROM {table} ORDER BY ALL")


def land_roster(writer: Writer, kind: RosterFormat, changed: pl.DataFrame) -> int:
    """Upsert roster rows by key."""
    same = " AND ".join(f't."{name}" = k."{name}"' for name in kind.key)
    with writer.given(changed.select(kind.key)):
        writer.execute(f"DELETE FROM {kind.table} t USING _given k WHERE {same}")
    writer.append(kind.table, changed)
    return len(changed)


def sessions_to_read_again(writer: Writer, people: pl.DataFrame) -> list[str]:
    """Sessions that were read by a hand or foot length that these people rows change, by their start."""
    with writer.given(people.select("person", "handed", "foot_length_mm")):
        found = writer.sql(
            "SELECT s.session FROM academy.session s JOIN academy.person p ON p.person = s.student "
            "JOIN _given n ON n.person = p.person WHERE (s.has_plate OR s.has_clip) AND "
            "(n.handed IS DISTINCT FROM p.handed OR n.foot_length_mm IS DISTINCT FROM p.foot_length_mm) "
            "ORDER BY s.started_at, s.session"
        )
    return found.to_series().to_list()


def changed_seasons(writer: Writer, seasons: pl.DataFrame) -> pl.DataFrame:
    """Session and season of the sessions whose season changes with these season rows."""
    with writer.given(seasons):
        return writer.sql(
            'WITH after AS (SELECT * FROM _given UNION ALL SELECT season, "from", "to" FROM academy.season '
            "WHERE season NOT IN (SELECT season FROM _given)) "
            "SELECT s.session, a.season FROM academy.session s "
            'LEFT JOIN after a ON s.day BETWEEN a."from" AND a."to" '
            "WHERE a.season IS DISTINCT FROM s.season ORDER BY s.session"
        )


def assign_seasons(writer: Writer) -> None:
    """Give every session the season its day lies in."""
    writer.execute(
        "UPDATE academy.session AS s SET season = (SELECT a.season FROM academy.season a "
        'WHERE s.day BETWEEN a."from" AND a."to") WHERE s.season IS DISTINCT FROM '
        '(SELECT a.season FROM academy.season a WHERE s.day BETWEEN a."from" AND a."to")'
    )


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


def land_deliveries(writer: Writer, entries: Sequence[Mapping[str, Any]]) -> None:
    """Rows of academy.delivery for ledger entries, each with its `n_files` and `n_bytes`."""
    rows = [
        {
            name: entry[name]
            for name in ("sequence", "kind", "name", "session", "outcome", "n_files", "n_bytes")
        }
        | {
            "delivery": entry["content"],
            "received_at": datetime.fromisoformat(entry["received_at"]),
            "delivered_by": entry.get("by"),
        }
        for entry in entries
    ]
    writer.append("academy.delivery", pl.DataFrame(rows, schema=columns("academy.delivery")))


def land_refusals(
    writer: Writer,
    refused: Sequence[Refusal],
    entry: Mapping[str, Any],
    session: str | None,
    who: Mapping[str, str | None],
) -> None:
    """Refusals of an entry's delivery, in place of those of it or of an earlier version of its session."""
    delivery, types = entry["content"], columns("academy.refusal")
    writer.execute("DELETE FROM academy.refusal WHERE delivery = ? OR session = ?", [delivery, session or ""])
    at = datetime.fromisoformat(entry["received_at"])
    own = {"delivery": delivery, "at": at, "name": entry["name"], **who}
    rows = [{name: getattr(r, name, None) for name in types} | own for r in refused]
    writer.append("academy.refusal", pl.DataFrame(rows, schema=types))
