"""From the warehouse to the drill models: doses assigned by random draw, and too little data."""

from datetime import datetime, timedelta

import polars as pl
import pytest

from models.season.drill import drill_rows
from models.sql import query
from warehouse.home import Home
from warehouse.store import writer

AT = datetime(2026, 4, 7, 9)  # noqa: DTZ001 - UTC without a zone, as in the warehouse


@pytest.fixture
def w(tmp_path):
    (tmp_path / "academy.toml").write_text('name = "Invented"\ntime_zone = "Europe/Berlin"\n')
    with writer(Home(tmp_path)) as opened:
        yield opened


def note(w, day, code, against, student="s1"):
    at = AT + timedelta(days=day)
    w.append(
        "academy.note",
        pl.DataFrame({
            "note": [f"n{student}{day}{code}"], "student": [student], "at": [at], "day": [at.date()], "author": ["c1"],
            "kind": ["plan"], "code": [code], "drawn_against": [against], "shared": [False], "delivery": ["d"],
            "loose": [True],
        }),
    )  # fmt: skip


def dose(w, day, drill, student="s1", **more):
    at = AT + timedelta(days=day, hours=1)
    w.append(
        "academy.drill_dose",
        pl.DataFrame({
            "note": [f"d{student}{day}{drill}"], "student": [student], "drill": [drill], "at": [at],
            "day": [at.date()], "kind": ["drill"], "place": ["lesson"],
        }).with_columns(**{name: pl.lit(value) for name, value in more.items()}),
    )  # fmt: skip


def test_a_draw_counts_as_drawn_by_a_plan_or_by_a_dose_that_says_so(w):
    note(w, 0, "d1", "d2")
    dose(w, 0, "d2")  # the drill that lost was given nevertheless
    note(w, 20, "d3", "d1")
    dose(w, 10, "d1", "s3", drawn_against="d4")
    rows = w.sql(query("season.random_draw")).select("student", "drill", "drawn_against").rows()
    assert rows == [("s1", "d1", "d2"), ("s3", "d1", "d4"), ("s1", "d3", "d1")]


def test_a_warehouse_without_seasons_has_no_drill_rows(w):
    w.append("academy.drill", pl.DataFrame({"drill": ["d1"], "name": ["One"], "aim": ["m"]}))
    found = drill_rows(w)
    assert found.effect.is_empty()
    assert found.group.is_empty()


def test_one_student_with_one_session_is_too_little_data(w):
    w.append(
        "academy.drill", pl.DataFrame({"drill": ["d1", "d2"], "name": ["One", "Two"], "aim": ["m", None]})
    )
    w.append(
        "season.session_metric",
        pl.DataFrame({
            "session": ["a"], "student": ["s1"], "season": ["spring"], "started_at": [AT], "day": [AT.date()],
            "club_family": ["iron"], "part": ["baseline"], "pace": ["full"], "heel_source": ["none"],
            "metric": ["m"], "mean": [1.0], "n": [1],
        }),
    )  # fmt: skip
    dose(w, 0, "d1")
    rows = {row["drill"]: row for row in drill_rows(w).effect.to_dicts()}
    assert {row["label"] for row in rows.values()} == {"too_little_data"}
    w.append("season.drill_effect", pl.DataFrame(list(rows.values()), infer_schema_length=None))
    assert w.sql("SELECT count(*), count(kept) FROM season.drill_effect").rows() == [(2, 0)]
