"""Readers kept between reruns: one a published snapshot, person, day and version of academy.toml.

When a new snapshot is published its name changes, so the next rerun of any page reads it.
"""

from datetime import date, datetime
from pathlib import Path

import streamlit as st

from warehouse.access import Reader, Viewer, open_reader, viewers
from warehouse.home import Home
from warehouse.store import Snapshot, current_name, open_snapshot


def home() -> Home:
    """The academy that these pages show (UNDERFOOT_HOME, else ./academy)."""
    return Home.find()


def reader(at: Home, person: str) -> Reader:
    """The reader of one person on the newest snapshot.

    Raises
        CallError: nothing is published, or the roster has no such person.
    """
    settings = at.settings()
    today = datetime.now(settings.zone).date()
    return _reader(str(at.path), current_name(at), settings.version, person, today)


def everyone(at: Home) -> list[Viewer]:
    """Everyone on the roster, for the demo academy only."""
    return viewers(_snapshot(str(at.path), current_name(at)))


@st.cache_resource(max_entries=16, show_spinner=False)
def _snapshot(path: str, name: str) -> Snapshot:  # noqa: ARG001 - the name is the key
    return open_snapshot(Home(Path(path)))


@st.cache_resource(max_entries=64, show_spinner=False)
def _reader(path: str, name: str, version: str, person: str, today: date) -> Reader:  # noqa: ARG001 - keys
    return open_reader(Home(Path(path)), person, snapshot=_snapshot(path, name), today=today)
