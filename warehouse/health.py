"""Is everything of this home where it should be? One line a question, answered from what is on the disk.

Nothing is changed and no lock is held while looking, so it may run beside loads and pages.
"""

import json
import shutil
import time
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from warehouse import access_log, filed, forgotten, retention
from warehouse.errors import UnderfootError
from warehouse.filed import WHY, why_refused
from warehouse.home import Home, holder, walk
from warehouse.publishing import MARK, POINTER, current_name
from warehouse.store import Snapshot, open_snapshot
from warehouse.tables import table_names
from warehouse.traces import trace_path

LEAST_ROOM_BYTES = 1 << 30
WAITING_S = 600.0
OVERDUE_DAYS = 7  # what is past its time longer than that waits for a loader that does not run
NAMED = 3  # so many are named in a sentence; the others are counted


@dataclass(frozen=True)
class Check:
    """One question: its name, whether all is well, and what was found in one sentence."""

    name: str
    ok: bool
    said: str


def check(home: Home) -> list[Check]:
    """Every check of a home, in a fixed order.

    Raises
        CallError: there is no academy.
    """
    home.settings()
    entries, ledger = _ledger(home)
    checks = [ledger, _filed(home, entries), _pointer(home)]
    try:
        snapshot = open_snapshot(home)
    except UnderfootError as error:
        return [*checks, Check("published", ok=False, said=str(error)), *_around(home)]
    try:
        checks += [_published(snapshot), *_against(home, snapshot, entries), _retention(home, snapshot)]
    finally:
        snapshot.close()
    return [*checks, *_around(home)]


def _named(names: list[str]) -> str:
    more = f" and {len(names) - NAMED} more" if len(names) > NAMED else ""
    return ", ".join(names[:NAMED]) + more


def _ledger(home: Home) -> tuple[list[dict[str, Any]], Check]:
    """Every line reads, and sequences only grow."""
    entries, bad, last = [], [], 0
    with suppress(FileNotFoundError):
        for number, line in enumerate(home.ledger.read_text("utf-8", "replace").splitlines(), start=1):
            try:
                entry = json.loads(line)
                rising = int(entry["sequence"]) > last
                last = int(entry["sequence"])
                entries.append(entry)
            except (ValueError, KeyError, TypeError):
                rising = False
            if not rising:
                bad.append(f"line {number}")
    said = f"{len(entries)} entries, the last is number {last}."
    if bad:
        said = f"filed/ledger.jsonl is damaged at {_named(bad)}; bring it back from a backup."
    return entries, Check("ledger", ok=not bad, said=said)


def filed_problems(home: Home, entries: list[dict[str, Any]] | None = None) -> list[str]:
    """Filed deliveries of the ledger that are missing, or whose bytes are no longer those of their hash."""
    entries = _ledger(home)[0] if entries is None else entries
    wanted = {e["content"] for e in entries if e.get("outcome") in ("accepted", "replaced")}
    wrong = {content: filed.problem(home.filed / content) for content in sorted(wanted)}
    return [f"{content[:12]} is {what}" for content, what in wrong.items() if what is not None]


def _filed(home: Home, entries: list[dict[str, Any]]) -> Check:
    problems = filed_problems(home, entries)
    kept = len({e["content"] for e in entries if e.get("outcome") in ("accepted", "replaced")})
    said = f"{kept} deliveries in filed/ match their hashes."
    if problems:
        said = f"In filed/ {_named(problems)}; bring filed/ back from a backup."
    return Check("filed", ok=not problems, said=said)


def _pointer(home: Home) -> Check:
    try:
        name = json.loads((home.published / POINTER).read_text("utf-8"))["file"]
        if name == current_name(home):
            return Check("pointer", ok=True, said=f"{POINTER} names {name}.")
    except (OSError, ValueError, KeyError, TypeError, UnderfootError):
        pass
    said = f"published/{POINTER} can't be followed; publish again with: underfoot load"
    return Check("pointer", ok=False, said=said)


def _published(snapshot: Snapshot) -> Check:
    """Every block of every table is read: DuckDB checks each against its checksum."""
    try:
        for name in table_names():
            snapshot.sql(f"SELECT bit_xor(hash(t)) FROM {name} AS t")
    except Exception as error:  # noqa: BLE001 - a damaged file may fail in any way
        said = str(error).strip().splitlines()[0]
        what = f"{snapshot.name} is damaged or not complete ({said}); publish again with: underfoot load"
        return Check("published", ok=False, said=what)
    return Check("published", ok=True, said=f"{snapshot.name} reads whole, {len(table_names())} tables.")


def _against(home: Home, snapshot: Snapshot, entries: list[dict[str, Any]]) -> Iterator[Check]:
    """The published state against the ledger and the traces."""
    try:
        seen = int(snapshot.sql("SELECT coalesce(max(sequence), 0) FROM academy.delivery").item())
        waiting = int(snapshot.sql("SELECT count(*) FROM academy.session WHERE NOT reduced").item())
        rows = snapshot.sql("SELECT season, session FROM academy.session WHERE has_plate").rows()
    except Exception:  # noqa: BLE001 - the check before this one reports it
        return
    taken = [int(e["sequence"]) for e in entries if e.get("outcome") in ("accepted", "replaced")]
    behind = sum(sequence > seen for sequence in taken)
    said = f"Everything loaded is published (delivery {seen})."
    if behind or waiting:
        said = f"{behind} deliveries are not published, {waiting} sessions not reduced; run: underfoot load"
    yield Check("freshness", ok=not behind and not waiting, said=said)
    wanted = {trace_path(home, season, session) for season, session in rows}
    found = {p for p in home.traces.rglob("*") if p.is_file()}
    missing, orphans = (sorted(p.name for p in some) for some in (wanted - found, found - wanted))
    said = f"{len(wanted)} sessions with samples, each with its trace."
    if missing or orphans:
        both = {"missing": missing, "of no session": orphans}
        parts = ", ".join(f"{_named(names)} {what}" for what, names in both.items() if names)
        said = f"Traces: {parts}; run: underfoot build --from-filed"
    yield Check("traces", ok=not missing and not orphans, said=said)


def _around(home: Home) -> Iterator[Check]:
    """Disk room, the lock, unfinished work, and what waits in the inbox."""
    free = shutil.disk_usage(home.path).free
    size = home.warehouse_file.stat().st_size if home.warehouse_file.exists() else 0
    wanted = LEAST_ROOM_BYTES + 2 * size
    said = f"{free / 1e9:.1f} GB free; {wanted / 1e9:.1f} GB are wanted for the next load and publish."
    yield Check("room", ok=free >= wanted, said=said)
    by = holder(home.path)
    said = "Nobody is writing."
    if by is not None:
        said = f"Process {by.pid or '?'} has been writing since {by.since or '?'}."
    yield Check("lock", ok=True, said=said)
    left = [p.name for p in home.filed.glob("pending-*.json")]
    left += [MARK] * (home.path / MARK).exists()
    unfinished = bool(left) and by is None
    said = "No load was interrupted."
    if left:
        said = f"A load or build is unfinished ({_named(left)}); the next finishes it: underfoot load"
    yield Check("interrupted", ok=not unfinished, said=said)
    yield _forgetting(home, busy=by is not None)
    yield _access_log(home)
    yield _private(home)
    yield _refused(home)
    yield _inbox(home)


def _private(home: Home) -> Check:
    """Nobody but the owner can read the home."""
    shared = [p.relative_to(home.path).as_posix() for p in home.path.rglob("*") if _is_shared(p)]
    shared += ["the home itself"] * _is_shared(home.path)
    said = "The home is its owner's alone."
    if shared:
        todo = f"take it from them: chmod -R go= {home.path}"
        said = f"Others on this machine may read {_named(sorted(shared))}; {todo}"
    return Check("private", ok=not shared, said=said)


def _is_shared(path: Path) -> bool:
    with suppress(OSError):
        return not path.is_symlink() and bool(path.stat().st_mode & 0o077)
    return False


def _access_log(home: Home) -> Check:
    """No line of the access log is missing or was changed."""
    try:
        n, days = access_log.check(home), home.settings().access_log_days
    except (UnderfootError, OSError) as error:
        return Check("access log", ok=False, said=str(error))
    kept = f"each kept for {days} days" if days else "kept for good"
    return Check("access log", ok=True, said=f"{n} lines, none missing or changed, {kept}.")


def _retention(home: Home, snapshot: Snapshot) -> Check:
    """Nothing has been past its time for long; how long each purpose keeps, and what goes next."""
    settings = home.settings()
    today = settings.today
    try:
        found = retention.kept(home, snapshot, settings)
    except UnderfootError as error:  # the check of what is published says so too
        return Check("retention", ok=False, said=str(error))
    late = [f"{len(past)} of {of.key}" for of in found if (past := of.past(today, -OVERDUE_DAYS))]
    if late:
        return Check("retention", ok=False, said=f"Past their time: {_named(late)}; run: underfoot load")
    said = [f"{of.rule}: {len(of.items)} kept, next {of.next_due() or 'none'}" for of in found]
    return Check("retention", ok=True, said=("; ".join(said) or "Everything is kept for good") + ".")


def _forgetting(home: Home, *, busy: bool) -> Check:
    """Nobody waits to be forgotten, and the signed list of what was removed is whole."""
    try:
        waiting, listed = forgotten.asked(home), forgotten.receipts(home)
        others = forgotten.digest(home, forgotten.NOBODY) if listed else ""
        n = sum(receipt.digest != others for receipt in listed)
    except UnderfootError as error:
        return Check("forgetting", ok=False, said=str(error))
    if waiting and not busy:
        return Check("forgetting", ok=False, said="Something is still to be removed; run: underfoot load")
    return Check("forgetting", ok=True, said=f"{n} students were forgotten; the signed list is whole.")


def _refused(home: Home) -> Check:
    """How many refused deliveries wait for a fix, those without a session among them."""
    found = [why_refused(path.parent) for path in home.refused.glob(f"*/{WHY}")]
    waiting = sum(bool(why) and "superseded_by" not in why for why in found)
    said = "No refused delivery waits for a fix."
    if waiting:
        said = f"{waiting} refused deliveries wait for a fix; underfoot refused lists them, --drop ends one."
    return Check("refused", ok=True, said=said)


def _inbox(home: Home) -> Check:
    waiting = [
        path
        for here, _, names in walk(home.inbox)
        for name in names
        if (path := here / name).is_file() and not _hidden(path, home.inbox)
    ]
    oldest = 0.0
    for path in waiting:
        with suppress(OSError):
            oldest = max(oldest, time.time() - path.stat().st_ctime)
    said = "The inbox is empty."
    if waiting:
        said = f"{len(waiting)} files wait in the inbox, the oldest for {oldest / 60:.0f} min"
        said += "; load them with: underfoot load" if oldest > WAITING_S else "."
    return Check("inbox", ok=oldest <= WAITING_S, said=said)


def _hidden(path: Path, root: Path) -> bool:
    return any(part.startswith(".") for part in path.relative_to(root).parts)
