"""Taking one student out of a home: out of filed/, the ledger, refused/, the inbox, settings, pages and logs.

The warehouse, its traces and the published snapshot are made again from what is then filed.
Every step may be done twice: a run that is cut off is done again from the start, by what was noted about the
student before the first byte went.
"""

import json
import tomllib
from collections import Counter
from collections.abc import Callable, Iterable
from contextlib import closing, suppress
from pathlib import Path

from ingest import ledger
from ingest.delivery import SESSION
from ingest.filing import RefusedFolder
from ingest.redaction import Identity, json_without
from ingest.removal import Removed, is_theirs, names_in, remove_pages, student_in, take_out
from warehouse import access_log, family, forgotten, sign_ins
from warehouse.errors import CallError, UnderfootError
from warehouse.forgotten import Receipt, Request
from warehouse.home import Home, write_synced
from warehouse.publishing import current_name
from warehouse.reach import check_student
from warehouse.store import Writer, open_snapshot, opened, rebuilding
from warehouse.vocabulary import ARCHIVE_ENDINGS, is_film


def forget(home: Home, remake: Callable[[Writer], object]) -> list[Receipt]:
    """Forget everyone who is to be forgotten; returns what was removed. Only under the home's lock.

    `remake` fills an empty warehouse from what is filed by then.

    Raises
        CallError: as `begin`.
        UnderfootError: somebody else would be lost, or the disk fails; the warehouse stays as it was.
    """
    with opened(home) as w:
        gone = begin(home, w)
    for who, removed in gone:
        take_out(home, who, removed)
    with rebuilding(home) as w:
        remake(w)
        check_nobody_else_went(home, w, [who for who, _ in gone])
    for who, removed in gone:
        clear_rest(home, who, removed)
    receipts = [forgotten.done(home, who.student, r.counts, r.deliveries) for who, r in gone]
    return [r for r, (who, _) in zip(receipts, gone, strict=True) if who.student != forgotten.NOBODY]


def check(home: Home, student: str) -> None:
    """Make sure that a student can be forgotten.

    Raises
        CallError: nothing is published, nobody has this code, its person is no student, or an archive waits.
    """
    with closing(open_snapshot(home)) as snapshot:
        check_student(snapshot, student)
    check_archives(home)


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
    """Which bytes are a student's, and what will go; noted on disk before anything does."""
    if request.noted:
        noted = dict(request.noted)
        removed = Removed(Counter(noted.pop("counts")), set(noted.pop("deliveries")))
        return Identity.from_json(noted), removed
    student = request.student
    check_student(writer, student)
    people = writer.sql("SELECT person, display_name, guardian_of FROM academy.person")
    wards = {person: set(of or []) for person, of in people.select("person", "guardian_of").iter_rows()}
    codes = {student} | {person for person, of in wards.items() if of == {student}}
    named = people.select("person", "display_name").rows()
    names = {name for person, name in named if person in codes}
    names -= {name for person, name in named if person not in codes}
    sessions, of_others = _sessions(home, codes)
    things = "SELECT drill FROM academy.drill UNION SELECT device FROM academy.device"  # a text keeps theirs
    others = of_others | (set(people["person"]) - codes) | set(writer.sql(things).to_series())
    who = Identity(
        student,
        frozenset(codes),
        frozenset(names),
        frozenset(_addresses(home, codes)),
        frozenset(sessions),
        frozenset(others),
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
    listed = {e["content"] for e in ledger.entries(home) if e["outcome"] not in ledger.NOT_IN}
    deliveries = {content for content in listed if is_theirs(home.filed / content, who)}
    own = "session IN (SELECT session FROM academy.session WHERE student = $1)"
    counts = Counter({
        f"{name}s": int(writer.sql(f"SELECT count(*) FROM academy.{name} WHERE {rows}", [who.student]).item())
        for name, rows in {"session": own, "swing": own, "shot": own, "note": "student = $1"}.items()
    })  # fmt: skip
    counts["films"] = sum(is_film(name) for content in deliveries for name in names_in(home.filed / content))
    return Removed(counts, deliveries)


def _addresses(home: Home, codes: set[str]) -> set[str]:
    """The e-mail addresses under which any of these people sign in, or once did."""
    found = set()
    for path in (home.settings_file, *(home.filed / "settings").glob("*.toml")):
        with suppress(OSError, ValueError, AttributeError):
            signs_in = tomllib.loads(path.read_text("utf-8-sig")).get("sign_in", {}).get("people", {})
            found |= {str(address) for address, person in signs_in.items() if person in codes}
    return found


def _sessions(home: Home, codes: set[str]) -> tuple[set[str], set[str]]:
    """Sessions whose newest version is of one of these people, accepted or refused; and those of others.

    One that never loaded and whose delivery is gone is theirs where its name holds a code of theirs.
    """
    newest: dict[str, str | None] = {}
    refused = {why.get("delivery"): path.parent for path, why in RefusedFolder(home).reasons()}
    for entry in ledger.entries(home):
        session, content = entry["session"], entry["content"]
        if entry["kind"] == SESSION and session and entry["outcome"] not in ledger.NOT_IN:
            newest[session] = student_in(home.filed / content)
        elif session and newest.get(session) is None:
            whose = (entry.get("who") or {}).get("student")
            newest[session] = whose or student_in(refused.get(content, home.refused))
    theirs = Identity("", frozenset(codes))
    own = {s for s, whose in newest.items() if whose in codes or (whose is None and theirs.is_in(s))}
    return own, newest.keys() - own


def check_archives(home: Home) -> None:
    """Make sure that nothing waits packed in the inbox, where nobody can be found in it.

    Raises
        CallError: an archive waits there.
    """
    for path in home.inbox.rglob("*"):
        if path.name.lower().endswith(ARCHIVE_ENDINGS):
            raise CallError(f"{path} is still packed; load the inbox first: underfoot load")


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


def clear_rest(home: Home, who: Identity, removed: Removed) -> None:
    """After the warehouse was made again: pages, logs, old snapshots and the other files of the home.

    Pages that show the student are removed, those of several people too; they can be made again. Lines of
    logs stay, without the student.
    """
    newest = current_name(home)
    for path in home.published.glob("warehouse-*.duckdb"):
        if path.name != newest:
            path.unlink(missing_ok=True)
    removed.counts["pages"] += remove_pages(home, who)
    for path in sorted(home.path.glob("*.jsonl")):
        if path.name not in (forgotten.LIST, forgotten.BACKUPS, home.access_log.name):
            removed.counts["log_lines_blanked"] += _log(path, who)
    opened = access_log.rewrite(home, lambda line: json_without(line, who), "a student was forgotten")
    removed.counts["log_lines_blanked"] += opened
    ended = home.path / "links_ended.json"
    if ended.exists():
        moments = json.loads(ended.read_text("utf-8"))
        write_synced(ended, json.dumps({s: at for s, at in moments.items() if s not in who.codes}) + "\n")
    removed.counts["films"] += family.forget(home, who.student)
    sign_ins.remove(home, who.codes)


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
