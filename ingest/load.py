"""The job: deliveries in, each accepted whole, found unchanged, or refused with one sentence.

Archives are unpacked first. Order: roster files, sessions by their start, loose notes, loose shots.
Sessions are read ahead on a few threads; one thread writes. What a crash leaves half done, the next load
finishes.
"""

import logging
from collections.abc import Callable, Iterable, Sequence
from contextlib import suppress
from pathlib import Path

from ingest import filing, ledger
from ingest.archives import Archives
from ingest.delivery import ROSTER, SESSION, SETTINGS, Delivery, filed_delivery, find, in_order, placed
from ingest.dropping import forget_refusals
from ingest.files import Files
from ingest.job import Job, LoadReport
from ingest.outcomes import AcceptedDeliveries, RefusedDeliveries
from ingest.placing import Placing
from ingest.sessions import Sessions
from warehouse import journal
from warehouse.errors import CallError, Refusal, UnderfootError
from warehouse.filed import problem
from warehouse.home import Home, write_synced
from warehouse.publishing import settle_rebuild
from warehouse.settings import parse_settings
from warehouse.store import Writer, disk_errors_in_words, opened

log = logging.getLogger(__name__)
Progress = Callable[[int, int, str], None]


def load(
    home: Home, writer: Writer, paths: Sequence[str | Path] = (), *, progress: Progress | None = None
) -> LoadReport:
    """Load every delivery under the paths (the inbox when there are none).

    Sessions that wait in refused/ for a consent are tried again once consents come.

    Raises
        CallError: a path does not exist, or there is no academy.
        UnderfootError: academy.toml is not right.
    """
    return _run(home, writer, [Path(p) for p in paths] or [home.inbox], progress)


def retry(home: Home, writer: Writer, *, progress: Progress | None = None) -> LoadReport:
    """Try every refused delivery again, except versions of a session that a later delivery replaced.

    Raises
        CallError: there is no academy.
        UnderfootError: academy.toml is not right.
    """
    home.make_folders()
    reasons = filing.RefusedFolder(home).reasons()
    waiting = [path.parent for path, why in reasons if "superseded_by" not in why]
    return _run(home, writer, waiting, progress)


def _run(home: Home, writer: Writer, paths: Sequence[Path], progress: Progress | None) -> LoadReport:
    accepted = open_job(home, writer)
    with journal.step(log, "looked for deliveries under %s", ", ".join(map(str, paths))):
        deliveries = placed(home, find(paths))
    _first_settings(home, deliveries)
    _prepare(home, accepted)
    job, archives = accepted.job, Archives(accepted.refused)
    deliveries = in_order(inside for outer in deliveries for inside in archives.open(outer))
    for delivery in deliveries:
        log.info("found %s (%s)", delivery.name, delivery.kind)
    files, sessions = Files(accepted), Sessions(accepted)
    count = _Count(progress, len(deliveries))
    job.progress = count.show
    for delivery in (d for d in deliveries if d.kind == ROSTER):
        files.settle(delivery)
        count(delivery.name)
    deliveries = in_order(Placing(accepted).place(d for d in deliveries if d.kind != ROSTER))
    to_read = [d for d in deliveries if d.kind == SESSION]
    if files.consents_came or job.academy.settings.consents_kept_elsewhere:
        count.total -= len(to_read)
        to_read = sessions.with_waiting(to_read)
        count.total += len(to_read)
    for prepared in sessions.read_ahead(to_read):
        sessions.settle(prepared)
        count(prepared.delivery.name)
    sessions.flush()
    for delivery in (d for d in deliveries if d.kind not in (ROSTER, SESSION)):
        files.settle(delivery)
        count(delivery.name)
    archives.close()
    for facts in job.report.refusals():
        journal.record(home, "refused", **facts)
    return job.report


def open_job(home: Home, writer: Writer) -> AcceptedDeliveries:
    """A load's own objects, on a home cleared of what a crash left half copied."""
    home.make_folders()
    filing.sweep(home)
    job = Job(home, writer)
    return AcceptedDeliveries(job, RefusedDeliveries(job))


def _prepare(home: Home, accepted: AcceptedDeliveries) -> None:
    """Take the settings in force, then finish what an interrupted load left, which may bring other ones."""
    _take_settings(home, accepted)
    accepted.finish_interrupted()
    if home.settings() != accepted.job.academy.settings:
        _take_settings(home, accepted)


def _take_settings(home: Home, accepted: AcceptedDeliveries) -> None:
    settings = home.settings()
    ledger.keep_settings(home, home.settings_file.read_bytes())
    accepted.use_settings(settings)


def settle(home: Home) -> None:
    """Before a rebuild: finish what an interrupted load committed, drop what it did not. Only under the lock.

    When the warehouse can't be read any more, that load is forgotten: its deliveries are still in the inbox,
    since originals leave only after their ledger line.

    Raises
        CallError: there is no academy.
    """
    try:
        settle_rebuild(home)
        with disk_errors_in_words(home), opened(home) as found:
            _prepare(home, open_job(home, found))
    except CallError:
        raise
    except UnderfootError:
        for pending in sorted(home.filed.glob(ledger.PENDING)):
            ledger.drop(home, pending)


class _Count:
    """Counts deliveries for the progress bar."""

    def __init__(self, progress: Progress | None, total: int) -> None:
        self.progress, self.total, self.done = progress, total, 0

    def __call__(self, name: str) -> None:
        self.done += 1
        self.show(name)

    def show(self, name: str) -> None:
        """Name what is being done."""
        if self.progress is not None:
            self.progress(self.done, self.total, name)


def _first_settings(home: Home, deliveries: Iterable[Delivery]) -> None:
    """A home without academy.toml takes the first one delivered, so that there are settings to read by."""
    found = next((d for d in deliveries if d.files == (SETTINGS,)), None)
    if not home.settings_file.exists() and found is not None:
        data = found.path.read_bytes()
        with suppress(UnderfootError):
            parse_settings(data)
            write_synced(home.settings_file, data.decode("utf-8-sig"))


def replay(home: Home, writer: Writer, *, progress: Progress | None = None) -> LoadReport:
    """Land everything the ledger names, in its order and by the settings of its time, from filed/.

    For an empty warehouse: its rows become those of the loads that were. Nothing is filed, moved or refused.

    A session that today's rules refuse is left out, and named in the report's notices.

    Raises
        UnderfootError: a filed delivery or its settings are missing or damaged.
    """
    job = Job(home, writer, replaying=True)
    accepted = AcceptedDeliveries(job, RefusedDeliveries(job))
    files, sessions = Files(accepted), Sessions(accepted)
    entries = list(ledger.entries(home))
    count = _Count(progress, len(entries))
    job.progress = count.show
    version = None
    for entry in entries:
        lands = entry["outcome"] not in ledger.NOT_IN
        is_session = entry["kind"] == SESSION and lands
        if entry["settings"] != version or not is_session:
            sessions.flush()
        if entry["settings"] != version:
            version = entry["settings"]
            accepted.use_settings(parse_settings(ledger.settings_of(home, version), past=True))
        job.replayed = entry
        if entry["outcome"] == ledger.DROPPED:
            forget_refusals(writer, entry["content"])
        elif entry["outcome"] == "refused":
            listed = [Refusal(**row, delivery=entry["content"]) for row in entry["refused"]]
            accepted.refused.land(listed, entry, session=None, who=entry["who"])
        else:
            _check_filed(home, entry["content"], entry["name"])
            delivery = filed_delivery(home, entry["content"], entry["kind"], entry["session"])
            if is_session:
                sessions.settle(sessions.prepare(delivery))
            else:
                files.settle(delivery)
        count(entry["name"])
    sessions.flush()
    job.replayed = None
    accepted.use_settings(home.settings())
    once = {e["session"] for e in entries if e["kind"] == SESSION and e["outcome"] not in ledger.NOT_IN}
    for session in sorted(once - set(writer.sql("SELECT session FROM academy.session").to_series())):
        why = next((r.sentence for r in job.report.refused if r.session == session), "it can't be read.")
        job.report.notices.append(f"Session {session} was accepted once and is left out now: {why}")
    return job.report


def _check_filed(home: Home, content: str, name: str) -> None:
    """Compare a filed delivery with the content hash that the ledger names."""
    folder = home.filed / content
    what = problem(folder)
    if what is not None:
        raise UnderfootError(
            f"The filed delivery {name} ({folder}) is {what}; the warehouse stays as it was: restore filed/ "
            "from a backup and run it again."
        )
