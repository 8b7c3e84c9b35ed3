"""The job: deliveries in, each taken in whole, found unchanged, or refused with one sentence.

Archives are unpacked first. Order: roster files, sessions by their start, loose notes, loose shots.
Sessions are read ahead on a few threads; one thread writes. What a crash leaves half done, the next load
finishes.
"""

from collections.abc import Callable, Iterable, Sequence
from contextlib import suppress
from pathlib import Path

from ingest import filing, ledger
from ingest.deliveries import (
    ROSTER,
    SESSION,
    SETTINGS,
    Delivery,
    filed_delivery,
    find,
    in_order,
    placed,
)
from ingest.files import Files
from ingest.job import Job
from ingest.report import LoadReport
from ingest.sessions import Sessions
from ingest.unpacking import Unpacking
from warehouse.errors import CallError, Refusal, UnderfootError
from warehouse.filed import content_hash
from warehouse.home import Home, write_synced
from warehouse.settings import parse_settings
from warehouse.store import Writer, writer

Progress = Callable[[int, int, str], None]

__all__ = ["LoadReport", "load", "replay", "retry", "settle_interrupted"]


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
    waiting = [why.parent for why, told in Job(home, writer).whys() if "superseded_by" not in told]
    return _run(home, writer, waiting, progress)


def _run(home: Home, writer: Writer, paths: Sequence[Path], progress: Progress | None) -> LoadReport:
    job = Job(home, writer)
    deliveries = placed(home, find(paths))
    _first_settings(home, deliveries)
    _prepare(home, job)
    unpacking = Unpacking(job)
    deliveries = in_order(d for given in deliveries for d in unpacking.open(given))
    files, sessions = Files(job), Sessions(job)
    given = [d for d in deliveries if d.kind == SESSION]
    step = _Steps(progress, len(deliveries))
    job.tell = step.say
    for delivery in (d for d in deliveries if d.kind == ROSTER):
        files.settle(delivery)
        step(delivery.name)
    if files.consents_came or job.academy.settings.consents_kept_elsewhere:
        known, given = len(given), sessions.waiting(given)
        step.total += len(given) - known
    for prepared in sessions.read_ahead(given):
        sessions.settle(prepared)
        step(prepared.delivery.name)
    sessions.flush()
    for delivery in (d for d in deliveries if d.kind not in (ROSTER, SESSION)):
        files.settle(delivery)
        step(delivery.name)
    unpacking.close()
    return job.report


def _prepare(home: Home, job: Job) -> None:
    """Take the settings in force, then finish what an interrupted load left."""
    settings = home.settings()
    ledger.keep_settings(home, home.settings_file.read_bytes())
    job.know(settings)
    job.mend()


def settle_interrupted(home: Home, on_wait: Callable[[], None] | None = None) -> None:
    """Before a rebuild: finish what an interrupted load committed, drop what it did not.

    When the standing warehouse can't be asked any more it is forgotten: what that load was about to take
    still stands in the inbox, since originals leave only after their ledger line.

    Raises
        CallError: there is no academy.
    """
    try:
        with writer(home, on_wait) as opened:
            _prepare(home, Job(home, opened))
    except CallError:
        raise
    except UnderfootError:
        for pending in sorted(home.filed.glob(filing.PENDING)):
            filing.drop(home, pending)


class _Steps:
    """Counts deliveries for the progress bar."""

    def __init__(self, progress: Progress | None, total: int) -> None:
        self.progress, self.total, self.done = progress, total, 0

    def __call__(self, name: str) -> None:
        self.done += 1
        self.say(name)

    def say(self, name: str) -> None:
        """Name what is at work."""
        if self.progress is not None:
            self.progress(self.done, self.total, name)


def _first_settings(home: Home, deliveries: Iterable[Delivery]) -> None:
    """A home without academy.toml takes the first one delivered, so that there is something to read by."""
    given = next((d for d in deliveries if d.files == (SETTINGS,)), None)
    if not home.settings_file.exists() and given is not None:
        data = given.path.read_bytes()
        with suppress(UnderfootError):
            parse_settings(data)
            write_synced(home.settings_file, data.decode("utf-8-sig"))


def replay(home: Home, writer: Writer, *, progress: Progress | None = None) -> LoadReport:
    """Land everything the ledger names, in its order and by the settings of its time, from filed/.

    For a fresh warehouse: the rows are those of the loads that were. Nothing is filed, moved or refused anew.

    A session that today's rules refuse is left out, and said in the report's notices.

    Raises
        UnderfootError: a filed delivery or its settings are missing or damaged.
    """
    job = Job(home, writer, replaying=True)
    files, sessions = Files(job), Sessions(job)
    entries = list(ledger.entries(home))
    step = _Steps(progress, len(entries))
    job.tell = step.say
    version = None
    for entry in entries:
        is_session = entry["kind"] == SESSION and entry["outcome"] != "refused"
        if entry["settings"] != version or not is_session:
            sessions.flush()
        if entry["settings"] != version:
            version = entry["settings"]
            job.know(parse_settings(ledger.settings_of(home, version), past=True))
        job.given = entry
        if entry["outcome"] == "refused":
            listed = [Refusal(**row, delivery=entry["content"]) for row in entry["refused"]]
            job.land_refusals(listed, entry, session=None, who=entry["who"])
        else:
            _sound(home, entry["content"], entry["name"])
            delivery = filed_delivery(home, entry["content"], entry["kind"], entry["session"])
            if is_session:
                sessions.settle(sessions.prepare(delivery))
            else:
                files.settle(delivery)
        step(entry["name"])
    sessions.flush()
    job.given = None
    job.know(home.settings())
    taken = {e["session"] for e in entries if e["kind"] == SESSION and e["outcome"] != "refused"}
    for session in sorted(taken - set(writer.sql("SELECT session FROM academy.session").to_series())):
        said = next((r.sentence for r in job.report.refused if r.session == session), "it can't be read.")
        job.report.notices.append(f"Session {session} was taken once and is left out now: {said}")
    return job.report


def _sound(home: Home, content: str, name: str) -> None:
    """Hold a filed delivery against the content hash that the ledger names.

    Raises
        UnderfootError: it is missing or damaged.
    """
    folder = home.filed / content
    try:
        found = content_hash(folder) if folder.is_dir() else "missing"
    except OSError:
        found = "damaged"
    if found != content:
        what = "missing" if found == "missing" else "damaged"
        raise UnderfootError(
            f"The filed delivery {name} ({folder}) is {what}; the warehouse stays as it was: bring filed/ "
            "back from a backup and run it again."
        )
