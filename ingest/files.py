"""Single-file deliveries: the roster, academy.toml, loose notes and loose shots."""

from collections.abc import Callable, Sequence
from pathlib import Path

import polars as pl

from ingest import filing, landing, ledger
from ingest.deliveries import NOTES, SETTINGS, SHOTS, Contents, Delivery
from ingest.formats.format import LineContext, LineFormat, Lines, RosterFormat, files_of
from ingest.job import Job
from ingest.refusals import UNREADABLE, DetailedRefusal, refusal, refuse, unreadable
from ingest.rows import from_lines, typed
from warehouse.errors import Refusal, Refused, UnderfootError
from warehouse.settings import parse_settings
from warehouse.traces import trace_path


class Files:
    """Takes single-file deliveries into a job's warehouse."""

    def __init__(self, job: Job) -> None:
        self.job = job
        self.consents_came = False

    def settle(self, delivery: Delivery) -> None:
        """Take a file in, find it unchanged, or refuse it."""
        contents = Contents({}, "", 0)
        try:
            contents = delivery.read()
            contents.check_sizes()
            self._take(delivery, contents)
        except Refused as refused:
            self.job.refuse(delivery, contents, [refused.refusal])
        except UNREADABLE as error:
            self.job.refuse(
                delivery, contents, [unreadable(delivery.name, None, delivery.name, error).refusal]
            )

    def _take(self, delivery: Delivery, contents: Contents) -> None:
        if delivery.kind == NOTES:
            self._notes(delivery, contents)
        elif delivery.kind == SHOTS:
            self._shots(delivery, contents)
        elif delivery.files == (SETTINGS,):
            self._settings(delivery, contents)
        elif delivery.kind == "roster":
            self._roster(delivery, contents)
        else:
            what = f"{delivery.name} is not a file that a delivery holds"
            todo = "put it in a session's folder, or name it people.csv, notes.csv, shots.csv and the like"
            raise refuse("unknown_file", what, todo, file=delivery.name)

    def _unchanged(self, delivery: Delivery) -> None:
        self.job.report.files.setdefault(delivery.name, "unchanged")
        filing.take_away(self.job.home, delivery)

    def _accept(
        self,
        delivery: Delivery,
        contents: Contents,
        land: Callable[[], dict[str, int]],
        *,
        again: Sequence[str] = (),
        moves: Sequence[tuple[Path, Path]] = (),
    ) -> None:
        entry = self.job.entry(delivery, contents, "accepted")

        def after() -> None:
            filing.move_traces(moves)
            for session in again:
                self.job.read_again(session)

        self.job.commit(delivery, contents, entry, land, after=after, again=again, moves=moves)
        self.job.report.files[delivery.name] = "accepted"

    def _settings(self, delivery: Delivery, contents: Contents) -> None:
        data = contents.held[SETTINGS]
        try:
            settings = parse_settings(data, past=self.job.replaying)
        except UnderfootError as error:
            raise Refused(DetailedRefusal("settings", str(error), file=SETTINGS)) from error
        if not self.job.replaying and data == self.job.home.settings_file.read_bytes():
            self._unchanged(delivery)
            return
        self._accept(delivery, contents, dict)
        if not self.job.replaying:
            ledger.keep_settings(self.job.home, data)
        self.job.know(settings)

    def _roster(self, delivery: Delivery, contents: Contents) -> None:
        job, file = self.job, delivery.files[0]
        kind = files_of(RosterFormat, [file])[file]
        frame = kind.read(contents.held[file], job.academy)
        changed = landing.changed_rows(job.writer, kind.table, frame)
        if changed.is_empty() and not job.replaying:
            self._unchanged(delivery)
            return
        again = landing.sessions_to_read_again(job.writer, changed) if kind.table == "academy.person" else []
        moves: list[tuple[Path, Path]] = []

        def land() -> dict[str, int]:
            n = landing.land_roster(job.writer, kind, changed)
            if kind.table == "academy.season":
                landing.assign_seasons(job.writer)
            return {kind.table: n}

        if kind.table == "academy.season":
            moves = self._moves(changed)
        self._accept(delivery, contents, land, again=again, moves=moves)
        self.consents_came |= kind.table == "academy.consent"
        column = {"academy.person": "person", "academy.coaching": "student"}.get(kind.table)
        if column is not None:
            job.report.touched |= {n for n in changed[column] if job.academy.people[n].role == "student"}

    def _moves(self, changed: pl.DataFrame) -> list[tuple[Path, Path]]:
        """Traces whose session's season changes with these rows; the sessions are remembered so."""
        job, moves = self.job, []
        for session, season in landing.changed_seasons(job.writer, changed).iter_rows():
            old = job.current[session]
            if old.has_plate:
                moves.append(
                    (trace_path(job.home, old.season, session), trace_path(job.home, season, session))
                )
            job.current[session] = type(old)(old.student, old.delivery, season, old.has_plate)
            job.report.touched.add(old.student)
        return moves

    def _swings_of(self, session: str) -> set[int]:
        rows = self.job.writer.sql(
            "SELECT swing_no FROM academy.swing WHERE session = ? UNION ALL "
            "SELECT swing_no FROM academy.hold WHERE session = ?",
            [session, session],
        )
        return set(rows.to_series())

    def _student_of(self, session: str) -> str | None:
        standing = self.job.current.get(session)
        return standing.student if standing is not None else None

    def _read_lines(self, delivery: Delivery, contents: Contents) -> Lines:
        file = delivery.files[0]
        kind = files_of(LineFormat, [file])[file]
        context = LineContext(self.job.academy, self._student_of, self._swings_of)
        return kind.read(contents.held[file], file, context)

    def _notes(self, delivery: Delivery, contents: Contents) -> None:
        notes = self._read_lines(delivery, contents)
        rows = typed("academy.note", from_lines(notes.rows.values(), contents.fingerprint, loose=True))
        fresh = landing.changed_rows(self.job.writer, "academy.note", rows.select("note", "loose"))
        self._lines(delivery, contents, rows, fresh, notes.refused, landing.land_notes)
        self.job.report.touched |= set(rows["student"])

    def _shots(self, delivery: Delivery, contents: Contents) -> None:
        shots = self._read_lines(delivery, contents)
        rows = typed("academy.shot", from_lines(shots.rows.values(), contents.fingerprint, loose=True))
        fresh = landing.changed_rows(self.job.writer, "academy.shot", rows.drop("delivery"))
        self._lines(delivery, contents, rows, fresh, shots.refused, landing.land_shots)
        self.job.report.touched |= {s for n in set(rows["session"]) if (s := self._student_of(n)) is not None}

    def _lines(
        self,
        delivery: Delivery,
        contents: Contents,
        rows: pl.DataFrame,
        fresh: pl.DataFrame,
        refused: Sequence[Refusal],
        land: Callable[..., dict[str, int]],
    ) -> None:
        """Good lines land, bad ones are listed; with no good line the file is refused."""
        job = self.job
        if rows.is_empty():
            empty = refusal("empty_file", "the file has no lines", "export it again", file=delivery.name)
            job.refuse(delivery, contents, refused or [empty])
            return
        if fresh.is_empty() and not job.replaying:
            self._unchanged(delivery)
            return
        listed = [r.within(delivery=contents.fingerprint) for r in refused]
        entry = job.entry(delivery, contents, "accepted")

        def both() -> dict[str, int]:
            counts = land(job.writer, rows)
            job.land_refusals(listed, entry, session=None, who={})
            return counts

        job.commit(delivery, contents, entry, both)
        job.report.files[delivery.name] = "accepted"
        job.report.refused += listed
