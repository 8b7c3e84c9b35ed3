"""The access log, access.jsonl: who opened what, and what was refused to whom; one JSON object a line."""

import json
from collections.abc import Mapping
from datetime import UTC, datetime

from warehouse.home import Home


def write(home: Home, line: Mapping[str, object]) -> None:
    """Add a line, with the time before it."""
    dated = {"at": datetime.now(UTC).isoformat(timespec="seconds"), **line}
    with home.access_log.open("a", encoding="utf-8") as file:
        file.write(json.dumps(dated, ensure_ascii=False) + "\n")


def refused(home: Home, page: str, why: str, *, role: str | None = None) -> None:
    """Log that somebody nobody knows was refused; `why` as they read it."""
    line = {"viewer": None, "role": role, "page": page, "student": None, "outcome": "refused"}
    write(home, line | {"why": why})
