"""One student taken out of what a warehouse is made from: what is filed, refused or waits, and the ledger.

What is the student's alone goes; files of several people are written anew without them.
"""

import hashlib
import json
import os
import re
import shutil
import tarfile
import tomllib
import zipfile
from collections import Counter
from collections.abc import Iterable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path

from ingest import ledger
from ingest.delivery import CALENDAR, NOTES, SETTINGS, SHEET, SHOTS
from ingest.formats.format import loose_kind
from ingest.redaction import (
    Identity,
    calendar_without,
    comments_without,
    json_without,
    settings_without,
    table_without,
)
from warehouse.consent import Roster
from warehouse.filed import WHY, Fingerprint, content_hash, facts_of, why_refused
from warehouse.home import Home, sync, write_synced
from warehouse.vocabulary import ARCHIVE_ENDINGS

_LEDGER_CODES = ("sequence", "received_at", "content", "kind", "outcome", "settings", "session")
_HASH = re.compile("[0-9a-f]{64}")
ONE_STUDENTS = ("lesson-", "progress-")  # what the names of one student's pages begin with


@dataclass
class Removed:
    """What went: counts by what it was, and the hashes of the deliveries that were the student's alone."""

    counts: Counter[str] = field(default_factory=Counter)
    deliveries: set[str] = field(default_factory=set)


def student_in(folder: Path) -> str | None:
    """The student that a session's folder names, also where its session.toml is not quite TOML."""
    try:
        text = (folder / SHEET).read_text("utf-8-sig", "replace")
    except OSError:
        return None
    with suppress(ValueError, RecursionError):
        return str(tomllib.loads(text).get("student"))
    found = re.search(r"""^\s*student\s*=\s*["']([^"']*)["']""", text, re.MULTILINE)
    return found[1] if found else None


def _session_in(folder: Path) -> str | None:
    with suppress(OSError, ValueError, RecursionError):
        return str(tomllib.loads((folder / SHEET).read_text("utf-8-sig", "replace")).get("session"))
    return None


def is_theirs(folder: Path, who: Identity) -> bool:
    """Whether a folder is a session of the student's, or one that says so."""
    return student_in(folder) in who.codes or _session_in(folder) in who.sessions


def take_out(home: Home, who: Identity, removed: Removed) -> None:
    """Take a student out of everything that the warehouse is made from. Only under the home's lock."""
    versions = _settings(home, who)
    renamed, gone = _filed(home, who, removed)
    _ledger(home, who, versions, renamed, gone)
    _clear_filed(home, who)
    # What came just now is loaded first, however old its day is.
    for root in (home.refused, home.inbox) if who.codes else (home.refused,):
        _waiting(home, root, who, removed)


def remove_pages(home: Home, who: Identity) -> int:
    """Remove the written pages that show somebody; whoever wants one makes it again. Returns how many.

    The words of a PDF can't be searched, so it goes too unless its name says that it is somebody else's.
    """
    count = 0
    for path in (p for p in home.pages.rglob("*") if p.is_file()):
        unread = ".pdf" in path.suffixes and not path.name.startswith(ONE_STUDENTS)
        if unread or who.is_in(path.name) or who.is_in(path.read_text("utf-8", "replace")):
            path.unlink()
            count += 1
    return count


def remove_pages_of(home: Home, roster: Roster, students: Iterable[str]) -> None:
    """Remove the written pages of students, by their codes and names."""
    for student in students:
        names = roster.sql("SELECT display_name FROM academy.person WHERE person = ?", [student]).to_series()
        remove_pages(home, Identity(student, frozenset({student}), frozenset(names)))


def _settings(home: Home, who: Identity) -> dict[str, str]:
    """academy.toml and the versions of it that were kept; returns the new version of each that changed."""
    changed = {}
    for path in sorted((home.filed / "settings").glob("*.toml")):
        data = path.read_bytes()
        without = settings_without(data, who)
        if without != data:
            ledger.keep_settings(home, without)
            changed[path.stem] = hashlib.sha256(without).hexdigest()[:16]
    data = home.settings_file.read_bytes()
    without = settings_without(data, who)
    if without != data:
        write_synced(home.settings_file, without)
    return changed


def _rewritten(folder: Path, who: Identity, names: Iterable[str]) -> dict[str, bytes | None]:
    """The files of a delivery that are others without the student; None where nothing of a file is left."""
    found: dict[str, bytes | None] = {}
    for name in names:
        path, kind = folder / name, loose_kind(Path(name).name)
        if path.name == SETTINGS:
            without: bytes | None = settings_without(path.read_bytes(), who)
        elif path.name == SHEET:
            without = comments_without(path.read_bytes(), who)
        elif kind in ("roster", NOTES, SHOTS):
            without = table_without(path.read_bytes(), path.name, who)
        elif kind == CALENDAR:
            without = calendar_without(path.read_bytes(), who)
        else:
            continue
        if without != path.read_bytes():
            found[name] = without
    return found


def names_in(folder: Path) -> list[str]:
    """The files of a delivery's folder, without what the loader wrote beside them."""
    return sorted(
        p.relative_to(folder).as_posix() for p in folder.rglob("*") if p.is_file() and p.name != WHY
    )


def _filed(home: Home, who: Identity, removed: Removed) -> tuple[dict[str, str], set[str]]:
    """Deliveries of several people written anew under their new hashes; and those that go whole."""
    renamed, gone = {}, set()
    for content in sorted({e["content"] for e in ledger.entries(home) if e["outcome"] not in ledger.NOT_IN}):
        folder = home.filed / content
        if is_theirs(folder, who):
            gone.add(content)
            continue
        changed = _rewritten(folder, who, names_in(folder))
        if changed and set(names_in(folder)) == {n for n, without in changed.items() if without is None}:
            gone.add(content)  # nobody else is in it
        elif changed:
            renamed[content] = _written_anew(home, folder, changed)
            removed.counts["files_rewritten"] += 1
    return renamed, gone


def _written_anew(home: Home, folder: Path, changed: Mapping[str, bytes | None]) -> str:
    part = home.filed / f".{folder.name}.part"
    shutil.rmtree(part, ignore_errors=True)
    shutil.copytree(folder, part, copy_function=_linked)
    for name, without in changed.items():
        (part / name).unlink()  # it may share its bytes with the one in use
        if without is not None:
            (part / name).write_bytes(without)
            sync(part / name)
    content = content_hash(part)
    if (home.filed / content).is_dir():
        shutil.rmtree(part)
    else:
        part.replace(home.filed / content)
    sync(home.filed)
    return content


def _linked(source: str, target: str) -> None:
    """The same file under a second name where the disk can, else a copy."""
    try:
        os.link(source, target)
    except OSError:
        shutil.copy2(source, target)


def _ledger(
    home: Home, who: Identity, versions: Mapping[str, str], renamed: Mapping[str, str], gone: set[str]
) -> None:
    """The ledger's lines without the student's own, the others by their new names, in one step."""
    lines = []
    for entry in ledger.entries(home):
        whose = (entry.get("who") or {}).get("student")
        if entry["content"] in gone or whose in who.codes or entry["session"] in who.sessions:
            continue
        kept = {**entry, "content": renamed.get(entry["content"], entry["content"])}
        kept["settings"] = versions.get(entry["settings"], entry["settings"])
        free = {key: json_without(value, who) for key, value in kept.items() if key not in _LEDGER_CODES}
        lines.append(json.dumps(kept | free, ensure_ascii=False) + "\n")
    if home.ledger.exists():
        write_synced(home.ledger, "".join(lines))


def _clear_filed(home: Home, who: Identity) -> None:
    """Remove what the ledger no longer names and the student is in."""
    kept = {entry["content"] for entry in ledger.entries(home)}
    used = {entry["settings"] for entry in ledger.entries(home)}
    for folder in sorted(home.filed.iterdir()):
        if not _HASH.fullmatch(folder.name) or folder.name in kept:
            continue
        if is_theirs(folder, who) or _rewritten(folder, who, names_in(folder)):
            shutil.rmtree(folder)
    for path in (home.filed / "settings").glob("*.toml"):
        if path.stem not in used and settings_without(path.read_bytes(), who) != path.read_bytes():
            path.unlink()


def _waiting(home: Home, root: Path, who: Identity, removed: Removed) -> None:
    """What was refused or waits: the student's own sessions go, files of several are rewritten."""
    for folder in sorted({p.parent for p in root.rglob("*") if p.is_file()}, reverse=True):
        if not folder.is_dir():
            continue
        refused_theirs = folder != root and why_refused(folder).get("session") in who.sessions
        if is_theirs(folder, who) or refused_theirs:
            shutil.rmtree(folder)
            removed.counts["unloaded_removed"] += 1
            continue
        files = sorted(p for p in folder.iterdir() if p.is_file() and p.name != WHY)
        for path in files:
            if path.name.lower().endswith(ARCHIVE_ENDINGS) and _is_in_archive(path, who):
                path.unlink()
                removed.counts["unloaded_removed"] += 1
        here = [path.name for path in files if path.exists()]
        for name, without in _rewritten(folder, who, here).items():
            removed.counts["unloaded_rewritten"] += 1
            if without is None:
                (folder / name).unlink()
            else:
                write_synced(folder / name, without)
        _why(folder, who)
        if folder != root and root == home.refused and not names_in(folder):
            shutil.rmtree(folder)


def _why(folder: Path, who: Identity) -> None:
    """why.json without the student; what it says the refused bytes are follows those."""
    path = folder / WHY
    with suppress(OSError, ValueError):
        before = json.loads(path.read_text("utf-8"))
        found = Fingerprint()
        for name in names_in(folder):
            facts = facts_of(folder / name)
            found.add(name, facts.size, facts.content)
        after = json_without(before, who)
        if after != before:
            after["delivery"] = found.text
            write_synced(path, json.dumps(after, indent=2, ensure_ascii=False) + "\n")


def _is_in_archive(path: Path, who: Identity) -> bool:
    """Whether a refused archive names the student anywhere; one that can't be read counts as such."""
    try:
        if path.name.lower().endswith(".zip"):
            with zipfile.ZipFile(path) as packed:
                texts = [name.encode() + b"\n" + packed.read(name) for name in packed.namelist()]
        else:
            with tarfile.open(path) as unpacked:
                members = [(m, unpacked.extractfile(m)) for m in unpacked if m.isfile()]
                texts = [m.name.encode() + b"\n" + (file.read() if file else b"") for m, file in members]
    except Exception:  # noqa: BLE001 - whatever is wrong with it, nobody can say that the student is not in it
        return True
    return any(who.is_in(text.decode("utf-8", "replace")) for text in texts)
