"""What all steps of one load share: the academy and its sessions as known so far, the ledger, the report."""

from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from ingest.academy import read_academy
from ingest.ledger import Ledger
from ingest.rights import Right, right_of
from ingest.rows import SessionRows
from warehouse.deliverer import Deliverer
from warehouse.errors import Refusal
from warehouse.home import Home
from warehouse.settings import Settings
from warehouse.store import Writer
from warehouse.traces import trace_path


@dataclass
class LoadReport:
    """Outcome of one load: what was accepted, unchanged, landed, refused, and what was fixed on the way."""

    accepted: list[str] = field(default_factory=list)
    unchanged: list[str] = field(default_factory=list)
    rows: Counter[str] = field(default_factory=Counter)
    refused: list[Refusal] = field(default_factory=list)
    notices: list[str] = field(default_factory=list)  # what loaded but was fixed while reading
    touched: set[str] = field(default_factory=set)
    files: dict[str, str] = field(default_factory=dict)  # roster and loose files: accepted or unchanged

    def count(self, counts: Mapping[str, int]) -> None:
        """Add landed rows by table."""
        self.rows += Counter({table.removeprefix("academy."): n for table, n in counts.items()})

    def to_json(self) -> dict[str, Any]:
        """The object that `underfoot load --json` prints."""
        return {
            "accepted": list(self.accepted),
            "unchanged": list(self.unchanged),
            "rows": dict(self.rows),
            "refused": [r.facts() for r in self.refused],
            "notices": list(self.notices),
        }

    def counts(self) -> dict[str, int]:
        """How many of each, for the event log."""
        return {
            "accepted": len(self.accepted) + list(self.files.values()).count("accepted"),
            "unchanged": len(self.unchanged) + list(self.files.values()).count("unchanged"),
            "refused": len(self.refused),
            "rows": sum(self.rows.values()),
        }

    def refusals(self) -> list[dict[str, Any]]:
        """Refusals by delivery, session and reason, for the event log."""
        found = Counter((r.delivery, r.session, r.file, r.reason) for r in self.refused)
        return [
            {"delivery": delivery, "session": session, "file": file, "reason": reason, "n": n}
            for (delivery, session, file, reason), n in found.items()
        ]


@dataclass(frozen=True)
class SessionVersion:
    """The version of a session that is in the warehouse."""

    student: str
    delivery: str
    season: str | None
    has_plate: bool


class Job:
    """One load or replay. `replayed` is the ledger's entry at hand in a replay, None in a load.

    `progress` is called with how far a film has been followed.
    """

    def __init__(self, home: Home, writer: Writer, *, replaying: bool = False) -> None:
        self.home, self.writer, self.replaying = home, writer, replaying
        self.report = LoadReport()
        self.academy = read_academy(writer, Settings("", "UTC"))
        rows = writer.sql("SELECT session, student, delivery, season, has_plate FROM academy.session")
        self.sessions = {row[0]: SessionVersion(*row[1:]) for row in rows.iter_rows()}
        self.ledger = Ledger(home, writer)
        self.replayed: Mapping[str, Any] | None = None
        self.ruled_out: dict[str, list[dict[str, Any]]] = {}  # content → notes stopped for the body's sake
        self.progress: Callable[[str], None] | None = None
        self._rights: dict[Deliverer, Right] = {}
        self._rights_in = self.academy

    def right_of(self, by: Deliverer | None) -> Right | None:
        """What a deliverer may deliver, by the roster in force; None where nobody delivered by the pages."""
        if by is None:
            return None
        if self._rights_in is not self.academy:
            self._rights_in, self._rights = self.academy, {}
        if by not in self._rights:
            self._rights[by] = right_of(self.writer, self.academy.settings, by)
        return self._rights[by]

    def student_of(self, session: str) -> str | None:
        """The student of a session in the warehouse."""
        version = self.sessions.get(session)
        return None if version is None else version.student

    def trace_paths(self, rows: SessionRows) -> tuple[Path | None, Path | None]:
        """Where a session's new trace goes, and where that of its earlier version is."""
        session, old = rows.header.session, self.sessions.get(rows.header.session)
        return (
            trace_path(self.home, rows.season, session) if rows.trace is not None else None,
            trace_path(self.home, old.season, session) if old is not None and old.has_plate else None,
        )

    def remember(self, rows: SessionRows, content: str) -> None:
        """A session's new version is in the warehouse; its student was touched, and an earlier one's too."""
        header = rows.header
        self.report.touched |= {header.student, self.student_of(header.session) or header.student}
        has_plate = rows.trace is not None
        self.sessions[header.session] = SessionVersion(header.student, content, rows.season, has_plate)
