"""Keeping what came: accepted deliveries in filed/ with the ledger, refused ones in refused/ with why.json.

A delivery's bytes stand in filed/, flushed to disk, before its rows are committed; its ledger line follows
the commit. Between the two, a pending file says what still has to be done, so that a crash at any moment can
be mended by the next load.
"""

import json
import os
import shutil
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import asdict
from datetime import UTC, datetime
from functools import cache
from pathlib import Path
from typing import Any

from ingest.deliveries import ROSTER, SESSION, SETTINGS, SHEET, WHY, Contents, Delivery
from ingest.film.tracks import Filmed, Unread
from ingest.ledger import Ledger
from warehouse.errors import Refusal
from warehouse.filed import content_hash, kept_tracks
from warehouse.home import Home, sync, write_synced
from warehouse.vocabulary import is_film


class Changed(Exception):  # noqa: N818 - it says what happened, and is nobody's fault
    """A delivery's bytes were no longer those that were read: somebody is still writing it."""


PENDING = "pending-*.json"
UNPACKED = ".unpacked"
_GONE = ".gone-"


def now() -> datetime:
    """The present moment, UTC, naive as all times of the warehouse are."""
    return datetime.now(UTC).replace(tzinfo=None)


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
            with copy.open("wb") as file:
                file.write(contents.held[name])
                file.flush()
                os.fsync(file.fileno())
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


def mark_pending(
    home: Home,
    entry: Mapping[str, Any],
    *,
    trace: Path | None = None,
    old_trace: Path | None = None,
    again: Iterable[str] = (),
    moves: Iterable[tuple[Path, Path]] = (),
) -> Path:
    """Say, flushed to disk, what a commit that is about to happen still needs done after it.

    `trace` takes the place of `old_trace`; `again` names sessions to be read again from their filed bytes;
    `moves` are traces whose season changed.
    """

    def inside(path: Path | None) -> str | None:
        return None if path is None else path.relative_to(home.path).as_posix()

    path = home.filed / f"pending-{entry['sequence']:09d}.json"
    more = {
        "entry": dict(entry),
        "trace": inside(trace),
        "old_trace": inside(old_trace),
        "again": list(again),
        "moves": [[inside(a), inside(b)] for a, b in moves],
    }
    with path.open("w", encoding="utf-8") as file:
        json.dump(more, file, ensure_ascii=False)
        file.flush()
        os.fsync(file.fileno())
    return path


def new_trace(trace: Path, fingerprint: str) -> Path:
    """Name a trace is written under until its session is committed."""
    return trace.with_name(f"{trace.name}.{fingerprint[:16]}.new")


def place_trace(trace: Path | None, old: Path | None, fingerprint: str) -> None:
    """After a commit: the new trace stands under its own name, the earlier version's is gone."""
    if trace is not None and new_trace(trace, fingerprint).exists():
        new_trace(trace, fingerprint).replace(trace)
    if old is not None and old != trace:
        old.unlink(missing_ok=True)


def move_traces(moves: Iterable[tuple[Path, Path]]) -> None:
    """Put traces under their session's new season; those already moved are passed over."""
    for source, target in moves:
        if source.exists():
            target.parent.mkdir(parents=True, exist_ok=True)
            source.replace(target)


def finish(home: Home, pending: Path, ledger: Ledger, read_again: Callable[[str], None]) -> None:
    """After a commit: place traces, read again what must be, write the ledger line, forget the file."""
    more = json.loads(pending.read_text(encoding="utf-8"))
    entry = more["entry"]
    trace, old = (None if more[key] is None else home.path / more[key] for key in ("trace", "old_trace"))
    place_trace(trace, old, entry["content"])
    move_traces((home.path / source, home.path / target) for source, target in more["moves"])
    if entry["kind"] == ROSTER and entry["name"] == SETTINGS:
        text = (home.filed / entry["content"] / SETTINGS).read_text(encoding="utf-8-sig")
        write_synced(home.settings_file, text)
    for session in more["again"]:
        read_again(session)
    if entry["sequence"] > ledger.written:
        ledger.append(entry)
    pending.unlink()


def drop(home: Home, pending: Path) -> None:
    """A commit that never happened: forget its trace and its pending file."""
    with suppress(ValueError, KeyError, TypeError):
        more = json.loads(pending.read_text(encoding="utf-8"))
        if more["trace"] is not None:
            new_trace(home.path / more["trace"], more["entry"]["content"]).unlink(missing_ok=True)
    pending.unlink(missing_ok=True)


def in_inbox(home: Home, delivery: Delivery) -> bool:
    """Whether a delivery's originals are ours to move."""
    return any(delivery.base.is_relative_to(own) for own in _roots(home))


@cache
def _roots(home: Home) -> frozenset[Path]:
    """The folders whose deliveries are ours to move, links followed once."""
    return frozenset({home.inbox.resolve(), home.refused.resolve()})


def take_away(home: Home, delivery: Delivery) -> None:
    """Remove a delivery's originals from the inbox (or from refused/); others' folders are left alone.

    A folder leaves under a hidden name first, so that a crash can't leave half a session in the inbox.
    """
    if not in_inbox(home, delivery):
        return
    roots = _roots(home)
    whole = delivery.kind == SESSION and delivery.path not in roots and (delivery.path / SHEET).is_file()
    if whole and set(_all_files(delivery.path)) <= {*delivery.files, WHY}:
        gone = delivery.path.with_name(f"{_GONE}{delivery.path.name}")
        shutil.rmtree(gone, ignore_errors=True)
        delivery.path.replace(gone)
        shutil.rmtree(gone, ignore_errors=True)
    else:
        for name in delivery.files:
            (delivery.base / name).unlink(missing_ok=True)
        if delivery.waiting:
            (delivery.base / WHY).unlink(missing_ok=True)
    _prune(delivery.base if not whole else delivery.path.parent, roots)


def remove(folder: Path) -> None:
    """Remove a folder of refused/."""
    shutil.rmtree(folder, ignore_errors=True)


def _all_files(folder: Path) -> Iterator[str]:
    for here, _, names in os.walk(folder):
        yield from ((Path(here) / name).relative_to(folder).as_posix() for name in names)


def _prune(folder: Path, roots: frozenset[Path]) -> None:
    """Remove folders that a delivery left empty, up to the inbox itself."""
    while folder not in roots and any(folder.is_relative_to(root) for root in roots):
        try:
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
    for left in home.inbox.rglob(_GONE + "*"):
        shutil.rmtree(left, ignore_errors=True)


def refused_name(delivery: Delivery, contents: Contents) -> str:
    """Folder name in refused/: the delivery's own name and the start of its hash."""
    stem = delivery.name if not delivery.waiting else delivery.base.name.rsplit("-", 1)[0]
    return f"{stem}-{contents.fingerprint[:8]}"


def keep_refused(
    home: Home, delivery: Delivery, contents: Contents, refused: Iterable[Refusal], at: datetime
) -> Path:
    """Copy a refused delivery to refused/<name>-<hash8>/ with a why.json beside it."""
    target = home.refused / refused_name(delivery, contents)
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
        "refused": listed,
    }
    write_synced(part / WHY, json.dumps(why, indent=2, ensure_ascii=False) + "\n")
    shutil.rmtree(target, ignore_errors=True)
    part.replace(target)
    sync(home.refused)
    return target


def supersede(why: Path, told: dict[str, Any], content: str, *, keeps_films: bool = True) -> None:
    """Mark a refused delivery as replaced by an accepted one; where films are not kept, its own go too.

    Their names stand in why.json before they are gone: whoever tries it again is told what is lacking.
    """
    films = [] if keeps_films else sorted(n for n in _all_files(why.parent) if is_film(n))
    told["superseded_by"] = content
    if films:
        told["films_not_kept"] = sorted({*films, *told.get("films_not_kept", [])})
    write_synced(why, json.dumps(told, indent=2, ensure_ascii=False) + "\n")
    for name in films:
        (why.parent / name).unlink(missing_ok=True)
