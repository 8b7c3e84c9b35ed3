"""What is past its time goes, and what is not stays, by [retention] of academy.toml."""

import os
import zipfile
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import polars as pl
import pytest

import underfoot
from command import underfoot_command
from dashboard.pages.student.export import write_export
from forgotten_academies import RandomAcademy
from ingest.loader import Loader
from ingest.redaction import Identity
from ingest.retention import AHEAD, carry_out
from warehouse import filed, forgotten
from warehouse.access import open_reader
from warehouse.errors import AccessError, UnderfootError
from warehouse.health import check
from warehouse.retention import Kept
from warehouse.settings import parse_settings
from warehouse.store import open_snapshot, writer
from warehouse.tables import table_names

TODAY = datetime.now(ZoneInfo("Europe/Dublin")).date()


@pytest.fixture
def academy(tmp_path, monkeypatch):
    """An academy that has lived a season; the season's models are left out."""
    monkeypatch.setattr(
        Loader, "_build", lambda _self, w: w.execute("UPDATE academy.session SET reduced = true")
    )
    academy = RandomAcademy(4, tmp_path).live()
    for path in academy.home.inbox.iterdir():
        path.rename(tmp_path / path.name)
    return academy


def keep(home, **days):
    lines = "".join(f"{key} = {n}\n" for key, n in days.items())
    home.settings_file.write_text(f"{home.settings_file.read_text()}\n[retention]\n{lines}")


def rows(home):
    """Every academy row, less what names a delivery, by table."""
    snapshot = open_snapshot(home)
    found = {}
    for name in table_names():
        if name.startswith("academy.") and name not in ("academy.delivery", "academy.refusal"):
            frame = snapshot.sql(f"SELECT * FROM {name}")
            found[name] = frame.drop({"delivery"} & set(frame.columns))
    snapshot.close()
    return found


def same(frame, other):
    return sorted(map(repr, frame.rows())) == sorted(map(repr, other.rows()))


def receipts(home):
    return [dict(r.removed) for r in forgotten.receipts(home)]


def test_old_visits_go_with_all_that_was_recorded_in_them_and_nobody_elses(academy):
    home, before = academy.home, rows(academy.home)
    days = sorted(before["academy.session"]["day"])
    cut = days[len(days) // 2]
    keep(
        home, sessions_days=(TODAY - cut).days + AHEAD
    )  # what is due within a week goes too: all before the cut
    underfoot._loader(home).chores()
    old = set(before["academy.session"].filter(pl.col("day") < cut)["session"])
    assert 0 < len(old) < len(days)
    after = rows(home)
    for name, frame in before.items():
        kept = frame.filter(pl.col("session").is_null() | ~pl.col("session").is_in(list(old))) if "session" in frame.columns else frame  # fmt: skip
        assert same(after[name], kept), name
    assert {p.stem for p in home.traces.rglob("*.parquet")} == set(after["academy.session"]["session"])
    assert not any(f'"{name}"' in home.ledger.read_text() for name in old)
    assert [r["sessions"] for r in receipts(home)] == [len(old)]
    assert [found.said for found in check(home) if not found.ok] == []
    # Nothing more is due, and a rebuild from what is filed comes to the same.
    underfoot._loader(home).chores()
    assert len(receipts(home)) == 1
    assert underfoot_command("build", "--from-filed", "--home", home.path).returncode == 0
    assert all(same(frame, after[name]) for name, frame in rows(home).items())
    said = next(found.said for found in check(home) if found.name == "retention")
    assert str(min(after["academy.session"]["day"]) + timedelta((TODAY - cut).days + AHEAD + 1)) in said


def test_old_notes_go_but_not_one_that_says_where_it_hurts(academy):
    home, before = academy.home, rows(academy.home)
    notes = before["academy.note"]
    cut = date(2026, 6, 10)  # all but one kind of loose note are of the days before
    keep(home, notes_days=(TODAY - cut).days + AHEAD)
    underfoot._loader(home).chores()
    after = rows(home)
    left = notes.filter((pl.col("day") >= cut) | (pl.col("kind") == "discomfort"))
    assert 0 < len(left) < len(notes)
    assert left.filter(pl.col("day") < cut)["kind"].unique().to_list() == ["discomfort"]
    assert sorted(after["academy.note"]["note"]) == sorted(left["note"])
    assert all(same(after[name], frame) for name, frame in before.items() if name in ("academy.session", "academy.shot", "academy.person"))  # fmt: skip
    assert [r["notes"] for r in receipts(home)] == [len(notes) - len(left)]
    assert [found.said for found in check(home) if not found.ok] == []


def test_refused_deliveries_go(academy):
    home = academy.home
    assert list(home.refused.iterdir())
    keep(home, refused_days=1)
    for path in home.refused.rglob("*"):
        stamp = (datetime.now(UTC) - timedelta(days=3)).timestamp()
        os.utime(path, (stamp, stamp))
    n = len(list(home.refused.iterdir()))
    underfoot._loader(home).chores()
    assert list(home.refused.iterdir()) == []
    assert [r["refused_removed"] for r in receipts(home)] == [n]
    assert forgotten.receipts(home)[0].digest == forgotten.digest(home, forgotten.NOBODY)
    said = next(found.said for found in check(home) if found.name == "forgetting")
    assert said.startswith("0 students")


def test_of_old_films_what_was_marked_in_them_stays_and_so_does_the_hash(tmp_path):
    folder = tmp_path / "delivery"
    shelf = folder / filed.FILM_FOLDER
    shelf.mkdir(parents=True)
    files = {folder / "session.toml": b"x", folder / "clip-1.mp4": b"film", shelf / "swing-1.mp4": b"cut", shelf / "swing-1.csv": b"marks"}  # fmt: skip
    for path, data in files.items():
        path.write_bytes(data)
    listed = {p.name: filed.facts_of(p) for p in (shelf / "swing-1.mp4", shelf / "swing-1.csv")}
    (shelf / filed.FILM_LIST).write_text(filed.film_list(listed, {}))
    content = filed.content_hash(folder)
    leaving = [*filed.films_in(folder), *filed.cut_films(folder)]
    assert filed.are_followed(folder)
    assert filed.remove_films(folder, leaving, {}) == 2
    assert filed.content_hash(folder) == content
    assert sorted(p.name for p in folder.rglob("*") if p.is_file()) == [
        "films.json",
        "session.toml",
        "swing-1.csv",
    ]
    assert (filed.films_in(folder), filed.cut_films(folder)) == ([], [])
    (folder / "clip-1.mp4").write_bytes(b"film")
    (folder / "clip-2.mp4").write_bytes(b"not followed yet")
    assert not filed.are_followed(folder)


@pytest.fixture
def filmed(filled):
    """The small academy with a film of s2, a minor: as delivered, and cut to the feet. Sets its consents anew."""
    folder = filled.filed / "d-v-s2"
    for name in ("clip-1.mp4", ".film/swing-1.mp4", ".film/swing-1.csv"):
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(name.encode())

    def agree(**last_days):
        with writer(filled) as w:
            w.execute("UPDATE academy.session SET has_clip = true WHERE session = 'v-s2'")
            w.execute("DELETE FROM academy.delivery")
            w.execute(
                "INSERT INTO academy.delivery BY NAME SELECT 'd-v-s2' AS delivery, 1 AS sequence, "
                "TIMESTAMP '2026-05-05' AS received_at, 'session' AS kind, 'accepted' AS outcome, 'v-s2' AS session"
            )
            w.execute("DELETE FROM academy.consent")
            for purpose, last in last_days.items():
                w.execute(
                    "INSERT INTO academy.consent VALUES ('s2', 'g2', ?, '2026-01-01', ?)", [purpose, last]
                )
            w.publish()

    return filled, agree


@pytest.mark.parametrize("elsewhere", [True, False])
def test_of_a_film_nobody_sees_more_than_the_feet_and_that_only_while_it_is_agreed_to(filmed, elsewhere):
    home, agree = filmed
    if elsewhere:
        home.settings_file.write_text('consents = "kept elsewhere"\n' + home.settings_file.read_text())
    cut = home.filed / "d-v-s2" / ".film" / "swing-1.mp4"
    for last_days, shown in (
        ({"film": None, "keep_film": None}, cut),
        ({"film": None, "keep_film": TODAY - timedelta(days=1)}, cut),
        ({"film": TODAY, "keep_film": None}, cut),
        ({"film": TODAY - timedelta(days=1), "keep_film": None}, None),
        ({"keep_film": None}, cut if elsewhere else None),
    ):
        agree(**last_days)
        for person in ("h1", "c1", "s2", "g2"):
            assert open_reader(home, person).film("v-s2", 1) == shown, (person, last_days)
        for person in ("c2", "s1"):
            with pytest.raises(AccessError):
                open_reader(home, person).film("v-s2", 1)


@pytest.mark.parametrize("ended_days_ago", [0, 1, 7, 8])
def test_health_names_a_film_kept_whole_until_it_goes_and_it_goes_with_the_first_run_of_the_loader(
    filmed, ended_days_ago
):
    home, agree = filmed
    whole = home.filed / "d-v-s2" / "clip-1.mp4"
    last = TODAY - timedelta(days=ended_days_ago)
    agree(film=None, keep_film=last)
    [found] = [found for found in check(home) if found.name == "retention"]
    if ended_days_ago > 7:  # it waits for a loader that does not run
        said = "Past their time: 1 of keep_film; run: underfoot load"
    else:
        said = f"keep_film: 1 kept, next {last + timedelta(days=1)}."
    assert (found.ok, found.said) == (ended_days_ago <= 7, said)
    assert is_exported(home)  # the family's own copy has all that is kept
    carry_out(home)
    assert whole.exists() is (ended_days_ago == 0)
    assert (whole.parent / ".film" / "swing-1.mp4").exists()
    assert is_exported(home) is (ended_days_ago == 0)


def is_exported(home):
    return any(name.endswith("clip-1.mp4") for name in zipfile.ZipFile(write_export(home, "s2")).namelist())


def test_a_day_is_past_its_time_once_the_days_are_over():
    kept = Kept("notes_days", 30, ((date(2026, 3, 1), "a"), (date(2026, 3, 2), "b")))
    assert kept.past(date(2026, 3, 31)) == []
    assert kept.past(date(2026, 4, 1)) == ["a"]
    assert kept.past(date(2026, 3, 31), ahead=2) == ["a", "b"]
    assert kept.next_due() == date(2026, 4, 1)
    assert Kept("notes_days", 30, ()).next_due() is None


def test_a_notes_day_is_the_academys_own():
    who = Identity("", frozenset(), notes_before="2026-03-02", time_zone="Pacific/Auckland")
    row = {"author": "c1", "kind": "plan"}
    assert who.owns(row | {"at": "2026-03-01T10:00:00Z"})
    assert not who.owns(row | {"at": "2026-03-01T12:00:00Z"})  # the next day there
    assert who.owns(row | {"at": "2026-03-01"})
    assert not who.owns(row | {"at": "soon"})
    assert not who.owns({"person": "s1", "joined": "2020-01-01"})


@pytest.mark.parametrize(
    ("line", "said"),
    [("film_days = 3", "unknown line"), ("films_days = 0", "not a number of days"), ('notes_days = "a"', "write one such as")],
)  # fmt: skip
def test_what_is_wrong_under_retention_is_one_sentence(line, said):
    with pytest.raises(UnderfootError, match=said):
        parse_settings(f'name = "A"\ntime_zone = "UTC"\n[retention]\n{line}\n'.encode())
