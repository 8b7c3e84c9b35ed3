"""What the pages ask of a warehouse: processor time of every query and of every page, for one who opens them first.

`python -m bench.pages HOME` prints both, the dearest first.
"""

import os
import re
import statistics
import sys
import time
from collections import defaultdict
from collections.abc import Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from unittest import mock

import streamlit as st
from streamlit.util import calc_hash

from app_test import AppTest
from bench.academies import SWINGS, large_and_small
from bench.table import Row
from dashboard import app, layout, location
from warehouse import access, reach, store
from warehouse.home import Home

MOST_MS = 50.0  # of a query
ON_A_STUDENT = ("student", "progress", "lesson", "swings", "notes")


@dataclass
class Asked:
    """Processor time, ms: of every query by the function that asks it, and of every page by its path and viewer."""

    queries: dict[str, list[float]] = field(default_factory=lambda: defaultdict(list))
    pages: dict[str, float] = field(default_factory=dict)

    def slow(self, most_ms: float = MOST_MS) -> dict[str, float]:
        """Functions with a query over so many ms, by the dearest of theirs, the dearest first."""
        worst = {name: max(took) for name, took in self.queries.items()}
        return {name: ms for name, ms in sorted(worst.items(), key=lambda one: -one[1]) if ms > most_ms}


@contextmanager
def watched(asked: Asked):
    """Keep what each query takes, whoever asks it."""
    plain = store.read_frame

    def read_frame(connection, query, params=None):
        started = time.process_time()
        found = plain(connection, query, params)
        asked.queries[asking_function()].append(1e3 * (time.process_time() - started))
        return found

    with (
        mock.patch.object(store, "read_frame", read_frame),
        mock.patch.object(access, "read_frame", read_frame),
        mock.patch.object(layout, "FIRST_ALONE_S", 0.0),
        mock.patch.object(location, "peer", return_value=None),  # AppTest has no connection
    ):
        yield


def asking_function() -> str:
    """The function that asks just now, as module.name; the ways to the warehouse are passed over."""
    frame = sys._getframe(2)
    while frame.f_globals["__name__"] in {"warehouse.access", "warehouse.store"} and frame.f_back:
        frame = frame.f_back
    return f"{frame.f_globals['__name__']}.{frame.f_code.co_name}"


def people(home: Home) -> dict[str, str]:
    """A head coach, and the student with most visits with their coach, by role."""
    snapshot = store.open_snapshot(home)
    student = snapshot.sql(
        "SELECT student FROM academy.session GROUP BY 1 ORDER BY count(*) DESC, 1 LIMIT 1"
    ).item()
    coach = snapshot.sql(
        'SELECT coach FROM academy.coaching WHERE student = ? ORDER BY "from" DESC LIMIT 1', [student]
    ).item()
    head = reach.head_coach(snapshot, home.settings().today)
    snapshot.close()
    return {"head_coach": head, "coach": coach, "student": student}


def open_page(path: str, person: str, student: str) -> float:
    """Open one page on a student, then all that folds out on it; processor time of the first opening, ms."""
    at = AppTest.from_file(str(Path(app.__file__)), default_timeout=600)
    at._page_hash = calc_hash(path)
    at.query_params["as"], at.query_params["student"] = person, student
    started = time.process_time()
    at.run()
    took = 1e3 * (time.process_time() - started)
    for key in re.findall(r"more-[^\n\"]*", "\n".join(folded.proto.id for folded in at.expander)):
        at.session_state[key] = True
    at.run()
    if at.exception:
        raise ValueError(f"{path} as {person}: {at.exception[0].message}")
    return took


def open_all(
    home: Home, roles: Sequence[str] = ("head_coach", "coach", "student"), paths: Sequence[str] = ()
) -> Asked:
    """Every page (without `paths`, of all) that these roles may open, once."""
    asked, known = Asked(), people(home)
    st.cache_resource.clear()  # the readers keep what they were answered
    with mock.patch.dict(os.environ, UNDERFOOT_HOME=str(home.path)), watched(asked):
        open_page("words", known["head_coach"], known["student"])  # imports
        asked.queries.clear()
        for page in (page for page in app.PAGES if not paths or page.path in paths):
            for role in roles:
                if role in page.roles:
                    asked.pages[f"{page.path}, {role}"] = open_page(page.path, known[role], known["student"])
    return asked


@cache
def looked_at(
    swings: int, repeats: int, role: str = "coach", paths: Sequence[str] = ON_A_STUDENT
) -> tuple[list[Asked], list[Asked]]:
    """Pages opened by somebody of a role, by turns on a large academy and on the small one it is made of."""
    large, small, _ = large_and_small(swings)
    turns = [[open_all(home, (role,), paths) for home in (large, small)] for _ in range(repeats)]
    return [large for large, _ in turns], [small for _, small in turns]


def dearest_query(_: Path, swings: int = SWINGS, repeats: int = 7) -> Row:
    """The dearest query of a student's pages on a large academy, and the same one on a small."""
    return _dearest("i", "a student's pages", *looked_at(swings, repeats), swings)


def dearest_of_all(_: Path, swings: int = SWINGS, repeats: int = 3) -> Row:
    """The same of every page of a head coach, who reads of everybody."""
    return _dearest("q", "a head coach's pages", *looked_at(swings, repeats, "head_coach", ()), swings)


def _dearest(letter: str, pages: str, of_large: list[Asked], of_small: list[Asked], swings: int) -> Row:
    large, small = (
        {name: statistics.median(max(run.queries[name]) for run in runs) for name in runs[0].queries}
        for runs in (of_large, of_small)
    )
    name, over = max(large, key=large.__getitem__), sum(ms > MOST_MS for ms in large.values())
    ours, base = large[name], small[name]
    which = f"{name.rpartition('.')[2]}; {over} of {len(large)} over {MOST_MS:.0f} ms"
    what = f"({letter}) the dearest query of {pages} ({which}), {swings:,} swings / a small demo, CPU"
    return Row(what, ours, base, "ms", ours / base, f"≤ {MOST_MS:.0f} ms", ours <= MOST_MS)


def opening_a_page(_: Path, swings: int = SWINGS, repeats: int = 7) -> Row:
    """Pages on a student opened for the first time by their coach, on a large academy and on a small; the mean page."""
    ours, base = (
        statistics.median(statistics.mean(run.pages.values()) for run in runs)
        for runs in looked_at(swings, repeats)
    )
    what = f"(j) opening a student's page, mean of {len(ON_A_STUDENT)}, {swings:,} swings / a small demo, CPU"
    return Row(what, ours, base, "ms", ours / base, "≤ 2 ×", ours <= 2 * base)


def main(home: Home) -> None:
    """Print pages and queries, the dearest first."""
    asked = open_all(home)
    for what, ms in sorted(asked.pages.items(), key=lambda one: -one[1]):
        print(f"page {what}: {ms:.0f} ms")
    for name, ms in asked.slow(0).items():
        print(f"query {name}: {ms:.1f} ms, {len(asked.queries[name])} asked")
    print(f"median page {statistics.median(asked.pages.values()):.0f} ms")


if __name__ == "__main__":
    main(Home(Path(sys.argv[1])))
