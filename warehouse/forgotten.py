"""Students who are to be forgotten, the signed list of those who were, and the backups made of a home.

Three files of the home, each one JSON object or one a line:

- forgetting.json: who is being forgotten just now. It is there from before the first byte goes until the last
  is gone, so that a run that is cut off is finished by the next.
- forgotten.jsonl: what was removed, as counts and hashes. A student is in it as a keyed digest of their code,
  so it tells nobody who they were; only a home that has the key and the code finds them in it. Each line is
  signed over the line before it.
- backups.jsonl: every backup made, where and when.

A list is put beside each backup that still holds a forgotten student; restoring it forgets them again.
"""

import hashlib
import hmac
import json
import os
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from pathlib import Path
from types import MappingProxyType
from typing import Any

from warehouse.errors import UnderfootError
from warehouse.home import Home, home_key, sync, write_synced

NOBODY = ""  # in the place of a student, where what went was past its time or no longer agreed to
FILMS_AS_DELIVERED = "films_as_delivered"  # what went, of minors whose consent to keep them whole had ended
KEY, ASKED, LIST, BACKUPS = "forgotten.key", "forgetting.json", "forgotten.jsonl", "backups.jsonl"
_IF_LOST = "bring it back from a backup: without it a restored backup can't tell who was forgotten."


@dataclass(frozen=True)
class Request:
    """A student to forget: who asked for it and when, and what was noted about them once it began."""

    student: str
    by: str | None
    at: str
    noted: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class Receipt:
    """What was removed of a student, without saying who: counts, the hashes of deliveries, the backups."""

    at: str
    digest: str
    removed: Mapping[str, int]
    deliveries: Sequence[str]
    backups: Sequence[str]


def make_key(home: Home) -> None:
    """Make the key that digests and signatures are made with, so that a backup made now has it."""
    home_key(home.path / KEY, _IF_LOST)


def digest(home: Home, student: str) -> str:
    """What stands for a student's code in the list: HMAC-SHA-256 under the home's own key."""
    key = home_key(home.path / KEY, _IF_LOST)
    return hmac.new(key, f"student:{student}".encode(), hashlib.sha256).hexdigest()


def ask(
    home: Home, student: str, by: str | None = None, noted: Mapping[str, Any] = MappingProxyType({})
) -> None:
    """Note, flushed to disk, that a student is to be forgotten; whoever writes next does it."""
    at = datetime.now(UTC).isoformat(timespec="seconds")
    if all(request.student != student for request in asked(home)):
        _write(home, [*asked(home), Request(student, by, at, dict(noted))])


def asked(home: Home) -> list[Request]:
    """The students who are to be forgotten, in the order they were asked for.

    Raises
        UnderfootError: the file that names them can't be read.
    """
    try:
        listed = json.loads((home.path / ASKED).read_text("utf-8"))
        return [Request(**row) for row in listed]
    except FileNotFoundError:
        return []
    except (OSError, ValueError, TypeError) as error:
        raise UnderfootError(
            f"{home.path / ASKED} can't be read; remove it, and ask for the student to be forgotten again."
        ) from error


def note(home: Home, student: str, noted: Mapping[str, Any]) -> None:
    """Keep, until a student is forgotten, what says which bytes are theirs."""
    _write(home, [replace(r, noted=noted) if r.student == student else r for r in asked(home)])


def withdraw(home: Home, student: str) -> None:
    """Take back that a student is to be forgotten: nothing of them was found."""
    _write(home, [request for request in asked(home) if request.student != student])


def _write(home: Home, requests: Sequence[Request]) -> None:
    if not requests:
        (home.path / ASKED).unlink(missing_ok=True)
        sync(home.path)
        return
    write_synced(home.path / ASKED, json.dumps([vars(r) for r in requests], ensure_ascii=False) + "\n")


def done(home: Home, student: str, removed: Mapping[str, int], deliveries: Iterable[str]) -> Receipt:
    """As `sign`, once a student who was asked for is gone."""
    receipt = sign(home, student, removed, deliveries)
    withdraw(home, student)
    return receipt


def sign(home: Home, student: str, removed: Mapping[str, int], deliveries: Iterable[str]) -> Receipt:
    """Sign what was removed into the list, and put the list beside every backup that holds it."""
    at = datetime.now(UTC).isoformat()  # to the microsecond: backups and links are compared with it
    held = [entry["file"] for entry in backups(home)]
    receipt = Receipt(at, digest(home, student), removed, sorted(deliveries), held)
    _append(home.path / LIST, vars(receipt) | {"signature": _signature(home, receipt, _last(home))})
    for file in held:
        with suppress(OSError):
            if Path(file).is_file():
                beside(Path(file)).write_bytes((home.path / LIST).read_bytes())
    return receipt


def _append(path: Path, line: Mapping[str, Any]) -> None:
    handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600)
    with os.fdopen(handle, "ab") as file:
        file.write((json.dumps(line, ensure_ascii=False) + "\n").encode())
        file.flush()
        os.fsync(file.fileno())


def _signature(home: Home, receipt: Receipt, before: str) -> str:
    """HMAC-SHA-256 of a line and of the signature before it, under the home's own key."""
    text = json.dumps(vars(receipt), sort_keys=True) + before
    return hmac.new(home_key(home.path / KEY, _IF_LOST), text.encode(), hashlib.sha256).hexdigest()


def _last(home: Home) -> str:
    return next((signature for _, signature in reversed(list(_lines(home.path / LIST)))), "")


def _lines(path: Path) -> Iterator[tuple[Receipt, str]]:
    with suppress(FileNotFoundError):
        for line in path.read_text("utf-8").splitlines():
            with suppress(ValueError, KeyError, TypeError):
                facts = json.loads(line)
                signature = facts.pop("signature")
                yield Receipt(**facts), signature


def receipts(home: Home, path: Path | None = None) -> list[Receipt]:
    """The list of what was removed, the home's own or another file's, every signature checked.

    Raises
        UnderfootError: a line was changed, is missing, or was signed with another home's key.
    """
    path = path or home.path / LIST
    found, before = list(_lines(path)), ""
    count = sum(1 for line in path.read_text("utf-8").splitlines() if line.strip()) if path.exists() else 0
    for receipt, signature in found:
        if not hmac.compare_digest(signature, _signature(home, receipt, before)):
            break
        before = signature
    else:
        if len(found) == count:
            return [receipt for receipt, _ in found]
    raise UnderfootError(
        f"{path} is not the list this home signed: a line was changed or is missing; bring it back from a "
        "backup."
    )


def forgotten_at(home: Home, student: str) -> float:
    """When a student of this code was last forgotten, in seconds since 1970; long ago if never."""
    if not (home.path / LIST).exists():
        return float("-inf")
    own = digest(home, student)
    times = [datetime.fromisoformat(r.at).timestamp() for r, _ in _lines(home.path / LIST) if r.digest == own]
    return max(times, default=float("-inf"))


def backups(home: Home) -> list[dict[str, Any]]:
    """Every backup made of this home: its file and when it was made."""
    found = []
    with suppress(FileNotFoundError):
        for line in (home.path / BACKUPS).read_text("utf-8").splitlines():
            with suppress(ValueError):
                found.append(json.loads(line))
    return found


def backed_up(home: Home, file: Path, at: str) -> None:
    """Note that a backup was made."""
    _append(home.path / BACKUPS, {"file": str(file.resolve()), "at": at})


def beside(backup: Path) -> Path:
    """Where the list stands that says whom restoring this backup forgets again."""
    return backup.with_name(f"{backup.name}.forgotten.jsonl")


def removed_since(home: Home, lists: Sequence[Path], backed_up_at: str) -> list[Receipt]:
    """In a restored home, what was removed since its backup was made.

    Raises
        UnderfootError: a list is not the one that this home signed.
    """
    since = datetime.fromisoformat(backed_up_at)
    own = [path for path in (home.path / LIST, *lists) if path.exists()]
    return [r for path in own for r in receipts(home, path) if datetime.fromisoformat(r.at) >= since]


def ask_again(home: Home, students: Sequence[str], removed: Sequence[Receipt]) -> None:
    """In a restored home, ask for everyone to be forgotten who was since its backup was made."""
    gone = {receipt.digest for receipt in removed}
    for student in students if gone else ():
        if digest(home, student) in gone:
            ask(home, student)
