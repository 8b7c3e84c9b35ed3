"""Archives of deliveries: taken like the folders in them, or refused whole with one sentence."""

import io
import stat
import struct
import tarfile
import time
import zipfile
import zlib

import pytest

from ingest import archives, outcomes


def pack(path, folder, kind=None):
    """The folders under `folder` as a zip or tar."""
    names = sorted(p for p in folder.rglob("*") if p.is_file())
    if path.suffix == ".zip":
        with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
            for name in names:
                archive.write(name, name.relative_to(folder))
    else:
        with tarfile.open(path, "w:" if path.suffix == ".tar" else "w:gz") as archive:
            archive.add(folder, arcname=".")
    return path


def week(tmp_path, made):
    made.deliver(tmp_path / "week" / "v1", made.toml(), made.plate())
    made.deliver(
        tmp_path / "week" / "deep" / "v2",
        made.toml("v2", started_at="2026-05-06T10:00:00Z"),
        made.plate(),
        notes__csv="at,author,kind,text,shared\n2026-05-06,c1,plan,On.,true\n",
    )
    (tmp_path / "week" / "shots.csv").write_text("session,swing_no,carry_m,side_m\nv1,1,140,-3\n")
    return tmp_path / "week"


@pytest.fixture(scope="module")
def from_folders(made, tmp_path_factory):
    """The tables after a load of the week's folders as they are."""
    base = tmp_path_factory.mktemp("from_folders")
    academy = made.make_academy(base / "academy")
    academy.roster()
    academy.load()
    academy.load(week(base, made))
    return academy.tables()


@pytest.mark.parametrize("name", ["week.zip", "week.tar", "week.tar.gz", "week.tgz"])
def test_an_archive_of_several_sessions_loads_as_its_folders_would(
    name, academy, made, tmp_path, from_folders
):
    pack(academy.inbox / name, week(tmp_path, made))
    report = academy.load()
    assert (report.accepted, report.refused) == (["v1", "v2"], [])
    assert academy.sql("SELECT session, swing_no FROM academy.shot").rows() == [("v1", 1)]
    assert academy.left_in_inbox() == []
    assert not (academy.home.path / ".unpacked").exists()
    assert academy.tables() == from_folders


def test_a_session_packed_without_its_folder_takes_the_archive_s_name(academy, made, tmp_path):
    folder = made.deliver(tmp_path / "v1", made.toml(), made.plate())
    pack(academy.inbox / "visit.zip", folder)
    assert academy.load().accepted == ["v1"]
    assert academy.sql("SELECT name FROM academy.delivery WHERE session = 'v1'").item() == "visit"


def test_an_archive_outside_the_inbox_is_left_where_it_is(academy, made, tmp_path):
    archive = pack(tmp_path / "week.zip", week(tmp_path, made))
    assert academy.load(archive).accepted == ["v1", "v2"]
    assert archive.exists()
    assert academy.load(archive).unchanged == ["v1", "v2"]


def interrupted(*_):
    raise KeyboardInterrupt


def test_a_crash_while_an_archive_loads_leaves_it_in_the_inbox(academy, made, tmp_path, monkeypatch):
    pack(academy.inbox / "week.zip", week(tmp_path, made))
    with monkeypatch.context() as patched:
        patched.setattr(outcomes.AcceptedDeliveries, "commit_sessions", interrupted)
        with pytest.raises(KeyboardInterrupt):
            academy.load()
    assert academy.left_in_inbox() == ["week.zip"]
    assert academy.load().accepted == ["v1", "v2"]
    assert academy.left_in_inbox() == []


def zip_of(path, *members, flags=0):
    with zipfile.ZipFile(path, "w") as archive:
        for name, data in members:
            archive.writestr(name, data)


def tar_of(path, info, data=b""):
    with tarfile.open(path, "w") as archive:
        info.size = len(data)
        archive.addfile(info, io.BytesIO(data))


def climbing(path):
    zip_of(path, ("../../stolen.csv", "x"))


def absolute(path):
    zip_of(path, ("/etc/stolen", "x"))


def backslashes(path):
    zip_of(path, ("..\\..\\stolen.csv", "x"))


def a_drive(path):
    zip_of(path, ("C:/stolen.csv", "x"))


def a_linked_zip(path):
    with zipfile.ZipFile(path, "w") as archive:
        info = zipfile.ZipInfo("v1/plate.csv")
        info.external_attr = (stat.S_IFLNK | 0o777) << 16
        archive.writestr(info, "/etc/passwd")


def a_linked_tar(path):
    info = tarfile.TarInfo("v1/plate.csv")
    info.type, info.linkname = tarfile.SYMTYPE, "/etc/passwd"
    tar_of(path, info)


def a_hard_link(path):
    info = tarfile.TarInfo("v1/plate.csv")
    info.type, info.linkname = tarfile.LNKTYPE, "../../academy.toml"
    tar_of(path, info)


def a_device(path):
    info = tarfile.TarInfo("v1/plate.csv")
    info.type = tarfile.CHRTYPE
    tar_of(path, info)


def a_climbing_tar(path):
    tar_of(path, tarfile.TarInfo("v1/../../stolen.csv"), b"x")


def a_latin_1_name(path):
    with tarfile.open(path, "w", encoding="latin-1", format=tarfile.GNU_FORMAT) as archive:
        archive.addfile(tarfile.TarInfo("séance/session.toml"))


def a_latin_1_link(path):
    info = tarfile.TarInfo("séance/session.toml")
    info.type, info.linkname = tarfile.SYMTYPE, "/etc/passwd"
    with tarfile.open(path, "w", encoding="latin-1", format=tarfile.GNU_FORMAT) as archive:
        archive.addfile(info)


def an_archive_inside(path):
    zip_of(path, ("v1/session.toml", "x"), ("more.zip", "x"))


def nothing_inside(path):
    zip_of(path)


def no_archive(path):
    path.write_bytes(b"just some words, no archive " * 40)


def cut_short(path):
    zip_of(path, ("v1/session.toml", "x" * 5000))
    path.write_bytes(path.read_bytes()[:-60])


def a_wrong_checksum(path):
    zip_of(path, ("v1/session.toml", "x" * 500))
    path.write_bytes(path.read_bytes().replace(b"x" * 500, b"y" * 500))


def a_password(path):
    zip_of(path, ("v1/session.toml", "x"))
    data = bytearray(path.read_bytes())
    for mark, at in ((b"PK\x03\x04", 6), (b"PK\x01\x02", 8)):
        data[data.find(mark) + at] |= 1
    path.write_bytes(bytes(data))


def too_many_files(path):
    with zipfile.ZipFile(path, "w") as archive:
        for number in range(archives.MOST_FILES + 1):
            archive.writestr(f"{number}", "")


BAD = [
    (climbing, "zip", "unsafe_name"),
    (absolute, "zip", "unsafe_name"),
    (backslashes, "zip", "unsafe_name"),
    (a_drive, "zip", "unsafe_name"),
    (a_linked_zip, "zip", "unsafe_name"),
    (a_linked_tar, "tar", "unsafe_name"),
    (a_hard_link, "tar", "unsafe_name"),
    (a_device, "tar", "unsafe_name"),
    (a_climbing_tar, "tar", "unsafe_name"),
    (a_latin_1_name, "tar", "unsafe_name"),
    (a_latin_1_link, "tar", "unsafe_name"),
    (an_archive_inside, "zip", "archive_inside"),
    (nothing_inside, "zip", "empty_file"),
    (no_archive, "zip", "unreadable"),
    (no_archive, "tar", "unreadable"),
    (no_archive, "tar.gz", "unreadable"),
    (cut_short, "zip", "unreadable"),
    (a_wrong_checksum, "zip", "unreadable"),
    (a_password, "zip", "locked"),
    (too_many_files, "zip", "too_large"),
]


@pytest.mark.parametrize(("make", "ending", "reason"), BAD, ids=[f"{b[0].__name__}.{b[1]}" for b in BAD])
def test_a_bad_archive_is_refused_whole_and_writes_nothing_elsewhere(make, ending, reason, academy, tmp_path):
    make(academy.inbox / f"bad.{ending}")
    report = academy.load()
    assert [r.reason for r in report.refused] == [reason]
    assert report.refused[0].sentence.startswith(f"bad.{ending}: ")
    assert report.refused[0].sentence.count("\n") == 0
    assert academy.left_in_inbox() == []
    assert len(academy.waiting()) == 1
    assert [p.name for p in tmp_path.rglob("stolen*")] == []
    assert not (academy.home.path / ".unpacked").exists()


def ten_gigabytes(path):
    """A zip of 10 GB of zeros, made of one deflated block repeated: 10 MB, written without packing 10 GB."""
    block = 1 << 26
    packer = zlib.compressobj(9, zlib.DEFLATED, -15)
    first = packer.compress(bytes(block)) + packer.flush(zlib.Z_FULL_FLUSH)
    again = packer.compress(bytes(block)) + packer.flush(zlib.Z_FULL_FLUSH)
    times = 2 if path.suffix != ".zip" else 63  # a zip entry without extras ends under 4 GiB
    body = first + again * (times - 1) + packer.flush(zlib.Z_FINISH)
    name = b"plate.csv"
    size = block * times
    entries, files = b"", b""
    for number in range(3):
        unique = b"%d/%s" % (number, name)
        fixed = struct.pack("<HHHHHIIIHH", 20, 0, 8, 0, 0, 0, len(body), size, len(unique), 0)
        entries += (
            b"PK\x01\x02"
            + struct.pack("<H", 20)
            + fixed
            + struct.pack("<HHHII", 0, 0, 0, 0, len(files))
            + unique
        )
        files += b"PK\x03\x04" + fixed + unique + body
    end = struct.pack("<HHHHIIH", 0, 0, 3, 3, len(entries), len(files), 0)
    path.write_bytes(files + entries + b"PK\x05\x06" + end)


def test_a_bomb_of_twelve_gigabytes_is_refused_in_a_moment(academy):
    ten_gigabytes(academy.inbox / "bomb.zip")
    with zipfile.ZipFile(academy.inbox / "bomb.zip") as archive:
        assert sum(info.file_size for info in archive.infolist()) > 10e9
    started = time.process_time()
    report = academy.load()
    assert [r.reason for r in report.refused] == ["too_large"]
    assert time.process_time() - started < 5


def test_a_tar_that_unpacks_without_end_is_stopped_after_what_its_file_can_hold(academy, monkeypatch):
    monkeypatch.setattr(archives, "LARGE_BYTES", 1 << 20)
    with tarfile.open(academy.inbox / "bomb.tar.gz", "w:gz", compresslevel=9) as archive:
        info = tarfile.TarInfo("v1/plate.csv")
        info.size = 100 << 20
        archive.addfile(info, io.BytesIO(bytes(info.size)))
    report = academy.load()
    assert [r.reason for r in report.refused] == ["too_large"]
    assert (next(academy.home.refused.iterdir()) / "bomb.tar.gz").stat().st_size < 1 << 20


def test_an_archive_that_says_less_than_it_holds_is_refused(academy):
    path = academy.inbox / "lies.zip"
    zip_of(path, ("v1/session.toml", "x" * 500))
    data = path.read_bytes()
    path.write_bytes(data.replace(struct.pack("<I", 500), struct.pack("<I", 100)))
    assert [r.reason for r in academy.load().refused] == ["unreadable"]
