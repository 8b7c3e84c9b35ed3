"""Keeping what came: accepted deliveries in filed/ with the ledger, refused ones in refused/ with why.json.

A delivery's bytes are in filed/, flushed to disk, before its rows are committed, and its originals leave the
inbox last. So a crash at any moment loses nothing.
"""

import json
import shutil
import time
from collections.abc import Iterable, Sequence
from contextlib import suppress
from dataclasses import asdict
from datetime import datetime
from functools import cache
from pathlib import Path
from typing import Any

from ingest.delivery import ROSTER, SESSION, SHEET, Contents, Delivery, original_name
from ingest.film.tracks import Filmed, Unread
from warehouse.deliverer import ARRIVING, MARK
from warehouse.errors import Refusal
from warehouse.filed import WHY, content_hash, facts_of, kept_tracks, remove_refused_films, why_refused
from warehouse.home import Home, sync, walk, write_synced

UNPACKED = ".unpacked"
_GONE = ".gone-"
STALE_S = 3600.0  # nobody saves for so long


class Changed(Exception):  # noqa: N818 - it says what happened, and is nobody's fault
    """A delivery's bytes were no longer those that were read: somebody is still writing it."""


def keep(
    home: Home,
    delivery: Delivery,
    contents: Contents,
    filmed: Sequence[Filmed] = (),
    unread: Sequence[Unread] = (),
) -> None:
    """Copy a delivery to filed/<hash>/, what is kept of films beside it, whole or not at all.

    Raises
        Changed: the bytes are no longer those that were read.
    """
    target = home.filed / contents.fingerprint
    if target.is_dir():
        return
    part = home.filed / f".{contents.fingerprint}.part"
    _copy(delivery, contents, part)
    if filmed or unread:
        from ingest.film.kept import keep_films  # noqa: PLC0415 - a slow import, used here only

        keep_films(part, filmed, unread)
    part.replace(target)
    sync(home.filed)


def keep_more(folder: Path, filmed: Sequence[Filmed], unread: Sequence[Unread]) -> None:
    """Keep what is kept of films that stand in filed/ whole, as they could not be followed until now."""
    new = [film for film in filmed if not kept_tracks(folder, film.swing_no).is_file()]
    if new or unread:
        from ingest.film.kept import keep_films  # noqa: PLC0415 - a slow import, used here only

        keep_films(folder, new, unread)


def _copy(delivery: Delivery, contents: Contents, target: Path) -> None:
    """Write a delivery's files under a fresh folder, each flushed."""
    shutil.rmtree(target, ignore_errors=True)
    target.mkdir(parents=True)
    folders = {target}
    for name in delivery.files:
        copy = target / name
        if copy.parent != target:
            copy.parent.mkdir(parents=True, exist_ok=True)
            folders.add(copy.parent)
        if name in contents.held:
            copy.write_bytes(contents.held[name])
        else:
            try:
                shutil.copyfile(delivery.base / name, copy)
            except FileNotFoundError as error:
                raise Changed(delivery.name) from error
        sync(copy)
    for folder in folders:
        sync(folder)
    if len(contents.held) < len(delivery.files) and content_hash(target) != contents.fingerprint:
        shutil.rmtree(target, ignore_errors=True)
        raise Changed(delivery.name)


@cache
def _roots(home: Home) -> frozenset[Path]:
    """The folders whose deliveries are ours to move, links followed once."""
    return frozenset({home.inbox.resolve(), home.refused.resolve()})


def take_away(home: Home, delivery: Delivery) -> None:
    """Remove a delivery's originals from the inbox (or from refused/); others' folders are left alone.

    A folder leaves under a hidden name first, so that a crash can't leave half a session in the inbox.
    """
    roots, folder = _roots(home), delivery.path
    if not any(delivery.base.is_relative_to(own) for own in roots):
        return
    whole = delivery.kind == SESSION and folder not in roots and (folder / SHEET).is_file()
    there = (path.relative_to(folder).as_posix() for path in folder.rglob("*") if not path.is_dir())
    if whole and {*there} <= {*delivery.files, WHY}:
        gone = folder.with_name(f"{_GONE}{folder.name}")
        shutil.rmtree(gone, ignore_errors=True)
        folder.replace(gone)
        shutil.rmtree(gone, ignore_errors=True)
    else:
        for name in delivery.files:
            (delivery.base / name).unlink(missing_ok=True)
        if delivery.waiting:
            (delivery.base / WHY).unlink(missing_ok=True)
    _prune(delivery.base if not whole else folder.parent, roots)


def _prune(folder: Path, roots: frozenset[Path]) -> None:
    """Remove folders that a delivery left empty, up to the inbox itself."""
    while folder not in roots and any(folder.is_relative_to(root) for root in roots):
        try:
            if [path.name for path in folder.iterdir()] == [MARK]:
                (folder / MARK).unlink()
            folder.rmdir()
        except OSError:
            return
        folder = folder.parent


def sweep(home: Home) -> None:
    """Remove what a crash left behind: half-copied folders and folders on their way out."""
    places = [(home.filed, ".*.part"), (home.refused, ".*.part"), (home.refused, _GONE + "*")]
    for root, pattern in [*places, (home.path, UNPACKED)]:
        for left in root.glob(pattern):
            shutil.rmtree(left, ignore_errors=True)
    for left in home.path.glob(ARRIVING.format("*")):  # of a page that was ended while it saved
        with suppress(OSError):
            if time.time() - left.stat().st_mtime > STALE_S:
                shutil.rmtree(left, ignore_errors=True)
    for here, subfolders, _ in walk(home.inbox):
        for name in subfolders:
            if name.startswith(_GONE):
                shutil.rmtree(here / name, ignore_errors=True)


def keep_refused(
    home: Home, delivery: Delivery, contents: Contents, refused: Iterable[Refusal], at: datetime
) -> Path:
    """Copy a refused delivery to refused/<name>-<hash8>/ with a why.json beside it."""
    target = home.refused / f"{original_name(delivery)}-{contents.fingerprint[:8]}"
    part = home.refused / f".{target.name}.part"
    _copy(delivery, contents, part)
    listed = [asdict(r) for r in refused]
    why = {
        "delivery": contents.fingerprint,
        "name": delivery.name,
        "kind": delivery.kind,
        "session": delivery.session,
        "at": at.isoformat(timespec="seconds"),
        "reason": listed[0]["reason"],
        "by": delivery.by.written() if delivery.by else None,
        "refused": listed,
    }
    write_synced(part / WHY, json.dumps(why, indent=2, ensure_ascii=False) + "\n")
    shutil.rmtree(target, ignore_errors=True)
    part.replace(target)
    sync(home.refused)
    return target


def supersede(file: Path, why: dict[str, Any], content: str, *, keeps_films: bool = True) -> None:
    """Mark a refused delivery as replaced by an accepted one; where films are not kept, its own go too."""
    why["superseded_by"] = content
    write_synced(file, json.dumps(why, indent=2, ensure_ascii=False) + "\n")
    if not keeps_films:
        remove_refused_films(file, why)


class RefusedFolder:
    """The why.json files of refused/, each read once: whatever else changes one of them says so here."""

    def __init__(self, home: Home) -> None:
        self.folder, self.filed = home.refused.resolve(), home.filed
        self._known: dict[str, tuple[Path, dict[str, Any]]] = {}  # folder → its why.json

    def changed(self, folder: Path) -> None:
        """A delivery was refused into this folder: its why.json is read when next asked for."""
        self._known.pop(folder.name, None)

    def reasons(self) -> list[tuple[Path, dict[str, Any]]]:
        """Every why.json that can be read, with its path."""
        names: list[str] = []
        with suppress(FileNotFoundError):
            names = sorted(path.name for path in self.folder.iterdir())
        self._known = {
            name: self._known.get(name) or (self.folder / name / WHY, why_refused(self.folder / name))
            for name in names
        }
        return [known for known in self._known.values() if known[1]]

    def settle(self, delivery: Delivery, content: str, *, keeps_films: bool) -> None:
        """Remove refused copies of what was now accepted; mark earlier refused versions as replaced.

        Films of those go where the student's films are not kept, as they would have gone from filed/.
        """
        for path, why in self.reasons():
            if why.get("delivery") == content and path.parent != delivery.base:
                shutil.rmtree(path.parent, ignore_errors=True)
        self.supersede(delivery, content, keeps_films=keeps_films)

    def supersede(self, delivery: Delivery, content: str, *, keeps_films: bool = True) -> None:
        """Mark refused versions of a session or a roster file as replaced, so that no retry takes them.

        Of a roster file that is refused only the latest is tried again: an older one must not replace it.
        Loose notes and shots are not versions of one another, though many have the same name.
        """
        for path, why in self.reasons():
            if delivery.kind == ROSTER:
                same = why.get("kind") == ROSTER and why.get("name") == delivery.name
            else:
                same = delivery.session is not None and why.get("session") == delivery.session
            known = keeps_films and "superseded_by" in why  # and nothing more to do
            if not same or known or path.parent == delivery.base or why.get("delivery") == content:
                continue
            if why.get("reason") == "whose" and _holds(self.filed / content, path.parent):
                shutil.rmtree(path.parent, ignore_errors=True)  # it is filed under whose it is
            else:
                supersede(path, why, content, keeps_films=keeps_films)


def _holds(filed: Path, refused: Path) -> bool:
    """Whether every file that was kept in a folder of refused/ is in one of filed/ too, whatever its name."""
    there = {facts_of(path) for path in filed.rglob("*") if path.is_file()}
    return all(facts_of(path) in there for path in refused.iterdir() if path.name != WHY)
