"""Coach gains: planted differences, their intervals, and groups too small to speak of."""

from datetime import date

import numpy as np
import polars as pl
import pytest

from models.season.cells import baseline
from models.season.coach import case_mix, coach_gains, item_slopes, shares, student_gains
from models.season.judgement import Bands
from models.season.reliability import detectable_change, typical_error
from models.season.trend import fit_season


def made_up(rng, students, coaches, sd_coach, sd_student, *, every=7):
    """Students' gains under coaches of known gain; one in seven changed coach, two ages differ by 0.2."""
    variance = rng.uniform(0.02, 0.3, students)
    truth = rng.normal(0, sd_coach, coaches)
    share = np.eye(coaches)[np.arange(students) % coaches]
    for i in range(0, students, every):
        share[i] = 0.4 * share[i] + 0.6 * np.eye(coaches)[rng.integers(coaches)]
    young = (rng.random(students) < 0.4).astype(float)
    x = np.column_stack([np.ones(students), young - young.mean()])
    gain = 0.1 + 0.2 * x[:, 1] + share @ truth + rng.normal(0, sd_student, students)
    return gain + rng.normal(size=students) * np.sqrt(variance), variance, share, x, 0.1 + truth


def test_nine_in_ten_intervals_hold_the_coachs_true_gain():
    # The goal: 88–92 %; 40 academies of 6 coaches are ± 4 points, so 84 is the floor here.
    rng = np.random.default_rng(11)
    held = []
    for _ in range(40):
        *given, truth = made_up(rng, 40, 6, 0.3, 0.2)
        found = coach_gains(*given)
        held.extend((found.lo <= truth) & (truth <= found.hi))
    assert 0.84 <= np.mean(held) <= 0.97


def test_an_outstanding_coach_is_found_and_shrunk_toward_the_rest():
    rng = np.random.default_rng(3)
    gain, variance, share, x, _ = made_up(rng, 72, 6, 0.0, 0.1, every=100)
    found = coach_gains(gain + 1.0 * share[:, 2], variance, share, x)
    assert np.argmax(found.gain) == 2
    assert found.lo[2] > found.overall
    assert found.overall < found.gain[2] < found.raw[2]


def test_a_single_coach_is_the_academy():
    rng = np.random.default_rng(4)
    gain = rng.normal(0.5, 0.3, 20)
    found = coach_gains(gain, np.full(20, 0.05), np.ones((20, 1)), np.ones((20, 1)))
    assert found.gain[0] == pytest.approx(gain.mean(), abs=0.02)
    assert found.raw[0] == pytest.approx(gain.mean())
    assert np.isfinite([found.lo[0], found.hi[0], found.se[0]]).all()


def test_a_coach_with_no_share_at_all_has_no_dot():
    rng = np.random.default_rng(5)
    gain, variance, share, x, _ = made_up(rng, 30, 3, 0.2, 0.1)
    found = coach_gains(gain, variance, np.column_stack([share, np.zeros(30)]), x)
    assert np.isnan(found.raw[3])
    assert np.isfinite(found.gain).all()


@pytest.mark.parametrize("gain", [np.array([0.1, 0.2, 0.3]), np.zeros(20)])
def test_too_few_students_or_nothing_that_varies_says_nothing(gain):
    assert (
        coach_gains(gain, np.full(gain.size, 0.1), np.ones((gain.size, 1)), np.ones((gain.size, 1))) is None
    )


def slopes(simulate, better, bands, *, start=60.0, students=8, seed=2, per_month=0.6):
    rng = np.random.default_rng(seed)
    rows = baseline(
        pl.concat(
            simulate(rng, f"s{i}", start=start, per_month=per_month, sd_session=0.5)[0]
            for i in range(students)
        )
    )
    fits = fit_season(rows)
    return student_gains(item_slopes(rows, fits, {"m": better}, bands)), next(iter(fits.values()))


def no_bands():
    return Bands(pl.DataFrame(), {}, {})


def test_a_gain_is_per_90_days_in_detectable_changes(simulate):
    gains, fit = slopes(simulate, "up", no_bands())
    unit = detectable_change(typical_error(fit["sd_session"], fit["sd_swing"], 9))
    assert gains["gain"].mean() == pytest.approx(1.8 / unit, rel=0.2)
    # The known variance is that of the slopes about their common truth (8 students: within a factor of 3).
    ratio = gains["gain"].var() / gains["variance"].mean()
    assert 1 / 3 < ratio < 3
    down, _ = slopes(simulate, "down", no_bands())
    assert down["gain"].to_list() == pytest.approx([-g for g in gains["gain"]])


def test_toward_the_band_is_a_gain_and_inside_it_nothing_is(simulate):
    def band(lo, hi):
        return Bands(
            pl.DataFrame(
                {"metric": ["m"], "club_family": ["iron"], "level": [None], "style": [None], "student": [None],
                 "lo": [lo], "hi": [hi], "version": ["v"], "from": [None]}
            ), {}, {},
        )  # fmt: skip

    assert slopes(simulate, "band", band(80.0, 90.0))[0]["gain"].min() > 0
    assert slopes(simulate, "band", band(20.0, 30.0))[0]["gain"].max() < 0
    assert slopes(simulate, "band", band(40.0, 90.0))[0]["gain"].to_list() == [0.0] * 8
    assert slopes(simulate, "none", no_bands())[0]["gain"].to_list() == [0.0] * 8


def test_months_under_each_coach_make_the_shares():
    gains = pl.DataFrame(
        {"student": ["s1", "s2", "s3"], "first": [date(2026, 4, 1)] * 3, "last": [date(2026, 4, 10)] * 3}
    )
    coaching = pl.DataFrame(
        {"student": ["s1", "s1", "s2"], "coach": ["c1", "c2", "c2"],
         "from": [date(2025, 1, 1), date(2026, 4, 4), date(2026, 1, 1)],
         "to": [date(2026, 4, 3), None, None]}
    )  # fmt: skip
    coaches, share = shares(gains, coaching)
    assert coaches == ["c1", "c2"]
    assert share == pytest.approx(np.array([[0.3, 0.7], [0, 1], [0, 0]]))


def test_age_bands_of_under_three_students_stand_with_the_commonest():
    entry = date(2026, 4, 1)
    ages = (
        [(date(1990, 1, 1), entry)] * 4
        + [(date(2012, 1, 1), entry)] * 3
        + [(date(1950, 1, 1), entry), (None, entry)]
    )
    x = case_mix(ages)
    assert x.shape == (9, 2)
    assert x[:, 1].mean() == pytest.approx(0)
    assert (x[:, 1] > 0).tolist() == [False] * 4 + [True] * 3 + [False] * 2
