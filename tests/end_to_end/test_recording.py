"""A recording that runs on, from the inbox to the metrics of its swings, and what a coach puts right."""

import polars as pl
import pytest

from builders import load_all, make_home
from planted_recordings import QUIET, recording
from warehouse.store import writer

ROSTER = {
    "people.csv": "person,role,display_name,handed,joined\n"
    "c1,coach,Bram Tolliver,,2025-01-01\ns1,student,Petra Quill,right,2025-01-01\n",
    "seasons.csv": "season,from,to\n2026,2026-04-01,2026-09-30\n",
    "consents.csv": "student,given_by,purpose,from,to\ns1,s1,measure,2026-01-01,\n",
}
SHEET = """\
session = "v1"
student = "s1"
coach = "c1"
started_at = 2026-05-05T10:00:00+01:00
club = "7-iron"
device = "mat"
"""
TOLD = ("top", "mid_down", "impact", "finish")  # where the stand before the swing plays no part


@pytest.fixture(scope="module")
def lesson():
    return recording(QUIET, seed=21, minutes=8.0)


@pytest.fixture(scope="module")
def home(tmp_path_factory, lesson):
    found = make_home(tmp_path_factory.mktemp("recording") / "academy")
    for name, text in ROSTER.items():
        (found.inbox / name).write_text(text, encoding="utf-8")
    (found.inbox / "v1").mkdir()
    (found.inbox / "v1" / "session.toml").write_text(SHEET, encoding="utf-8")
    names = ("t_s", "left_n", "right_n", "left_along_pct", "right_along_pct")
    samples = pl.DataFrame({name: getattr(lesson, name) for name in names})
    samples.with_columns(pl.col("^.*_pct$").fill_nan(None)).write_csv(found.inbox / "v1" / "plate.csv")
    assert load_all(found, [found.inbox]) == []
    return found


def swings(home) -> pl.DataFrame:
    with writer(home) as w:
        return w.sql("SELECT swing_no, kind, usable, flags FROM academy.swing ORDER BY swing_no")


def test_swings_are_measured_and_practice_swings_are_left_out(home, lesson):
    rows = swings(home)
    assert rows.filter(kind="swing").height == len(lesson.of("swing"))
    assert rows.filter(kind="swing")["usable"].all()
    left_out = rows.filter(pl.col("kind") != "swing")
    assert left_out.height > 0
    assert not left_out["usable"].any()


def test_events_that_nobody_marked_lie_within_what_is_said_of_them(home, lesson):
    with writer(home) as w:
        events = w.sql(
            "SELECT event, t_s, expected_error_s FROM academy.swing_event "
            "JOIN academy.swing USING (session, swing_no) WHERE kind = 'swing' AND event IN ?",
            [list(TOLD)],
        ).rows()
    assert len(events) == len(TOLD) * len(lesson.of("swing"))
    off = [
        min(abs(t_s - one.events[event]) for one in lesson.of("swing")) / error
        for event, t_s, error in events
    ]
    assert sum(one <= 2.0 for one in off) >= 0.95 * len(off)


def test_a_practice_swing_that_a_coach_calls_a_swing_counts_and_a_struck_one_no_more(home):
    before = swings(home)
    practice = int(before.filter(kind="practice_swing")["swing_no"][0])
    struck = int(before.filter(kind="swing")["swing_no"][0])
    (home.inbox / "notes.csv").write_text(
        "at,author,kind,session,swing_no,code\n"
        f"2026-05-06T10:00:00+01:00,c1,swing_kind,v1,{practice},swing\n"
        f"2026-05-06T10:00:00+01:00,c1,swing_kind,v1,{struck},not_a_swing\n",
        encoding="utf-8",
    )
    assert load_all(home, [home.inbox]) == []
    usable = dict(swings(home).select("swing_no", "usable").iter_rows())
    assert usable[practice]
    assert not usable[struck]
