"""The event fit through the warehouse: fitted by a build, kept, used by a refresh, estimates replaced cleanly."""

from datetime import datetime, timedelta

import numpy as np
import polars as pl
import pytest

import builders
import made_swings
from models.build import build, refresh
from models.parameters import load_parameter
from models.samples import event_fit
from warehouse.store import writer
from warehouse.traces import SessionTrace, trace_path, write_trace

DAY_ONE = datetime(2026, 4, 7, 15)  # noqa: DTZ001 - UTC without a zone, as in the warehouse
SWINGS = 11
HOLD_NO, HOLD_S = 91, 22.0


def land(w, session, student, *, seed=1, marked=tuple(made_swings.EVENTS), day=0, hold=False):
    """What ingest leaves behind for a session of slightly differing swings; events as `marked`."""
    rng = np.random.default_rng(seed)
    at = DAY_ONE + timedelta(days=day)
    w.append(
        "academy.session",
        builders.session_frame(
            session,
            student,
            started_at=at.isoformat(),
            day=at.date().isoformat(),
            season="spring",
            reduced=False,
        ),
    )
    frames = []
    for no in range(1, SWINGS + 1):
        shift = rng.normal(0, 2)
        points = {
            t: (share + shift * (0.4 < t < 1.2), *rest) for t, (share, *rest) in made_swings.SOUND.items()
        }
        frames.append(made_swings.swing_frame(no, points=points, seed=seed * 100 + no))
    key = {"session": [session] * SWINGS, "swing_no": list(range(1, SWINGS + 1))}
    none = pl.Series([[]] * SWINGS, dtype=pl.List(pl.String))
    counts = pl.Series([[]] * SWINGS, dtype=pl.List(pl.Int32))
    w.append(
        "academy.swing",
        pl.DataFrame(key).with_columns(
            club=pl.lit("7-iron"), club_family=pl.lit("iron"), part=pl.lit("baseline"), pace=pl.lit("full"),
            device=pl.lit("mat"), rate_hz=pl.lit(250.0), n_samples=pl.lit(len(frames[0])), t0_s=pl.lit(10.0),
            usable=pl.lit(value=False), heel_source=pl.lit("none"), flags=none, flag_counts=counts,
            file_flags=none, file_flag_counts=counts,
        ),
    )  # fmt: skip
    for name in marked:
        w.append(
            "academy.swing_event",
            pl.DataFrame(key).with_columns(
                event=pl.lit(name), t_s=pl.lit(11.6 + made_swings.EVENTS[name]), source=pl.lit("marked"),
                expected_error_s=pl.lit(0.0), clock=pl.lit("plate"),
            ),
        )  # fmt: skip
    columns = {
        name: np.concatenate([f[name].to_numpy() for f in frames]).astype(np.float32)
        for name in frames[0].columns
        if name not in ("swing_no", "t_s")
    }
    sizes, numbers = [len(f) for f in frames], list(range(1, SWINGS + 1))
    if hold:
        n = round(HOLD_S * 250)
        t = np.arange(n) / 250
        still = {"cop_x_mm": 4 * np.sin(2 * np.pi * 0.3 * t), "cop_y_mm": 3 * np.cos(2 * np.pi * 0.2 * t)}
        for name in (*columns, *still):
            before = columns.get(name, np.full(sum(sizes), np.nan, np.float32))
            columns[name] = np.concatenate([before, still.get(name, np.full(n, 50.0))]).astype(np.float32)
        sizes, numbers = [*sizes, n], [*numbers, HOLD_NO]
        w.append(
            "academy.hold",
            pl.DataFrame(
                {"session": [session], "swing_no": [HOLD_NO], "eyes": ["open"], "seconds": [HOLD_S],
                 "from_s": [10.0], "to_s": [10.0 + HOLD_S], "rate_hz": [250.0], "n_samples": [n], "t0_s": [10.0],
                 "rocking": [False]}
            ),
        )  # fmt: skip
    trace = SessionTrace(
        session, np.array(numbers, np.int32), np.concatenate([[0], np.cumsum(sizes)]),
        np.full(len(sizes), 250.0), np.full(len(sizes), 10.0), columns,
    )  # fmt: skip
    write_trace(trace_path(w.home, "spring", session), trace)


@pytest.fixture
def open_writer(home):
    with writer(home) as w:
        w.append("academy.person", builders.people_frame())
        yield w


def estimated(w):
    return w.sql("SELECT * FROM academy.swing_event WHERE source = 'estimated' ORDER BY ALL")


def test_before_a_fit_a_loads_missing_events_come_from_the_rules(home, open_writer):
    land(open_writer, "a", "s1", marked=())
    refresh(home, open_writer)
    found = estimated(open_writer)
    assert len(found) == 7 * SWINGS
    assert found["expected_error_s"].min() >= 0.06
    impact = found.filter(pl.col("event") == "impact")["t_s"]
    assert (impact - (11.6 + made_swings.EVENTS["impact"])).abs().median() < 0.06
    assert load_parameter(open_writer, "events") is None


def test_a_build_fits_and_keeps_one_version_and_a_refresh_estimates_from_it(home, open_writer):
    for student in range(10):
        land(open_writer, f"a{student}", f"s{student}", seed=student)
    build(home, open_writer)
    build(home, open_writer)
    versions = open_writer.sql("SELECT version FROM academy.parameter WHERE name = 'events'")
    assert versions["version"].to_list() == [1]
    fit = event_fit(open_writer)
    assert (fit.models["impact"].n_swings, fit.models["impact"].n_students) == (10 * SWINGS, 10)
    assert estimated(open_writer).is_empty()
    land(open_writer, "b", "s1", seed=77, marked=("address", "takeaway", "top", "finish"), day=3)
    refresh(home, open_writer)
    found = estimated(open_writer)
    assert set(found["event"]) == {"mid_back", "mid_down", "impact"}
    for event, model in fit.models.items():
        expected = found.filter(pl.col("event") == event)["expected_error_s"]
        assert set(expected) <= {model.error_s}
    impact = found.filter(pl.col("event") == "impact")["t_s"]
    assert (impact - (11.6 + made_swings.EVENTS["impact"])).abs().median() < 0.01
    before = found
    build(home, open_writer)
    assert estimated(open_writer).equals(before)
    again = event_fit(open_writer)
    assert (
        again.models["impact"] == fit.models["impact"]
    )  # estimates are no marks: nothing is learned from them
    assert again.models["top"].n_swings == 11 * SWINGS  # the new session's marks are


def test_what_a_coach_puts_on_the_curve_is_learned_from_like_a_mark_and_what_a_film_shows_is_not(
    home, open_writer
):
    for student in range(10):
        land(open_writer, f"a{student}", f"s{student}", seed=student)
    open_writer.execute(
        "UPDATE academy.swing_event SET source = 'by_hand', expected_error_s = 0.02 WHERE event <> 'top'"
    )
    open_writer.execute("UPDATE academy.swing_event SET expected_error_s = 0.02 WHERE event = 'top'")
    build(home, open_writer)
    fit = event_fit(open_writer)
    assert fit.models["impact"].n_swings == 10 * SWINGS
    assert "top" not in fit.models  # one of so large an error came from a film
    assert estimated(open_writer).is_empty()


def test_reducing_again_replaces_estimates_and_marks_that_came_later_end_them(home, open_writer):
    land(open_writer, "a", "s1", marked=())
    refresh(home, open_writer)
    first = estimated(open_writer)
    open_writer.execute("UPDATE academy.session SET reduced = false")
    refresh(home, open_writer)
    assert estimated(open_writer).equals(first)
    open_writer.append(
        "academy.swing_event", first.with_columns(source=pl.lit("marked"), expected_error_s=pl.lit(0.0))
    )
    open_writer.execute("UPDATE academy.session SET reduced = false")
    refresh(home, open_writer)
    assert estimated(open_writer).is_empty()
    assert open_writer.sql("SELECT DISTINCT flags FROM academy.swing").to_series().to_list() == [[]]


def test_a_hold_is_measured_where_it_lies_and_its_swings_too(home, open_writer):
    land(open_writer, "a", "s1", hold=True)
    refresh(home, open_writer)
    hold = open_writer.sql("SELECT * FROM academy.hold").row(0, named=True)
    assert hold["rms_across_mm"] == pytest.approx(4 / 2**0.5, rel=0.02)  # six whole turns of a sine of 4 mm
    assert hold["rms_along_mm"] == pytest.approx(3 / 2**0.5, rel=0.02)  # four of one of 3 mm
    assert hold["seconds"] == HOLD_S
    assert open_writer.sql("SELECT count(*) FROM academy.swing_metric").item() == SWINGS
