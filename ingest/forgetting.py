"""Taking one student out of a home: out of filed/, the ledger, refused/, the inbox, settings, pages and logs.

The warehouse, its traces and the published snapshot are made again from what is then filed, by the caller.
Every step may be done twice: a run that is cut off is done again from the start, by what was noted about the
student before the first byte went.
"""

import hashlib
import json
import os
import re
import shutil
import sqlite3
import tarfile
import tomllib
import zipfile
from collections import Counter
from collections.abc import Iterable, Mapping
from contextlib import closing, suppress
from dataclasses import dataclass, field
from pathlib import Path

from ingest import ledger
from ingest.delivery import NOTES, SESSION, SETTINGS, SHEET, SHOTS, WHY
from ingest.filing import RefusedFolder
from ingest.formats.format import loose_kind
from ingest.redaction import Identity, comments_without, json_without, settings_without, table_without
from warehouse import access_log, forgotten
from warehouse.errors import CallError, UnderfootError
from warehouse.filed import Fingerprint, content_hash, facts_of
from warehouse.forgotten import Request
from warehouse.home import Home, sync, write_synced
from warehouse.store import Writer, opened
from warehouse.vocabulary import ARCHIVE_ENDINGS, is_film

_LEDGER_CODES = ("sequence", "received_at", "content", "kind", "outcome", "settings", "session")
_HASH = re.compile("[0-9a-f]{64}")


@dataclass
class Removed:
    """What went: counts by what it was, and the hashes of the deliveries that were the student's alone."""

    counts: Counter[str] = field(default_factory=Counter)
    deliveries: set[str] = field(default_factory=set)


def begin(home: Home, writer: Writer) -> list[tuple[Identity, Removed]]:
    """Everyone who is to be forgotten, each noted on disk with what will go.

    Raises
        CallError: an archive waits in the inbox; or somebody asked for is no student of the roster (any
            more), and is asked for no longer.
    """
    if any(not request.noted for request in forgotten.asked(home)):
        check_archives(home)
    found = []
    for request in forgotten.asked(home):
        try:
            found.append(_identify(home, writer, request))
        except CallError:
            forgotten.withdraw(home, request.student)
            raise
    return found


def _identify(home: Home, writer: Writer, request: Request) -> tuple[Identity, Removed]:
    """Which bytes are a student's, and what will go; noted on disk before anything does.

    Raises
        CallError: nobody of this code is on the roster, or its person is no student.
    """
    if request.noted:
        noted = dict(request.noted)
        removed = Removed(Counter(noted.pop("counts")), set(noted.pop("deliveries")))
        return Identity.from_json(noted), removed
    student = request.student
    people = writer.sql("SELECT person, role, display_name, guardian_of FROM academy.person")
    if student not in set(people.filter(role="student")["person"]):
        raise CallError(f"There is no student {student}; name one of people.csv.")
    wards = {person: set(of or []) for person, of in people.select("person", "guardian_of").iter_rows()}
    codes = {student} | {person for person, of in wards.items() if of == {student}}
    named = people.select("person", "display_name").rows()
    names = {name for person, name in named if person in codes}
    names -= {name for person, name in named if person not in codes}
    sessions, of_others = _sessions(home, codes)
    who = Identity(
        student,
        frozenset(codes),
        frozenset(names),
        frozenset(_addresses(home, codes)),
        frozenset(sessions),
        frozenset(of_others | (set(people["person"]) - codes) | _codes_of_things(writer)),
    )
    removed = _theirs(home, writer, who)
    forgotten.note(
        home,
        student,
        who.to_json() | {"counts": dict(removed.counts), "deliveries": sorted(removed.deliveries)},
    )
    return who, removed


def _theirs(home: Home, writer: Writer, who: Identity) -> Removed:
    """The deliveries that are the student's alone, and how many rows the warehouse has of them."""
    listed = {e["content"] for e in ledger.entries(home) if e["outcome"] != "refused"}
    deliveries = {content for content in listed if _is_theirs(home.filed / content, who)}
    own = "session IN (SELECT session FROM academy.session WHERE student = $1)"
    counts = Counter({
        f"{name}s": int(writer.sql(f"SELECT count(*) FROM academy.{name} WHERE {rows}", [who.student]).item())
        for name, rows in {"session": own, "swing": own, "shot": own, "note": "student = $1"}.items()
    })  # fmt: skip
    counts["films"] = sum(is_film(name) for content in deliveries for name in _names(home.filed / content))
    return Removed(counts, deliveries)


def _addresses(home: Home, codes: set[str]) -> set[str]:
    """The e-mail addresses under which any of these people sign in, or once did."""
    found = set()
    for path in (home.settings_file, *(home.filed / "settings").glob("*.toml")):
        with suppress(OSError, ValueError, AttributeError):
            signs_in = tomllib.loads(path.read_text("utf-8-sig")).get("sign_in", {}).get("people", {})
            found |= {str(address) for address, person in signs_in.items() if person in codes}
    return found


def _codes_of_things(writer: Writer) -> set[str]:
    """Codes that are no person's: a text that names a drill or a device keeps it."""
    return set(
        writer.sql("SELECT drill FROM academy.drill UNION SELECT device FROM academy.device").to_series()
    )


def _sessions(home: Home, codes: set[str]) -> tuple[set[str], set[str]]:
    """Sessions whose newest version is of one of these people, accepted or refused; and those of others.

    One that never loaded and whose delivery is gone is theirs where its name holds a code of theirs.
    """
    newest: dict[str, str | None] = {}
    refused = {why.get("delivery"): path.parent for path, why in RefusedFolder(home).reasons()}
    for entry in ledger.entries(home):
        session, content = entry["session"], entry["content"]
        if entry["kind"] == SESSION and session and entry["outcome"] != "refused":
            newest[session] = _student_in(home.filed / content)
        elif session and newest.get(session) is None:
            whose = (entry.get("who") or {}).get("student")
            newest[session] = whose or _student_in(refused.get(content, home.refused))
    theirs = Identity("", frozenset(codes))
    own = {s for s, whose in newest.items() if whose in codes or (whose is None and theirs.is_in(s))}
    return own, newest.keys() - own


def _student_in(folder: Path) -> str | None:
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


def _is_theirs(folder: Path, who: Identity) -> bool:
    """Whether a folder is a session of the student's, or one that says so."""
    return _student_in(folder) in who.codes or _session_in(folder) in who.sessions


def check_archives(home: Home) -> None:
    """Make sure that nothing waits packed in the inbox, where nobody can be found in it.

    Raises
        CallError: an archive waits there.
    """
    for path in home.inbox.rglob("*"):
        if path.name.lower().endswith(ARCHIVE_ENDINGS):
            raise CallError(f"{path} is still packed; load the inbox first: underfoot load")


def take_out(home: Home, who: Identity, removed: Removed) -> None:
    """Take a student out of everything that the warehouse is made from. Only under the home's lock."""
    versions = _settings(home, who)
    renamed, gone = _filed(home, who, removed)
    _ledger(home, who, versions, renamed, gone)
    _clear_filed(home, who)
    for root in (home.refused, home.inbox):
        _waiting(home, root, who, removed)


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
        write_synced(home.settings_file, without.decode("utf-8"))
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
        else:
            continue
        if without != path.read_bytes():
            found[name] = without
    return found


def _names(folder: Path) -> list[str]:
    return sorted(
        p.relative_to(folder).as_posix() for p in folder.rglob("*") if p.is_file() and p.name != WHY
    )


def _filed(home: Home, who: Identity, removed: Removed) -> tuple[dict[str, str], set[str]]:
    """Deliveries of several people written anew under their new hashes; and those that go whole."""
    renamed, gone = {}, set()
    for content in sorted({e["content"] for e in ledger.entries(home) if e["outcome"] != "refused"}):
        folder = home.filed / content
        if _is_theirs(folder, who):
            gone.add(content)
            continue
        changed = _rewritten(folder, who, _names(folder))
        if changed and set(_names(folder)) == {n for n, without in changed.items() if without is None}:
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
        if _is_theirs(folder, who) or _rewritten(folder, who, _names(folder)):
            shutil.rmtree(folder)
    for path in (home.filed / "settings").glob("*.toml"):
        if path.stem not in used and settings_without(path.read_bytes(), who) != path.read_bytes():
            path.unlink()


def _waiting(home: Home, root: Path, who: Identity, removed: Removed) -> None:
    """What was refused or waits: the student's own sessions go, files of several are rewritten."""
    for folder in sorted({p.parent for p in root.rglob("*") if p.is_file()}, reverse=True):
        if not folder.is_dir():
            continue
        if _is_theirs(folder, who) or (folder != root and _refused_theirs(folder, who)):
            shutil.rmtree(folder)
            removed.counts["unloaded_removed"] += 1
            continue
        files = sorted(p for p in folder.iterdir() if p.is_file() and p.name != WHY)
        for path in files:
            if path.name.lower().endswith(ARCHIVE_ENDINGS) and _archive_names(path, who):
                path.unlink()
                removed.counts["unloaded_removed"] += 1
        here = [path.name for path in files if path.exists()]
        for name, without in _rewritten(folder, who, here).items():
            removed.counts["unloaded_rewritten"] += 1
            if without is None:
                (folder / name).unlink()
            else:
                _replace(folder / name, without)
        _why(folder, who)
        if folder != root and root == home.refused and not _names(folder):
            shutil.rmtree(folder)


def _refused_theirs(folder: Path, who: Identity) -> bool:
    """Whether why.json says that a refused delivery was of one of the student's sessions."""
    with suppress(OSError, ValueError, AttributeError):
        return json.loads((folder / WHY).read_text("utf-8")).get("session") in who.sessions
    return False


def _why(folder: Path, who: Identity) -> None:
    """why.json without the student; what it says the refused bytes are follows those."""
    path = folder / WHY
    with suppress(OSError, ValueError):
        before = json.loads(path.read_text("utf-8"))
        found = Fingerprint()
        for name in _names(folder):
            facts = facts_of(folder / name)
            found.add(name, facts.size, facts.content)
        after = json_without(before, who)
        if after != before:
            after["delivery"] = found.text
            write_synced(path, json.dumps(after, indent=2, ensure_ascii=False) + "\n")


def _replace(path: Path, data: bytes) -> None:
    part = path.with_name(path.name + ".part")
    part.write_bytes(data)
    sync(part)
    part.replace(path)


def _archive_names(path: Path, who: Identity) -> bool:
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


def check_nobody_else_went(home: Home, rebuilt: Writer, gone: Iterable[Identity]) -> None:
    """Before the new warehouse takes the old one's place: everybody else is still in it.

    Raises
        UnderfootError: somebody is not; the old warehouse stays.
    """
    people = "SELECT person FROM academy.person"
    with opened(home) as old:
        expected = set(old.sql(people).to_series())
    lost = expected - {code for who in gone for code in who.codes} - set(rebuilt.sql(people).to_series())
    if lost:
        raise UnderfootError(
            f"{len(lost)} others of people.csv can't be read again from {home.filed}, so the warehouse stays "
            "as it was; check what is filed with: underfoot health"
        )


def clear_rest(home: Home, who: Identity, newest: str, removed: Removed) -> None:
    """After the warehouse was made again: pages, logs, old snapshots and the other files of the home.

    `newest` is the snapshot just published. Pages that show the student are removed; whoever wants one of the
    others makes it again. Lines of logs stay, without the student.
    """
    for path in home.published.glob("warehouse-*.duckdb"):
        if path.name != newest:
            path.unlink(missing_ok=True)
    for path in (p for p in home.pages.rglob("*") if p.is_file()):
        if who.is_in(path.name) or who.is_in(path.read_text("utf-8", "replace")):
            path.unlink()
            removed.counts["pages"] += 1
    for path in sorted(home.path.glob("*.jsonl")):
        if path.name not in (forgotten.LIST, forgotten.BACKUPS, home.access_log.name):
            removed.counts["log_lines_blanked"] += _log(path, who)
    opened = access_log.rewrite(home, lambda line: json_without(line, who), "a student was forgotten")
    removed.counts["log_lines_blanked"] += opened
    ended = home.path / "links_ended.json"
    if ended.exists():
        moments = json.loads(ended.read_text("utf-8"))
        write_synced(ended, json.dumps({s: at for s, at in moments.items() if s not in who.codes}) + "\n")
    _sign_ins(home, who)


def _log(path: Path, who: Identity) -> int:
    """A log with its lines blanked; returns how many were."""
    lines, count = [], 0
    for line in path.read_text("utf-8", "replace").splitlines(keepends=True):
        try:
            row = json.loads(line)
            after = json_without(row, who)
            blanked = line if after == row else json.dumps(after, ensure_ascii=False) + "\n"
        except ValueError:
            blanked = who.blanked(line)
        count += blanked != line
        lines.append(blanked)
    if count:
        write_synced(path, "".join(lines))
    return count


def _sign_ins(home: Home, who: Identity) -> None:
    """Open sign-ins of the student and their guardians end, and leave no trace in the file."""
    file = home.sign_ins
    if not file.exists():
        return
    with closing(sqlite3.connect(file, timeout=10.0)) as table:
        marks = ", ".join("?" * len(who.codes))
        table.execute(f"DELETE FROM sign_in WHERE person IN ({marks})", sorted(who.codes))
        table.commit()
        table.execute("VACUUM")
