"""What `underfoot health` notices, one thing at a time."""

import json

import pytest

import builders
import made_swings as made
from command import underfoot_command
from warehouse.health import check
from warehouse.home import hold_lock


@pytest.fixture(scope="module")
def loaded(tmp_path_factory):
    folder = tmp_path_factory.mktemp("loaded")
    drop = made.write_roster(folder / "drop")
    made.write_session(drop / "v1", made.session_toml("v1"), made.swing_frame(rate_hz=100))
    home = builders.make_home(folder / "academy")
    assert underfoot_command("load", drop, "--home", home.path).returncode == 0
    return home.path


@pytest.fixture
def sound(home, loaded):
    """A home with its roster and one session, loaded and published."""
    return builders.copied(loaded, home)


def wrong(home):
    return [found.name for found in check(home) if not found.ok]


def flip(path):
    data = bytearray(path.read_bytes())
    for at in range(len(data) // 3, len(data) - 1, 997):
        data[at] ^= 255
    path.write_bytes(bytes(data))


def test_a_sound_home_is_told_line_by_line(sound):
    ran = underfoot_command("health", "--home", sound.path, "--json")
    told = json.loads(ran.stdout)
    assert (ran.returncode, told["ok"]) == (0, True)
    assert [found["name"] for found in told["checks"]] == [
        "ledger", "filed", "pointer", "published", "freshness", "traces", "retention", "room", "lock", "interrupted",
        "forgetting", "access log", "private", "refused", "inbox",
    ]  # fmt: skip
    assert all("\n" not in found["said"] for found in told["checks"])


def test_a_filed_byte_that_changed_is_found_by_its_hash(sound):
    filed = next(sound.filed.glob("*/plate.csv"))
    filed.write_bytes(filed.read_bytes().replace(b"1", b"2", 1))
    assert wrong(sound) == ["filed"]
    assert underfoot_command("health", "--home", sound.path).returncode == 1
    filed.unlink()
    assert wrong(sound) == ["filed"]


def test_a_damaged_snapshot_is_found_and_a_plain_load_publishes_anew(sound):
    flip(max(sound.published.glob("warehouse-*.duckdb")))
    assert "published" in wrong(sound)
    assert underfoot_command("load", "--home", sound.path).returncode == 0
    assert wrong(sound) == []


def test_a_snapshot_that_is_no_database_is_one_sentence(sound):
    max(sound.published.glob("warehouse-*.duckdb")).write_bytes(b"no database " * 900)
    ran = underfoot_command("sql", "SELECT 1", "--home", sound.path)
    assert ran.returncode == 1
    assert ran.stderr.strip().endswith("publish it again with: underfoot load")
    assert "published" in wrong(sound)


@pytest.mark.parametrize("text", ["{ broken", '{"file": "../warehouse.duckdb"}', '{"file": 7}', "[]", ""])
def test_a_damaged_pointer_is_found_and_readers_still_read(sound, text):
    (sound.published / "current.json").write_text(text)
    assert wrong(sound) == ["pointer"]
    assert (
        underfoot_command("sql", "SELECT count(*) FROM academy.session", "--home", sound.path).returncode == 0
    )
    assert underfoot_command("load", "--home", sound.path).returncode == 0
    assert wrong(sound) == []


def test_lost_and_orphan_traces_are_found_and_a_rebuild_mends_them(sound):
    trace = next(sound.traces.rglob("*.parquet"))
    trace.rename(trace.with_name("stranger.parquet"))
    (found,) = [found for found in check(sound) if not found.ok]
    assert "v1.parquet missing, stranger.parquet of no session" in found.said
    assert underfoot_command("build", "--from-filed", "--home", sound.path).returncode == 0
    assert wrong(sound) == []


def test_a_damaged_ledger_line_is_found(sound):
    with sound.ledger.open("a") as file:
        file.write("{ broken\n")
    assert wrong(sound) == ["ledger"]


def test_what_is_not_published_is_found(sound):
    lines = sound.ledger.read_text().splitlines()
    later = json.loads(lines[-1]) | {"sequence": 99}
    with sound.ledger.open("a") as file:
        file.write(json.dumps(later) + "\n")
    assert wrong(sound) == ["freshness"]


def test_an_unfinished_load_is_found_unless_it_is_at_work(sound):
    (sound.filed / "pending-000000009.json").write_text("{}")
    assert wrong(sound) == ["interrupted"]
    with hold_lock(sound.path):
        assert wrong(sound) == []
        assert any("has been writing since" in found.said for found in check(sound))


def test_no_room_and_a_full_inbox_are_told(sound, monkeypatch):
    (sound.inbox / "notes.csv").write_text("x")
    assert wrong(sound) == []
    monkeypatch.setattr("warehouse.health.WAITING_S", -1.0)
    monkeypatch.setattr("warehouse.health.LEAST_ROOM_BYTES", 1 << 60)
    assert wrong(sound) == ["room", "inbox"]
