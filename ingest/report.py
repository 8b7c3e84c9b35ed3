"""What a load did, for people and for scripts."""

from collections import Counter
from dataclasses import dataclass, field
from typing import Any

from warehouse.errors import Refusal

_KEYS = ("delivery", "session", "swing_no", "file", "line", "column", "reason", "sentence")


@dataclass
class LoadReport:
    """Outcome of one load: what was taken in, unchanged, landed, refused, and what was mended on the way."""

    accepted: list[str] = field(default_factory=list)
    unchanged: list[str] = field(default_factory=list)
    rows: dict[str, int] = field(default_factory=dict)
    refused: list[Refusal] = field(default_factory=list)
    notices: list[str] = field(default_factory=list)  # what loaded but was mended while reading
    touched: set[str] = field(default_factory=set)
    files: dict[str, str] = field(default_factory=dict)  # roster and loose files: accepted or unchanged

    def count(self, table: str, n: int) -> None:
        """Add landed rows of a table (named without its schema)."""
        if n:
            name = table.removeprefix("academy.")
            self.rows[name] = self.rows.get(name, 0) + n

    def to_json(self) -> dict[str, Any]:
        """The object that `underfoot load --json` prints."""
        return {
            "accepted": list(self.accepted),
            "unchanged": list(self.unchanged),
            "rows": dict(self.rows),
            "refused": [{key: getattr(r, key) for key in _KEYS} for r in self.refused],
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
