"""The event fit through the warehouse: fitted by a build, kept, used by a refresh, estimates replaced cleanly."""

import numpy as np
import polars as pl
import pytest

import builders
import made_swings
from landed_session import HOLD_S, land_session
from models.build import build, refresh
from models.parameters import load_parameter
from models.samples import event_fit
from warehouse.store import writer

SWINGS = 11


def land(w, session, student, *, seed=1, **more):
    """A session of slightly differing swings."""
    shifts = np.random.default_rng(seed).normal(0, 2, SWINGS)
    land_session(w, session, student, shifts=shifts, seed=seed, **more)


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
