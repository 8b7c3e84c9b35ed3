"""Export and forget: a zip with everything of one student and nothing of another, and the head coach's page."""

import csv
import io
import json
import zipfile
from contextlib import closing

import polars as pl
import pytest

import made_swings as made
from command import underfoot_command
from dashboard.pages.student.export import export
from warehouse import forgotten
from warehouse.access import open_reader
from warehouse.errors import AccessError
from warehouse.store import open_snapshot


@pytest.fixture
def lived_in(home, tmp_path):
    drop = made.write_roster(tmp_path / "drop")
    for student, coach in (("s1", "c1"), ("s2", "c1")):
        toml = made.session_toml(f"v-{student}", student, coach=coach)
        folder = made.write_session(drop / student, toml, made.swing_frame(rate_hz=100))
        (folder / "notes.csv").write_text(
            f"at,author,kind,text,shared\n2026-05-05,{coach},plan,For {student} alone,false\n"
        )
    assert underfoot_command("load", drop, "--home", home.path).returncode == 0
    return home


def test_an_export_holds_everything_of_the_student_and_nothing_of_another(lived_in, tmp_path):
    with closing(open_snapshot(lived_in)) as snapshot:
        open_reader(lived_in, "c1", snapshot=snapshot).opened("Student", "s2")
    file = tmp_path / "out.zip"
    ran = underfoot_command("export", "s2", "--to", file, "--home", lived_in.path)
    assert (ran.returncode, ran.stdout.strip()) == (0, str(file))
    with zipfile.ZipFile(file) as archive:
        names = set(archive.namelist())
        everything = b"".join(archive.read(name) for name in names if not name.endswith(".parquet"))
        page = archive.read("index.html").decode()
        tables = {
            n: list(csv.DictReader(io.StringIO(archive.read(n).decode()))) for n in names if "tables/" in n
        }
        samples = pl.read_parquet(archive.read("samples/v-s2.parquet"))
        delivered = next(n for n in names if n.startswith("delivered/v-s2/") and n.endswith("plate.csv"))
        assert archive.read(delivered) == (tmp_path / "drop" / "s2" / "plate.csv").read_bytes()
    assert {row["person"] for row in tables["tables/person.csv"]} == {"s2"}
    assert {row["student"] for row in tables["tables/session.csv"]} == {"s2"}
    assert [row["text"] for row in tables["tables/note.csv"]] == ["For s2 alone"]
    assert len(tables["tables/consent.csv"]) == 2
    assert samples.columns[:2] == ["swing_no", "t_s"]
    assert len(samples) == 400
    for name in names - {"index.html"}:
        assert name in page or any(
            name.startswith(folder) and folder in page for folder in ("samples/", "delivered/")
        )
    assert b"Petra Quill" not in everything
    assert b"s1" not in everything.replace(b"looked", b"")
    assert b'"viewer": "c1"' in everything


def test_a_coach_exports_nobody(lived_in, tmp_path):
    with closing(open_snapshot(lived_in)) as snapshot:
        reader = open_reader(lived_in, "c1", snapshot=snapshot)
        with pytest.raises(AccessError, match="Only a head coach"):
            export(reader, lived_in, "s1", tmp_path / "out.zip")
    assert not (tmp_path / "out.zip").exists()
    assert json.loads(lived_in.access_log.read_text().splitlines()[-1])["outcome"] == "refused"
    ran = underfoot_command("export", "c1", "--home", lived_in.path)
    assert ran.returncode == 2


def test_the_student_page_offers_the_family_s_rights_to_a_head_coach_alone(visit, page_text):
    assert "What the family may ask for" in page_text(visit("rights", "student", "h01", student="s02"))
    assert "What the family may ask for" not in page_text(visit("rights", "student", "c01", student="s01"))


def test_a_student_is_forgotten_only_after_both_confirmations(visit, homes):
    page = visit("rights", "student", "h01", student="s02")
    home = homes("rights")

    def button():
        return next(b for b in page.button if b.key == "forget")

    assert button().disabled
    page.checkbox(key="forget-sure-s02").check().run()
    assert button().disabled
    page.text_input(key="forget-code-s02").input("s01").run()
    assert button().disabled
    page.text_input(key="forget-code-s02").input("s02").run()
    assert not button().disabled
    button().click().run()
    assert [(r.student, r.by) for r in forgotten.asked(home)] == [("s02", "h01")]
    assert any("is being forgotten" in note.value.replace("\\", "") for note in page.info)
