"""The access log, access.jsonl: who opened what, from where, and what was refused; one JSON object a line.

Every line carries its number and, in `chain`, an HMAC-SHA-256 of itself and of the chain before it under a
key of the home, so that a line that is missing, changed or moved shows. access_end.json holds the number of
the last line: lines cut off the end show as well. What may be taken out (lines past their time, a forgotten
student's names) is taken out by `rewrite` alone, which says so in a line of its own.
"""

import hashlib
import hmac
import json
import os
from collections.abc import Callable, Iterator, Mapping
from contextvars import ContextVar
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from filelock import FileLock

from warehouse.errors import UnderfootError
from warehouse.home import Home, home_key, write_synced

KEY, END, LOCK = "access_log.key", "access_end.json", "access.lock"
came_from: ContextVar[str | None] = ContextVar("came_from", default=None)
"""The network address of whoever is looking; None for the command, and on this machine."""
_IF_LOST = "bring it back from a backup: without it nobody can tell whether the access log is whole."
_LINE_BYTES = 1 << 16  # the last line is looked for in so many


def write(home: Home, line: Mapping[str, object]) -> None:
    """Add a line, with the time before it and where they came from."""
    dated: dict[str, object] = {"at": datetime.now(UTC).isoformat(timespec="seconds"), **line}
    if came_from.get() is not None:
        dated["from"] = came_from.get()
    with FileLock(home.path / LOCK):
        number, chain = _last(home.access_log)
        _append(home, dated, max(number, _end(home)) + 1, chain)


def refused(home: Home, page: str, why: str, *, role: str | None = None) -> None:
    """Log that somebody nobody knows was refused; `why` as they read it."""
    line = {"viewer": None, "role": role, "page": page, "student": None, "outcome": "refused"}
    write(home, line | {"why": why})


def _append(home: Home, line: Mapping[str, object], number: int, chain: str) -> None:
    handle = os.open(home.access_log, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600)
    with os.fdopen(handle, "ab") as file:
        file.write(_chained(_key(home), line, number, chain)[0].encode())
    part = home.path / f"{END}.part"
    part.write_text(json.dumps({"n": number}), encoding="utf-8")
    part.replace(home.path / END)


def _key(home: Home) -> bytes:
    return home_key(home.path / KEY, _IF_LOST)


def _chained(key: bytes, line: Mapping[str, object], number: int, chain: str) -> tuple[str, str]:
    """A line of the file, and its own chain."""
    numbered = {**line, "n": number}
    text = chain + json.dumps(numbered, ensure_ascii=False, sort_keys=True)
    own = hmac.new(key, text.encode(), hashlib.sha256).hexdigest()
    return json.dumps({**numbered, "chain": own}, ensure_ascii=False) + "\n", own


def _last(path: Path) -> tuple[int, str]:
    """Number and chain of the last line; of a torn or unchained one, none."""
    if not path.exists():
        return 0, ""
    with path.open("rb") as file:
        file.seek(max(file.seek(0, os.SEEK_END) - _LINE_BYTES, 0))
        lines = file.read().splitlines()
    try:
        found = json.loads(lines[-1])
        return int(found["n"]), str(found["chain"])
    except (IndexError, ValueError, KeyError, TypeError):
        return 0, ""


def _end(home: Home) -> int:
    try:
        return int(json.loads((home.path / END).read_text("utf-8"))["n"])
    except (OSError, ValueError, KeyError, TypeError):
        return 0


def lines(home: Home) -> Iterator[dict[str, Any]]:
    """The log's lines, oldest first, less their numbers and chains; those that can't be read are left out."""
    if not home.access_log.exists():
        return
    with home.access_log.open(encoding="utf-8", errors="replace") as file:
        for text in file:
            try:
                line = json.loads(text)
            except ValueError:
                continue
            if isinstance(line, dict):
                yield {name: value for name, value in line.items() if name not in ("n", "chain")}


def check(home: Home) -> int:
    """Follow the chain from the first line to the last; returns how many lines there are.

    Lines written before there was a chain are at the beginning and have none.

    Raises
        UnderfootError: a line is missing, was changed, or can't be read.
    """
    with FileLock(home.path / LOCK):
        texts = home.access_log.read_text("utf-8", "replace").splitlines() if home.access_log.exists() else []
        chain, number, key = "", 0, _key(home) if texts or _end(home) else b""
        for place, text in enumerate(texts, start=1):
            try:
                line = json.loads(text)
                if "chain" not in line and not number:
                    continue
                said = line.pop("chain")
                own = _chained(key, {k: v for k, v in line.items() if k != "n"}, line["n"], chain)[1]
                whole = hmac.compare_digest(own, said) and line["n"] == (number or line["n"] - 1) + 1
            except (ValueError, KeyError, TypeError, AttributeError):
                whole = False
            if not whole:
                raise UnderfootError(
                    f"{home.access_log} was changed at line {place}: a line is missing or no longer what was "
                    "written; bring it back from a backup, and ask who can write there."
                )
            chain, number = said, line["n"]
        if number < _end(home):
            raise UnderfootError(
                f"{home.access_log} ends at number {number} but {_end(home)} lines were written; bring it "
                "back from a backup, and ask who can write there."
            )
        return len(texts)


def rewrite(home: Home, keep: Callable[[dict[str, Any]], dict[str, Any] | None], why: str) -> int:
    """Change or drop lines (`keep` returns None), chain them anew, and log that and `why` it was done.

    Returns how many lines were changed or dropped; the file is untouched when none was.
    """
    with FileLock(home.path / LOCK):
        before = list(lines(home))
        after = [keep(dict(line)) for line in before]
        count = sum(new != old for new, old in zip(after, before, strict=True))
        if not count:
            return 0
        key, number, chain, out = _key(home), _end(home) + 1, "", []
        at = datetime.now(UTC).isoformat(timespec="seconds")
        nobody = dict.fromkeys(("viewer", "role", "page", "student"))
        note = {"at": at, **nobody, "why": why, "lines": count, "outcome": "rewritten"}
        for line in [*(line for line in after if line is not None), note]:
            text, chain = _chained(key, line, number, chain)
            out.append(text)
            number += 1
        write_synced(home.access_log, "".join(out))
        write_synced(home.path / END, json.dumps({"n": number - 1}))
    return count


def shorten(home: Home) -> int:
    """Drop the lines older than the academy keeps them, if it says how long; returns how many."""
    days = home.settings().access_log_days
    if days is None:
        return 0
    since = (datetime.now(UTC) - timedelta(days=days)).isoformat(timespec="seconds")
    return rewrite(home, lambda line: line if str(line.get("at", "")) >= since else None, "past its time")
