"""Archives (zip, tar, tar.gz) of deliveries, unpacked with care into a folder of our own.

What an archive declares is checked before a byte is unpacked, and what comes out is counted: names that leave
their folder, links, devices, archives in archives, and bombs are refused with one sentence, whole.
"""

import gzip
import os
import shutil
import stat
import struct
import tarfile
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path, PurePosixPath
from typing import Any

from ingest import filing
from ingest.delivery import ARCHIVE, Delivery, find
from ingest.outcomes import RefusedDeliveries
from ingest.refusals import UNREADABLE, refuse, refused_for
from warehouse.errors import Refused
from warehouse.vocabulary import ARCHIVE_ENDINGS, MOST_DEEP, MOST_FILES

MOST_BYTES = 4 << 30
MOST_SQUEEZED, LARGE_BYTES = 200, 64 << 20  # tables pack 3 to 20 times smaller; zeros alone 1,000 times
ROOM_LEFT_BYTES = 256 << 20
_CHUNK = 1 << 20
_DAMAGED = (
    zipfile.BadZipFile, tarfile.TarError, zlib.error, gzip.BadGzipFile, EOFError, NotImplementedError,
    RuntimeError, ValueError, UnicodeError, struct.error, OverflowError, LookupError,
)  # fmt: skip


@dataclass(frozen=True)
class _Member:
    """One plain file of an archive: its safe name, its declared size, and what opens it."""

    name: PurePosixPath
    size: int
    open: Any


def unpack(path: Path, target: Path) -> None:
    """Unpack an archive's files under a fresh folder.

    Raises
        Refused: damaged, locked, a name that leaves its folder, a link or device, an archive inside, too many
            or too large files, or no room for them. Nothing is left of it then.
        OSError: it can't be read, or its files can't be written.
    """
    shutil.rmtree(target, ignore_errors=True)
    target.mkdir(parents=True)
    try:
        with _members(path) as members:
            _take(path, members, target)
    except _DAMAGED as error:
        shutil.rmtree(target, ignore_errors=True)
        todo = "pack it again as a plain zip or tar and deliver it whole"
        raise _stop(path, "unreadable", "the archive is damaged or cut short", todo) from error
    except BaseException:
        shutil.rmtree(target, ignore_errors=True)
        raise


def _stop(path: Path, reason: str, what: str, todo: str = "") -> Refused:
    return refuse(reason, what, todo or "pack the sessions' folders alone and deliver again", file=path.name)


@contextmanager
def _members(path: Path) -> Iterator[Iterator[_Member]]:
    """Members one by one, in the file's order; each is to be read before the next is asked for."""
    if path.name.lower().endswith(".zip"):
        _check_directory(path)
        with zipfile.ZipFile(path) as archive:
            yield _zipped(path, archive)
    else:
        plain = path.name.lower().endswith(".tar")
        with path.open("rb") as raw:
            packed = raw if plain else gzip.GzipFile(fileobj=raw)
            counted = _Counted(packed, path)
            with tarfile.open(fileobj=counted, mode="r|", errorlevel=2) as archive:  # type: ignore[call-overload]
                yield _tarred(path, archive)


class _Counted:
    """A stream that ends in a refusal once it has given more than its file can plausibly hold."""

    def __init__(self, stream: Any, path: Path) -> None:
        self.stream, self.path, self.n_read = stream, path, 0
        packed = path.stat().st_size
        self.most = min(MOST_BYTES, max(LARGE_BYTES, packed * MOST_SQUEEZED))

    def read(self, size: int = -1) -> bytes:
        data: bytes = self.stream.read(min(size, _CHUNK) if size >= 0 else _CHUNK)
        self.n_read += len(data)
        if self.n_read > self.most:
            raise _too_large(self.path)
        return data


def _too_large(path: Path) -> Refused:
    what = f"it would unpack to more than an archive may hold ({MOST_FILES:,} files, {MOST_BYTES >> 30} GB)"
    return _stop(path, "too_large", what, "pack fewer sessions into each archive and deliver them one by one")


def _check_directory(path: Path) -> None:
    """The end of a zip file says how large its table of contents is: looked at before it is read."""
    with path.open("rb") as file:
        file.seek(max(0, path.stat().st_size - (1 << 16) - 22))
        tail = file.read()
    at = tail.rfind(b"PK\x05\x06")
    if at < 0 or len(tail) - at < 22:
        raise zipfile.BadZipFile
    size = int(struct.unpack("<I", tail[at + 12 : at + 16])[0])
    if size > MOST_FILES * 600:  # 46 bytes and a name each
        raise _too_large(path)


def _zipped(path: Path, archive: zipfile.ZipFile) -> Iterator[_Member]:
    infos = [info for info in archive.infolist() if not info.is_dir()]
    packed = sum(info.compress_size for info in infos)
    _check_sizes(path, len(infos), sum(info.file_size for info in infos), packed)
    for info in infos:
        if info.flag_bits & 1:
            raise _stop(path, "locked", "the archive asks for a password", "pack it without one")
        if info.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
            raise _stop(path, "unreadable", "the archive is packed in an unusual way", "pack a plain zip")
        kind = stat.S_IFMT(info.external_attr >> 16)
        if kind not in (0, stat.S_IFREG):
            raise _link(path, info.filename)
        _check_sizes(path, 1, info.file_size, info.compress_size)
        yield _Member(_safe(path, info.filename), info.file_size, lambda info=info: archive.open(info))


def _tarred(path: Path, archive: tarfile.TarFile) -> Iterator[_Member]:
    count = total = 0
    for info in archive:
        if info.isdir():
            continue
        if not info.isreg() or info.issparse():
            raise _link(path, info.name)
        count, total = count + 1, total + info.size
        _check_sizes(path, count, total, None)
        yield _Member(_safe(path, info.name), info.size, lambda info=info: archive.extractfile(info))


def _check_sizes(path: Path, count: int, size: int, packed: int | None) -> None:
    squeezed = packed is not None and size > LARGE_BYTES and size > MOST_SQUEEZED * packed
    if count > MOST_FILES or not 0 <= size <= MOST_BYTES or squeezed:
        raise _too_large(path)


def _link(path: Path, name: str) -> Refused:
    return _stop(path, "unsafe_name", f"{_shown(name)} is a link or device, not a file")


def _shown(name: str) -> str:
    return f'"{name[:60]}"'.replace("\n", " ")


def _safe(path: Path, name: str) -> PurePosixPath:
    """The member's name as a path that stays inside its folder."""
    parts = name.replace("\\", "/").split("/")
    parts = parts[1:] if parts[0] == "." else parts
    plain = all(p.isprintable() and 0 < len(p.encode("utf-8", "replace")) <= 200 for p in parts)
    if not plain or any(p in (".", "..") or ":" in p for p in parts) or len(parts) > MOST_DEEP:
        raise _stop(path, "unsafe_name", f"{_shown(name)} is not a name a file of a delivery may have")
    if name.lower().endswith(ARCHIVE_ENDINGS):
        todo = "pack the folders themselves and deliver again"
        raise _stop(path, "archive_inside", f"{_shown(name)} is an archive inside the archive", todo)
    return PurePosixPath(*parts)


def _take(path: Path, members: Iterator[_Member], target: Path) -> None:
    """Write the members' bytes, no more than declared; fewer, or two of one name, refuse the archive."""
    for member in members:
        copy = target / member.name
        if shutil.disk_usage(target).free < member.size + ROOM_LEFT_BYTES:
            raise _stop(path, "no_room", "there is no room on the disk to unpack it", "make room, load again")
        try:
            copy.parent.mkdir(parents=True, exist_ok=True)
            with member.open() as source, copy.open("xb") as file:
                shutil.copyfileobj(source, file, _CHUNK)
                if file.tell() != member.size:
                    raise EOFError(path.name)
        except (FileExistsError, NotADirectoryError) as error:
            what = f"{_shown(str(member.name))} is in the archive twice"
            raise _stop(path, "name_twice", what, "pack it anew and deliver again") from error
        os.utime(copy)


class Archives:
    """Unpacks archives under the home for the length of one load.

    An archive stays in the inbox until the load has settled all it held, so a crash loses nothing: the next
    load unpacks it again and finds what was taken unchanged.
    """

    def __init__(self, refused: RefusedDeliveries) -> None:
        self.refused = refused
        self.folder = refused.job.home.path / filing.UNPACKED
        self._opened: list[Delivery] = []

    def open(self, delivery: Delivery) -> Iterator[Delivery]:
        """What an archive holds; any other delivery itself; nothing when the archive is refused."""
        if delivery.kind != ARCHIVE:
            yield delivery
            return
        target = self.folder / str(len(self._opened)) / delivery.path.name.split(".")[0]
        try:
            unpack(delivery.path, target)
            inside = find([target])
            if not inside:
                what, todo = "there is no file in the archive", "pack the sessions' folders and deliver again"
                raise refuse("empty_file", what, todo, file=delivery.name)
        except UNREADABLE as error:
            self._refuse(delivery, refused_for(error, delivery.name, file=delivery.name))
        else:
            self._opened.append(delivery)
            yield from (replace(d, by=delivery.by) for d in inside)

    def _refuse(self, delivery: Delivery, refused: Refused) -> None:
        try:
            contents = delivery.read()
        except OSError:
            self.refused.job.report.refused.append(refused.refusal)  # it can't be read, so it stays
            return
        self.refused.refuse(delivery, contents, [refused.refusal])

    def close(self) -> None:
        """Everything is settled: archives of the inbox go, and so does what was unpacked."""
        for delivery in self._opened:
            filing.take_away(self.refused.job.home, delivery)
        shutil.rmtree(self.folder, ignore_errors=True)
