"""Sessions with only a clip, or only notes: what there is counts, what a plate would give is not measured."""

import math
from contextlib import closing
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from streamlit.util import calc_hash

import builders
import made_swings as made
from app_test import AppTest
from dashboard import location
from ingest.load import load
from models.build import refresh
from warehouse import invented
from warehouse.store import open_snapshot, writer

APP = str(Path(__file__).parents[2] / "dashboard" / "app.py")
FPS = 120.0
TIMES = {
    "address": 0.3,
    "takeaway": 0.5,
    "mid_back": 1.0,
    "top": 1.3,
    "mid_down": 1.5,
    "impact": 1.6,
    "finish": 2.2,
}
SWINGS, HIGH = 6, (1, 2)  # the lead heel lifts past the limit of 50 mm in these


def clip_file(path):
    """Left and right points from behind, 0.5 px a mm: the left (lead) heel 70 or 20 mm up at 1.1 s."""
    rows = []
    for no in range(1, SWINGS + 1):
        peak = 70 if no in HIGH else 20
        for frame in range(int(2.4 * FPS)):
            t = frame / FPS
            lead = peak * math.exp(-(((t - 1.1) / 0.15) ** 2))
            trail = 90 / (1 + math.exp(-(t - 1.6) / 0.05))
            for point, x, y in (
                ("left_heel", 400.0, 550 - lead / 2), ("left_toe", 540.0, 550.0),
                ("right_heel", 410.0, 560 - trail / 2), ("right_toe", 550.0, 560.0),
            ):  # fmt: skip
                rows.append((no, frame, point, x, y, 0.9))
    names = ["swing_no", "frame", "point", "x_px", "y_px", "score"]
    pl.DataFrame(rows, schema=names, orient="row").write_csv(path / "clip.csv")


@pytest.fixture(scope="module")
def home(tmp_path_factory):
    """s1: one session on plates, one on a clip only, one of notes only. s3: a clip only."""
    base = tmp_path_factory.mktemp("few")
    home = builders.make_home(base / "academy", "demo = true\n" + builders.SETTINGS)
    drop = made.write_roster(base / "drop")
    made.write_session(drop / "v1", made.session_toml("v1"), made.swing_frame(1, seed=1))
    for session, student, coach in (("v2", "s1", "c1"), ("v4", "s3", "c2")):
        text = made.session_toml(
            session, student, coach=coach, swings=0, started_at="2026-05-12T10:00:00+01:00",
            more='[clip]\nfps = 120\nshoe_length_mm = 280\nview = "down_line"\n',
        ).replace('device = "mat"\n', "")  # fmt: skip
        for no in range(1, SWINGS + 1):
            text += f"\n[[swing]]\nno = {no}\n[swing.clip_events]\n"
            text += "".join(f"{name} = {at}\n" for name, at in TIMES.items())
        clip_file(made.write_session(drop / session, text, None))
    notes = made.session_toml("v3", swings=0, started_at="2026-05-19T10:00:00+01:00")
    folder = made.write_session(drop / "v3", notes.replace('device = "mat"\n', ""), None)
    (folder / "notes.csv").write_text(
        "session,student,at,author,kind,swing_no,code,grade,value,value_to,unit,pace,place,text,shared\n"
        'v3,,2026-05-19T10:20:00+01:00,c1,saw,,lead_heel_high,2,,,,,,"high again",true\n'
    )
    with writer(home) as w:
        report = load(home, w, [drop], progress=lambda *_: None)
        assert report.refused == []
        assert sorted(report.accepted) == ["v1", "v2", "v3", "v4"]
        refresh(home, w, progress=lambda *_: None)
        w.publish()
    return home


def test_a_clip_alone_has_its_own_metrics_and_nothing_a_plate_would_give(home):
    with closing(open_snapshot(home)) as snapshot:
        got = snapshot.sql("SELECT * FROM academy.swing_metric WHERE session = 'v2' ORDER BY swing_no")
        swings = snapshot.sql("SELECT * FROM academy.swing WHERE session = 'v2'")
    high = [no in HIGH for no in range(1, SWINGS + 1)]
    assert got["lead_heel_rise_mm"].to_numpy() == pytest.approx(np.where(high, 70, 20), abs=1)
    seen = {name for name in got.columns[3:] if got[name].null_count() < SWINGS}
    of_heels = {"seen_heel_order_ms", "trail_heel_up_after_impact_s"}
    assert {n for n in seen if "rise" not in n} <= {"backswing_s", "downswing_s", *of_heels}
    assert swings["usable"].all()
    assert swings["clip_offset_s"].null_count() == SWINGS
    assert set(swings["heel_source"]) == {"none"}
    assert not any("clip_unsynced" in flags for flags in swings["flags"])


def test_fault_rates_use_what_there_is(home):
    with closing(open_snapshot(home)) as snapshot:
        faults = snapshot.sql(
            "SELECT session, fault, sum(flagged) AS flagged, sum(usable) AS usable FROM season.session_fault "
            "WHERE session <> 'v1' GROUP BY ALL HAVING sum(usable) > 0"
        )
        judged = snapshot.sql("SELECT fault, flagged FROM academy.swing_fault WHERE session = 'v2'")
    assert sorted(faults.rows()) == [("v2", "lead_heel_high", 2, SWINGS), ("v4", "lead_heel_high", 2, SWINGS)]
    assert judged.filter(pl.col("fault") != "lead_heel_high")["flagged"].null_count() == len(
        judged.filter(pl.col("fault") != "lead_heel_high")
    )


def test_a_session_of_notes_alone_is_kept(home):
    with closing(open_snapshot(home)) as snapshot:
        session = snapshot.sql("SELECT has_plate, has_clip FROM academy.session WHERE session = 'v3'")
        note = snapshot.sql("SELECT code FROM academy.note WHERE session = 'v3'")
    assert session.rows() == [(False, False)]
    assert note["code"].to_list() == ["lead_heel_high"]


PAGES = ["week", "students", "student", "drills", "lesson", "progress", "deliveries", "trust", "quality"]


def opened(home, monkeypatch, page, **address):
    monkeypatch.setenv("UNDERFOOT_HOME", str(home.path))
    monkeypatch.setattr(location, "peer", lambda: None)  # AppTest has no connection
    monkeypatch.setattr(invented, "people_digest", lambda _: "")  # its people are the demo's
    app = AppTest.from_file(APP, default_timeout=60)
    app._page_hash = calc_hash(page)
    for name, value in ({"as": "h1"} | address).items():
        app.query_params[name] = value
    return app.run()


def text_of(app):
    kinds = ("title", "header", "subheader", "markdown", "caption", "text", "info", "warning")
    return "\n".join(str(element.value) for kind in kinds for element in getattr(app, kind))


@pytest.mark.parametrize("page", PAGES)
@pytest.mark.parametrize("student", ["s1", "s3"])
def test_every_page_opens_for_students_who_were_filmed_only(home, monkeypatch, page, student):
    app = opened(home, monkeypatch, page, student=student)
    assert not app.exception, [error.value for error in app.exception]
    assert "sign in" not in text_of(app).lower()
    assert len(text_of(app)) > 150


def test_the_page_of_a_student_without_plates_says_what_is_not_measured(home, monkeypatch):
    said = text_of(opened(home, monkeypatch, "student", student="s3", metric="impact_lead_share_pct"))
    assert "Mina Harrow" in said
    assert "not measured" in said.lower()


@pytest.mark.parametrize(
    ("line", "told"),
    [
        ("shoe_width_mm = 9.8", "shoe_width_mm is 9.8 but must be a number from 50 to 160 mm"),
        ("mm_per_px = 50", "mm_per_px is 50 but must be a number from 0.05 to 20"),
        ("shoe_length_mm = 28", "shoe_length_mm is 28 but must be a number from 120 to 450 mm"),
    ],
)
def test_a_scale_in_another_unit_is_refused_in_one_sentence(tmp_path, line, told):
    home = builders.make_home(tmp_path / "academy")
    drop = made.write_roster(tmp_path / "drop")
    keys = {"fps": "fps = 120", "shoe_length_mm": "shoe_length_mm = 280"} | {line.split(" ")[0]: line}
    text = made.session_toml("v1", swings=1, more="[clip]\n" + "\n".join(keys.values()))
    clip_file(made.write_session(drop / "v1", text.replace('device = "mat"\n', ""), None))
    with writer(home) as w:
        refused = load(home, w, [drop], progress=lambda *_: None).refused
    assert [one.session for one in refused] == ["v1"]
    assert told in refused[0].sentence
    assert (refused[0].file, refused[0].column) == ("session.toml", line.split(" ")[0])
