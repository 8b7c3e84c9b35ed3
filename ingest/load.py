"""The job: deliveries in, each taken in whole, found unchanged, or refused with one sentence.

Order: roster files, sessions by their start, loose notes, loose shots. Sessions are read ahead on a few
threads; one thread writes, one transaction a delivery. What a crash leaves half done, the next load finishes.
"""

import json
import os
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import polars as pl

from ingest import filing, landing
from ingest.academy import Academy, read_academy
from ingest.deliveries import NOTES, ROSTER, SESSION, SETTINGS, SHOTS, WHY, Contents, Delivery, find
from ingest.readers.notes import read_notes
from ingest.readers.roster import read_roster
from ingest.readers.shots import read_shots
from ingest.reading import SessionRefused, SessionRows, note_rows, read_session, shot_rows
from ingest.refusing import Told, refusal, refuse
from ingest.report import LoadReport
from warehouse.errors import Refusal, Refused, UnderfootError
from warehouse.home import Home, parse_settings
from warehouse.store import Writer, write_synced
from warehouse.traces import trace_path, write_trace

Progress = Callable[[int, int, str], None]
READERS = min(4, os.cpu_count() or 1)
_PARSER_ERRORS = (
    pl.exceptions.PolarsError,
    ValueError,
    ArithmeticError,
    LookupError,
    TypeError,
    RecursionError,
    OSError,
)


@dataclass(frozen=True)
class _Prepared:
    """A delivery after reading: its rows, or why it is refused, or neither when it is unchanged."""

    delivery: Delivery
    contents: Contents
    rows: SessionRows | None = None
    refused: Refused | None = None


def load(
    home: Home, writer: Writer, paths: Sequence[str | Path] = (), *, progress: Progress | None = None
) -> LoadReport:
    """Load every delivery under the paths (the inbox when there are none).

    Sessions that wait in refused/ for a consent are tried again once consents cover them.

    Raises
        CallError: a path does not exist, or there is no academy.
    """
    job = _Load(home, writer, progress)
    return job.run([Path(p) for p in paths] or [home.inbox])


def retry(home: Home, writer: Writer, *, progress: Progress | None = None) -> LoadReport:
    """Try every refused delivery again, except versions that a later delivery has replaced."""
    job = _Load(home, writer, progress)
    waiting = [why.parent for why, told in job.whys() if "superseded_by" not in told]
    return job.run(waiting)


class _Load:
    """One load: what is known, and the report as it grows."""

    def __init__(self, home: Home, writer: Writer, progress: Progress | None) -> None:
        self.home, self.writer, self.progress = home, writer, progress
        self.report = LoadReport()
        home.make_folders()
        filing.sweep(home)
        highest = writer.sql("SELECT coalesce(max(sequence), 0) FROM academy.delivery").item()
        self.ledger = filing.Ledger(home, int(highest))
        self._mend()
        rows = writer.sql("SELECT session, student, delivery, season, has_plate FROM academy.session")
        self.current: dict[str, tuple[str, str, str | None, bool]] = {r[0]: r[1:] for r in rows.iter_rows()}
        self.consents_came = False
        self.told_consents = False
        self.academy: Academy

    def _mend(self) -> None:
        """Finish what was committed, drop what was not."""
        for pending in sorted(self.home.filed.glob(filing.PENDING)):
            committed = False
            with suppress(ValueError, KeyError, TypeError):
                entry = json.loads(pending.read_text(encoding="utf-8"))["entry"]
                found = self.writer.sql(
                    "SELECT count(*) FROM academy.delivery WHERE sequence = ? AND delivery = ?",
                    [entry["sequence"], entry["content"]],
                )
                committed = found.item() > 0
            if committed:
                filing.finish(self.home, pending, self.ledger)
            else:
                filing.drop(self.home, pending)

    def run(self, paths: Sequence[Path]) -> LoadReport:
        deliveries = [self._placed(d) for d in find(paths)]
        self._first_settings(deliveries)
        self._know_settings()
        total, done = len(deliveries), 0
        others = [d for d in deliveries if d.kind != SESSION]
        for delivery in (d for d in others if d.kind == ROSTER):
            self._roster(delivery)
            done = self._tick(done, total, delivery.name)
        given = [d for d in deliveries if d.kind == SESSION]
        sessions = self._with_waiting(given)
        total += len(sessions) - len(given)
        for prepared in self._read_ahead(sessions):
            self._session(prepared)
            done = self._tick(done, total, prepared.delivery.name)
        for delivery in (d for d in others if d.kind != ROSTER):
            self._loose(delivery)
            done = self._tick(done, total, delivery.name)
        return self.report

    def _tick(self, done: int, total: int, name: str) -> int:
        if self.progress is not None:
            self.progress(done + 1, total, name)
        return done + 1

    def _placed(self, delivery: Delivery) -> Delivery:
        waiting = delivery.base.is_relative_to(self.home.refused.resolve())
        return replace(delivery, waiting=waiting)

    def _first_settings(self, deliveries: Iterable[Delivery]) -> None:
        """A home without academy.toml takes the first one delivered, so that there is something to read by."""
        given = next((d for d in deliveries if d.files == (SETTINGS,)), None)
        if not self.home.settings_file.exists() and given is not None:
            data = given.path.read_bytes()
            with suppress(UnderfootError):
                parse_settings(data)
                write_synced(self.home.settings_file, data.decode("utf-8-sig"))

    def _know_settings(self) -> None:
        """Read settings and roster; devices of academy.toml may have been edited in the home."""
        settings = self.home.settings()
        filing.keep_settings(self.home, self.home.settings_file.read_bytes())
        self.report.count("device", landing.land_devices(self.writer, settings))
        self.academy = read_academy(self.writer, settings)

    def whys(self) -> Iterator[tuple[Path, dict[str, Any]]]:
        """Every why.json of refused/ that can be read."""
        for why in sorted(self.home.refused.glob(f"*/{WHY}")):
            with suppress(ValueError, OSError):
                told = json.loads(why.read_text(encoding="utf-8"))
                if isinstance(told, dict):
                    yield why, told

    def _with_waiting(self, given: list[Delivery]) -> list[Delivery]:
        """Add the sessions that wait for a consent, when consents may have come for them."""
        if not (self.consents_came or self.academy.settings.consents_kept_elsewhere):
            return given
        folders = [
            why.parent
            for why, told in self.whys()
            if told.get("reason") == "no_consent" and "superseded_by" not in told
        ]
        known = {d.path for d in given}
        waiting = [self._placed(d) for d in find(folders) if d.kind == SESSION and d.path not in known]
        return sorted(given + waiting, key=lambda d: (d.started_at is not None, d.started_at, str(d.path)))

    def _read_ahead(self, sessions: Iterable[Delivery]) -> Iterator[_Prepared]:
        """Read sessions on a few threads, a few ahead, and hand them on in order."""
        queue: deque[Future[_Prepared]] = deque()
        with ThreadPoolExecutor(READERS) as pool:
            for delivery in sessions:
                queue.append(pool.submit(self._prepare, delivery))
                if len(queue) > 2 * READERS:
                    yield queue.popleft().result()
            while queue:
                yield queue.popleft().result()

    def _prepare(self, delivery: Delivery) -> _Prepared:
        contents = Contents({}, "", 0)
        try:
            contents = delivery.read()
            if self._unchanged(delivery, contents):
                return _Prepared(delivery, contents)
            rows = read_session(contents.held, delivery.files, self.academy, contents.fingerprint)
        except Refused as refused:
            return _Prepared(delivery, contents, refused=refused)
        except _PARSER_ERRORS as error:
            return _Prepared(delivery, contents, refused=_unreadable(delivery, error))
        return _Prepared(delivery, contents, rows)

    def _unchanged(self, delivery: Delivery, contents: Contents) -> bool:
        current = self.current.get(delivery.session or "")
        return current is not None and current[1] == contents.fingerprint

    def _session(self, prepared: _Prepared) -> None:
        delivery, contents = prepared.delivery, prepared.contents
        if prepared.rows is None and prepared.refused is None and not self._unchanged(delivery, contents):
            prepared = self._prepare(delivery)  # another version came in between
        if prepared.refused is not None:
            self._refuse_session(delivery, contents, prepared.refused)
        elif prepared.rows is None or self._unchanged(delivery, contents):
            self.report.unchanged.append(delivery.session or delivery.name)
            filing.take_away(self.home, delivery)
        else:
            self._take_session(delivery, contents, prepared.rows)

    def _take_session(self, delivery: Delivery, contents: Contents, rows: SessionRows) -> None:
        sheet = rows.sheet
        before = self.current.get(sheet.session)
        refused = [r.within(delivery=contents.fingerprint) for r in rows.refused]
        entry = self._entry(delivery, contents, "replaced" if before else "accepted", sheet.session)
        trace = trace_path(self.home, rows.season, sheet.session) if rows.trace else None
        old = trace_path(self.home, before[2], sheet.session) if before and before[3] else None
        filing.keep(self.home, delivery, contents)
        pending = filing.mark_pending(self.home, entry, trace, old)
        if trace is not None and rows.trace is not None:
            write_trace(filing.new_trace(trace, contents.fingerprint), rows.trace)
        who = {"student": sheet.student, "coach": sheet.coach, "device": sheet.device}
        with self.writer.transaction():
            counts = landing.land_session(self.writer, rows, replaces=before is not None)
            landing.land_delivery(self.writer, entry, len(delivery.files), contents.n_bytes)
            landing.land_refusals(
                self.writer,
                refused,
                delivery=contents.fingerprint,
                session=sheet.session,
                at=filing.now(),
                name=delivery.name,
                who=who,
            )
        self._finish(pending, delivery, contents, counts)
        self.current[sheet.session] = (sheet.student, contents.fingerprint, rows.season, trace is not None)
        self.report.accepted.append(sheet.session)
        self.report.refused += refused
        self.report.touched |= {sheet.student} | ({before[0]} if before else set())

    def _finish(self, pending: Path, delivery: Delivery, contents: Contents, counts: dict[str, int]) -> None:
        filing.finish(self.home, pending, self.ledger)
        self._settle_refused(delivery, contents)
        filing.take_away(self.home, delivery)
        for table, n in counts.items():
            self.report.count(table, n)

    def _settle_refused(self, delivery: Delivery, contents: Contents) -> None:
        """Refused copies of what now stands leave; earlier refused versions are marked as replaced."""
        for why, told in self.whys():
            if why.parent == delivery.base:
                continue
            if told.get("delivery") == contents.fingerprint:
                filing.remove(why.parent)
            elif delivery.session is not None and told.get("session") == delivery.session:
                told["superseded_by"] = contents.fingerprint
                write_synced(why, json.dumps(told, indent=2, ensure_ascii=False) + "\n")

    def _entry(
        self, delivery: Delivery, contents: Contents, outcome: str, session: str | None
    ) -> dict[str, Any]:
        return {
            "sequence": self.ledger.next(),
            "received_at": filing.now().isoformat(),
            "content": contents.fingerprint,
            "kind": delivery.kind,
            "outcome": outcome,
            "settings": self.academy.settings.version,
            "name": delivery.base.name.rsplit("-", 1)[0]
            if delivery.waiting and delivery.kind == SESSION
            else delivery.name,
            "session": session,
        }

    def _refuse_session(self, delivery: Delivery, contents: Contents, refused: Refused) -> None:
        sheet = refused.sheet if isinstance(refused, SessionRefused) else None
        who = {"student": sheet.student, "coach": sheet.coach, "device": sheet.device} if sheet else {}
        listed = refused.listed if isinstance(refused, SessionRefused) else [refused.refusal]
        if delivery.waiting and refused.refusal.reason == "no_consent":
            return  # it goes on waiting, as it was told before
        self._refuse(delivery, contents, [self._with_how(r) for r in listed], who)

    def _with_how(self, whole: Refusal) -> Refusal:
        """While no consent is kept at all, the first refusal for want of one says both ways to go."""
        if whole.reason != "no_consent" or self.academy.consents or self.told_consents:
            return whole
        self.told_consents = True
        how = (
            ' (an academy that keeps its consents elsewhere says consents = "kept elsewhere" in academy.toml)'
        )
        return replace(whole, sentence=whole.sentence.removesuffix(".") + how + ".")

    def _refuse(
        self, delivery: Delivery, contents: Contents, refused: Sequence[Refusal], who: dict[str, str | None]
    ) -> None:
        session = delivery.session
        listed = [r.within(delivery=contents.fingerprint or None, session=session) for r in refused]
        self.report.refused += listed
        if not contents.fingerprint:
            return  # it could not even be read, so it can't be kept; it stays where it is
        at = filing.now()
        filing.keep_refused(self.home, delivery, contents, listed, at)
        known = self.writer.sql(
            "SELECT sentence FROM academy.refusal WHERE delivery = ?", [contents.fingerprint]
        )
        if sorted(known.to_series()) != sorted(r.sentence for r in listed):
            with self.writer.transaction():
                landing.land_refusals(
                    self.writer,
                    listed,
                    delivery=contents.fingerprint,
                    session=None,
                    at=at,
                    name=delivery.name,
                    who=who,
                )
            entry = self._entry(delivery, contents, "refused", session)
            self.ledger.append(entry | {"who": who, "refused": [_plain(r) for r in listed]})
        if not delivery.waiting:
            filing.take_away(self.home, delivery)

    def _roster(self, delivery: Delivery) -> None:
        try:
            contents = delivery.read()
        except OSError as error:
            self._refuse(delivery, Contents({}, "", 0), [_unreadable(delivery, error).refusal], {})
            return
        data = contents.held[delivery.name]
        try:
            if delivery.name == SETTINGS:
                self._settings(delivery, contents, data)
            else:
                self._roster_rows(delivery, contents, data)
        except Refused as refused:
            self._refuse(delivery, contents, [refused.refusal], {})
        except _PARSER_ERRORS as error:
            self._refuse(delivery, contents, [_unreadable(delivery, error).refusal], {})

    def _settings(self, delivery: Delivery, contents: Contents, data: bytes) -> None:
        try:
            parse_settings(data)
        except UnderfootError as error:
            raise Refused(Told("settings", str(error), file=SETTINGS)) from error
        if data == self.home.settings_file.read_bytes():
            self._file_unchanged(delivery)
            return
        self._commit_file(delivery, contents, dict)
        self._know_settings()

    def _roster_rows(self, delivery: Delivery, contents: Contents, data: bytes) -> None:
        kind, frame = read_roster(data, delivery.name, self.academy)
        changed = landing.changed_rows(self.writer, kind.table, frame)
        if changed.is_empty():
            self._file_unchanged(delivery)
            return
        self._commit_file(
            delivery, contents, lambda: {kind.table: landing.land_roster(self.writer, kind, changed)}
        )
        self.consents_came |= kind.table == "academy.consent"
        self.academy = read_academy(self.writer, self.academy.settings)
        column = {"academy.person": "person", "academy.coaching": "student"}.get(kind.table)
        if column is not None:
            students = (name for name in changed[column] if self.academy.people[name].role == "student")
            self.report.touched |= set(students)

    def _commit_file(
        self, delivery: Delivery, contents: Contents, land: Callable[[], dict[str, int]]
    ) -> None:
        """File a single-file delivery and land it in one transaction."""
        entry = self._entry(delivery, contents, "accepted", None)
        filing.keep(self.home, delivery, contents)
        pending = filing.mark_pending(self.home, entry, None, None)
        with self.writer.transaction():
            counts = land()
            landing.land_delivery(self.writer, entry, 1, contents.n_bytes)
        self._finish(pending, delivery, contents, counts)
        self.report.files[delivery.name] = "accepted"

    def _file_unchanged(self, delivery: Delivery) -> None:
        self.report.files.setdefault(delivery.name, "unchanged")
        filing.take_away(self.home, delivery)

    def _loose(self, delivery: Delivery) -> None:
        contents = Contents({}, "", 0)
        try:
            contents = delivery.read()
            if delivery.kind == NOTES:
                self._loose_notes(delivery, contents)
            elif delivery.kind == SHOTS:
                self._loose_shots(delivery, contents)
            else:
                raise _stray(delivery)
        except Refused as refused:
            self._refuse(delivery, contents, [refused.refusal], {})
        except _PARSER_ERRORS as error:
            self._refuse(delivery, contents, [_unreadable(delivery, error).refusal], {})

    def _swings_of(self, session: str) -> set[int]:
        rows = self.writer.sql(
            "SELECT swing_no FROM academy.swing WHERE session = ? UNION ALL "
            "SELECT swing_no FROM academy.hold WHERE session = ?",
            [session, session],
        )
        return set(rows.to_series())

    def _loose_notes(self, delivery: Delivery, contents: Contents) -> None:
        notes = read_notes(
            contents.held[delivery.name],
            delivery.name,
            self.academy,
            sheet=None,
            session_student=lambda session: self.current[session][0] if session in self.current else None,
            swings_of=self._swings_of,
        )
        rows = note_rows(notes.frame, contents.fingerprint, loose=True)
        self._land_lines(
            delivery, contents, rows, notes.refused, lambda: landing.land_notes(self.writer, rows), "note"
        )

    def _loose_shots(self, delivery: Delivery, contents: Contents) -> None:
        shots = read_shots(
            contents.held[delivery.name], delivery.name, self.academy, sheet=None, swings_of=self._swings_of
        )
        rows = shot_rows(shots.frame, contents.fingerprint, loose=True)
        self._land_lines(
            delivery, contents, rows, shots.refused, lambda: landing.land_shots(self.writer, rows), "shot"
        )

    def _land_lines(
        self,
        delivery: Delivery,
        contents: Contents,
        rows: pl.DataFrame,
        refused: Sequence[Refusal],
        land: Callable[[], dict[str, int]],
        table: str,
    ) -> None:
        """Good lines land, bad ones are listed; with no good line the file is refused."""
        if rows.is_empty():
            empty = refusal(
                "empty_file", "the file has no lines", "export it again and deliver it", file=delivery.name
            )
            self._refuse(delivery, contents, refused or [empty], {})
            return
        compared = [name for name in rows.columns if name != "delivery"]
        if landing.changed_rows(self.writer, f"academy.{table}", rows.select(compared)).is_empty():
            self._file_unchanged(delivery)
            return
        listed = [r.within(delivery=contents.fingerprint) for r in refused]

        def both() -> dict[str, int]:
            counts = land()
            landing.land_refusals(
                self.writer,
                listed,
                delivery=contents.fingerprint,
                session=None,
                at=filing.now(),
                name=delivery.name,
                who={},
            )
            return counts

        self._commit_file(delivery, contents, both)
        self.report.refused += listed
        if table == "note":
            self.report.touched |= set(rows["student"])
        else:
            self.report.touched |= {self.current[s][0] for s in set(rows["session"]) if s in self.current}


def _plain(refused: Refusal) -> dict[str, Any]:
    names = ("session", "swing_no", "file", "line", "column", "reason", "sentence")
    return {name: getattr(refused, name) for name in names}


def _unreadable(delivery: Delivery, error: BaseException) -> Refused:
    file = delivery.files[0] if len(delivery.files) == 1 else None
    what = f"{delivery.name} can't be read ({type(error).__name__})"
    return refuse(
        "unreadable", what, "export it again and deliver it whole", session=delivery.session, file=file
    )


def _stray(delivery: Delivery) -> Refused:
    what = f"{delivery.name} is not a file that a delivery holds"
    todo = "put it in a session's folder, or name it people.csv, notes.csv, shots.csv and the like"
    return refuse("unknown_file", what, todo, file=delivery.name)
