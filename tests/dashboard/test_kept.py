"""What a page is made of is made once for one viewer, snapshot and choice, and for nobody else."""

import gc
import threading
import weakref
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import cached_property

import polars as pl
import pytest

from dashboard import kept, readers, server
from dashboard.kept import kept as keep
from dashboard.pages.students import content
from dashboard.pages.week.content import review
from dashboard.text import catalogue
from warehouse.access import Reader, open_reader
from warehouse.errors import UnderfootError
from warehouse.home import Home
from warehouse.store import writer

MADE: list = []


@dataclass(frozen=True)
class Chosen:
    reader: Reader
    season: str

    @cached_property
    def worked_out(self):
        return object()


@keep
def made(reader, season, rows=None, *, narrow=False):
    MADE.append((season, narrow))
    return object()


@keep
def made_of(chosen):
    return object()


@keep
def failing(reader):
    MADE.append("failing")
    raise UnderfootError("Nothing.")


@pytest.fixture(autouse=True)
def nothing_made():
    MADE.clear()


def test_the_same_choice_is_made_once(reader_of):
    head = reader_of("full", "h01")
    assert made(head, "2026") is made(head, "2026")
    assert made(head, "2026", narrow=True) is not made(head, "2026")
    assert made(head, "2025") is not made(head, "2026")
    assert MADE == [("2026", False), ("2026", True), ("2025", False)]


def test_another_viewer_another_language_and_another_snapshot_have_their_own(reader_of, homes):
    head, coach = reader_of("full", "h01"), reader_of("full", "c01")
    assert made(head, "2026") is not made(coach, "2026")
    catalogue.use("de")
    try:
        german = made(head, "2026")
    finally:
        catalogue.use("en")
    assert german is not made(head, "2026")
    home = homes("published-anew")
    before = readers.reader(home, "h01")
    first = made(before, "2026")
    with writer(home) as w:
        w.publish()
    after = readers.reader(home, "h01")
    assert after is not before
    assert made(after, "2026") is not first


def test_every_visit_of_a_viewer_finds_what_the_first_one_made(homes):
    home = homes("full")
    first, second = (readers.reader(home, "h01").by(lambda: readers.reader(home, "h01")) for _ in range(2))
    assert made(first, "2026") is made(second, "2026") is made(second.anew(), "2026")


def test_rows_count_by_what_they_hold(reader_of):
    head, rows = reader_of("full", "h01"), pl.DataFrame({"a": [1, 2]})
    assert made(head, "2026", rows) is made(head, "2026", rows.clone())
    assert made(head, "2026", rows) is not made(head, "2026", rows.head(1))


def test_a_choice_counts_by_its_fields_and_not_by_what_it_worked_out(reader_of):
    head = reader_of("full", "h01")
    one, same = Chosen(head, "2026"), Chosen(head, "2026")
    first = made_of(one)
    assert one.worked_out
    assert made_of(one) is made_of(same) is first
    assert made_of(Chosen(head, "2025")) is not first
    assert made_of(Chosen(reader_of("full", "c01"), "2026")) is not first


def test_what_is_raised_is_not_kept(reader_of):
    for _ in range(2):
        with pytest.raises(UnderfootError):
            failing(reader_of("full", "h01"))
    assert MADE == ["failing", "failing"]


def test_so_much_is_kept_and_it_goes_with_its_reader(homes):
    reader = open_reader(homes("full"), "h01")
    for number in range(kept.MOST + 5):
        made(reader, str(number))
    assert len(reader.made) == kept.MOST
    gone = weakref.ref(reader)
    del reader
    gc.collect()
    assert gone() is None


def test_no_page_part_holds_on_to_its_reader(homes):
    reader = open_reader(homes("full"), "h01")
    about = content.subject(reader, "trail_heel_down", "2026", "iron")
    section = content.comparison(reader, about, content.students(reader), narrow=False)
    assert section is content.comparison(reader, about, content.students(reader), narrow=False)
    gone = weakref.ref(reader)
    del reader, about
    gc.collect()
    assert gone() is None


def test_who_asks_while_it_is_being_made_waits_for_it(reader_of):
    head, asked, going = reader_of("full", "h01"), threading.Event(), threading.Event()

    @keep
    def long_made(reader):
        MADE.append("made")
        asked.set()
        going.wait(20)
        return object()

    with ThreadPoolExecutor(2) as pool:
        first = pool.submit(long_made, head)
        asked.wait(20)
        second = pool.submit(long_made, head)
        with pytest.raises(TimeoutError):
            second.result(timeout=0.1)
        going.set()
        assert first.result() is second.result()
    assert MADE == ["made"]


def test_one_part_may_be_made_of_another_and_who_waits_for_a_failing_one_tries_again(reader_of):
    head, tries = reader_of("full", "h01"), []

    @keep
    def inner(reader):
        tries.append("inner")
        if len(tries) == 1:
            raise UnderfootError("Nothing.")
        return object()

    @keep
    def outer(reader):
        return inner(reader)

    with ThreadPoolExecutor(2) as pool:
        found = [pool.submit(outer, head) for _ in range(2)]
        failed = [one for one in found if one.exception() is not None]
    assert len(failed) == 1
    assert tries == ["inner", "inner"]


def test_the_head_coachs_first_page_is_made_before_anyone_comes_and_for_nobody_else(homes, tmp_path):
    home = homes("opened-before-anyone-comes")
    server._open(home)
    head, coach = readers.reader(home, "h01"), readers.reader(home, "c01")
    already = dict(head.made)
    whole = review(head)
    assert any(whole is made for made in already.values())
    assert head.made.keys() == already.keys()
    assert not coach.made
    server._open(Home(tmp_path))  # nothing is there yet: the pages say so themselves
