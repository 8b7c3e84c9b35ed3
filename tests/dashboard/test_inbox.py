"""Dropping a delivery: whole, flushed and inside the inbox, or not at all."""

import io
import json
import os
import tarfile
import zipfile
from dataclasses import dataclass
from pathlib import Path

import pytest

from dashboard import inbox
from ingest.delivery import ROSTER_ORDER
from warehouse import recipes
from warehouse.deliverer import MARK, read_mark
from warehouse.errors import AccessError, CallError
from warehouse.home import Home
from warehouse.reach import Viewer
from warehouse.vocabulary import DEVICE_CHECKS, ROSTER_FILES

HEAD = Viewer("h01", "head_coach", "Hedda Quist")
COACH = Viewer("c01", "coach", "Caro Lindt")


@dataclass
class Looking:
    """Whoever may still look, in a home where nothing is published."""

    home: Home
    viewer: Viewer = HEAD

    def anew(self):
        return self


ROLES_LINE = b"person,role\nc01,head_coach\n"


def zipped(*names):
    data = io.BytesIO()
    with zipfile.ZipFile(data, "w") as archive:
        for name in names:
            archive.writestr(name, ROLES_LINE)
    return data.getvalue()


def tarred(*names, mode="w:gz"):
    data = io.BytesIO()
    with tarfile.open(fileobj=data, mode=mode) as archive:
        for name in names:
            info = tarfile.TarInfo(name)
            info.size = len(ROLES_LINE)
            archive.addfile(info, io.BytesIO(ROLES_LINE))
    return data.getvalue()


def test_a_dropped_delivery_is_in_the_inbox_byte_for_byte(tmp_path):
    home = Home(tmp_path)
    kept = inbox.deliver(
        Looking(home), [("visit/session.toml", b"a = 1\n"), ("visit/plate.csv", b"\x00\xff")]
    )
    assert kept.parent == home.inbox
    assert (kept / "visit" / "session.toml").read_bytes() == b"a = 1\n"
    assert (kept / "visit" / "plate.csv").read_bytes() == b"\x00\xff"
    assert sorted(p.name for p in tmp_path.iterdir() if p.name.startswith(".arriving")) == []


def test_every_file_and_folder_is_flushed_before_the_delivery_appears(tmp_path, monkeypatch):
    home, flushed = Home(tmp_path), []
    real = os.fsync
    monkeypatch.setattr(
        "os.fsync",
        lambda fd: (flushed.append(str(Path(f"/proc/self/fd/{fd}").readlink())), real(fd)),
    )
    kept = inbox.deliver(Looking(home), [("visit/session.toml", b"x")])
    names = [path.rsplit("/", 1)[-1] for path in flushed]
    assert names[0] == "session.toml"
    assert flushed[-1] == str(home.inbox)
    assert "visit" in names
    assert kept.exists()


def test_a_crash_while_writing_leaves_nothing_in_the_inbox(tmp_path, monkeypatch):
    home = Home(tmp_path)

    def full(_):
        raise OSError("no space left")

    monkeypatch.setattr("os.fsync", full)
    with pytest.raises(OSError, match="no space"):
        inbox.deliver(Looking(home), [("session.toml", b"x")])
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
            inbox.deliver(Looking(Home(tmp_path)), files)
    assert not (tmp_path / "inbox").exists()


def test_the_names_kept_for_a_head_coach_are_the_loaders_roster_and_archive_names():
    assert (ROSTER_FILES[0], recipes.FILE, *ROSTER_FILES[1:], DEVICE_CHECKS) == ROSTER_ORDER


ROSTER_DROPS = {
    "a file": ("people.csv", ROLES_LINE),
    "a file of a folder": ("visit/coaching.csv", ROLES_LINE),
    "a file with room before its name": (" consents.csv", ROLES_LINE),
    "a zip": ("Visits.ZIP", zipped("visit/session.toml", "visit\\people.csv")),
    "a tar": ("visits.tar", tarred("./people.csv", mode="w")),
    "a packed tar": ("visits.tgz", tarred("deep/down/seasons.csv")),
}


@pytest.mark.parametrize("case", ROSTER_DROPS)
def test_a_file_of_the_roster_is_kept_from_a_head_coach_alone(tmp_path, case):
    home = Home(tmp_path)
    with pytest.raises(CallError, match="roster file, which only a head coach delivers"):
        inbox.deliver(Looking(home, COACH), [("notes.csv", b"x"), ROSTER_DROPS[case]])
    assert not home.inbox.exists()
    assert inbox.deliver(Looking(home), [ROSTER_DROPS[case]]).is_dir()
    (line,) = map(json.loads, home.events.read_text().splitlines())
    assert len(line["roster"]) == 1


@pytest.mark.parametrize("by", [HEAD, COACH])
@pytest.mark.parametrize(
    "file", [("academy.toml", b""), ("a/academy.toml", b""), ("all.zip", zipped("home/academy.toml"))]
)
def test_academy_toml_is_accepted_from_nobody_through_the_page(tmp_path, file, by):
    with pytest.raises(CallError, match="put it into the home's folder yourself"):
        inbox.deliver(Looking(Home(tmp_path), by), [file])


def test_an_archive_inside_an_archive_and_an_unreadable_one_are_refused_from_a_coach(tmp_path):
    with pytest.raises(CallError, match=r"inner\.tar in all\.zip is an archive inside an archive"):
        inbox.deliver(Looking(Home(tmp_path), COACH), [("all.zip", zipped("v/inner.tar"))])
    for name, data in (
        ("a.zip", zipped("x.csv")[:-9]),
        ("a.tgz", tarred("x.csv")[:-9]),
        ("a.tar", b"x" * 999),
    ):
        with pytest.raises(CallError, match="can't be read"):
            inbox.deliver(Looking(Home(tmp_path), COACH), [(name, data)])


def test_an_archive_that_unpacks_to_too_much_is_refused(tmp_path, monkeypatch):
    monkeypatch.setattr(inbox, "MOST_UNPACKED_BYTES", 1000)
    with pytest.raises(CallError, match="too large"):
        inbox.deliver(Looking(Home(tmp_path)), [("a.tgz", tarred("x.csv", "y.csv"))])


def test_a_coachs_archive_of_sessions_is_kept_and_who_dropped_it_is_written_down(tmp_path):
    home = Home(tmp_path)
    kept = inbox.deliver(
        Looking(home, COACH), [("all.zip", zipped("v1/session.toml", "v1/plate.csv"))], corrects=["ab"]
    )
    (line,) = map(json.loads, home.events.read_text().splitlines())
    del line["at"]
    assert line == {
        "event": "dropped", "viewer": "c01", "role": "coach", "delivery": kept.name, "n_files": 1,
        "files": ["all.zip"], "roster": [], "corrects": ["ab"],
    }  # fmt: skip
    mark = read_mark(kept)
    assert (mark.person, mark.corrects) == ("c01", ("ab",))


@pytest.mark.parametrize("role", ["student", "guardian"])
def test_nobody_but_the_staff_delivers(tmp_path, role):
    home = Home(tmp_path)
    with pytest.raises(AccessError, match="Only the academy's coaches"):
        inbox.deliver(Looking(home, Viewer("s01", role, "Sanna Test")), [("notes.csv", b"x")])
    assert not home.inbox.exists()


def test_no_delivery_brings_its_own_mark_of_who_delivered_it(tmp_path):
    with pytest.raises(CallError, match="file name"):
        inbox.deliver(Looking(Home(tmp_path), COACH), [(MARK, b"{}"), ("notes.csv", b"x")])
