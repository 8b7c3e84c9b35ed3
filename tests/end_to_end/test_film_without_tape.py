"""A film without tape beside four taps: a rough rise on the student's page, and nowhere else."""

import re
from contextlib import closing
from pathlib import Path

import polars as pl
import pytest

import builders
import made_swings as made
import rendered_shoes
from command import underfoot_command
from dashboard.pages.student import heels_seen, outlines
from rendered_shoes import Scene
from warehouse.access import open_reader
from warehouse.store import open_snapshot

ROOT = Path(__file__).parents[2]
HELD_OUT = Scene(  # a shoe that nothing was built on
    "slim pump",
    "plain",
    "three-quarter",
    fps=30,
    seconds=1.5,
    peaks_mm=(60, 40),
    at_impact_mm=30,
    shadow=0.1,
    seed=4,
)
SHEET = """
session = "film"
student = "s1"
coach = "c1"
started_at = 2026-05-05T10:00:00+01:00
[clip]
fps = 30
view = "down_line"
shoe_length_mm = {shoe_mm:g}
[[swing]]
no = 1
pace = "full"
club = "7-iron"
"""


def deliver(folder, film):
    """A session of one film, with heels and toes as tapped in its first picture and two moments."""
    folder.mkdir(parents=True)
    film.write(folder / "clip.mp4")
    (folder / "session.toml").write_text(SHEET.format(shoe_mm=film.shoe_mm))
    (folder / "events.csv").write_text(
        f"swing_no,event,t_s,clock\n1,address,0.0,clip\n1,impact,{film.impact_s:.4f},clip\n"
    )
    lines = ["swing_no,frame,point,x_px,y_px"]
    for n, foot in enumerate(("trail", "lead")):
        for part, (x, y) in (("heel", film.heels_px[n]), ("toe", film.toes_px[n])):
            lines.append(f"1,0,{foot}_{part},{x:.1f},{y:.1f}")
    (folder / "clip.csv").write_text("\n".join(lines) + "\n")


@pytest.fixture(scope="module")
def filmed(tmp_path_factory):
    base = tmp_path_factory.mktemp("without-tape")
    home = builders.make_home(base / "academy", "demo = true\n" + builders.SETTINGS)
    film = rendered_shoes.rendered(HELD_OUT)
    deliver(base / "drop" / "film", film)
    assert builders.load_all(home, [made.write_roster(base / "drop"), base / "drop" / "film"]) == []
    builders.call_invented(home)
    return home, film


def rough(home):
    with closing(open_snapshot(home)) as snapshot:
        return snapshot.sql(
            "SELECT foot, times_s, rises_mm, refused FROM academy.outline_rise ORDER BY foot"
        ).rows()


def test_the_rough_rise_of_a_shoe_without_tape_is_on_the_students_page(filmed):
    home, film = filmed
    (lead, *_), (trail, times_s, rises_mm, refused) = rough(home)
    assert (lead, trail, refused) == ("lead", "trail", None)
    assert max(rises_mm) == pytest.approx(film.rises_mm[0].max(), abs=20)
    assert times_s[-1] == pytest.approx(film.times_s[-1], abs=0.01)
    section = outlines.part(open_reader(home, "c1"), "s1")
    assert (
        section.table[0]
        .filter(pl.col("Heel") == "Trail heel")["Highest"]
        .item()
        .endswith("mm (rough, from film)")
    )
    assert outlines.part(open_reader(home, "c1"), "s2") is None


def test_a_rough_rise_is_no_metric_and_no_heel_that_was_seen(filmed):
    home, _ = filmed
    with closing(open_snapshot(home)) as snapshot:
        metrics = snapshot.sql("SELECT * FROM academy.swing_metric").to_dicts()
        assert snapshot.sql("SELECT count(*) FROM academy.swing_fault WHERE flagged").item() == 0
    assert not [name for row in metrics for name, value in row.items() if "rise" in name and value]
    seen = heels_seen.part(open_reader(home, "c1"), "s1")
    assert seen is None or not any("mm" in str(cell) for row in seen.table[0].rows() for cell in row)


def test_nothing_but_the_students_page_reads_the_table_of_rough_rises():
    found = {
        str(path.relative_to(ROOT))
        for folder in ("models", "dashboard", "underfoot.py")
        for path in ([ROOT / folder] if folder.endswith(".py") else (ROOT / folder).rglob("*"))
        if path.suffix in (".py", ".sql", ".toml") and re.search(r"\boutline_rise\b", path.read_text())
    }
    assert found == {"dashboard/queries/by_eye.py"}
    pages = {
        path.parent.name for path in (ROOT / "dashboard").rglob("*.py") if "outline_rises" in path.read_text()
    }
    assert pages == {"queries", "student"}


def test_a_filed_film_is_not_followed_again(filmed, monkeypatch):
    home, _ = filmed
    before = rough(home)
    with closing(open_snapshot(home)) as snapshot:
        delivery = snapshot.sql("SELECT delivery FROM academy.session").item()
    assert (home.filed / delivery / ".film" / "swing-1-outlines.json").is_file()
    monkeypatch.setattr("ingest.film.outline.follow_outlines", None)
    assert underfoot_command("build", "--from-filed", "--home", home.path).returncode == 0
    assert rough(home) == before
