"""What someone might put into a file to make it do something: it is text, or it is refused."""

import os
import resource
import shutil
import subprocess
import time
from pathlib import Path

import pytest

from ingest import delivery, watch
from ingest.formats import lines as line_files
from warehouse.tables import table_names

SQL = "'; DROP TABLE academy.person; --"
IDS = [
    "../../etc/passwd",
    "..",
    "/etc/passwd",
    "v1/../../x",
    SQL,
    'v1"',
    "v1\\0",
    "-rf",
    "v 1",
    "v1\\nx",
    "é" * 100,
]


@pytest.mark.parametrize("name", IDS)
def test_a_session_named_like_a_path_or_a_query_is_refused(name, academy, made):
    before = academy.tables(without=("academy.refusal",))
    sheet = made.toml().replace('"v1"', f"'''{name}'''" if '"' in name else f'"{name}"')
    made.deliver(academy.inbox / "x", sheet, made.plate())
    report = academy.load()
    assert [r.reason in ("bad_name", "unreadable_toml") for r in report.refused] == [True]
    assert "\n" not in report.refused[0].sentence
    assert academy.tables(without=("academy.refusal",)) == before
    assert {p.name for p in academy.home.traces.rglob("*.parquet")} == set()


@pytest.mark.parametrize("field", ["student", "coach", "device", "club"])
def test_a_query_in_any_field_of_a_session_stays_text(field, academy, made):
    old = {"student": '"s1"', "coach": '"c1"', "device": '"mat"', "club": '"7-iron"'}[field]
    sheet = made.toml().replace(f"{field} = {old}", f'{field} = "{SQL}"', 1)
    made.deliver(academy.inbox / "v1", sheet, made.plate())
    report = academy.load()
    assert len(report.refused) >= 1
    assert academy.sql("SELECT count(*) FROM academy.person").item() == 6


def test_queries_and_paths_in_roster_names_are_refused_and_in_texts_are_kept_as_they_are(academy, made):
    people = made.roster["people.csv"]
    (academy.inbox / "people.csv").write_text(people + f'"{SQL}",student,X,,,,,,2025-01-01,\n')
    assert [r.reason for r in academy.load().refused] == ["bad_name"] or academy.waiting()
    assert academy.sql("SELECT count(*) FROM academy.person").item() == 6
    (academy.inbox / "people.csv").write_text(people.replace("Ada Fennimore", f'"{SQL}"'))
    assert academy.load().refused == []
    assert academy.sql("SELECT display_name FROM academy.person WHERE person = 's1'").item() == SQL
    assert set(table_names()) == set(academy.with_writer(lambda _, w: list(w.columns)))


def test_html_and_formulas_in_notes_are_kept_as_they_were_written(academy):
    text = '<script>alert(1)</script> =HYPERLINK("http://x";"y")'
    quoted = text.replace('"', '""')
    (academy.inbox / "notes.csv").write_text(
        f'student,at,author,kind,text,shared\ns1,2026-05-06,c1,plan,"{quoted}",true\n'
    )
    assert academy.load().refused == []
    assert academy.sql("SELECT text FROM academy.note").item() == text


def lines(count):
    head = "student,at,author,kind,text,shared\n"
    return head + "".join(f"s1,2026-05-06T10:00:00Z,c1,plan,Note {k},true\n" for k in range(count))


def test_a_million_lines_of_notes_are_refused_in_one_sentence_at_once(academy):
    (academy.inbox / "notes.csv").write_text(lines(1_000_000))
    peak, started = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss, time.process_time()
    report = academy.load()
    assert [r.sentence for r in report.refused] == [
        "notes.csv: there are 1,000,001 lines but a notes file may have 100,000; deliver it in several files."
    ]
    assert time.process_time() - started < 5
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - peak < 300_000  # kB
    assert academy.left_in_inbox() == []


def test_the_longest_notes_file_that_is_taken_is_taken(academy, monkeypatch):
    monkeypatch.setattr(line_files, "MOST_LINES", 2_001)
    (academy.inbox / "notes.csv").write_text(lines(2_000))
    assert academy.load().refused == []
    assert academy.sql("SELECT count(*) FROM academy.note").item() == 2_000


@pytest.mark.parametrize("at", ["head", "swing"])
def test_a_club_given_as_a_bare_loft_is_the_wedge_of_that_name(at, academy, made):
    old, new = ('club = "7-iron"', "club = 56") if at == "head" else ("no = 1\n", "no = 1\nclub = 56\n")
    made.deliver(academy.inbox / "v1", made.toml().replace(old, new), made.plate())
    assert academy.load().refused == []
    got = academy.sql("SELECT club, club_family FROM academy.swing WHERE swing_no = 1").rows()
    assert got == [("56", "wedge")]


@pytest.mark.parametrize(("at", "kept"), [("head", 0), ("swing", 1)])
@pytest.mark.parametrize("club", ["[56]", "true", "2026-05-05", "nan"])
def test_a_club_that_is_no_name_is_refused_in_one_sentence(club, at, kept, academy, made):
    old = 'club = "7-iron"' if at == "head" else "no = 1\n"
    new = f"club = {club}" if at == "head" else f"no = 1\nclub = {club}\n"
    made.deliver(academy.inbox / "v1", made.toml().replace(old, new), made.plate())
    report = academy.load()
    assert [r.reason for r in report.refused] == ["unknown_value"]
    assert "must be a name such as" in report.refused[0].sentence
    assert academy.sql("SELECT count(*) FROM academy.swing").item() == kept


@pytest.mark.parametrize("started_at", ["0001-01-01T00:00:00+02:00", "9999-12-31T23:59:59-02:00"])
def test_a_start_beyond_the_years_that_count_refuses_its_own_session_only(started_at, academy, made):
    made.deliver(academy.inbox / "v1", made.toml(started_at=started_at), made.plate())
    made.deliver(academy.inbox / "v2", made.toml("v2"), made.plate())
    report = academy.load()
    assert [r.reason for r in report.refused] == ["no_time"]
    assert "outside the years" in report.refused[0].sentence
    assert report.accepted == ["v2"]


def test_a_session_toml_that_may_not_be_read_refuses_its_own_session_only(academy, made, monkeypatch):
    locked = made.deliver(academy.inbox / "v1", made.toml(), made.plate()) / "session.toml"
    made.deliver(academy.inbox / "v2", made.toml("v2"), made.plate())
    plain = Path.open

    def opened(path, *args, **kwargs):
        if path.resolve() == locked.resolve():
            raise PermissionError(13, "Permission denied", str(path))
        return plain(path, *args, **kwargs)

    monkeypatch.setattr(Path, "open", opened)
    report = academy.load()
    assert [r.reason for r in report.refused] == ["unreadable"]
    assert "V1 can't be read" in report.refused[0].sentence
    assert report.accepted == ["v2"]
    assert "v1/session.toml" in academy.left_in_inbox()


def test_a_folder_deeper_than_any_delivery_is_refused_and_the_others_load(academy, made):
    deep = academy.inbox / "deep"
    deep.mkdir()
    here = os.open(deep, os.O_RDONLY)
    for _ in range(1500):
        os.mkdir("d", dir_fd=here)
        below = os.open("d", os.O_RDONLY, dir_fd=here)
        os.close(here)
        here = below
    os.close(here)
    made.deliver(academy.inbox / "deep-session" / "v2", made.toml("v2"), made.plate())
    for _ in range(2):
        folder = academy.inbox / "deep-session" / "v2" / Path(*"abcdefghijklmnopq")
        folder.mkdir(parents=True, exist_ok=True)
    made.deliver(academy.inbox / "v1", made.toml(), made.plate())
    assert watch.Inbox(academy.home).still() == []  # it looks at them, and they were not still before
    report = academy.load()
    assert report.accepted == ["v1"]
    assert [r.sentence for r in report.refused] == [
        f"The folder {name} has folders more than 12 deep; it stays where it is; deliver what belongs to one session "
        "as one plain folder."
        for name in ("v2", "d")
    ]
    shutil.rmtree(academy.inbox / "deep-session")
    subprocess.run(["rm", "-rf", deep], check=True)


def test_a_folder_of_more_files_than_any_delivery_has_is_refused_unread(academy, made, monkeypatch):
    monkeypatch.setattr(delivery, "MOST_FILES", 20)
    made.deliver(academy.inbox / "v1", made.toml(), made.plate())
    made.deliver(academy.inbox / "v2", made.toml("v2", started_at="2026-05-06T10:00:00+01:00"), made.plate())
    (academy.inbox / "loose").mkdir()
    for folder, n in (("v1", 25), ("loose", 25), ("v2", 5)):
        for k in range(n):
            (academy.inbox / folder / f"{k}.dat").write_text("x")
    report = academy.load()
    assert report.accepted == ["v2"]
    assert [r.sentence.split(";")[0] for r in report.refused] == [
        "The folder loose holds more than 20,000 files",
        "The folder v1 holds more than 20,000 files",
    ]
    assert len(list((academy.inbox / "v1").iterdir())) == 27


@pytest.mark.parametrize("more", ["x = " + "[" * 9000, "x" + ".x" * 9000 + " = 1"])
def test_an_academy_toml_that_would_take_minutes_is_refused_at_once(more, academy):
    (academy.inbox / "academy.toml").write_text(academy.home.settings_file.read_text() + f"\n{more}\n")
    started = time.process_time()
    report = academy.load()
    assert [r.reason for r in report.refused] == ["settings"]
    assert "more than 16" in report.refused[0].sentence.lower()
    assert time.process_time() - started < 5
