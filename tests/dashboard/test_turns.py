"""Pages are made a few at a time, whatever happens to one of them."""

import threading
import time

import pytest

from dashboard import elements as st
from dashboard import turns


def at_work(run, count):
    """How many of so many threads ran at the same moment, at most."""
    now, most, lock = [0], [0], threading.Lock()

    def one():
        with turns.turn():
            with lock:
                now[0] += 1
                most[0] = max(most[0], now[0])
            run()
            with lock:
                now[0] -= 1

    threads = [threading.Thread(target=one) for _ in range(count)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=20)
    assert not any(thread.is_alive() for thread in threads)
    return most[0]


def test_no_more_than_a_few_run_at_once_and_all_get_their_turn():
    assert at_work(lambda: time.sleep(0.05), 4 * turns.AT_ONCE) == turns.AT_ONCE


def test_who_pauses_lets_others_in():
    assert at_work(lambda: turns.pause(0.2), 2 * turns.AT_ONCE) > turns.AT_ONCE


def test_a_page_that_fails_gives_its_turn_back():
    for _ in range(2 * turns.AT_ONCE):
        with pytest.raises(ValueError, match="broken"), turns.turn():
            raise ValueError("broken")
    assert at_work(lambda: time.sleep(0.02), 2 * turns.AT_ONCE) == turns.AT_ONCE


def test_a_long_page_lets_who_waits_in_between_its_parts():
    """Each begins before any has reached its end, though only a few run at once."""
    happened, lock, together = [], threading.Lock(), threading.Event()

    def long_page():
        together.wait(20)
        with turns.turn():
            with lock:
                happened.append("top")
            turns.shown(title=True)
            turns.shown()
            for _ in range(3):
                time.sleep(0.02)
                turns.let_others_in()
            with lock:
                happened.append("end")

    pages = [threading.Thread(target=long_page) for _ in range(3 * turns.AT_ONCE)]
    for page in pages:
        page.start()
    together.set()
    for page in pages:
        page.join(timeout=20)
    assert happened == ["top"] * len(pages) + ["end"] * len(pages)
    assert at_work(lambda: time.sleep(0.02), 2 * turns.AT_ONCE) == turns.AT_ONCE


def test_who_has_shown_nothing_goes_before_who_has_shown_the_top_of_their_page(monkeypatch):
    one = turns._Turns(1)
    monkeypatch.setattr(turns, "_turns", one)
    happened, pages = [], []

    def page(name, arriving):
        with turns.turn():
            happened.append(f"{name} begins")
            for other in arriving:
                arrive(other, ["late"] if other == "third" else [])
            st.title(name)
            st.write("The top of the page.")
            happened.append(f"{name} goes on")

    def arrive(name, arriving):
        waiting = len(one._new)
        pages.append(threading.Thread(target=page, args=(name, arriving)))
        pages[-1].start()
        while not one._free and len(one._new) == waiting:
            time.sleep(0.001)

    arrive("first", ["second", "third"])
    for page_of_one in pages:
        page_of_one.join(timeout=20)
    names = ("first", "second", "third", "late")
    assert happened == [*(f"{name} begins" for name in names), *(f"{name} goes on" for name in names)]


def test_a_part_that_runs_without_a_turn_lets_nobody_in():
    turns.let_others_in()
    assert at_work(lambda: time.sleep(0.02), 2 * turns.AT_ONCE) == turns.AT_ONCE
