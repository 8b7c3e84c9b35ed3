"""Single-file deliveries: the roster, academy.toml, loose notes and loose shots."""

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, TypeVar

import polars as pl

from ingest import landing, ledger
from ingest.corrections import correct
from ingest.delivery import CALENDAR, NOTES, ROSTER, SETTINGS, SHOTS, Contents, Delivery
from ingest.formats.format import LineContext, LineFormat, Lines, RosterFormat, files_of
from ingest.job import Job
from ingest.outcomes import AcceptedDeliveries
from ingest.reading_process import is_little, read_within_limits
from ingest.refusals import UNREADABLE, DetailedRefusal, refusal, refuse, refused_for
from ingest.rights import filed_version
from ingest.rows import from_lines, typed
from warehouse import lessons, recipes
from warehouse.errors import Refusal, Refused, UnderfootError
from warehouse.settings import parse_settings
from warehouse.traces import trace_path
from warehouse.vocabulary import CORRECTIONS, DEVICE_CHECKS

Read = TypeVar("Read")


@dataclass(frozen=True)
class _Known:
    """Every session's student and swings, as they are needed where the warehouse is not at hand."""

    students: Mapping[str, str]
    swings: Mapping[str, set[int]]

    @classmethod
    def of(cls, job: Job) -> "_Known":
        rows = job.writer.sql(
            "SELECT session, swing_no FROM academy.swing UNION ALL SELECT session, swing_no FROM academy.hold"
        )
        swings: dict[str, set[int]] = {}
        for session, swing_no in rows.iter_rows():
            swings.setdefault(session, set()).add(swing_no)
        return cls({session: version.student for session, version in job.sessions.items()}, swings)

    def student_of(self, session: str) -> str | None:
        return self.students.get(session)

    def swings_of(self, session: str) -> set[int]:
        return self.swings.get(session, set())


class Files:
    """Accepts single-file deliveries, finds them unchanged, or refuses them."""

    def __init__(self, accepted: AcceptedDeliveries) -> None:
        self.job, self.accepted, self.refused = accepted.job, accepted, accepted.refused
        self.consents_came = False

    def settle(self, delivery: Delivery) -> None:
        """Take a file in, find it unchanged, or refuse it."""
        contents = Contents({}, "", 0)
        try:
            contents = delivery.read()
            contents.check_sizes()
            self._take(delivery, contents)
        except UNREADABLE as error:
            refused = refused_for(error, delivery.name, file=delivery.name)
            self.refused.refuse(delivery, contents, [refused.refusal])

    def _take(self, delivery: Delivery, contents: Contents) -> None:
        right = self.job.right_of(delivery.by)
        if right is not None and delivery.files[0] in (recipes.FILE, DEVICE_CHECKS):
            right.check_staff(delivery.files[0])
        elif right is not None and delivery.kind == ROSTER:
            right.check_roster(delivery.name)
        if delivery.kind == NOTES:
            self._notes(delivery, contents)
        elif delivery.kind == SHOTS:
            self._shots(delivery, contents)
        elif delivery.kind == CALENDAR:
            self._calendar(delivery, contents)
        elif delivery.files == (SETTINGS,):
            self._settings(delivery, contents)
        elif delivery.files == (recipes.FILE,):
            self._recipe(delivery, contents)
        elif delivery.kind == ROSTER:
            self._roster(delivery, contents)
        else:
            what = f"{delivery.name} is not a file that a delivery holds"
            todo = "put it in a session's folder, or name it people.csv, notes.csv, shots.csv and the like"
            raise refuse("unknown_file", what, todo, file=delivery.name)

    def _settings(self, delivery: Delivery, contents: Contents) -> None:
        data = contents.held[SETTINGS]
        try:
            settings = parse_settings(data, past=self.job.replaying)
        except UnderfootError as error:
            raise Refused(DetailedRefusal("settings", str(error), file=SETTINGS)) from error
        if not self.job.replaying and data == self.job.home.settings_file.read_bytes():
            self.accepted.unchanged(delivery)
            return
        self.accepted.commit(delivery, contents, lambda _: {})
        if not self.job.replaying:
            ledger.keep_settings(self.job.home, data)
        self.accepted.use_settings(settings)

    def _recipe(self, delivery: Delivery, contents: Contents) -> None:
        """A device's recipe comes into academy.toml; a replay has it in the settings of what came after."""
        home = self.job.home
        if self.job.replaying:
            self.accepted.commit(delivery, contents, lambda _: {})
            return
        before = home.settings_file.read_bytes()
        try:
            recipe = recipes.read_recipe(contents.held[recipes.FILE])
            unchanged = recipes.with_recipe(before, *recipe) == before
        except UnderfootError as error:
            raise Refused(DetailedRefusal("settings", str(error), file=recipes.FILE)) from error
        if unchanged:
            self.accepted.unchanged(delivery)
            return
        self.accepted.commit(delivery, contents, lambda _: {})
        ledger.keep_settings(home, home.settings_file.read_bytes())
        self.accepted.use_settings(home.settings())

    def _calendar(self, delivery: Delivery, contents: Contents) -> None:
        """A calendar, which pages read from filed/ by its newest delivery of the name."""
        right, file = self.job.right_of(delivery.by), delivery.files[0]
        if right is not None:
            right.check_staff(file)
        known = self.job.writer.sql(
            "SELECT arg_max(delivery, sequence) FROM academy.delivery WHERE kind = ? AND name = ?",
            [CALENDAR, delivery.name],
        )
        if known.item() == contents.fingerprint and not self.job.replaying:
            self.accepted.unchanged(delivery)
            return
        try:
            self._read(delivery, contents, lessons.check, contents.held[file])
        except Refused:
            raise
        except UnderfootError as error:
            raise Refused(DetailedRefusal("calendar", f"{file}: {error}", file=file)) from error
        self.accepted.commit(delivery, contents, lambda _: {})

    def _roster(self, delivery: Delivery, contents: Contents) -> None:
        job, file = self.job, delivery.files[0]
        kind = files_of(RosterFormat, [file])[file]
        frame: pl.DataFrame = self._read(delivery, contents, kind.read, contents.held[file], job.academy)
        changed = landing.changed_rows(job.writer, kind.table, frame)
        if changed.is_empty() and not job.replaying:
            self.accepted.unchanged(delivery)
            return
        again = landing.sessions_to_read_again(job.writer, changed) if kind.table == "academy.person" else []
        moves: list[tuple[Path, Path]] = []

        def land(_: Mapping[str, Any]) -> dict[str, int]:
            n = landing.land_roster(job.writer, kind, changed)
            if kind.table == "academy.season":
                landing.assign_seasons(job.writer)
            return {kind.table: n}

        if kind.table == "academy.season":
            moves = self._moves(changed)
        self.accepted.commit(delivery, contents, land, again=again, moves=moves)
        self.consents_came |= kind.table == "academy.consent"
        column = {"academy.person": "person", "academy.coaching": "student"}.get(kind.table)
        if column is not None:
            job.report.touched |= {n for n in changed[column] if job.academy.people[n].role == "student"}

    @staticmethod
    def _read(delivery: Delivery, contents: Contents, read: Callable[..., Read], *given: Any) -> Read:
        """What a format reads, in a process of its own if it is more than a little text."""
        here = delivery.filed or is_little(delivery.files, contents.n_bytes)
        return read_within_limits(delivery.name, read, *given, here=here)

    def _moves(self, changed: pl.DataFrame) -> list[tuple[Path, Path]]:
        """Traces whose session's season changes with these rows; the sessions are remembered so."""
        job, moves = self.job, []
        for session, season in landing.changed_seasons(job.writer, changed).iter_rows():
            old = job.sessions[session]
            if old.has_plate:
                moves.append(
                    (trace_path(job.home, old.season, session), trace_path(job.home, season, session))
                )
            job.sessions[session] = replace(old, season=season)
            job.report.touched.add(old.student)
        return moves

    def _swings_of(self, session: str) -> set[int]:
        rows = self.job.writer.sql(
            "SELECT swing_no FROM academy.swing WHERE session = ? UNION ALL "
            "SELECT swing_no FROM academy.hold WHERE session = ?",
            [session, session],
        )
        return set(rows.to_series())

    def _read_lines(self, delivery: Delivery, contents: Contents) -> Lines:
        file = delivery.files[0]
        kind = files_of(LineFormat, [file])[file]
        known = None if is_little(delivery.files, contents.n_bytes) else _Known.of(self.job)
        right = self.job.right_of(delivery.by)
        context = LineContext(
            self.job.academy,
            known.student_of if known else self.job.student_of,
            known.swings_of if known else self._swings_of,
            not_theirs=right.problem_of_line if right is not None else None,
        )
        read: Lines = self._read(delivery, contents, kind.read, contents.held[file], file, context)
        return read

    def _notes(self, delivery: Delivery, contents: Contents) -> None:
        read = self._read_lines(delivery, contents)
        notes = self.accepted.body_check.of_file(read, contents.fingerprint)
        rows = typed("academy.note", from_lines(notes.rows.values(), contents.fingerprint, loose=True))
        fresh = landing.changed_rows(self.job.writer, "academy.note", rows.select("note", "loose"))
        self._lines(delivery, contents, rows, fresh, notes.refused, landing.land_notes)
        self.job.report.touched |= set(rows["student"])

    def _shots(self, delivery: Delivery, contents: Contents) -> None:
        shots = self._read_lines(delivery, contents)
        self._check_shots(delivery, {row["session"] for row in shots.rows.values()})
        rows = typed("academy.shot", from_lines(shots.rows.values(), contents.fingerprint, loose=True))
        fresh = landing.changed_rows(self.job.writer, "academy.shot", rows.drop("delivery"))
        self._lines(delivery, contents, rows, fresh, shots.refused, landing.land_shots)
        self.job.report.touched |= {
            s for n in set(rows["session"]) if (s := self.job.student_of(n)) is not None
        }

    def _check_shots(self, delivery: Delivery, sessions: Collection[str]) -> None:
        """Refuse ball results of sessions that another filed: they would take the place of theirs."""
        right = self.job.right_of(delivery.by)
        if right is None:
            return
        for session in sorted(sessions):
            filed = filed_version(self.job.writer, session)
            if filed is not None:
                right.check_over(session, filed)

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
            self.refused.refuse(delivery, contents, refused or [empty])
            return
        if fresh.is_empty() and not job.replaying:
            self.accepted.unchanged(delivery)
            return
        listed = [r.within(delivery=contents.fingerprint) for r in refused]

        def both(entry: Mapping[str, Any]) -> dict[str, int]:
            counts = land(job.writer, rows)
            if delivery.kind == NOTES:
                correcting = rows.filter(pl.col("kind").is_in(CORRECTIONS))
                job.report.notices += correct(job.writer, correcting["session"].to_list())
            self.refused.land(listed, entry, session=None, who={})
            return counts

        self.accepted.commit(delivery, contents, both)
        job.report.refused += listed
