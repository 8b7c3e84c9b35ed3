"""The academy home: where everything of one academy is kept, its one writer's lock, and writing files safely.

The system gives the lock back when its process dies, so no lock is ever stale.
"""

import json
import os
import secrets
import shutil
from collections.abc import Callable, Iterator, Mapping
from contextlib import AbstractContextManager, contextmanager, suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path, PurePath

from filelock import FileLock, Timeout

from warehouse.errors import CallError, UnderfootError
from warehouse.settings import Settings, parse_settings
from warehouse.vocabulary import MOST_DEEP

LOCK, HOLDER = "writer.lock", "writer.json"
SIGN_INS = "sign_ins.sqlite"
KEY_BYTES = 32


class Home:
    """The folder of one academy. Paths only; nothing is opened or made until asked.

    `beside` is the same home while its warehouse and traces are rebuilt beside those in use.
    """

    def __init__(self, path: Path, *, beside: bool = False) -> None:
        self.path, self.beside = path, beside
        self.settings_file = path / "academy.toml"
        self.inbox = path / "inbox"  # where deliveries are dropped
        self.filed = path / "filed"  # every accepted delivery, byte for byte
        self.ledger = self.filed / "ledger.jsonl"  # what came, in which order; append-only
        self.refused = path / "refused"  # refused deliveries, each with its why.json
        self.traces = path / ("traces.new" if beside else "traces")  # sample Parquet, one file a session
        self.published = path / "published"  # numbered snapshots and the pointer readers follow
        self.pages = path / "pages"  # progress pages, lesson sheets, weekly reviews
        self.warehouse_file = path / ("warehouse.new.duckdb" if beside else "warehouse.duckdb")
        self.access_log = path / "access.jsonl"  # who opened what
        self.sign_ins = path / SIGN_INS  # which sign-ins are open
        self.events = path / "events.jsonl"  # what was done: loads, builds, refusals, publishes

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Home) and (self.path, self.beside) == (other.path, other.beside)

    def __hash__(self) -> int:
        return hash((self.path, self.beside))

    @classmethod
    def find(cls, path: str | Path | None = None) -> "Home":
        """`--home DIR`, else the environment's UNDERFOOT_HOME, else ./academy."""
        return cls(Path(path or os.environ.get("UNDERFOOT_HOME") or "academy").resolve())

    def made_beside(self) -> "Home":
        """The same home with a warehouse and traces of its own, for a rebuild."""
        return Home(self.path, beside=True)

    def settings(self) -> Settings:
        """Read academy.toml.

        Raises
            CallError: there is no academy here.
            UnderfootError: academy.toml is not right.
        """
        try:
            data = self.settings_file.read_bytes()
        except OSError as error:
            raise CallError(
                f"There is no academy at {self.path} (academy.toml is missing); name one with --home DIR, "
                f"or make one with: underfoot new {self.path}"
            ) from error
        return parse_settings(data)

    def is_new(self) -> bool:
        """Whether this is a folder in which nothing was made yet, except by pages that were opened on it."""
        if self.settings_file.exists() or self.ledger.exists() or not self.path.is_dir():
            return False
        ours = {"inbox", "filed", "refused", "traces", "published", "pages", SIGN_INS, "events.jsonl", LOCK}
        return all(
            path.name in ours or path.name.startswith((".", "access", "links"))
            for path in self.path.iterdir()
        )

    def make_folders(self) -> None:
        """Make the folders of the home that are missing; nobody but its owner can go into it."""
        self.path.mkdir(parents=True, exist_ok=True)
        if self.path.stat().st_mode & 0o077:
            make_private(self.path)
        for folder in (self.inbox, self.filed, self.refused, self.traces, self.published, self.pages):
            folder.mkdir(parents=True, exist_ok=True)

    def lock(
        self, on_wait: Callable[[], None] | None = None, wait_s: float = 600.0
    ) -> AbstractContextManager[None]:
        """Hold the one writer's lock (see `hold_lock`)."""
        return hold_lock(self.path, on_wait, wait_s)


def walk(top: Path) -> Iterator[tuple[Path, list[str], list[str]]]:
    """As os.walk, but only as deep as deliveries are read, and one folder further, which shows that it is."""
    for here, subfolders, files in os.walk(top):
        if len(Path(here).relative_to(top).parts) > MOST_DEEP:
            subfolders.clear()
        yield Path(here), subfolders, files


def make_private(folder: Path) -> None:
    """Take a folder and everything in it from everyone but its owner, as far as the owner may."""
    for here, _, names in os.walk(folder):
        for path, mode in ((Path(here), 0o700), *((Path(here) / name, 0o600) for name in names)):
            with suppress(OSError):
                if not path.is_symlink() and path.stat().st_mode & 0o077:
                    path.chmod(mode)


def sync(path: Path) -> None:
    """Flush a file or folder to the disk, so that a crash of the machine can't lose it."""
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def write_synced(path: Path, content: str | bytes) -> None:
    """Write a small file so that after a crash it is either the old one or the new one, whole."""
    part = path.with_name(path.name + ".part")
    part.write_bytes(content.encode() if isinstance(content, str) else content)
    sync(part)
    part.replace(path)
    sync(path.parent)


def put_folder(kept: Path, arriving: Path, named: Mapping[PurePath, bytes]) -> None:
    """Write files (path → content) below a new folder, flushed to disk, and only then move it to its place.

    Raises
        OSError: the disk did not take it; nothing of it is left.
    """
    folders = {arriving}
    try:
        for name, data in named.items():
            target = arriving / name
            target.parent.mkdir(parents=True, exist_ok=True)
            folders.update(p for p in target.parents if p.is_relative_to(arriving))
            target.write_bytes(data)
            sync(target)
        for folder in folders:
            sync(folder)
        arriving.rename(kept)
    except OSError:
        shutil.rmtree(arriving, ignore_errors=True)
        raise
    sync(kept.parent)


def write_new(path: Path, text: str) -> None:
    """As `write_synced`, of a file that must not be there yet: one that is stays as it is.

    Raises
        CallError: it is there.
    """
    part = path.with_name(f"{path.name}.{os.getpid()}.part")
    part.write_text(text, encoding="utf-8")
    sync(part)
    try:
        os.link(part, path)
    except FileExistsError as error:
        raise CallError(f"{path} is there already; nothing was changed.") from error
    finally:
        part.unlink()
    sync(path.parent)


def home_key(path: Path, if_lost: str) -> bytes:
    """A key of a home: random bytes in a file of its owner's alone, made when first needed.

    Raises
        CallError: the file does not hold a key; `if_lost` says what to do about it.
    """
    with suppress(FileExistsError):
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(handle, "wb") as file:
            file.write(secrets.token_bytes(KEY_BYTES))
            file.flush()
            os.fsync(file.fileno())
    key = path.read_bytes()
    if len(key) != KEY_BYTES:
        raise CallError(f"{path} is damaged; {if_lost}")
    return key


@dataclass(frozen=True)
class Holder:
    """The process that holds the lock, as it wrote itself down; None where it did not."""

    pid: int | None
    since: str | None


@contextmanager
def hold_lock(
    folder: Path, on_wait: Callable[[], None] | None = None, wait_s: float = 600.0
) -> Iterator[None]:
    """Hold the lock of a folder; call `on_wait` once when someone else holds it.

    The lock file is never replaced or removed, so two processes can't hold two different ones. Who holds it
    is written beside it, in a file that binds nobody.

    Raises
        UnderfootError: another writer still held it after `wait_s` seconds, or the folder can't be written.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
        lock = FileLock(folder / LOCK)
        lock.acquire(timeout=0)
    except Timeout:
        if on_wait is not None:
            on_wait()
        try:
            lock.acquire(timeout=wait_s)
        except Timeout as error:
            raise UnderfootError(
                f"Another load or build has held {folder} for over {wait_s:.0f} s; "
                "wait for it to end, then try again."
            ) from error
    except OSError as error:
        raise UnderfootError(
            f"{folder} can't be written ({error.strerror or type(error).__name__}); "
            "give yourself the right to write there, or name another home with --home DIR."
        ) from error
    try:
        _write_holder(folder)
        yield
    finally:
        with suppress(OSError):
            (folder / HOLDER).unlink(missing_ok=True)
        lock.release()


def _write_holder(folder: Path) -> None:
    holder = {"pid": os.getpid(), "since": datetime.now(UTC).isoformat(timespec="seconds")}
    with suppress(OSError):
        (folder / HOLDER).write_text(json.dumps(holder) + "\n", encoding="utf-8")


def holder(folder: Path) -> Holder | None:
    """Who holds the lock just now; None when nobody does."""
    path = folder / LOCK
    if not path.exists():
        return None
    lock = FileLock(path)
    try:
        lock.acquire(timeout=0)
    except Timeout:
        with suppress(OSError, ValueError, KeyError, TypeError):
            written = json.loads((folder / HOLDER).read_text(encoding="utf-8"))
            return Holder(int(written["pid"]), str(written["since"]))
        return Holder(None, None)
    except OSError:
        return None  # a home that can't be written has no writer
    lock.release()
    return None
