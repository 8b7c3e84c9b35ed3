"""Readers kept between reruns: one a published snapshot, person, day and version of academy.toml.

When a new snapshot is published its name changes, so the next rerun of any page reads it. Readers are kept
with their snapshot, so that an old file is let go whole once nobody looks at it.
"""

import threading
from dataclasses import dataclass, field
from datetime import date
from functools import cached_property
from pathlib import Path

from dashboard import elements as st
from warehouse import founding, invented, links, reach
from warehouse.access import Reader, open_reader
from warehouse.home import Home
from warehouse.publishing import current_name, is_published
from warehouse.reach import Viewer, viewers
from warehouse.store import Snapshot, open_snapshot

SNAPSHOTS_KEPT = 8


@dataclass
class _Opened:
    """One snapshot and whoever reads it."""

    snapshot: Snapshot
    readers: dict[tuple[str, str | None, str, date], Reader] = field(default_factory=dict)
    invented: dict[str, bool] = field(default_factory=dict)  # by version of academy.toml
    lock: threading.Lock = field(default_factory=threading.Lock)

    @cached_property
    def everyone(self) -> list[Viewer]:
        """Everyone on its roster."""
        return viewers(self.snapshot)


def home() -> Home:
    """The academy that these pages show (UNDERFOOT_HOME, else ./academy)."""
    return Home.find()


def reader(at: Home, person: str) -> Reader:
    """The reader of one person on the newest snapshot.

    Raises
        UnknownViewerError: the roster has no such person, or they have left.
        CallError: nothing is published.
    """
    return _reader(at, person, None)


def by_link(at: Home, token: str) -> Reader:
    """The reader of whoever holds a link, which is checked each time.

    Raises
        AccessError: the link is not valid, has ended, or the page is no longer shared.
        CallError: nothing is published, or the student has left.
    """
    link = links.read_link(at, _newest(at).snapshot, token)
    return _reader(at, link.student, link.name)


def _reader(at: Home, person: str, link: str | None) -> Reader:
    settings, opened = at.settings(), _newest(at)
    key = (person, link, settings.version, settings.today)
    with opened.lock:
        if key not in opened.readers:
            opened.readers[key] = open_reader(at, person, snapshot=opened.snapshot, today=key[3], link=link)
        return opened.readers[key]


def head_coach(at: Home) -> str | None:
    """The academy's head coach today."""
    return reach.head_coach(_newest(at).snapshot, at.settings().today)


def is_founded(at: Home) -> bool:
    """Whether an academy is at this home (see `warehouse.founding`)."""
    return at.settings_file.exists() and (
        (is_published(at) and founding.has_people(_newest(at).snapshot)) or bool(founding.waiting(at))
    )


def all_invented(at: Home) -> bool:
    """Whether this is the demo, with its own people and nobody else."""
    settings, opened = at.settings(), _newest(at)
    with opened.lock:
        if settings.version not in opened.invented:
            opened.invented[settings.version] = invented.all_invented(opened.snapshot, settings)
        return opened.invented[settings.version]


def everyone(at: Home) -> list[Viewer]:
    """Everyone on the roster, for the demo academy only."""
    return _newest(at).everyone


def newly_published(at: Home, page: str) -> bool:
    """Whether something was published since this was last asked for the page, in this visit."""
    key, published = f"published-{page}", current_name(at)
    known = st.session_state.get(key, published)
    st.session_state[key] = published
    return bool(known != published)


def _newest(at: Home) -> _Opened:
    return _opened(str(at.path), current_name(at))


@st.cache_resource(max_entries=SNAPSHOTS_KEPT, show_spinner=False)
def _opened(path: str, name: str) -> _Opened:  # noqa: ARG001 - the name is the key
    return _Opened(open_snapshot(Home(Path(path))))
