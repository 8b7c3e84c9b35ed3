"""A home as one file and back, every hash compared; nothing is overwritten."""

import os
import zipfile

import pytest

import made_swings as made
from command import underfoot_command
from warehouse.health import check
from warehouse.home import Home
from warehouse.store import open_snapshot, table_names


@pytest.fixture
def lived_in(home, tmp_path):
    drop = made.write_roster(tmp_path / "drop")
    made.write_session(drop / "v1", made.session_toml("v1"), made.swing_frame(rate_hz=100))
    made.write_session(drop / "bad", made.session_toml("bad", "s9"), made.swing_frame(rate_hz=100))
    assert underfoot_command("load", drop, "--home", home.path).returncode == 1
    (home.inbox / "later.csv").write_text("x")
    return home


def rows(home):
    snapshot = open_snapshot(home)
    found = {name: sorted(map(repr, snapshot.sql(f"SELECT * FROM {name}").rows())) for name in table_names()}
    snapshot.close()
    return found


def files(home):
    left_out = ("published", "writer", "events", "backups", "forgotten.key")
    return {
        p.relative_to(home.path).as_posix(): p.read_bytes()
        for p in home.path.rglob("*")
        if p.is_file() and not p.relative_to(home.path).as_posix().startswith((*left_out, "warehouse"))
    }


def test_a_restored_home_is_the_one_backed_up(lived_in, tmp_path):
    file = tmp_path / "kept.zip"
    ran = underfoot_command("backup", file, "--home", lived_in.path)
    assert (ran.returncode, ran.stderr) == (0, "")
    assert "every hash compared" in ran.stdout.replace("\n", " ")
    again = Home(tmp_path / "again")
    assert underfoot_command("restore", file, "--home", again.path).returncode == 0
    assert rows(again) == rows(lived_in)
    assert files(again) == files(lived_in)
    assert [found.name for found in check(again) if not found.ok] == []
    assert underfoot_command("load", tmp_path / "drop" / "v1", "--home", again.path, "--json").returncode == 0


def test_folders_that_stand_elsewhere_by_a_link_are_kept_too(lived_in, tmp_path):
    before = files(lived_in)
    lived_in.filed.rename(tmp_path / "other-disk")
    lived_in.filed.symlink_to(tmp_path / "other-disk")
    (lived_in.inbox / "round").symlink_to(lived_in.path)  # a loop is gone into once
    file = tmp_path / "kept.zip"
    assert underfoot_command("backup", file, "--home", lived_in.path).returncode == 0
    again = Home(tmp_path / "again")
    assert underfoot_command("restore", file, "--home", again.path).returncode == 0
    assert files(again) == before
    assert [found.name for found in check(again) if not found.ok] == []


def test_nothing_is_overwritten(lived_in, tmp_path):
    file = tmp_path / "kept.zip"
    assert underfoot_command("backup", file, "--home", lived_in.path).returncode == 0
    before = files(lived_in)
    for words in (("backup", file), ("backup", lived_in.path / "in.zip"), ("restore", file)):
        ran = underfoot_command(*words, "--home", lived_in.path)
        assert ran.returncode == 2
        assert ran.stderr.strip().count(".") >= 1
    assert files(lived_in) == before
    empty = tmp_path / "empty"
    empty.mkdir()
    assert underfoot_command("restore", file, "--home", empty).returncode == 0


@pytest.mark.parametrize("share", [0.1, 0.5, 0.9])
def test_a_backup_with_a_changed_byte_restores_nothing(lived_in, tmp_path, share):
    file = tmp_path / "kept.zip"
    underfoot_command("backup", file, "--home", lived_in.path)
    data = bytearray(file.read_bytes())
    data[int(len(data) * share)] ^= 255
    file.write_bytes(bytes(data))
    ran = underfoot_command("restore", file, "--home", tmp_path / "again")
    assert ran.returncode == 1
    assert "is not a whole backup" in ran.stderr
    assert not (tmp_path / "again").exists()


def test_a_backup_that_would_write_elsewhere_restores_nothing(tmp_path):
    file = tmp_path / "bad.zip"
    with zipfile.ZipFile(file, "w") as archive:
        archive.writestr("../stolen", "x")
        archive.writestr(
            "underfoot-backup.json", '{"format": 1, "files": {"../stolen": {"size": 1, "sha256": "x"}}}'
        )
    ran = underfoot_command("restore", file, "--home", tmp_path / "deep" / "again")
    assert ran.returncode == 1
    assert not list(tmp_path.rglob("stolen"))


def test_a_damaged_filed_delivery_is_kept_and_told(lived_in, tmp_path):
    filed = next(lived_in.filed.glob("*/plate.csv"))
    filed.write_bytes(b"x")
    ran = underfoot_command("backup", tmp_path / "kept.zip", "--home", lived_in.path)
    assert ran.returncode == 1
    assert "is damaged" in ran.stderr.replace("\n", " ")
    assert (tmp_path / "kept.zip").exists()


def test_a_backup_that_finds_no_room_leaves_nothing(lived_in, tmp_path, monkeypatch):
    def full(handle):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    ran = underfoot_command("backup", tmp_path / "kept.zip", "--home", lived_in.path)
    assert ran.returncode == 1
    assert "No space left" in ran.stderr
    assert not list(tmp_path.glob("kept*"))
