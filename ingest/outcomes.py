"""What becomes of a delivery: its rows are committed, or it is kept in refused/ and listed.

An accepted delivery is filed before its rows are committed; then its ledger line is written and its originals
leave the inbox.
"""

import json
import logging
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from ingest import filing, landing, ledger
from ingest.academy import day_of, read_academy
from ingest.body_check import BodyCheck, kept_in_ledger
from ingest.corrections import correct
from ingest.delivery import ROSTER, SESSION, Contents, Delivery, filed_delivery, original_name
from ingest.job import Job
from ingest.reading import read_session
from ingest.refusals import refusal
from ingest.rows import SessionRows
from warehouse.errors import Refusal, Refused
from warehouse.journal import step
from warehouse.settings import Settings
from warehouse.traces import write_trace

log = logging.getLogger(__name__)
Who = Mapping[str, str | None]  # student, coach and device of a session


@dataclass(frozen=True)
class FiledSession:
    """A session that is filed, its trace written, and waits for its commit."""

    delivery: Delivery
    contents: Contents
    rows: SessionRows
    entry: Mapping[str, Any]
    trace: Path | None
    old_trace: Path | None
    pending: Path | None


def _entry(
    job: Job, delivery: Delivery, contents: Contents, outcome: str, session: str | None = None
) -> dict[str, Any]:
    """The ledger's next line, for this delivery; in a replay the one at hand."""
    if job.replayed is not None:
        return dict(job.replayed)
    return {
        "sequence": job.ledger.next(),
        "received_at": ledger.now().isoformat(),
        "content": contents.fingerprint,
        "kind": delivery.kind,
        "outcome": outcome,
        "settings": job.academy.settings.version,
        "name": original_name(delivery),
        "by": delivery.by.person if delivery.by else None,
        "session": session,
    } | ({} if outcome == "refused" else kept_in_ledger(job.ruled_out, contents.fingerprint))


class RefusedDeliveries:
    """The deliveries kept in refused/, each beside its why.json, and the rows that list what was refused."""

    def __init__(self, job: Job) -> None:
        self.job = job
        self.folder = filing.RefusedFolder(job.home)
        rows = job.writer.connection.execute("SELECT delivery, session FROM academy.refusal").fetchall()
        self._listed: set[str | None] = {name for row in rows for name in row}  # deliveries and sessions

    def refuse(
        self, delivery: Delivery, contents: Contents, refused: Sequence[Refusal], who: Who | None = None
    ) -> None:
        """Keep a refused delivery beside its why.json, list it, and take the originals away."""
        job = self.job
        listed = [r.within(delivery=contents.fingerprint or None, session=delivery.session) for r in refused]
        job.report.refused += listed
        if not contents.fingerprint:
            return  # its bytes could not be read at all, so there is nothing to keep; it stays where it is
        if job.replaying:
            return  # it was accepted once and is in filed/: the report says that it can't be read now
        entry = _entry(job, delivery, contents, "refused", delivery.session)
        try:
            at = datetime.fromisoformat(entry["received_at"])
            kept = filing.keep_refused(job.home, delivery, contents, listed, at)
        except filing.Changed:
            job.ledger.sequence -= 1
            self.leave(delivery)
            return
        self.folder.changed(kept)
        if delivery.kind == ROSTER and not delivery.waiting:
            self.folder.supersede(delivery, contents.fingerprint)
        query = "SELECT sentence FROM academy.refusal WHERE delivery = ?"
        known = sorted(job.writer.sql(query, [contents.fingerprint]).to_series())
        if known == sorted(r.sentence for r in listed) and contents.fingerprint in job.ledger.refused:
            job.ledger.sequence -= 1  # refused before in the same words
        else:
            self.land(listed, entry, session=None, who=who or {})
            plain = [r.facts() for r in listed]
            for facts in plain:
                del facts["delivery"]  # it is the line's own content
            job.ledger.append(entry | {"who": who or {}, "refused": plain})
        if not delivery.waiting:
            filing.take_away(job.home, delivery)

    def leave(self, delivery: Delivery) -> None:
        """Leave a delivery that changed while it was read where it is, and say so in the report."""
        todo = "it stays where it is; load it again once the copy is done"
        changing = refusal("changing", f"{delivery.name} was still being written while it was read", todo)
        self.job.report.refused.append(changing.within(session=delivery.session, file=delivery.name))

    def land(
        self, listed: Sequence[Refusal], entry: Mapping[str, Any], *, session: str | None, who: Who
    ) -> None:
        """Rows of academy.refusal for one ledger entry."""
        if not listed and entry["content"] not in self._listed and session not in self._listed - {None}:
            return
        self._listed |= {entry["content"], *(r.session for r in listed)}
        landing.land_refusals(self.job.writer, listed, entry, session, who)


class AcceptedDeliveries:
    """Files deliveries and commits their rows, each in whole or not at all."""

    def __init__(self, job: Job, refused: RefusedDeliveries) -> None:
        self.job, self.refused = job, refused
        self.body_check = BodyCheck(job)

    def use_settings(self, settings: Settings) -> None:
        """Read by these settings from now on; their devices are upserted."""
        self.job.report.count({"device": landing.land_devices(self.job.writer, settings)})
        self.job.academy = read_academy(self.job.writer, settings)

    def commit(
        self,
        delivery: Delivery,
        contents: Contents,
        land: Callable[[Mapping[str, Any]], dict[str, int]],
        *,
        again: Sequence[str] = (),
        moves: Sequence[tuple[Path, Path]] = (),
    ) -> None:
        """Commit a single file: `land` gets its ledger entry and returns rows by table.

        After the commit traces move (`moves`), and sessions are read `again` that this file changes.
        """
        job, pending = self.job, None
        entry = _entry(job, delivery, contents, "accepted")
        if not job.replaying:
            filing.keep(job.home, delivery, contents)
            pending = ledger.mark_pending(job.home, entry, again=again, moves=moves)
        with step(log, "landed %s", delivery.name), job.writer.transaction():
            counts = land(entry)
            landing.land_deliveries(job.writer, [_sized(entry, delivery, contents)])
        job.report.count(counts)
        if delivery.kind == ROSTER:
            job.academy = read_academy(job.writer, job.academy.settings)
        if pending is not None:
            self._finish(pending, delivery, contents)
        else:
            ledger.move_traces(moves)
            for session in again:
                self.read_again(session)
        job.report.files[delivery.name] = "accepted"

    def unchanged(self, delivery: Delivery) -> None:
        """A single file brought nothing new: its originals go."""
        self.job.report.files.setdefault(delivery.name, "unchanged")
        filing.take_away(self.job.home, delivery)

    def file_session(self, delivery: Delivery, contents: Contents, rows: SessionRows) -> FiledSession:
        """File a session and write its trace under a passing name; it lands with `commit_sessions`.

        Raises
            Changed: its bytes are no longer those that were read.
        """
        job, session, pending = self.job, rows.header.session, None
        entry = _entry(
            job, delivery, contents, "replaced" if session in job.sessions else "accepted", session
        )
        trace, old_trace = job.trace_paths(rows)
        if not job.replaying:
            filing.keep(job.home, delivery, contents, rows.films, rows.unread)
            pending = ledger.mark_pending(job.home, entry, trace=trace, old_trace=old_trace)
        self._write_trace(rows, trace, contents.fingerprint)
        return FiledSession(delivery, contents, rows, entry, trace, old_trace, pending)

    def commit_sessions(self, group: Sequence[FiledSession]) -> None:
        """Land sessions, no two versions of one, in one transaction: each is in whole or not at all.

        They share the commit because its cost is per statement, not per row.
        """
        job = self.job
        rows = [filed.rows for filed in group]
        names = ", ".join(r.header.session for r in rows)
        with step(log, "landed %s", names), job.writer.transaction():
            replaced = {r.header.session for r in rows} & job.sessions.keys()
            counts = landing.land_sessions(job.writer, rows, replaced)
            job.report.notices += correct(job.writer, [one.header.session for one in rows])
            landing.land_deliveries(job.writer, [_sized(f.entry, f.delivery, f.contents) for f in group])
            for filed in group:
                self._land_refusals(filed.rows, filed.entry)
        job.report.count(counts)
        for filed in group:
            content, header = filed.contents.fingerprint, filed.rows.header
            if filed.pending is not None:
                keeps = job.academy.keeps_film(header.student, header.day)
                self._finish(filed.pending, filed.delivery, filed.contents, keeps_films=keeps)
            else:
                ledger.place_trace(filed.trace, filed.old_trace, content)
            job.remember(filed.rows, content)
            job.report.accepted.append(header.session)
            job.report.refused += [r.within(delivery=content) for r in filed.rows.refused]
            job.report.notices += filed.rows.notices

    def read_again(self, session: str) -> None:
        """Land a session anew from its filed bytes: something it was read by has changed."""
        job, version = self.job, self.job.sessions.get(session)
        if version is None:
            return
        content = version.delivery
        delivery = filed_delivery(job.home, content, SESSION, session)
        found = job.writer.sql("SELECT * FROM academy.delivery WHERE delivery = ?", [content])
        if found.is_empty():
            return
        entry = found.sort("sequence").row(-1, named=True)
        entry |= {"content": content, "received_at": entry["received_at"].isoformat()}
        try:
            rows = read_session(delivery.read(), delivery, job.academy, progress=job.progress)
        except Refused as refused:
            job.report.refused.append(refused.refusal.within(delivery=content, session=session))
            return
        rows = self.body_check.of_session(rows, content, again=True)
        if not job.replaying:
            filing.keep_more(delivery.base, rows.films, rows.unread)
        trace, old_trace = job.trace_paths(rows)
        self._write_trace(rows, trace, content)
        with step(log, "landed %s anew", session), job.writer.transaction():
            landing.land_sessions(job.writer, [rows], [session])
            job.report.notices += correct(job.writer, [session])
            self._land_refusals(rows, entry)
        ledger.place_trace(trace, old_trace, content)
        job.remember(rows, content)

    def finish_interrupted(self) -> None:
        """Finish what an interrupted load committed, drop what it did not."""
        job = self.job
        for pending in sorted(job.home.filed.glob(ledger.PENDING)):
            committed = False
            with suppress(ValueError, KeyError, TypeError):
                entry = json.loads(pending.read_text(encoding="utf-8"))["entry"]
                found = job.writer.sql(
                    "SELECT count(*) FROM academy.delivery WHERE sequence = ? AND delivery = ?",
                    [entry["sequence"], entry["content"]],
                )
                committed = found.item() > 0
            if committed:
                self._settle_interrupted(entry)
                ledger.finish(job.home, pending, job.ledger, self.read_again)
            else:
                ledger.drop(job.home, pending)

    def _settle_interrupted(self, entry: Mapping[str, Any]) -> None:
        """What a load that ended right after its commit had still to do in refused/."""
        job, session, keeps = self.job, entry["session"], True
        if session in job.sessions:
            at = job.writer.sql("SELECT started_at FROM academy.session WHERE session = ?", [session]).item()
            day = day_of(at, job.academy.settings.zone)
            keeps = job.academy.keeps_film(job.sessions[session].student, day)
        delivery = filed_delivery(job.home, entry["content"], entry["kind"], session)
        self.refused.folder.settle(delivery, entry["content"], keeps_films=keeps)

    def _finish(
        self, pending: Path, delivery: Delivery, contents: Contents, *, keeps_films: bool = True
    ) -> None:
        """After a commit: copies in refused/ go, what the pending file says is done, the originals go."""
        self.refused.folder.settle(delivery, contents.fingerprint, keeps_films=keeps_films)
        ledger.finish(self.job.home, pending, self.job.ledger, self.read_again)
        filing.take_away(self.job.home, delivery)

    def _land_refusals(self, rows: SessionRows, entry: Mapping[str, Any]) -> None:
        self.refused.land(rows.refused, entry, session=rows.header.session, who=rows.header.who)

    @staticmethod
    def _write_trace(rows: SessionRows, trace: Path | None, content: str) -> None:
        if trace is not None and rows.trace is not None:
            with step(log, "wrote the trace of %s", rows.header.session):
                write_trace(ledger.new_trace(trace, content), rows.trace)


def _sized(entry: Mapping[str, Any], delivery: Delivery, contents: Contents) -> dict[str, Any]:
    return {**entry, "n_files": len(delivery.files), "n_bytes": contents.n_bytes}
