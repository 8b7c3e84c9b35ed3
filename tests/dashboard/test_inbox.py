"""Dropping a delivery: whole, flushed and inside the inbox, or not at all."""

import os
from pathlib import Path

import pytest

from dashboard import inbox
from warehouse.errors import CallError
from warehouse.home import Home


def test_a_dropped_delivery_is_in_the_inbox_byte_for_byte(tmp_path):
    home = Home(tmp_path)
    kept = inbox.keep(home, [("visit/session.toml", b"a = 1\n"), ("visit/plate.csv", b"\x00\xff")])
    assert kept.parent == home.inbox
    assert (kept / "visit" / "session.toml").read_bytes() == b"a = 1\n"
    assert (kept / "visit" / "plate.csv").read_bytes() == b"\x00\xff"
    assert sorted(p.name for p in tmp_path.iterdir() if p.name.startswith(".arriving")) == []


def test_every_file_and_folder_is_flushed_before_the_delivery_appears(tmp_path, monkeypatch):
    home, flushed = Home(tmp_path), []
    real = os.fsync
    monkeypatch.setattr(
        inbox.os, "fsync", lambda fd: (flushed.append(str(Path(f"/proc/self/fd/{fd}").readlink())), real(fd))
    )
    kept = inbox.keep(home, [("visit/session.toml", b"x")])
    names = [path.rsplit("/", 1)[-1] for path in flushed]
    assert names[0] == "session.toml"
    assert flushed[-1] == str(home.inbox)
    assert "visit" in names
    assert kept.exists()


def test_a_crash_while_writing_leaves_nothing_in_the_inbox(tmp_path, monkeypatch):
    home = Home(tmp_path)

    def full(_):
        raise OSError("no space left")

    monkeypatch.setattr(inbox.os, "fsync", full)
    with pytest.raises(OSError, match="no space"):
        inbox.keep(home, [("session.toml", b"x")])
    assert list(home.inbox.iterdir()) == []


@pytest.mark.parametrize(
    "name", ["../evil.toml", "/etc/passwd", "a/../../b", ".hidden", "c:\\x", "a//b", "", "..\\b"]
)
def test_a_name_that_leaves_its_folder_or_hides_is_refused(name):
    with pytest.raises(CallError, match="file name"):
        inbox.safe_name(name)


def test_no_file_or_the_same_name_twice_is_refused_before_anything_is_written(tmp_path):
    for files in ([], [("a.csv", b"1"), ("a.csv", b"2")]):
        with pytest.raises(CallError):
            inbox.keep(Home(tmp_path), files)
    assert not (tmp_path / "inbox").exists()
