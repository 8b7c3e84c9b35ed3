"""A student's own set-up target: found where there is one place, not where there is none, and used as the band."""

from datetime import date, timedelta

import numpy as np
import polars as pl
import pytest

from models.season.setup_target import median_interval, targets
from models.swing.rocking import steady_place
from odd_rocking import rocking_person
from warehouse.vocabulary import STEADY_STANDS

COLUMNS = ("lead_n", "trail_n", "lead_along_pct", "trail_along_pct")
DAY = date(2026, 5, 1)


def stands_of(name, seed):
    """The steady stands of a person, as they are read from the plate."""
    person, rows = rocking_person(name, seed=seed), []
    for stand in person.stands:
        found = steady_place({c: np.asarray(getattr(stand, c), dtype=float) for c in COLUMNS}, 100.0)
        if found["steady_s"] is not None:
            rows.append(("s1", DAY, "v1", found["lead_along_pct"], found["trail_along_pct"]))
    return person, frame(rows)


def frame(rows):
    schema = {
        "student": pl.String, "day": pl.Date, "session": pl.String, "lead_along_pct": pl.Float64,
        "trail_along_pct": pl.Float64,
    }  # fmt: skip
    return pl.DataFrame(rows, schema, orient="row")


@pytest.mark.parametrize(
    "name", ["settles", "feet_differ", "on_the_heels", "one_stand_off", "noisy_plate", "scattered"]
)
def test_the_target_holds_the_students_own_place_about_nine_times_in_ten(name):
    held, off = [], []
    for seed in range(30):
        person, stands = stands_of(name, seed)
        found = {row["metric"]: row for row in targets(stands, 5.0).to_dicts()}
        lead, trail = found["address_lead_along_pct"], found["address_trail_along_pct"]
        held += [lead["lo_pct"] <= person.lead_along_pct <= lead["hi_pct"]]
        held += [trail["lo_pct"] <= person.trail_along_pct <= trail["hi_pct"]]
        off.append(abs(lead["median_pct"] - person.lead_along_pct))
    assert np.mean(held) >= 0.75  # stands shift both feet at once, so this is 30 draws of nine in ten
    assert np.mean(off) < (4 if name == "scattered" else 1)


@pytest.mark.parametrize("name", ["never_settles", "drifts", "two_places", "one_stand"])
def test_who_has_no_steady_place_gets_no_target(name):
    for seed in range(10):
        assert targets(stands_of(name, seed)[1], 5.0).is_empty()


def test_the_heels_share_of_its_foot_follows_from_the_place():
    rows = [("s1", DAY, "v", 35.0 + k, 60.0) for k in range(5)]
    found = {row["metric"]: row for row in targets(frame(rows), 5.0).to_dicts()}
    place, heel = found["address_lead_along_pct"], found["address_lead_heel_share_pct"]
    assert heel["median_pct"] == pytest.approx(100 * (70 - 37) / 55)
    assert heel["band_hi"] == pytest.approx(100 * (70 - place["band_lo"]) / 55)
    assert heel["lo_pct"] < heel["median_pct"] < heel["hi_pct"] < heel["band_hi"]


def test_it_begins_with_the_fifth_stand_and_follows_those_of_the_last_year():
    rows = [("s1", DAY + timedelta(days=k), f"v{k}", 40.0 + k % 3, 60.0) for k in range(STEADY_STANDS)] + [
        ("s1", DAY + timedelta(days=380), "late", 50.0, 60.0)
    ]
    found = targets(frame(rows), 5.0).filter(metric="address_lead_along_pct")
    assert found.select("from", "n_stands", "n_sessions", "median_pct").rows() == [
        (DAY + timedelta(days=4), 5, 5, 41.0)
    ]
    assert found["band_lo"].item() == pytest.approx(found["lo_pct"].item() - 5)
    assert targets(frame(rows[:4]), 5.0).is_empty()


@pytest.mark.parametrize("n", [5, 6, 7, 10, 25])
def test_the_interval_holds_the_median_of_any_distribution_nine_times_in_ten(n):
    rng = np.random.default_rng(n)
    for draw, middle in ((rng.normal, 0.0), (rng.exponential, np.log(2)), (rng.standard_cauchy, 0.0)):
        held = [lo <= middle <= hi for lo, hi in (median_interval(draw(size=n)) for _ in range(600))]
        assert np.mean(held) == pytest.approx(0.9, abs=0.04)


def test_few_values_are_held_by_their_ends():
    assert median_interval([1.0, 2.0, 3.0]) == (1.0, 3.0)
    assert median_interval([4.0]) == (4.0, 4.0)
