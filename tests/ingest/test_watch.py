"""The watched inbox: what is still is handed on, what is being copied is left, what failed is not tried for ever."""

import threading
import time

import pytest

from ingest import watch as watching
from ingest.load import load
from ingest.watch import LONGEST_PAUSE_S, PATIENCE_S, PAUSE_S, STILL_S, Inbox, watch
from warehouse.store import open_snapshot, writer


class Clock:
    now = 0.0

    def __call__(self):
        return self.now


@pytest.fixture
def clock():
    return Clock()


def polled(inbox, clock, seconds):
    clock.now += seconds
    return [path.name for path in inbox.still()]


def test_a_file_that_grows_is_left_until_it_has_been_still(academy, clock):
    inbox, file = Inbox(academy.home, clock), academy.inbox / "notes.csv"
    file.write_text("at,author")
    assert polled(inbox, clock, 0) == []
    file.write_text("at,author,kind")
    assert polled(inbox, clock, STILL_S) == []
    assert polled(inbox, clock, STILL_S / 2) == []
    assert polled(inbox, clock, STILL_S / 2) == ["notes.csv"]


def test_a_folder_waits_for_its_last_file(academy, made, clock):
    inbox = Inbox(academy.home, clock)
    folder = made.deliver(academy.inbox / "v1", made.toml())
    polled(inbox, clock, 0)
    (folder / "plate.csv").write_text("swing_no")
    assert polled(inbox, clock, STILL_S) == []
    assert polled(inbox, clock, STILL_S) == ["v1"]


def test_samples_whose_session_toml_has_not_come_yet_are_given_longer(academy, made, clock):
    inbox = Inbox(academy.home, clock)
    (academy.inbox / "v1").mkdir()
    (academy.inbox / "v1" / "plate.csv").write_text("swing_no")
    polled(inbox, clock, 0)
    assert polled(inbox, clock, STILL_S) == []
    assert polled(inbox, clock, PATIENCE_S) == ["v1"]


def test_what_a_load_left_in_place_is_not_tried_again_until_it_changes(academy, clock):
    inbox, file = Inbox(academy.home, clock), academy.inbox / "notes.csv"
    file.write_text("x")
    polled(inbox, clock, 0)
    assert polled(inbox, clock, STILL_S) == ["notes.csv"]
    inbox.tried([file])
    assert polled(inbox, clock, STILL_S) == []
    file.write_text("xy")
    assert polled(inbox, clock, STILL_S) == []
    assert polled(inbox, clock, STILL_S) == ["notes.csv"]


def test_hidden_files_and_halves_of_downloads_are_passed_over(academy, clock):
    inbox = Inbox(academy.home, clock)
    for name in (".hidden", "a.part", "b.tmp", "~c"):
        (academy.inbox / name).write_text("x")
    polled(inbox, clock, 0)
    assert polled(inbox, clock, 100) == []


def names(batches):
    return [[path.name for path in batch] for batch in batches]


def test_what_was_in_a_failed_load_is_tried_one_by_one_with_pauses_that_grow(academy, clock):
    inbox = Inbox(academy.home, clock)
    for name in ("a.csv", "b.csv"):
        (academy.inbox / name).write_text("x")
    inbox.batches()
    clock.now += STILL_S
    (both,) = inbox.batches()
    assert names([both]) == [["a.csv", "b.csv"]]
    inbox.failed(both)
    alone = inbox.batches()
    assert names(alone) == [["a.csv"], ["b.csv"]]
    inbox.tried(alone[1])
    pauses = []
    for _ in range(9):
        inbox.failed(alone[0])
        start = clock.now
        assert inbox.batches() == []
        while not inbox.batches():
            clock.now += PAUSE_S
        assert names(inbox.batches()) == [["a.csv"]]
        pauses.append(clock.now - start)
    assert pauses[:4] == [PAUSE_S, 2 * PAUSE_S, 4 * PAUSE_S, 8 * PAUSE_S]
    assert pauses[-1] == LONGEST_PAUSE_S
    inbox.failed(alone[0])
    (academy.inbox / "a.csv").write_text("mended")
    inbox.batches()
    clock.now += STILL_S
    assert names(inbox.batches()) == [["a.csv"]]


def test_one_bad_entry_does_not_hold_the_others_and_is_tried_again(academy, monkeypatch):
    monkeypatch.setattr(watching, "PAUSE_S", 0.4)
    ended, tries = threading.Event(), []

    def take(paths):
        tries.append(sorted(path.name for path in paths))
        if academy.inbox / "bad.csv" in paths and len(tries) < 5:
            raise RuntimeError("no room")
        for path in paths:
            path.unlink()

    for name in ("bad.csv", "good.csv", "more.csv"):
        (academy.inbox / name).write_text("x")
    thread = threading.Thread(target=watch, args=(academy.home, take, ended), daemon=True)
    thread.start()
    until = time.monotonic() + 30
    while list(academy.inbox.iterdir()) and time.monotonic() < until:
        time.sleep(0.05)
    ended.set()
    thread.join(timeout=30)
    assert not thread.is_alive()
    assert tries == [
        ["bad.csv", "good.csv", "more.csv"], ["bad.csv"], ["good.csv"], ["more.csv"], ["bad.csv"],
    ]  # fmt: skip
    assert academy.home.events.read_text().count('"error": "no room"') == 2


def test_what_has_vanished_is_not_handed_on_with_the_rest(academy):
    ended, tries = threading.Event(), []
    for name in ("a.csv", "b.csv", "c.csv"):
        (academy.inbox / name).write_text("x")

    def take(paths):
        tries.append([path.name for path in paths])
        if len(tries) == 1:
            raise RuntimeError("no room")
        (academy.inbox / "b.csv").unlink(missing_ok=True)  # somebody takes it back
        if paths == [academy.inbox / "c.csv"]:
            ended.set()

    thread = threading.Thread(target=watch, args=(academy.home, take, ended), daemon=True)
    thread.start()
    thread.join(timeout=30)
    assert not thread.is_alive()
    assert tries == [["a.csv", "b.csv", "c.csv"], ["a.csv"], ["c.csv"]]


def test_an_error_in_one_load_is_logged_and_the_next_delivery_still_loads(academy, made):
    """Within 5 s of the drop; the load is the command's, without its answers."""
    ended, tries = threading.Event(), []

    def take(paths):
        tries.append(paths)
        if len(tries) == 1:
            raise RuntimeError("something\nunheard of")
        with writer(academy.home) as w:
            load(academy.home, w, paths)
            w.publish()

    thread = threading.Thread(target=watch, args=(academy.home, take, ended), daemon=True)
    thread.start()
    try:
        (academy.inbox / "odd.csv").write_text("x")
        until = time.monotonic() + 30
        while not tries and time.monotonic() < until:
            time.sleep(0.05)
        made.deliver(academy.inbox / "v1", made.toml(), made.plate())
        while len(tries) < 2 and time.monotonic() < until:
            time.sleep(0.05)
    finally:
        ended.set()
        thread.join(timeout=30)
    assert not thread.is_alive()
    assert '"error": "something unheard of"' in academy.home.events.read_text()
    snapshot = open_snapshot(academy.home)
    assert snapshot.sql("SELECT session FROM academy.session").item() == "v1"
    snapshot.close()
