"""Session deliveries: read ahead on a few threads, accepted one by one, in order.

The bytes of a session in the warehouse are read again when some of it was refused or the settings it was read
by have changed.
"""

import logging
import os
from collections import deque
from collections.abc import Iterable, Iterator, Mapping
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, replace
from typing import Any

from ingest import filing, ledger
from ingest.delivery import SESSION, Contents, Delivery, find, placed
from ingest.job import Job
from ingest.outcomes import AcceptedDeliveries, FiledSession
from ingest.reading import SessionRefused, read_session
from ingest.reading_process import READ_LIMIT_S, is_little, read_apart
from ingest.refusals import UNREADABLE, refused_for
from ingest.rights import Right, filed_version
from ingest.rows import SessionRows
from warehouse import journal
from warehouse.errors import Refusal, Refused, UnderfootError
from warehouse.journal import step
from warehouse.settings import Settings, parse_settings
from warehouse.vocabulary import is_film

READERS = min(4, os.cpu_count() or 1)
log = logging.getLogger(__name__)
FILM_LIMIT_S = 600.0  # one of two minutes is read in some 100 s
GROUP = 16  # sessions that share a commit


@dataclass(frozen=True)
class Prepared:
    """A session after reading: its rows, or why it is refused, or neither when it is unchanged."""

    delivery: Delivery
    contents: Contents
    rows: SessionRows | None = None
    refused: Refused | None = None


class Sessions:
    """Accepts session deliveries, finds them unchanged, or refuses them."""

    def __init__(self, accepted: AcceptedDeliveries) -> None:
        self.job, self.accepted, self.refused = accepted.job, accepted, accepted.refused
        self._explained_consents = False
        self._group: list[FiledSession] = []
        self._earlier = EarlierReadings(self.job)

    def with_waiting(self, deliveries: list[Delivery]) -> list[Delivery]:
        """These sessions, and those that wait in refused/ for a consent, by their start."""
        folders = [
            path.parent
            for path, why in self.refused.folder.reasons()
            if why.get("reason") == "no_consent" and "superseded_by" not in why
        ]
        known = {d.path for d in deliveries}
        more = [d for d in placed(self.job.home, find(folders)) if d.path not in known]
        return sorted(deliveries + more, key=lambda d: (d.started_at is not None, d.started_at, str(d.path)))

    def read_ahead(self, sessions: Iterable[Delivery]) -> Iterator[Prepared]:
        """Read sessions on a few threads, a few ahead of the writer, and hand them on in order."""
        queue: deque[Future[Prepared]] = deque()
        self._earlier.look_up()
        with ThreadPoolExecutor(READERS) as pool:
            for delivery in sessions:
                queue.append(pool.submit(self.prepare, delivery, self.job.right_of(delivery.by)))
                if len(queue) > 2 * READERS:
                    yield queue.popleft().result()
            while queue:
                yield queue.popleft().result()

    def prepare(self, delivery: Delivery, right: Right | None = None) -> Prepared:
        """Read one session, by what its deliverer may deliver; nothing is changed."""
        contents, same = Contents({}, "", 0), False
        try:
            contents = delivery.read()
            contents.check_sizes()
            same = self._same(delivery, contents)
            if same and not self._earlier.may_differ(delivery, contents):
                return Prepared(delivery, contents)
            with step(log, "read %s", delivery.name):
                rows = self._read(delivery, contents, right)
            if same and not self._earlier.differ(contents, rows):
                return Prepared(delivery, contents)
        except UNREADABLE as error:
            if same:
                return Prepared(delivery, contents)  # the version in the warehouse is kept
            refused = refused_for(error, delivery.name, session=delivery.session)
            return Prepared(delivery, contents, refused=refused)
        return Prepared(delivery, contents, rows)

    def _read(self, delivery: Delivery, contents: Contents, right: Right | None) -> SessionRows:
        """The session's rows, read in a process of its own if it is more than a little text."""
        job = self.job
        if delivery.filed or is_little(delivery.files, contents.n_bytes):
            return read_session(contents, delivery, job.academy, right, job.progress)
        films = sum(map(is_film, delivery.files))
        limit_s = READ_LIMIT_S + FILM_LIMIT_S * films
        given = contents, delivery, job.academy, right
        return read_apart(delivery.name, limit_s, job.progress, read_session, *given)

    def _same(self, delivery: Delivery, contents: Contents) -> bool:
        """Whether the bytes are those of the session's version in the warehouse."""
        version = self.job.sessions.get(delivery.session or "")
        return not self.job.replaying and version is not None and version.delivery == contents.fingerprint

    def settle(self, prepared: Prepared) -> None:
        """File a session, find it unchanged, or refuse it; what is filed lands with the next `flush`."""
        delivery, contents = prepared.delivery, prepared.contents
        if delivery.session in {filed.rows.header.session for filed in self._group}:
            self.flush()  # two versions of one session land one after the other
        if prepared.rows is None and prepared.refused is None and not self._same(delivery, contents):
            prepared = self.prepare(delivery, self.job.right_of(delivery.by))  # another version came between
        if prepared.rows is not None:
            checked = self.accepted.body_check.of_session(prepared.rows, contents.fingerprint)
            prepared = replace(prepared, rows=checked)
        prepared = self._with_right(prepared)
        if prepared.refused is not None:
            self.flush()
            self._refuse(delivery, contents, prepared.refused)
        elif prepared.rows is None or (
            self._same(delivery, contents) and not self._earlier.differ(contents, prepared.rows)
        ):
            self.job.report.unchanged.append(delivery.session or delivery.name)
            filing.take_away(self.job.home, delivery)
        else:
            try:
                self._group.append(self.accepted.file_session(delivery, contents, prepared.rows))
                self._earlier.accepted(contents, prepared.rows)
            except filing.Changed:
                self.refused.leave(delivery)
            if len(self._group) >= GROUP:
                self.flush()

    def _with_right(self, prepared: Prepared) -> Prepared:
        """A session, refused where it would take the place of one that its deliverer may not correct."""
        delivery, rows = prepared.delivery, prepared.rows
        right = self.job.right_of(delivery.by)
        if right is None or rows is None or self._same(delivery, prepared.contents):
            return prepared
        filed = filed_version(self.job.writer, rows.header.session)
        try:
            if filed is not None:
                right.check_correction(rows.header.session, filed)
        except Refused as refused:
            return replace(prepared, rows=None, refused=SessionRefused(refused.refusal, rows.header))
        self._record_overruled(right, rows, filed)
        return prepared

    def _record_overruled(self, right: Right, rows: SessionRows, filed: Mapping[str, Any] | None) -> None:
        """What a head coach delivers under another's name, or over another's session, is in the event log."""
        header, person = rows.header, right.deliverer.person
        owner = (filed["delivered_by"] or filed["coach"]) if filed is not None else None
        others = sorted({name for name in (header.coach, owner) if name not in (None, person)})
        if others:
            journal.record(
                self.job.home, "delivered_for_another", viewer=person, session=header.session, of=others
            )

    def flush(self) -> None:
        """Land the sessions filed since the last time."""
        group, self._group = self._group, []
        if group:
            self.accepted.commit_sessions(group)

    def _refuse(self, delivery: Delivery, contents: Contents, refused: Refused) -> None:
        if delivery.waiting and refused.refusal.reason == "no_consent":
            return  # it goes on waiting
        if not isinstance(refused, SessionRefused):
            self.refused.refuse(delivery, contents, [refused.refusal])
            return
        listed = [self._with_advice(whole) for whole in refused.listed]
        self.refused.refuse(delivery, contents, listed, refused.header.who)

    def _with_advice(self, whole: Refusal) -> Refusal:
        """While no consent is kept at all, the first refusal for lack of one names both ways to go on."""
        if whole.reason != "no_consent" or self.job.academy.consents or self._explained_consents:
            return whole
        self._explained_consents = True
        how = (
            ' (an academy that keeps its consents elsewhere says consents = "kept elsewhere" in academy.toml)'
        )
        return replace(whole, sentence=whole.sentence.removesuffix(".") + how + ".")


class EarlierReadings:
    """By which settings the sessions in the warehouse were read, and what was refused, by content hash.

    It is looked up once, before sessions are read on threads, and kept up to date with what is accepted.
    """

    def __init__(self, job: Job) -> None:
        self.job = job
        self._versions: dict[str, str] = {}
        self._refused: dict[str, list[str]] = {}
        self._reads_the_same: dict[str, bool] = {}

    def look_up(self) -> None:
        """Read the ledger and the refusals in force."""
        self._versions = {
            entry["content"]: entry["settings"]
            for entry in ledger.entries(self.job.home)
            if entry["kind"] == SESSION and entry["outcome"] not in ledger.NOT_IN
        }
        self._refused, self._reads_the_same = {}, {}
        refusals = self.job.writer.sql(
            "SELECT delivery, sentence FROM academy.refusal WHERE delivery IS NOT NULL"
        )
        for content, sentence in refusals.iter_rows():
            self._refused.setdefault(content, []).append(sentence)
        for version in set(self._versions.values()):
            self._reads_the_same[version] = self._compare(version)

    def may_differ(self, delivery: Delivery, contents: Contents) -> bool:
        """Whether the same bytes should be read again: some were refused, or the settings were others.

        Sessions with films are not, since what was kept of their films belongs to the reading in force.
        """
        if any(is_film(name) for name in delivery.files):
            return False
        content = contents.fingerprint
        return bool(self._refused.get(content)) or self._other_settings(content)

    def differ(self, contents: Contents, rows: SessionRows) -> bool:
        """Whether what was read again replaces what is in the warehouse: other settings or refusals."""
        content = contents.fingerprint
        sentences = sorted(refusal.sentence for refusal in rows.refused)
        return self._other_settings(content) or sentences != sorted(self._refused.get(content, []))

    def accepted(self, contents: Contents, rows: SessionRows) -> None:
        """A session was accepted: it is read by the present settings now."""
        content = contents.fingerprint
        self._versions[content] = self.job.academy.settings.version
        self._reads_the_same[self.job.academy.settings.version] = True
        self._refused[content] = [refusal.sentence for refusal in rows.refused]

    def _other_settings(self, content: str) -> bool:
        version = self._versions.get(content)
        return version is not None and not self._reads_the_same.get(version, True)

    def _compare(self, version: str) -> bool:
        """Whether a session is read by settings of then as by those of now; unknown ones count as such."""
        current = self.job.academy.settings
        if version == current.version:
            return True
        try:
            then = parse_settings(ledger.settings_of(self.job.home, version), past=True)
        except UnderfootError:
            return True
        return _read_by(then) == _read_by(current)


def _read_by(settings: Settings) -> tuple[object, ...]:
    """What of the settings a session is read by."""
    devices = {name: dict(device.raw) for name, device in settings.devices.items()}
    return settings.time_zone, dict(settings.club_families), devices
