"""Forgetting a student: not a byte is left in the home, and nobody else loses anything."""

import copy
import gzip
import io
import json
import os
import shutil
import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path

import polars as pl
import pytest

import builders
from command import underfoot_command
from forgotten_academies import RandomAcademy, found_of, rows_of_others
from home_scanner import remains
from ingest import forgetting, removal
from ingest.loader import Loader
from warehouse import forgotten, sealed
from warehouse.errors import UnderfootError
from warehouse.health import check
from warehouse.home import Home
from warehouse.links import make_link, read_link
from warehouse.store import open_snapshot

ACADEMIES = int(
    os.environ.get("FORGOTTEN_ACADEMIES", "6")
)  # 50 take minutes; tests/FIGURES.md has the result


def forget(academy):
    return underfoot_command("forget", academy.gone.code, "--yes", "--home", academy.home.path)


def assert_forgotten(academy, before):
    assert found_of(academy.home, academy.gone) == []
    after = rows_of_others(academy.home, academy.gone)
    assert [(n, before[n], after[n]) for n in before if before[n] != after[n]] == []
    assert [found for found in check(academy.home) if not found.ok] == []


@pytest.fixture(autouse=True)
def passphrase(monkeypatch):
    monkeypatch.setenv("UNDERFOOT_PASSPHRASE", "clear ground and a short step")
    monkeypatch.setattr(sealed, "WORK", 1 << 10)  # the key is derived in moments


@pytest.fixture
def without_models(monkeypatch):
    """The season's models are left out, as they take most of the time and read nothing but rows."""

    def reduced(_self, w):
        w.execute("UPDATE academy.session SET reduced = true")

    monkeypatch.setattr(Loader, "_build", reduced)


@pytest.fixture(scope="module")
def lived(tmp_path_factory):
    """An academy that is made once."""
    return RandomAcademy(3, tmp_path_factory.mktemp("lived")).live()


@pytest.fixture
def academy(lived, tmp_path):
    """The test's own copy of it."""
    own = copy.copy(lived)
    own.folder, own.home = tmp_path, builders.copied(lived.home.path, Home(tmp_path / "home"))
    return own


def forgets(seed, folder):
    academy = RandomAcademy(seed, folder).live()
    gone = academy.gone
    assert set(gone.needles()) <= {what for _, what in found_of(academy.home, gone)}
    before = rows_of_others(academy.home, gone)
    ran = forget(academy)
    assert ran.returncode == 0, ran.stderr
    assert_forgotten(academy, before)
    assert (
        forgotten.receipts(academy.home)[0].removed["sessions"] == len(gone.sessions) - 1
    )  # one was refused


@pytest.mark.parametrize("seed", range(ACADEMIES))
def test_nothing_of_a_student_is_left_and_nobody_else_loses_anything(tmp_path, seed, without_models):
    forgets(seed, tmp_path)


def samples_of(home, student):
    """The first samples of every number that is measured of a student, as bytes."""
    files = [file for name in student.sessions for file in home.path.rglob(f"traces/**/{name}*")]
    frames = [pl.read_parquet(file) for file in files]
    columns = [frame[name].explode() for frame in frames for name in frame.columns]
    return {
        column.to_numpy()[:12].tobytes()
        for column in columns
        if column.dtype.is_float() and column.len() >= 12 and column[:12].n_unique() > 6
    }


def test_a_home_with_its_models_built_keeps_no_byte_of_a_forgotten_student(academy, tmp_path):
    home, gone = academy.home, academy.gone
    for words in (("build",), ("page", gone.code), ("lesson", gone.code), ("review",)):
        ran = underfoot_command(*words, "--home", home.path)
        assert ran.returncode == 0, ran.stderr
    samples = samples_of(home, gone)
    assert len(samples) >= 4 * (len(gone.sessions) - 1)
    assert {what for _, what in remains(home.path, byte_strings=samples)} == set(map(repr, samples))
    assert [where for where, _ in found_of(home, gone) if "season.student_trend" in where]
    assert forget(academy).returncode == 0
    assert found_of(home, gone) == []
    assert remains(home.path, byte_strings=samples) == []


def test_what_is_left_behind_on_purpose_is_found(academy, tmp_path, without_models):
    home, gone = academy.home, academy.gone
    trace = next(home.path.rglob(f"traces/**/{gone.sessions[0]}*"))
    left = {f"traces/{place}.parquet": trace.read_bytes() for place in ("other", "season=2026/another")}
    left["filed/kept.json.gz"] = gzip.compress(json.dumps({"who": gone.name}).encode())
    left["links.sqlite-wal"] = f"asked by {gone.address}".encode("utf-16")
    assert forget(academy).returncode == 0
    for name, data in left.items():
        (home.path / name).write_bytes(data)
    assert {where.split(" > ")[0] for where, _ in found_of(home, gone)} == set(left)


STEPS = (
    "_settings",
    "_filed",
    "_ledger",
    "_clear_filed",
    "_waiting",
    "check_nobody_else_went",
    "clear_rest",
    "_log",
)


@pytest.mark.parametrize("step", STEPS)
def test_a_run_that_is_cut_off_is_finished_by_the_next_load(
    academy, tmp_path, step, without_models, monkeypatch
):
    before = rows_of_others(academy.home, academy.gone)
    place = forgetting if hasattr(forgetting, step) else removal
    real = getattr(place, step)

    def cut_off(*given):
        real(*given)
        raise KeyboardInterrupt

    with monkeypatch.context() as patched:
        patched.setattr(place, step, cut_off)
        assert forget(academy).returncode == 130
    unfinished = {found.name for found in check(academy.home) if not found.ok}
    assert "forgetting" in unfinished
    ran = underfoot_command("backup", tmp_path / "kept.zip", "--home", academy.home.path)
    assert ran.returncode == 2
    for path in academy.home.inbox.iterdir():
        path.rename(tmp_path / path.name)
    assert underfoot_command("load", "--home", academy.home.path).returncode == 0
    assert_forgotten(academy, before)
    assert len(forgotten.receipts(academy.home)) == 1


@pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork")
def test_forgetting_that_is_killed_is_finished_by_the_next_load(academy, tmp_path, without_models):
    before = rows_of_others(academy.home, academy.gone)
    homes = [tmp_path / f"home-{n}" for n in range(3)]
    for folder in homes:
        shutil.copytree(academy.home.path, folder)
    tests = Path(__file__).parents[1]
    ran = subprocess.run(
        [sys.executable, tests / "killed_forgetting.py", academy.gone.code, "7", *homes],
        capture_output=True, text=True, check=False, timeout=300,
        env={**os.environ, "PYTHONPATH": f"{tests.parent}:{tests}", "POLARS_MAX_THREADS": "1"},
    )  # fmt: skip
    assert ran.returncode == 0, ran.stderr[-2000:]
    assert int(ran.stdout) < len(homes) - 1  # at least one was killed at work
    for folder in homes:
        academy.home = Home(folder)
        for path in academy.home.inbox.iterdir():
            shutil.move(path, tmp_path / f"{folder.name}-{path.name}")
        if not (forgotten.asked(academy.home) or forgotten.receipts(academy.home)):
            forgotten.ask(academy.home, academy.gone.code)  # killed before that was noted
        assert underfoot_command("load", "--home", folder).returncode == 0
        assert_forgotten(academy, before)
        assert len(forgotten.receipts(academy.home)) == 1


def test_a_backup_restored_afterwards_forgets_again(academy, tmp_path, without_models):
    link = make_link(academy.home, academy.gone.code, 400)
    file = tmp_path / "kept.zip"
    assert underfoot_command("backup", file, "--home", academy.home.path).returncode == 0
    ran = forget(academy)
    assert str(file) in ran.stdout.replace("\n", "")
    before = rows_of_others(academy.home, academy.gone)
    again = Home(tmp_path / "again")
    ran = underfoot_command("restore", file, "--home", again.path)
    assert ran.returncode == 0, ran.stderr
    assert "Forgotten" in ran.stdout
    academy.home = again
    assert_forgotten(academy, before)
    snapshot = open_snapshot(again)
    with pytest.raises(UnderfootError, match="has ended"):
        read_link(again, snapshot, link)
    snapshot.close()


def test_a_backup_made_later_in_the_same_second_is_of_another_student(home):
    before = datetime.now(UTC).isoformat()
    forgotten.done(home, "s1", {}, [])
    after = datetime.now(UTC).isoformat()
    assert forgotten.removed_since(home, [], after) == []
    forgotten.ask_again(home, ["s1", "s2"], forgotten.removed_since(home, [], before))
    assert [request.student for request in forgotten.asked(home)] == ["s1"]


def test_a_backup_made_after_a_code_was_given_anew_keeps_the_new_student(academy, tmp_path, without_models):
    assert forget(academy).returncode == 0
    people = tmp_path / "more" / "people.csv"
    people.parent.mkdir()
    people.write_text(
        f"person,role,display_name,joined\n{academy.gone.code},student,Somebody Else,2026-07-01\n", "utf-8"
    )
    assert underfoot_command("load", people, "--home", academy.home.path).returncode == 0
    file = tmp_path / "later.zip"
    assert underfoot_command("backup", file, "--home", academy.home.path).returncode == 0
    again = Home(tmp_path / "again")
    ran = underfoot_command("restore", file, "--home", again.path)
    assert "Forgotten" not in ran.stdout
    snapshot = open_snapshot(again)
    assert "Somebody Else" in set(snapshot.sql("SELECT display_name FROM academy.person").to_series())
    snapshot.close()


def test_the_list_of_what_was_removed_shows_a_change(academy, tmp_path, without_models):
    assert forget(academy).returncode == 0
    path = academy.home.path / forgotten.LIST
    text = path.read_text()
    for changed in (text.replace('"sessions": ', '"sessions": 1'), text.replace("{", "{ ,", 1), text * 2):
        path.write_text(changed)
        with pytest.raises(UnderfootError, match="is not the list this home signed"):
            forgotten.receipts(academy.home)
        assert "forgetting" in {found.name for found in check(academy.home) if not found.ok}


def test_only_a_student_is_forgotten_and_only_when_it_is_meant(
    academy, tmp_path, without_models, monkeypatch
):
    before = academy.home.ledger.read_bytes()
    for person, said in (("c1", "is a coach"), ("nobody", "There is no student")):
        ran = underfoot_command("forget", person, "--yes", "--home", academy.home.path)
        assert ran.returncode == 2
        assert said in ran.stderr
    for answer in ("", "no\n"):
        monkeypatch.setattr("sys.stdin", io.StringIO(answer))
        assert underfoot_command("forget", academy.gone.code, "--home", academy.home.path).returncode == 130
    assert academy.home.ledger.read_bytes() == before
    assert forgotten.asked(academy.home) == []


def test_an_archive_in_the_inbox_is_loaded_first(academy, tmp_path, without_models):
    (academy.home.inbox / "packed.zip").write_bytes(b"PK")
    ran = forget(academy)
    assert ran.returncode == 2
    assert "underfoot load" in ran.stderr
