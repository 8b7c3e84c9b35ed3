"""The whole planted season's drills, levels straight from the plan (no files): what was planted comes out.

The demo of the other tests is too small for most drills; this one has the full season's students and doses.
"""

from datetime import UTC, timedelta

import numpy as np
import polars as pl
import pytest

from demo_academy.habits import DRILLS, HABIT_BY_NAME
from demo_academy.write import invent_people
from models.season.drill import answer
from models.season.drill_data import Reference, Sources
from models.season.judgement import Bands

METRIC_DRILLS = {drill.code: drill for drill in DRILLS if drill.habit is not None}
NO_BANDS = pl.DataFrame(schema={"metric": pl.String, "club_family": pl.String})


@pytest.fixture(scope="module")
def effects(tmp_path_factory):
    rng = np.random.default_rng(1)
    plans = [person.plan for person in invent_people(tmp_path_factory.mktemp("plan"), 20260401, 1.0)]
    rows, given = [], []
    for visit in [visit for plan in plans for visit in plan]:
        at = visit.started_at.astimezone(UTC).replace(tzinfo=None)
        n = sum(
            row.part == "baseline" and row.pace == "full" and row.family == "iron" for row in visit.swings
        )
        for drill in METRIC_DRILLS.values():
            habit = HABIT_BY_NAME[drill.habit]
            value = visit.levels[habit.name] + rng.normal(0, habit.swing / np.sqrt(n))
            rows.append(
                (
                    visit.session,
                    visit.student.code,
                    at,
                    habit.metric,
                    value,
                    habit.swing,
                    n,
                    visit.device.name,
                )
            )
        if visit.drill_set is not None:
            given.append(
                (visit.session + visit.drill_set, visit.student.code, visit.session, visit.drill_set,
                 at + timedelta(minutes=40), visit.drawn_against)
            )  # fmt: skip
    names = ["session", "student", "started_at", "metric", "mean", "sd", "n", "device"]
    metrics = pl.DataFrame(rows, schema=names, orient="row").with_columns(
        day=pl.col("started_at").dt.date(), coach=pl.lit("c"), season=pl.lit("s"), club_family=pl.lit("iron"),
        part=pl.lit("baseline"), pace=pl.lit("full"), heel_source=pl.lit("none"), drill=pl.lit(None, dtype=pl.String),
    )  # fmt: skip
    dose = pl.DataFrame(
        given, schema=["note", "student", "session", "drill", "at", "drawn_against"], orient="row"
    ).with_columns(day=pl.col("at").dt.date(), kind=pl.lit("drill"))
    draws = (
        dose.drop_nulls("drawn_against").select("student", "at", "day", "drill", "drawn_against").sort("at")
    )
    reference = Reference({d.aim: "up" for d in METRIC_DRILLS.values()}, {}, {}, Bands(NO_BANDS, {}, {}), {})
    no_faults = pl.DataFrame(schema={"season": pl.String, "fault": pl.String})
    no_first = pl.DataFrame(schema={"session": pl.String, "drill": pl.String})
    aims = {code: drill.aim for code, drill in METRIC_DRILLS.items()}
    found = answer(Sources(metrics, no_faults, dose, no_first, draws, aims, {}, reference))
    return {row["drill"]: row for row in found.effect.to_dicts()}


@pytest.mark.parametrize("code", ["d01", "d02"])
def test_a_drill_planted_to_help_is_called_so_within_its_interval(effects, code):
    row, drill = effects[code], METRIC_DRILLS[code]
    mean_more = row["n_doses"] / row["n_students"] - 1
    assert row["label"] == "helps"
    assert row["kept_lo"] < drill.kept + drill.more * mean_more < row["kept_hi"]


def test_worthless_drills_given_on_bad_days_are_seldom_called_helps(effects):
    # One academy: each is called in up to 5 of 100 (tests/season_worlds counts over many), so one may be here.
    rows = [effects[code] for code in ("d03", "d04", "d05", "d09")]
    called = [row for row in rows if row["label"] not in ("no_clear_effect", "too_little_data")]
    assert len(called) <= 1
    for row in rows:
        if row not in called and row.get("kept") is not None:
            assert row["kept_lo"] < 0.0 < row["kept_hi"]
    assert all(row["kept"] < 1.0 for row in called)


def test_the_draw_between_two_drills_is_answered_by_what_was_planted(effects):
    """The first changes the finish for good and the second does not; whoever was drawn for one never did the other."""
    row, drill = effects["d01"], METRIC_DRILLS["d01"]
    assert row["lots_against"] == "d02"
    assert row["n_lots"] >= 40
    assert row["lots_look"] >= 1
    assert 0 < row["lots_lo"] < drill.kept < row["lots_hi"]
