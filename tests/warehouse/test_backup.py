"""A home as one file and back, every hash compared; nothing is overwritten."""

import io
import os
import random
import zipfile

import pytest
from cryptography.exceptions import InvalidTag

import builders
import made_swings as made
from command import underfoot_command
from warehouse import links, sealed
from warehouse.health import check
from warehouse.home import Home
from warehouse.store import open_snapshot
from warehouse.tables import table_names


@pytest.fixture(autouse=True)
def passphrase(monkeypatch):
    monkeypatch.setenv("UNDERFOOT_PASSPHRASE", "clear ground and a short step")
    monkeypatch.setattr(sealed, "WORK", 1 << 10)  # the key is derived in moments


@pytest.fixture(scope="module")
def loaded(tmp_path_factory):
    """A folder with a drop and the academy that was loaded from it."""
    folder = tmp_path_factory.mktemp("loaded")
    drop = made.write_roster(folder / "drop")
    made.write_session(drop / "v1", made.session_toml("v1"), made.swing_frame(rate_hz=100))
    made.write_session(drop / "bad", made.session_toml("bad", "s9"), made.swing_frame(rate_hz=100))
    home = builders.make_home(folder / "academy")
    assert underfoot_command("load", drop, "--home", home.path).returncode == 1
    (home.inbox / "later.csv").write_text("x")
    return folder


@pytest.fixture
def lived_in(home, loaded):
    return builders.copied(loaded / "academy", home)


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


def test_a_restored_home_is_the_one_backed_up(lived_in, tmp_path, loaded):
    file = tmp_path / "kept.zip"
    ran = underfoot_command("backup", file, "--home", lived_in.path)
    assert (ran.returncode, ran.stderr) == (0, "")
    assert "every hash compared" in ran.stdout.replace("\n", " ")
    again = Home(tmp_path / "again")
    assert underfoot_command("restore", file, "--home", again.path).returncode == 0
    assert rows(again) == rows(lived_in)
    assert files(again) == files(lived_in)
    assert [found.name for found in check(again) if not found.ok] == []
    assert underfoot_command("load", loaded / "drop" / "v1", "--home", again.path, "--json").returncode == 0


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


def test_a_backup_says_nothing_without_its_passphrase(lived_in, tmp_path, monkeypatch):
    links.make_key(lived_in)
    file = tmp_path / "kept.zip"
    assert underfoot_command("backup", file, "--home", lived_in.path).returncode == 0
    data = file.read_bytes()
    for name in ("links.key", "forgotten.key"):
        assert (lived_in.path / name).read_bytes() not in data
    assert b"people.csv" not in data
    assert data[:2] != b"PK"
    for wrong in ("another one altogether", ""):
        monkeypatch.setenv("UNDERFOOT_PASSPHRASE", wrong)
        ran = underfoot_command("restore", file, "--home", tmp_path / "again")
        assert ran.returncode == 2
        assert ran.stderr.replace("\n", " ").strip().endswith("give the one it was made with.")
    monkeypatch.delenv("UNDERFOOT_PASSPHRASE")
    monkeypatch.setattr("sys.stdin", io.StringIO(""))
    for words in (("restore", file), ("backup", tmp_path / "other.zip")):
        ran = underfoot_command(
            *words, "--home", tmp_path / "again" if words[0] == "restore" else lived_in.path
        )
        assert ran.returncode == 2
        assert "--key-file" in ran.stderr
    assert not (tmp_path / "again").exists()


def test_a_key_file_seals_as_a_passphrase_does(lived_in, tmp_path, monkeypatch):
    monkeypatch.delenv("UNDERFOOT_PASSPHRASE")
    key, other, short = (tmp_path / name for name in ("key", "other", "short"))
    key.write_bytes(bytes(range(32)))
    other.write_bytes(bytes(32))
    short.write_bytes(b"x")
    file, again = tmp_path / "kept.zip", tmp_path / "again"
    assert underfoot_command("backup", file, "--key-file", short, "--home", lived_in.path).returncode == 2
    assert underfoot_command("backup", file, "--key-file", key, "--home", lived_in.path).returncode == 0
    assert underfoot_command("restore", file, "--key-file", other, "--home", again).returncode == 2
    assert underfoot_command("restore", file, "--key-file", key, "--home", again).returncode == 0
    assert rows(Home(again)) == rows(lived_in)


@pytest.mark.parametrize("cut", [1, 17, sealed.PIECE + sealed.TAG])
def test_a_sealed_file_reads_back_and_shows_a_cut(tmp_path, cut):
    data = random.Random(1).randbytes(2 * sealed.PIECE + 5)
    file = tmp_path / "sealed"
    with file.open("wb") as raw, sealed.SealedWriter(raw, b"secret") as target:
        for start in range(0, len(data), 300_001):
            target.write(data[start : start + 300_001])
    with io.BufferedReader(sealed.SealedReader(file, b"secret")) as read:
        assert read.read() == data
        read.seek(sealed.PIECE - 3)
        assert read.read(9) == data[sealed.PIECE - 3 : sealed.PIECE + 6]
    file.write_bytes(file.read_bytes()[:-cut])
    with pytest.raises((InvalidTag, ValueError)):
        sealed.SealedReader(file, b"secret")


def test_everything_in_a_home_is_its_owner_s_alone(lived_in):
    lived_in.path.chmod(0o755)
    lived_in.settings_file.chmod(0o644)
    (lived_in.filed / "settings").chmod(0o755)
    assert underfoot_command("load", "--home", lived_in.path).returncode in (0, 1)
    assert [p for p in [lived_in.path, *lived_in.path.rglob("*")] if p.stat().st_mode & 0o077] == []
    assert [found.said for found in check(lived_in) if found.name == "private" and not found.ok] == []
    lived_in.settings_file.chmod(0o644)
    assert [found.name for found in check(lived_in) if not found.ok] == ["private"]
