"""A delivery that takes too long, too much memory or the process itself is refused alone; the others load."""

import os
import threading
import time
from pathlib import Path

import pytest

import bad_readers
from bad_readers import crashing, doubled, greedy, process_id, refused, slow_one, spinning
from ingest import reading_process, sessions
from ingest.reading_process import read_apart
from warehouse.errors import Refused


@pytest.fixture(scope="module", autouse=True)
def processes():
    """Processes that can import what these tests let them read with; they end with them."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("PYTHONPATH", str(Path(bad_readers.__file__).parent))
        reading_process._readers.close()
        yield
        reading_process._readers.close()


LONG_S = reading_process.READ_LIMIT_S + 1


def sentence(limit_s, read):
    with pytest.raises(Refused) as found:
        read_apart("v1", limit_s, None, read)
    return found.value.refusal.reason, found.value.refusal.sentence


def test_what_is_read_and_what_is_reported_come_back():
    said = []
    assert read_apart("v1", 10, said.append, doubled, 21) == 42
    assert said == ["at 21"]


def test_a_refusal_comes_back_as_it_was_raised():
    assert sentence(10, refused) == ("unit", "plate.csv line 3: the unit is not known; name it.")


def test_one_process_reads_one_delivery_after_another_and_not_this_one():
    assert read_apart("v1", 10, None, process_id) == read_apart("v2", 10, None, process_id) != os.getpid()


def test_what_takes_too_long_is_ended():
    began = time.monotonic()
    assert sentence(0.5, spinning) == (
        "over_time",
        "Reading v1 takes longer than 0.5 s; deliver it in smaller parts, or export it again.",
    )
    assert time.monotonic() - began < reading_process.START_LIMIT_S
    assert read_apart("v2", 10, None, doubled, 1) == 2


def test_what_takes_too_much_memory_is_refused():
    assert sentence(10, greedy) == (
        "over_memory",
        "Reading v1 takes more than 6 GB of memory; deliver it in smaller parts, or export it again.",
    )
    assert read_apart("v2", 10, None, doubled, 1) == 2


def test_what_brings_its_process_down_is_refused():
    reason, said = sentence(10, crashing)
    assert reason == "unreadable"
    assert said.startswith("V1 can't be read, as it is damaged or too large for 6 GB of memory")
    assert read_apart("v2", 10, None, doubled, 1) == 2


def test_processes_end_with_what_started_them():
    read_apart("v1", 10, None, doubled, 1)
    reader = reading_process._readers.take(at_once=True)
    reader.pipe.close()
    assert reader.process.wait(timeout=10) == 0
    reading_process._readers.give_back(reader)


def test_films_are_read_at_the_same_time():
    found, threads = [], []
    for number in range(2):
        read = threading.Thread(
            target=lambda n=number: found.append(read_apart("v", LONG_S, None, doubled, n))
        )
        threads.append(read)
        read.start()
    for read in threads:
        read.join()
    assert sorted(found) == [0, 2]


def test_a_load_goes_on_when_a_delivery_is_beyond_its_limits(academy, made, monkeypatch):
    monkeypatch.setattr(reading_process, "LITTLE_BYTES", 0)
    for name in ("slow", "v1", "v2"):
        toml = made.toml(name, started_at=f"2026-05-0{len(name)}T10:00:00+01:00")
        made.deliver(academy.inbox / name, toml, made.plate())
    monkeypatch.setattr(sessions, "read_session", slow_one)
    monkeypatch.setattr(sessions, "READ_LIMIT_S", 3.0)
    report = academy.load()
    assert sorted(report.accepted) == ["v1", "v2"]
    assert [(r.session, r.reason) for r in report.refused] == [("slow", "over_time")]
    assert report.refused[0].sentence.startswith("Reading slow takes longer than 3 s;")
    assert [p.name.rsplit("-", 1)[0] for p in academy.home.refused.iterdir()] == ["slow"]


def test_a_large_roster_and_large_notes_are_read_apart_and_say_the_same(academy, made, monkeypatch):
    made.deliver(academy.inbox / "v1", made.toml(), made.plate())
    academy.load()
    lines = (
        "session,student,at,author,kind,code,grade,text,shared\nv1,,2026-05-05,c1,saw,late_crossing,2,,true\n"
    )
    (academy.inbox / "notes.csv").write_text(lines + "v9,,2026-05-05,c1,plan,,,Slow.,true\n")
    (academy.inbox / "people.csv").write_text(made.roster["people.csv"].replace("Ada Fennimore", "Ada Moor"))
    monkeypatch.setattr(reading_process, "LITTLE_BYTES", 0)
    report = academy.load()
    assert [r.reason for r in report.refused] == ["unknown_session"]
    assert academy.sql("SELECT count(*) FROM academy.note").item() == 1
    assert academy.sql("SELECT display_name FROM academy.person WHERE person = 's1'").item() == "Ada Moor"
