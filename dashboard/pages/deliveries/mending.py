"""Mend what was refused: a corrected file joins the kept ones of its delivery, which is delivered again."""

import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from dashboard import inbox
from dashboard.text.numbers import listed
from warehouse import filed
from warehouse.access import Viewer
from warehouse.errors import CallError
from warehouse.home import Home

WHY, GONE = "why.json", "films_not_kept"
MOST_BYTES = 1 << 30  # beyond this, mend the folder itself: a browser is the wrong way


def kept_files(home: Home, delivery: str) -> dict[str, Path]:
    """Files of a delivery, by their relative names, as they were kept when it was refused whole or in part.

    `delivery` is its content hash. Empty when nothing is kept under it. What was made of its films, and films
    that are not kept, are left out.
    """
    for folder in (home.filed / delivery, *home.refused.glob(f"*-{delivery[:8]}")):
        if folder.parent == home.refused and _told(folder).get("delivery") != delivery:
            continue
        if folder.is_dir():
            return {
                path.relative_to(folder).as_posix(): path
                for path in sorted(folder.rglob("*"))
                if path.is_file() and path.name != WHY and not path.is_relative_to(folder / filed.FILM_FOLDER)
            }
    return {}


def _told(folder: Path) -> dict[str, Any]:
    """What a refused folder's why.json says; nothing where it can't be read."""
    try:
        found = json.loads((folder / WHY).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return found if isinstance(found, dict) else {}


def _films_not_kept(home: Home, delivery: str) -> set[str]:
    """Films that came with a delivery and are gone from what is kept of it."""
    waiting = map(_told, home.refused.glob(f"*-{delivery[:8]}"))
    named = {name for told in waiting if told.get("delivery") == delivery for name in told.get(GONE, [])}
    return named | filed.films_not_kept(home.filed / delivery).keys()


def deliver_again(
    home: Home,
    delivery: str,
    name: str,
    corrected: Sequence[tuple[str, bytes]] = (),
    by: Viewer | None = None,
) -> Path:
    """Put a delivery into the inbox again, files of the same name replaced by the corrected ones.

    Without corrected files it is tried as it is, for when a person, a device or a consent has come since.

    Raises
        CallError: nothing is kept of it, a corrected file's name is none of its own, a film of it that is not
            kept does not come with them, it is too large, or it is not `by`'s to deliver (see `inbox.keep`).
        OSError: the disk did not take it.
    """
    kept = kept_files(home, delivery)
    if not kept:
        raise CallError(f"Nothing is kept of {name} any more; deliver its files anew.")
    new = {str(inbox.safe_name(given)): data for given, data in corrected}
    strange = sorted(set(new) - set(kept))
    if strange and "session.toml" not in kept and "session.toml" not in new and len(kept) == 1:
        raise CallError(
            f"{strange[0]} is not a file of {name}, which holds {next(iter(kept))}; "
            "name it so, and drop it again."
        )
    lacking = sorted(_films_not_kept(home, delivery) - new.keys())
    if lacking:
        raise CallError(
            f"{listed(lacking)} of {name} {'is' if len(lacking) == 1 else 'are'} not kept here, as films of "
            "players under age are not; drop them with the corrected files, as they were delivered."
        )
    if sum(path.stat().st_size for path in kept.values()) > MOST_BYTES:
        raise CallError(f"{name} is too large to mend here; mend its folder and put that into the inbox.")
    files = {given: path.read_bytes() for given, path in kept.items() if given not in new} | new
    single = len(files) == 1 and "session.toml" not in files
    put = [(given if single else f"{name}/{given}", data) for given, data in files.items()]
    return inbox.keep(home, put, by)
