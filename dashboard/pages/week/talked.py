"""Tick a signal off: a `talked` line in the inbox, flushed to disk before anyone is told that it is kept."""

import json
from datetime import UTC, datetime
from pathlib import Path

from dashboard import inbox
from warehouse.access import Viewer
from warehouse.home import Home


def keep(home: Home, viewer: Viewer, student: str, signal: str, at: datetime | None = None) -> Path:
    """Write who talked about which signal, and when, as one delivery of notes; returns its folder."""
    line = {
        "student": student,
        "at": (at or datetime.now(UTC)).isoformat(timespec="seconds"),
        "author": viewer.person,
        "kind": "talked",
        "code": signal,
        "shared": False,
    }
    return inbox.keep(home, [("notes.jsonl", json.dumps(line, ensure_ascii=False).encode() + b"\n")])
