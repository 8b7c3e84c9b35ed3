"""Session deliveries: read ahead on a few threads, taken in one by one, in order."""

import os
from collections import deque
from collections.abc import Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, replace

from ingest import filing
from ingest.deliveries import Contents, Delivery, find, placed
from ingest.job import Job, Taken
from ingest.reading import SessionRefused, read_session
from ingest.refusals import UNREADABLE, unreadable
from ingest.rows import SessionRows
from ingest.standing import StandingReads
from warehouse.errors import Refusal, Refused

READERS = min(4, os.cpu_count() or 1)
GROUP = 16  # sessions that share a commit


@dataclass(frozen=True)
class Prepared:
    """A session after reading: its rows, or why it is refused, or neither when it is unchanged."""

    delivery: Delivery
    contents: Contents
    rows: SessionRows | None = None
    refused: Refused | None = None


class Sessions:
    """Takes session deliveries into a job's warehouse."""

    def __init__(self, job: Job) -> None:
        self.job = job
        self._told_how = False
        self._group: list[Taken] = []
        self._reads = StandingReads(job)

    def waiting(self, given: list[Delivery]) -> list[Delivery]:
        """The sessions given, and those that wait in refused/ for a consent, by their start."""
        folders = [
            why.parent
            for why, told in self.job.whys()
            if told.get("reason") == "no_consent" and "superseded_by" not in told
        ]
        known = {d.path for d in given}
        more = [d for d in placed(self.job.home, find(folders)) if d.path not in known]
        return sorted(given + more, key=lambda d: (d.started_at is not None, d.started_at, str(d.path)))

    def read_ahead(self, sessions: Iterable[Delivery]) -> Iterator[Prepared]:
        """Read sessions on a few threads, a few ahead of the writer, and hand them on in order."""
        queue: deque[Future[Prepared]] = deque()
        self._reads.look()
        with ThreadPoolExecutor(READERS) as pool:
            for delivery in sessions:
                queue.append(pool.submit(self.prepare, delivery))
                if len(queue) > 2 * READERS:
                    yield queue.popleft().result()
            while queue:
                yield queue.popleft().result()

    def prepare(self, delivery: Delivery) -> Prepared:
        """Read one session; nothing is changed."""
        contents, same = Contents({}, "", 0), False
        try:
            contents = delivery.read()
            contents.check_sizes()
            same = self._same(delivery, contents)
            if same and not self._reads.may_differ(delivery, contents):
                return Prepared(delivery, contents)
            rows = read_session(contents, delivery, self.job.academy, self.job.tell)
            if same and not self._reads.differ(contents, rows):
                return Prepared(delivery, contents)
        except Refused as refused:
            if same:
                return Prepared(delivery, contents)  # it goes on standing as it was read once
            return Prepared(delivery, contents, refused=refused)
        except UNREADABLE as error:
            if same:
                return Prepared(delivery, contents)
            return Prepared(
                delivery, contents, refused=unreadable(delivery.name, delivery.session, None, error)
            )
        return Prepared(delivery, contents, rows)

    def _same(self, delivery: Delivery, contents: Contents) -> bool:
        """Whether the bytes are those of the session's version that stands."""
        standing = self.job.current.get(delivery.session or "")
        return not self.job.replaying and standing is not None and standing.delivery == contents.fingerprint

    def settle(self, prepared: Prepared) -> None:
        """Take a session in, find it unchanged, or refuse it; what is taken lands with the next `flush`."""
        delivery, contents = prepared.delivery, prepared.contents
        if delivery.session in {taken.rows.header.session for taken in self._group}:
            self.flush()  # two versions of one session land one after the other
        if prepared.rows is None and prepared.refused is None and not self._same(delivery, contents):
            prepared = self.prepare(delivery)  # another version came in between
        if prepared.refused is not None:
            self.flush()
            self._refuse(delivery, contents, prepared.refused)
        elif prepared.rows is None or (
            self._same(delivery, contents) and not self._reads.differ(contents, prepared.rows)
        ):
            self.job.report.unchanged.append(delivery.session or delivery.name)
            filing.take_away(self.job.home, delivery)
        else:
            try:
                self._group.append(self.job.take(delivery, contents, prepared.rows))
                self._reads.note(contents, prepared.rows)
            except filing.Changed:
                self.job.leave(delivery)
            if len(self._group) >= GROUP:
                self.flush()

    def flush(self) -> None:
        """Land the sessions taken since the last time."""
        group, self._group = self._group, []
        if group:
            self.job.commit_sessions(group)

    def _refuse(self, delivery: Delivery, contents: Contents, refused: Refused) -> None:
        if delivery.waiting and refused.refusal.reason == "no_consent":
            return  # it goes on waiting, as it was told before
        if not isinstance(refused, SessionRefused):
            self.job.refuse(delivery, contents, [refused.refusal])
            return
        header = refused.header
        who = {"student": header.student, "coach": header.coach, "device": header.device}
        self.job.refuse(delivery, contents, [self._with_how(r) for r in refused.listed], who)

    def _with_how(self, whole: Refusal) -> Refusal:
        """While no consent is kept at all, the first refusal for want of one says both ways to go."""
        if whole.reason != "no_consent" or self.job.academy.consents or self._told_how:
            return whole
        self._told_how = True
        how = (
            ' (an academy that keeps its consents elsewhere says consents = "kept elsewhere" in academy.toml)'
        )
        return replace(whole, sentence=whole.sentence.removesuffix(".") + how + ".")
