"""Keep a dropped delivery: whole and flushed to disk in the inbox before anyone is told that it is kept."""

import os
import secrets
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path, PurePosixPath

from warehouse.errors import CallError
from warehouse.home import Home, sync


def keep(home: Home, files: Sequence[tuple[str, bytes]]) -> Path:
    """Write files (name or relative path, content) as one delivery into the inbox; returns its folder.

    The folder is filled outside the inbox and moved in whole, so a loader at work never sees half a delivery.

    Raises
        CallError: no file, a name that is no file name, or the same name twice.
    """
    if not files:
        raise CallError("There is no file to keep; choose the files of one delivery first.")
    named = {safe_name(name): data for name, data in files}
    if len(named) != len(files):
        raise CallError("Two of these files have the same name; drop them one after the other.")
    home.make_folders()
    stamp = f"{datetime.now(UTC):%Y%m%dT%H%M%SZ}-{secrets.token_hex(3)}"
    arriving, kept = home.path / f".arriving-{stamp}", home.inbox / f"dropped-{stamp}"
    folders = {arriving}
    for name, data in named.items():
        target = arriving / name
        target.parent.mkdir(parents=True, exist_ok=True)
        folders.update(p for p in target.parents if p.is_relative_to(arriving))
        with target.open("wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
    for folder in folders:
        sync(folder)
    arriving.rename(kept)
    sync(home.inbox)
    return kept


def safe_name(name: str) -> PurePosixPath:
    """A relative path that stays inside its folder, from what a browser calls a file.

    Raises
        CallError: it climbs out, is hidden, or is empty.
    """
    parts = [part.strip() for part in name.replace("\\", "/").split("/")]
    if not all(parts) or any(part.startswith(".") or ":" in part or "\0" in part for part in parts):
        raise CallError(f"“{name}” is not a file name a delivery may have; rename it and drop it again.")
    return PurePosixPath(*parts)
