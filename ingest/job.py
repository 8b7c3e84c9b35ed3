"""What every kind of delivery shares: what is known, the ledger entry, committing, refusing, mending."""

import json
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from ingest import filing, landing, ledger
from ingest.academy import Standing, day_of, read_academy
from ingest.deliveries import ROSTER, SESSION, Contents, Delivery, filed_delivery, named
from ingest.reading import read_session
from ingest.refusals import refusal
from ingest.report import LoadReport
from ingest.rows import SessionRows
from ingest.waiting import Waiting
from warehouse.errors import Refusal, Refused
from warehouse.home import Home
from warehouse.settings import Settings
from warehouse.store import Writer
from warehouse.traces import trace_path, write_trace


@dataclass(frozen=True)
class Taken:
    """A session that is filed, its trace written, and waits for its commit."""

    delivery: Delivery
    contents: Contents
    rows: SessionRows
    entry: Mapping[str, Any]
    trace: Path | None
    old: Path | None
    mark: Path | None


class Job:
    """One load or replay: the warehouse and roster as they stand, and the report as it grows."""

    def __init__(self, home: Home, writer: Writer, *, replaying: bool = False) -> None:
        self.home, self.writer, self.replaying = home, writer, replaying
        self.report = LoadReport()
        self.academy = read_academy(writer, Settings("", "UTC"))
        rows = writer.sql("SELECT session, student, delivery, season, has_plate FROM academy.session")
        self.current = {row[0]: Standing(*row[1:]) for row in rows.iter_rows()}
        if not replaying:
            home.make_folders()
            filing.sweep(home)
        highest = writer.sql("SELECT coalesce(max(sequence), 0) FROM academy.delivery").item()
        self.ledger = ledger.Ledger(home, int(highest))
        refused = writer.connection.execute("SELECT delivery, session FROM academy.refusal").fetchall()
        self._told: set[str | None] = {name for row in refused for name in row}  # named in a refusal
        self.waiting = Waiting(home)
        self.given: Mapping[str, Any] | None = None  # while replaying: the ledger entry at hand
        self.tell: Callable[[str], None] | None = None  # hears how far a film is followed

    def know(self, settings: Settings) -> None:
        """Take settings and read the roster by them; their devices are upserted."""
        self.report.count("device", landing.land_devices(self.writer, settings))
        self.academy = read_academy(self.writer, settings)

    def mend(self) -> None:
        """Finish what an interrupted load committed, drop what it did not."""
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
                self._settle_interrupted(entry)
                filing.finish(self.home, pending, self.ledger, self.read_again)
            else:
                filing.drop(self.home, pending)

    def entry(
        self, delivery: Delivery, contents: Contents, outcome: str, session: str | None = None
    ) -> dict[str, Any]:
        """The ledger line of a delivery: the next one, or while replaying the one at hand."""
        if self.given is not None:
            return dict(self.given)
        return {
            "sequence": self.ledger.next(),
            "received_at": filing.now().isoformat(),
            "content": contents.fingerprint,
            "kind": delivery.kind,
            "outcome": outcome,
            "settings": self.academy.settings.version,
            "name": named(delivery),
            "session": session,
        }

    def commit(
        self,
        delivery: Delivery,
        contents: Contents,
        entry: Mapping[str, Any],
        land: Callable[[], dict[str, int]],
        *,
        before: Callable[[], None] | None = None,
        after: Callable[[], None] | None = None,
        **pending: Any,
    ) -> None:
        """File a delivery, land it in one transaction, write the ledger line, take the originals away.

        `before` writes what must stand before the commit, `after` puts it in place while replaying, when
        there is no pending file to say so; `pending` goes into that file.
        """
        mark = None
        if not self.replaying:
            filing.keep(self.home, delivery, contents)
            mark = filing.mark_pending(self.home, entry, **pending)
        if before is not None:
            before()
        with self.writer.transaction():
            counts = land()
            landing.land_deliveries(self.writer, [_sized(entry, delivery, contents)])
        for table, n in counts.items():
            self.report.count(table, n)
        if delivery.kind == ROSTER:
            self.academy = read_academy(self.writer, self.academy.settings)
        if mark is not None:
            self._finish(mark, delivery, contents)
        elif after is not None:
            after()

    def _finish(
        self, mark: Path, delivery: Delivery, contents: Contents, *, keeps_films: bool = True
    ) -> None:
        """After a commit: the copies in refused/ go, what the pending file says is done, the originals go."""
        self.waiting.settle(delivery, contents.fingerprint, keeps_films=keeps_films)
        filing.finish(self.home, mark, self.ledger, self.read_again)
        filing.take_away(self.home, delivery)

    def take(self, delivery: Delivery, contents: Contents, rows: SessionRows) -> Taken:
        """File a session and write its trace under a passing name; it lands with `commit_sessions`."""
        session = rows.header.session
        outcome = "replaced" if session in self.current else "accepted"
        entry = self.entry(delivery, contents, outcome, session)
        trace, old = self._traces(rows)
        mark = None
        if not self.replaying:
            filing.keep(self.home, delivery, contents, rows.films, rows.unread)
            mark = filing.mark_pending(self.home, entry, trace=trace, old_trace=old)
        if trace is not None and rows.trace is not None:
            write_trace(filing.new_trace(trace, contents.fingerprint), rows.trace)
        return Taken(delivery, contents, rows, entry, trace, old, mark)

    def commit_sessions(self, group: Sequence[Taken]) -> None:
        """Land sessions, no two versions of one, in one transaction: each is in whole or not at all.

        They share the commit because its cost is per statement, not per row.
        """
        replaced = {t.rows.header.session for t in group} & self.current.keys()
        with self.writer.transaction():
            counts = landing.land_sessions(self.writer, [t.rows for t in group], replaced)
            landing.land_deliveries(self.writer, [_sized(t.entry, t.delivery, t.contents) for t in group])
            for taken in group:
                self._session_refusals(taken.rows, taken.entry)
        for table, n in counts.items():
            self.report.count(table, n)
        for taken in group:
            content = taken.contents.fingerprint
            if taken.mark is not None:
                keeps = self.academy.keeps_film(taken.rows.header.student, taken.rows.header.day)
                self._finish(taken.mark, taken.delivery, taken.contents, keeps_films=keeps)
            else:
                filing.place_trace(taken.trace, taken.old, content)
            self._stands(taken.rows, content)
            self.report.accepted.append(taken.rows.header.session)
            self.report.refused += [r.within(delivery=content) for r in taken.rows.refused]
            self.report.notices += taken.rows.notices

    def refuse(
        self,
        delivery: Delivery,
        contents: Contents,
        refused: Sequence[Refusal],
        who: Mapping[str, str | None] | None = None,
    ) -> None:
        """Keep a refused delivery beside its why.json, list it, and take the originals away."""
        listed = [r.within(delivery=contents.fingerprint or None, session=delivery.session) for r in refused]
        self.report.refused += listed
        if not contents.fingerprint:
            return  # its bytes could not be read at all, so there is nothing to keep; it stays where it is
        if self.replaying:
            return  # it was taken once and stands in filed/: the report says that it can't be read now
        entry = self.entry(delivery, contents, "refused", delivery.session)
        at = datetime.fromisoformat(entry["received_at"])
        try:
            filing.keep_refused(self.home, delivery, contents, listed, at)
        except filing.Changed:
            self.ledger.sequence -= 1
            self.leave(delivery)
            return
        self.waiting.changed()
        if delivery.kind == ROSTER and not delivery.waiting:
            self.waiting.supersede(delivery, contents.fingerprint)
        known = landing.refused_sentences(self.writer, contents.fingerprint)
        if known == sorted(r.sentence for r in listed) and contents.fingerprint in self.ledger.refused:
            self.ledger.sequence -= 1  # told before, word for word
        else:
            self.land_refusals(listed, entry, session=None, who=who or {})
            self.ledger.append(entry | {"who": who or {}, "refused": [_plain(r) for r in listed]})
        if not delivery.waiting:
            filing.take_away(self.home, delivery)

    def leave(self, delivery: Delivery) -> None:
        """A delivery that changed under our eyes stays where it is, and the report says so."""
        todo = "it stays where it is; load it again once the copy is done"
        told = refusal("changing", f"{delivery.name} was still being written while it was read", todo)
        self.report.refused.append(told.within(session=delivery.session, file=delivery.name))

    def land_refusals(
        self,
        listed: Sequence[Refusal],
        entry: Mapping[str, Any],
        *,
        session: str | None,
        who: Mapping[str, str | None],
    ) -> None:
        """Rows of academy.refusal for one ledger entry."""
        if not listed and entry["content"] not in self._told and session not in self._told - {None}:
            return
        self._told |= {entry["content"], *(r.session for r in listed)}
        landing.land_refusals(
            self.writer,
            listed,
            delivery=entry["content"],
            session=session,
            at=datetime.fromisoformat(entry["received_at"]),
            name=entry["name"],
            who=who,
        )

    def whys(self) -> list[tuple[Path, dict[str, Any]]]:
        """Every why.json of refused/ that can be read."""
        return self.waiting.whys()

    def _settle_interrupted(self, entry: Mapping[str, Any]) -> None:
        """What a load that ended right after its commit had still to do in refused/."""
        session, keeps = entry["session"], True
        if session in self.current:
            at = self.writer.sql("SELECT started_at FROM academy.session WHERE session = ?", [session]).item()
            keeps = self.academy.keeps_film(
                self.current[session].student, day_of(at, self.academy.settings.zone)
            )
        delivery = filed_delivery(self.home, entry["content"], entry["kind"], session)
        self.waiting.settle(delivery, entry["content"], keeps_films=keeps)

    def _session_refusals(self, rows: SessionRows, entry: Mapping[str, Any]) -> None:
        header = rows.header
        who = {"student": header.student, "coach": header.coach, "device": header.device}
        self.land_refusals(rows.refused, entry, session=header.session, who=who)

    def _stands(self, rows: SessionRows, content: str) -> None:
        """Remember a session's new version, and that its student was touched."""
        header = rows.header
        old = self.current.get(header.session)
        self.current[header.session] = Standing(header.student, content, rows.season, rows.trace is not None)
        self.report.touched |= {header.student} | ({old.student} if old else set())

    def _traces(self, rows: SessionRows) -> tuple[Path | None, Path | None]:
        """Where a session's new trace goes and where its earlier version's stands."""
        session, old = rows.header.session, self.current.get(rows.header.session)
        return (
            trace_path(self.home, rows.season, session) if rows.trace is not None else None,
            trace_path(self.home, old.season, session) if old is not None and old.has_plate else None,
        )

    def read_again(self, session: str) -> None:
        """Land a standing session once more from its filed bytes: something it was read by has changed."""
        standing = self.current.get(session)
        if standing is None:
            return
        content = standing.delivery
        delivery = filed_delivery(self.home, content, SESSION, session)
        found = self.writer.sql("SELECT * FROM academy.delivery WHERE delivery = ?", [content])
        if found.is_empty():
            return
        entry = found.sort("sequence").row(-1, named=True)
        entry |= {"content": content, "received_at": entry["received_at"].isoformat()}
        try:
            contents = delivery.read()
            rows = read_session(contents, delivery, self.academy, self.tell)
        except Refused as refused:
            self.report.refused.append(refused.refusal.within(delivery=content, session=session))
            return
        if not self.replaying:
            filing.keep_more(delivery.base, rows.films, rows.unread)
        trace, old = self._traces(rows)
        if trace is not None and rows.trace is not None:
            write_trace(filing.new_trace(trace, content), rows.trace)
        with self.writer.transaction():
            landing.land_sessions(self.writer, [rows], [session])
            self._session_refusals(rows, entry)
        filing.place_trace(trace, old, content)
        self._stands(rows, content)


def _sized(entry: Mapping[str, Any], delivery: Delivery, contents: Contents) -> dict[str, Any]:
    return {**entry, "n_files": len(delivery.files), "n_bytes": contents.n_bytes}


def _plain(refused: Refusal) -> dict[str, Any]:
    names = ("session", "swing_no", "file", "line", "column", "reason", "sentence")
    return {name: getattr(refused, name) for name in names}
