"""Refused deliveries that nobody wants any more: what is kept of them goes, and so does what lists them.

The ledger says what was dropped, so that a rebuild does not list it again.
"""

import shutil
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from ingest.filing import RefusedFolder
from ingest.ledger import DROPPED, Ledger, entries, now
from warehouse import filed
from warehouse.errors import CallError
from warehouse.home import Home
from warehouse.store import Writer


def drop(home: Home, writer: Writer, names: Sequence[str]) -> list[str]:
    """Drop refused deliveries by the name, session or folder that `underfoot refused` lists; returns folders.

    Raises
        CallError: nothing, or more than one delivery, is kept in refused/ under a name.
    """
    reasons = RefusedFolder(home).reasons()
    return [_drop(home, writer, *_named(reasons, name)) for name in names]


def drop_asked(home: Home, writer: Writer) -> list[str]:
    """Drop the refused deliveries that somebody asked for on the pages; returns their folders."""
    asked = [found for found in RefusedFolder(home).reasons() if filed.is_drop_asked(found[0].parent)]
    return [_drop(home, writer, path, why) for path, why in asked]


def _named(reasons: Sequence[tuple[Path, dict[str, Any]]], name: str) -> tuple[Path, dict[str, Any]]:
    found = [(path, why) for path, why in reasons if path.parent.name == name]
    found = found or [(path, why) for path, why in reasons if name in (why.get("name"), why.get("session"))]
    if not found:
        raise CallError(
            f"Nothing is kept in refused/ as {name}; underfoot refused lists what is. Refused swings of a "
            "session that is in go with its corrected delivery."
        )
    if len(found) > 1:
        folders = ", ".join(path.parent.name for path, _ in found)
        raise CallError(f"{name} was refused {len(found)} times; name one of {folders}.")
    return found[0]


def _drop(home: Home, writer: Writer, path: Path, why: dict[str, Any]) -> str:
    """Rows first, then the ledger's line, then the files: after a crash it can be dropped again."""
    content = str(why.get("delivery") or "")
    ledger = Ledger(home, writer)
    forget_refusals(writer, content)
    ledger.append(
        {
            "sequence": ledger.next(),
            "received_at": now().isoformat(),
            "content": content,
            "kind": why.get("kind"),
            "outcome": DROPPED,
            "settings": home.settings().version,
            "name": why.get("name"),
            "by": filed.drop_asked_by(path.parent),
            "session": why.get("session"),
            "who": next((e["who"] for e in entries(home) if e["content"] == content and "who" in e), {}),
        }
    )
    shutil.rmtree(path.parent, ignore_errors=True)
    return path.parent.name


def forget_refusals(writer: Writer, content: str) -> None:
    """Take a refused delivery off the list of refusals."""
    writer.execute("DELETE FROM academy.refusal WHERE delivery = ?", [content])
