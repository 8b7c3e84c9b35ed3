"""The whole warehouse from the filed originals, equal to the one built load by load; readers and loads beside it."""

import shutil
import threading
import time

import pytest

import builders
import made_swings as made
import underfoot
from command import underfoot_command
from ingest import load as job
from ingest.loader import Loader
from warehouse.errors import UnderfootError
from warehouse.home import Home
from warehouse.store import open_snapshot, rebuilding, writer
from warehouse.tables import table_names

TIMES = {"fitted_at"}


def run(*words):
    ran = underfoot_command(*words)
    assert ran.returncode in (0, 1), ran.stderr
    assert ran.stderr == "" or ":" in ran.stderr
    return ran


def tables(home):
    snapshot = open_snapshot(home)
    found = {}
    for name in table_names():
        frame = snapshot.sql(f"SELECT * FROM {name}")
        found[name] = sorted(map(repr, frame.drop(TIMES & set(frame.columns)).rows()))
    snapshot.close()
    return found


def traces(home):
    return {
        p.relative_to(home.traces).as_posix(): p.read_bytes() for p in home.traces.rglob("*") if p.is_file()
    }


@pytest.fixture(scope="module")
def lived(tmp_path_factory):
    """A home after some weeks: corrections, refusals, roster changes, loose notes and shots."""
    folder = tmp_path_factory.mktemp("lived")
    home = builders.make_home(folder / "academy")
    drop = made.write_roster(folder / "drop1")
    for day in range(1, 6):
        toml = made.session_toml(f"v{day}", "s1", started_at=f"2026-05-0{day}T10:00:00Z")
        made.write_session(drop / f"v{day}", toml, made.swing_frame(seed=day, rate_hz=125))
    made.write_session(
        drop / "left", made.session_toml("left", "s2"), made.sided(made.swing_frame(seed=9), "left")
    )
    made.write_session(drop / "stranger", made.session_toml("stranger", "s99"), made.swing_frame(seed=2))
    made.write_session(drop / "half", made.session_toml("half", "s3", swings=2), made.swing_frame(seed=3))
    run("load", drop, "--home", home.path)
    run("build", "--home", home.path)
    more = folder / "drop2"
    made.write_session(
        more / "v1",
        made.session_toml("v1", "s1", started_at="2026-05-01T10:00:00Z"),
        made.swing_frame(seed=77),
    )
    (more / "notes.csv").write_text(
        "session,student,at,author,kind,code,grade,value,shared\n"
        "v2,,2026-05-02,c1,saw,late_crossing,2,,true\n,s1,2026-05-03,c1,drill,d1,,20,true\n"
        ",s98,2026-05-03,c1,drill,d1,,20,true\n"
    )
    (more / "shots.csv").write_text("session,swing_no,carry_m,side_m\nv2,1,150,2\nv2,7,150,2\n")
    (more / "coaching.csv").write_text(
        "student,coach,from,to\ns1,c1,2026-01-01,2026-05-04\ns1,c2,2026-05-05,\n"
    )
    people = (drop / "people.csv").read_text()
    (more / "people.csv").write_text(
        people.replace("left,240", "right,240") + "s99,student,Wim Rook,1988-01-01,right,,,,2026-01-01,\n"
    )
    (more / "consents.csv").write_text("student,given_by,purpose,from,to\ns99,s99,measure,2026-01-01,\n")
    run("load", more, "--home", home.path)
    run("refused", "--retry", "--home", home.path)
    return home.path


@pytest.fixture
def lived_in(lived, home):
    """The test's own copy of it."""
    return builders.copied(lived, home)


def test_a_retry_takes_what_the_roster_now_allows(lived_in):
    snapshot = open_snapshot(lived_in)
    assert snapshot.sql("SELECT student FROM academy.session WHERE session = 'stranger'").item() == "s99"
    assert "stranger" not in set(snapshot.sql("SELECT session FROM academy.refusal").to_series())
    snapshot.close()
    assert '"event": "retry"' in lived_in.events.read_text()


def test_the_rebuilt_warehouse_equals_the_one_built_load_by_load(lived_in):
    run("build", "--home", lived_in.path)
    before, kept = tables(lived_in), traces(lived_in)
    assert len(before["academy.session"]) == 8
    assert len(before["academy.refusal"]) == 3
    lived_in.warehouse_file.unlink()
    for trace in lived_in.traces.rglob("*.parquet"):
        trace.unlink()
    run("build", "--from-filed", "--home", lived_in.path)
    after = tables(lived_in)
    assert [name for name in before if before[name] != after[name]] == []
    assert traces(lived_in) == kept
    assert not lived_in.made_beside().warehouse_file.exists()
    assert not lived_in.made_beside().traces.exists()


def test_a_rebuild_that_fails_leaves_the_old_warehouse(lived_in, monkeypatch):
    before, kept = tables(lived_in), traces(lived_in)
    with monkeypatch.context() as patched:
        patched.setattr(Loader, "_build", lambda *_: (_ for _ in ()).throw(KeyboardInterrupt))
        with pytest.raises(KeyboardInterrupt):
            underfoot._loader(lived_in).rebuild()
    assert tables(lived_in) == before
    assert traces(lived_in) == kept
    assert not lived_in.made_beside().warehouse_file.exists()
    with writer(lived_in) as w:
        assert w.sql("SELECT count(*) FROM academy.session").item() == 8


@pytest.mark.parametrize("what", ["damaged", "missing"])
def test_a_rebuild_from_a_damaged_filed_delivery_ends_in_one_sentence(lived_in, tmp_path, what):
    before = tables(lived_in)
    content = open_snapshot(lived_in).sql("SELECT delivery FROM academy.session WHERE session = 'v1'").item()
    folder, aside = lived_in.filed / content, tmp_path / "aside"
    shutil.copytree(folder, aside)
    if what == "damaged":
        (folder / "session.toml").write_text((folder / "session.toml").read_text() + "# changed\n")
    else:
        shutil.rmtree(folder)
    with pytest.raises(UnderfootError, match=f"is {what}; the warehouse stays as it was"):
        underfoot._loader(lived_in).rebuild()
    shutil.rmtree(folder, ignore_errors=True)
    shutil.copytree(aside, folder)
    assert tables(lived_in) == before


def test_a_swap_cut_off_is_finished_by_the_next_writer(lived_in, monkeypatch):
    with monkeypatch.context() as patched:
        patched.setattr("warehouse.publishing.sync", lambda path: None)
        patched.setattr(
            "warehouse.publishing._replace_traces", lambda *_: (_ for _ in ()).throw(KeyboardInterrupt)
        )
        with pytest.raises(KeyboardInterrupt), lived_in.lock(), rebuilding(lived_in) as w:  # noqa: PT012 - the swap raises
            job.replay(w.home, w)
            w.execute("DELETE FROM academy.note")
    assert (lived_in.path / "swap.json").exists()
    with writer(lived_in) as w:
        assert w.sql("SELECT count(*) FROM academy.note").item() == 0
        assert w.sql("SELECT count(*) FROM academy.session").item() == 8
    assert not (lived_in.path / "swap.json").exists()
    assert len(traces(lived_in)) == 8


def test_readers_read_and_a_load_waits_while_a_rebuild_is_made(lived_in, tmp_path):
    before, said, seen = tables(lived_in), [], []
    toml = made.session_toml("late", "s1", started_at="2026-06-01T10:00:00Z")
    late = made.write_session(tmp_path / "late", toml, made.swing_frame(seed=5))
    waiting = threading.Event()

    def load_late():
        with writer(lived_in, on_wait=lambda: (said.append("waits"), waiting.set())) as w:
            job.load(lived_in, w, [late])
            w.publish()

    other = threading.Thread(target=load_late)
    with lived_in.lock(), rebuilding(lived_in) as w:
        other.start()
        assert waiting.wait(30)
        job.replay(
            w.home, w, progress=lambda *_: seen.append(tables(lived_in) == before) if len(seen) < 5 else None
        )
    other.join(60)
    assert not other.is_alive()
    assert (said, set(seen)) == (["waits"], {True})
    with writer(lived_in) as w:
        assert w.sql("SELECT count(*) FROM academy.session").item() == 9


def test_readers_read_while_loads_publish(tmp_path):
    home = builders.make_home(tmp_path / "academy")
    with writer(home) as w:
        builders.fill(w)
        w.publish()
    ended, counts, errors = threading.Event(), [], []

    def read():
        while not ended.is_set():
            try:
                snapshot = open_snapshot(Home(home.path))
                counts.append(snapshot.sql("SELECT count(*) FROM academy.drill").item())
                snapshot.close()
            except Exception as error:  # noqa: BLE001 - any error at all is the failure looked for
                errors.append(error)

    readers = [threading.Thread(target=read) for _ in range(3)]
    for reader in readers:
        reader.start()
    for number in range(12):
        with writer(home) as w:
            w.execute("INSERT INTO academy.drill (drill, name) VALUES (?, 'x')", [f"d{number}"])
            w.publish()
    time.sleep(0.2)
    ended.set()
    for reader in readers:
        reader.join(30)
    assert errors == []
    assert max(counts) == 12
