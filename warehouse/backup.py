"""A whole home as one file, and back: a sealed zip with the SHA-256 of every file in it, checked both ways.

It is sealed with a passphrase or a key file (see `sealed`), since it holds everything, the home's keys too.
Backups from before they were sealed are plain zips, and can still be restored.

Published snapshots are left out: restoring publishes one anew.
"""

import hashlib
import io
import json
import os
import shutil
import zipfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path, PurePosixPath
from typing import IO, Any

from warehouse import forgotten, health, journal, retention
from warehouse.errors import CallError, UnderfootError
from warehouse.home import HOLDER, LOCK, SIGN_INS, Home, sync
from warehouse.publishing import settle_rebuild
from warehouse.sealed import SealedReader, SealedWriter, is_sealed
from warehouse.store import opened, writer

MANIFEST, FORMAT = "underfoot-backup.json", 1
# Sign-ins stay behind: one that ended after the backup must not be open again.
_LEFT_OUT = {LOCK, HOLDER, "published", "traces.new", ".unpacked", MANIFEST, SIGN_INS, f"{SIGN_INS}-journal"}
_CHUNK = 1 << 20


@dataclass(frozen=True)
class Backup:
    """What a backup holds: how many files and bytes, and which filed deliveries were damaged before it."""

    files: int
    n_bytes: int
    problems: list[str] = field(default_factory=list)


def back_up(home: Home, target: Path, secret: bytes, *, on_wait: Callable[[], None] | None = None) -> Backup:
    """Write the home to `target` (a new file) under a secret, then read it back and compare every hash.

    Raises
        CallError: no academy, the file exists already, or it would lie inside the home.
        UnderfootError: it could not be written, or what was written reads back differently.
    """
    home.settings()
    if forgotten.asked(home):
        raise CallError("A student is being forgotten and would be in the backup; first run: underfoot load")
    if target.exists():
        raise CallError(f"{target} exists already; name a new file for the backup.")
    if target.resolve().is_relative_to(home.path):
        raise CallError(f"{target} lies inside the home that it is to keep; name a file elsewhere.")
    part = target.with_name(target.name + ".part")
    with journal.recorded(home, "backup") as facts:
        try:
            with home.lock(on_wait):
                settle_rebuild(home)
                problems = health.filed_problems(home)
                forgotten.make_key(home)
                _write(home, part, secret)
            manifest = _verified(part, secret)
            part.replace(target)
            sync(target.resolve().parent)
            forgotten.backed_up(home, target, manifest["at"])
        except OSError as error:
            said = error.strerror or type(error).__name__
            raise UnderfootError(
                f"{target} could not be written ({said}); name a place with room and run it again."
            ) from error
        finally:
            with suppress(OSError):
                part.unlink(missing_ok=True)
        found = Backup(len(manifest["files"]), sum(f["size"] for f in manifest["files"].values()), problems)
        facts.update(file=str(target), files=found.files, n_bytes=found.n_bytes)
    return found


def _files(home: Home) -> Iterator[Path]:
    """Every file of a home that is kept, those in linked folders too; a folder is gone into once."""
    seen: set[Path] = set()
    for folder, subfolders, names in os.walk(home.path, followlinks=True):
        here = Path(folder)
        seen.add(here.resolve())
        subfolders[:] = sorted(name for name in subfolders if (here / name).resolve() not in seen)
        for path in (here / name for name in sorted(names)):
            inside = path.relative_to(home.path).parts
            temporary = path.name.endswith((".part", ".new")) or inside[0].startswith("warehouse.new.")
            if path.is_file() and inside[0] not in _LEFT_OUT and not temporary:
                yield path


def _write(home: Home, part: Path, secret: bytes) -> None:
    written: dict[str, Any] = {}
    with part.open("wb") as raw:
        with (
            SealedWriter(raw, secret) as sealed,
            zipfile.ZipFile(sealed, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as archive,
        ):
            for path in _files(home):
                name = path.relative_to(home.path).as_posix()
                try:
                    with path.open("rb") as source:
                        written[name] = _copied(source, archive.open(name, "w", force_zip64=True))
                except FileNotFoundError:
                    continue  # a page took something out of the inbox, or put it there under its last name
            at = datetime.now(UTC).isoformat()
            archive.writestr(MANIFEST, json.dumps({"format": FORMAT, "at": at, "files": written}))
        raw.flush()
        os.fsync(raw.fileno())


def _copied(source: IO[bytes], target: IO[bytes] | None) -> dict[str, Any]:
    """Size and hash of a stream, copied on the way when there is a target."""
    digest, size = hashlib.sha256(), 0
    while chunk := source.read(_CHUNK):
        digest.update(chunk)
        size += len(chunk)
        if target is not None:
            target.write(chunk)
    if target is not None:
        target.close()
    return {"size": size, "sha256": digest.hexdigest()}


def _verified(file: Path, secret: bytes | None) -> dict[str, Any]:
    """The manifest of a backup whose every file reads back as it was written."""
    try:
        return _compared(file, secret)
    except CallError:
        raise
    except OSError as error:
        raise CallError(f"{file} can't be read ({error.strerror or type(error).__name__}).") from error
    except Exception as error:
        said = f"{file} is not a whole backup of a home ({type(error).__name__}: {error}); use another one."
        raise UnderfootError(said) from error


@contextmanager
def _opened(file: Path, secret: bytes | None) -> Iterator[zipfile.ZipFile]:
    """The zip in a backup, unsealed as it is read where it is sealed."""
    if not is_sealed(file):
        with zipfile.ZipFile(file) as archive:
            yield archive
        return
    if secret is None:
        raise CallError(f"{file} is sealed; give its passphrase or its key file.")
    with io.BufferedReader(SealedReader(file, secret)) as raw, zipfile.ZipFile(raw) as archive:
        yield archive


def _compared(file: Path, secret: bytes | None) -> dict[str, Any]:
    with _opened(file, secret) as archive:
        manifest: dict[str, Any] = json.loads(archive.read(MANIFEST))
        names = [name for name in archive.namelist() if name != MANIFEST]
        if manifest["format"] != FORMAT or sorted(names) != sorted(manifest["files"]):
            raise ValueError(MANIFEST)
        for name, facts in manifest["files"].items():
            _safe(name)
            with archive.open(name) as source:
                if _copied(source, None) != facts:
                    raise ValueError(name)
    return manifest


def _safe(name: str) -> PurePosixPath:
    path = PurePosixPath(name)
    if path.is_absolute() or ".." in path.parts or not path.parts or "\\" in name:
        raise ValueError(name)
    return path


def restore(home: Home, file: Path, secret: bytes | None = None) -> Backup:
    """Make a home again from a backup, hashes compared before and after, and publish it.

    Students who were forgotten after the backup was made are asked to be forgotten again. Nothing is then
    published before they are. Films that a family no longer lets us keep whole are removed again too.

    Raises
        CallError: the home holds anything already, there is no such file, or its secret is another one.
        UnderfootError: the backup is damaged, or it could not be written out whole.
    """
    if not file.is_file():
        raise CallError(f"There is no backup {file}; name a file made by: underfoot backup FILE")
    if home.path.exists() and (not home.path.is_dir() or any(home.path.iterdir())):
        raise CallError(
            f"{home.path} is not empty, and a restore overwrites nothing; name a new folder with --home DIR."
        )
    manifest = _verified(file, secret)
    part = home.path.with_name(f".{home.path.name}.restoring")
    shutil.rmtree(part, ignore_errors=True)
    try:
        _unpack(file, secret, manifest, part)
        _remove_again(Home(part), file, manifest["at"])
        forgotten.backed_up(Home(part), file, manifest["at"])
        if home.path.exists():
            home.path.rmdir()
        part.replace(home.path)
    except OSError as error:
        said = error.strerror or type(error).__name__
        raise UnderfootError(f"{home.path} could not be written ({said}); make room, then again.") from error
    finally:
        shutil.rmtree(part, ignore_errors=True)
    with journal.recorded(home, "restore") as facts, writer(home) as found:
        facts.update(file=str(file), files=len(manifest["files"]))
        if not forgotten.asked(home):
            found.publish()
    sizes = [kept["size"] for kept in manifest["files"].values()]
    return Backup(len(sizes), sum(sizes), health.filed_problems(home))


def _remove_again(home: Home, file: Path, backed_up_at: str) -> None:
    """Remove again what was removed since, by the list beside the backup.

    Films go at once; students are asked to be forgotten. What was past its time goes by its own date.
    """
    removed = forgotten.removed_since(home, [forgotten.beside(file)], backed_up_at)
    films = {c for r in removed if forgotten.FILMS_AS_DELIVERED in r.removed for c in r.deliveries}
    with opened(home) as found:
        retention.remove_whole_films(home, found, sorted(films))
        students = found.sql("SELECT person FROM academy.person WHERE role = 'student'").to_series().to_list()
    forgotten.ask_again(home, students, removed)


def _unpack(file: Path, secret: bytes | None, manifest: dict[str, Any], part: Path) -> None:
    part.mkdir(mode=0o700, parents=True)
    with _opened(file, secret) as archive:
        for name, facts in manifest["files"].items():
            target = part / _safe(name)
            target.parent.mkdir(parents=True, exist_ok=True)
            with archive.open(name) as source:
                _copied(source, target.open("wb"))
            sync(target)
            with target.open("rb") as written:
                if _copied(written, None) != facts:
                    raise UnderfootError(f"{target} reads back differently; check the disk, then again.")
