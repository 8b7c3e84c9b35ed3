"""What changes a home, each job from what is delivered, due or asked for to what is published.

Ingest knows no models, nor how a terminal is written to: whoever makes a loader gives it both.
"""

from collections.abc import Iterable, Sequence
from contextlib import AbstractContextManager, closing, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol

from ingest import dropping, retention
from ingest import load as job
from ingest.forgetting import forget
from ingest.formats import calendars
from ingest.job import LoadReport
from ingest.removal import remove_pages_of
from warehouse import access_log, consent, forgotten, journal
from warehouse.errors import CallError
from warehouse.filed import DROP_ASKED
from warehouse.home import Home
from warehouse.store import Writer, open_snapshot, rebuilding, unanswered, writer


class _Models(Protocol):
    """models.build."""

    def refresh(
        self,
        home: Home,
        writer: Writer,
        *,
        touched: Iterable[str] = (),
        progress: job.Progress | None = None,
    ) -> Any: ...

    def build(self, home: Home, writer: Writer, *, progress: job.Progress | None = None) -> Any: ...


class _Terminal(Protocol):
    """dashboard.terminal."""

    def progress(self, title: str, *, quiet: bool = False) -> AbstractContextManager[job.Progress]: ...

    def say_waiting(self) -> None: ...

    def say_problems(self, refreshed: Any) -> None: ...

    def show_left_out(self, report: Any) -> None: ...


@dataclass(frozen=True)
class Loader:
    """The jobs on one home. One that writes waits until no other does."""

    home: Home
    models: _Models
    terminal: _Terminal
    quiet: bool = False

    def load(self, paths: Sequence[Path] | None = (), *, whole: bool = False) -> LoadReport:
        """Load the paths (none: the inbox; null: what was refused), then refresh or build, and publish.

        `whole`: build in any case; else only where a consent has ended or begun.
        """
        self.forget_asked(begun=True)
        with (
            journal.recorded(self.home, "load" if paths is not None else "retry") as facts,
            self._writer() as w,
            unanswered(w) as students,
        ):
            with self.terminal.progress("Loading deliveries", quiet=self.quiet) as step:
                if paths is None:
                    report = job.retry(self.home, w, progress=step)
                else:
                    report = job.load(self.home, w, paths, progress=step)
            facts.update(report.counts())
            if whole or consent.is_owed(w, self.home.settings()):
                self._build(w)
            else:
                with self.terminal.progress("Reducing swings", quiet=self.quiet) as step:
                    self._refresh(w, report.touched | students, step)
            w.publish()
        self.chores()
        return report

    def build(self) -> None:
        """Refit everything academy-wide and publish."""
        with journal.recorded(self.home, "build"), self._writer() as w:
            self._build(w)
            w.publish()

    def rebuild(self) -> None:
        """The warehouse made again from filed/ beside the one in use, and put in its place.

        Raises
            CallError: there is no academy.
            UnderfootError: what is filed can't be read, or the disk fails; the warehouse stays as it was.
        """
        with journal.recorded(self.home, "rebuild") as facts, self.home.lock(self.terminal.say_waiting):
            job.settle(self.home)
            with rebuilding(self.home) as w:
                facts.update(self._remake(w).counts())

    def forget_asked(self, *, begun: bool = False) -> list[forgotten.Receipt]:
        """Forget everyone who is to be forgotten (if it has `begun` with any of them), and rebuild.

        Returns what was removed.

        Raises
            CallError: there is no academy, or somebody can't be forgotten (see `forgetting.forget`).
            UnderfootError: as `rebuild`.
        """
        if not any(request.noted or not begun for request in forgotten.asked(self.home)):
            return []
        with journal.recorded(self.home, "forget") as facts, self.home.lock(self.terminal.say_waiting):
            job.settle(self.home)
            receipts = forget(self.home, self._remake)
            facts.update(students=len(receipts))
        return receipts

    def drop(self, names: Sequence[str] = ()) -> list[str]:
        """Drop refused deliveries: those named, else those that somebody asked for on the pages.

        Returns their folders.
        """
        with journal.recorded(self.home, "drop") as facts, self._writer() as w:
            folders = dropping.drop(self.home, w, names) if names else dropping.drop_asked(self.home, w)
            facts.update(dropped=len(folders))
            self._refresh(w)
            w.publish()
        return folders

    def chores(self) -> None:
        """Between loads: remove whoever and what is to go, and build anew once a consent ended or began."""
        retention.carry_out(self.home)
        self.forget_asked()
        if any(self.home.refused.glob(f"*/{DROP_ASKED}")):
            self.drop()
        with suppress(CallError):
            calendars.fetch(self.home)
        owed = False
        with suppress(CallError), closing(open_snapshot(self.home)) as snapshot:
            owed = consent.is_owed(snapshot, self.home.settings())
        if owed:
            self.build()
        access_log.shorten(self.home)

    def _writer(self) -> AbstractContextManager[Writer]:
        return writer(self.home, on_wait=self.terminal.say_waiting)

    def _refresh(self, w: Writer, touched: Iterable[str] = (), step: job.Progress | None = None) -> None:
        self.terminal.say_problems(self.models.refresh(self.home, w, touched=touched, progress=step))

    def _remake(self, w: Writer) -> LoadReport:
        """Everything that is filed, into an empty warehouse."""
        with self.terminal.progress("Reading filed deliveries") as step:
            report = job.replay(w.home, w, progress=step)
        self.terminal.show_left_out(report)
        self._build(w)
        return report

    def _build(self, w: Writer) -> None:
        remove_pages_of(w.home, w, consent.ended_since(w, w.home.settings()))
        with self.terminal.progress("Building the season") as step:
            self.terminal.say_problems(self.models.build(w.home, w, progress=step))
