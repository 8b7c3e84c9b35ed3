"""Coach gains: planted differences, their intervals, and groups too small to speak of."""

from dataclasses import replace
from datetime import date

import numpy as np
import polars as pl
import pytest
from scipy import stats

from models.season.cells import baseline
from models.season.coach import case_mix, coach_gains, figures, room_to_gain, shares
from models.season.judgement import Bands
from models.season.reliability import detectable_change, typical_error
from models.season.student_gain import StudentGains, item_slopes, student_gains
from models.season.trend import fit_season


def known(gain, variance):
    """Gains without anything said of where students started."""
    nothing = np.zeros(gain.size)
    return StudentGains(gain, nothing, variance, nothing, nothing)


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
    return known(gain + rng.normal(size=students) * np.sqrt(variance), variance), share, x, 0.1 + truth


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
    own, share, x, _ = made_up(rng, 72, 6, 0.0, 0.1, every=100)
    found = coach_gains(replace(own, gain=own.gain + share[:, 2]), share, x)
    assert np.argmax(found.gain) == 2
    assert found.lo[2] > found.overall
    assert found.overall < found.gain[2] < found.raw[2]
    assert figures(found, 2)["raw"] > figures(found, 2)["hi95"]


@pytest.mark.parametrize("variance", [0.0, 0.08])
def test_the_limits_of_two_coaches_are_those_of_a_two_sample_t(variance):
    # Everyone known as well as the others, all alike but for the coach: the dot is the difference of two means,
    # Student's t. How much of the scatter is error makes no odds.
    rng = np.random.default_rng(8)
    gain, share = rng.normal(1.0, 0.4, 30), np.eye(2)[np.arange(30) % 2]
    found = coach_gains(known(gain, np.full(30, variance)), share, np.ones((30, 1)))
    sides = [gain[share[:, k] > 0] for k in (0, 1)]
    t = stats.ttest_ind(*sides)
    assert found.raw[0] - found.overall == pytest.approx(sides[0].mean() - sides[1].mean())
    assert (found.raw[0] - found.overall) / found.raw_se[0] == pytest.approx(t.statistic, rel=0.04)
    assert found.freedom == 27  # one less than the t-test's, as room to gain is estimated too


def test_a_coach_whose_students_are_of_an_age_that_gains_more_is_not_further_for_it():
    rng = np.random.default_rng(9)
    share, young = np.eye(2)[np.arange(80) % 2], np.arange(80) % 10 < 5
    young[::2] = np.arange(40) % 10 < 8  # most of the first coach's students, half of the second's
    x = np.column_stack([np.ones(80), young - young.mean()])
    found = coach_gains(known(x[:, 1] + rng.normal(0, 0.1, 80), np.full(80, 0.01)), share, x)
    assert found.raw - found.overall == pytest.approx([0.0, 0.0], abs=0.1)


def test_a_single_coach_has_nobody_to_stand_beside():
    rng = np.random.default_rng(4)
    gain = rng.normal(0.5, 0.3, 20)
    found = coach_gains(known(gain, np.full(20, 0.05)), np.ones((20, 1)), np.ones((20, 1)))
    assert found.gain[0] == pytest.approx(gain.mean(), abs=0.02)
    assert np.isnan(found.raw[0])
    assert np.isfinite([found.lo[0], found.hi[0], found.se[0]]).all()


def test_a_coach_with_no_share_at_all_has_no_dot():
    rng = np.random.default_rng(5)
    own, share, x, _ = made_up(rng, 30, 3, 0.2, 0.1)
    found = coach_gains(own, np.column_stack([share, np.zeros(30)]), x)
    assert np.isnan(found.raw[3])
    assert np.isfinite(found.gain).all()


@pytest.mark.parametrize("gain", [np.array([0.1, 0.2, 0.3]), np.zeros(20)])
def test_too_few_students_or_nothing_that_varies_says_nothing(gain):
    one = np.ones((gain.size, 1))
    assert coach_gains(known(gain, np.full(gain.size, 0.1)), one, one) is None


def started_apart(rng, students, slope):
    """Gains that grow by `slope` with the distance at the start; both known with errors that go together."""
    share = np.eye(4)[np.arange(students) % 4]
    start = np.where(share[:, 0] > 0, 2.0, 1.0) + rng.normal(0, 0.6, students)
    error = rng.multivariate_normal([0, 0], [[0.06, 0.05], [0.05, 0.12]], students)
    one = np.ones(students)
    gain = 0.3 + slope * start + rng.normal(0, 0.1, students) + error[:, 0]
    return StudentGains(gain, start + error[:, 1], 0.06 * one, 0.12 * one, 0.05 * one), share


@pytest.mark.parametrize("slope", [0.0, 0.9])
def test_room_to_gain_is_found_in_spite_of_errors_that_start_and_gain_share(slope):
    rng = np.random.default_rng(6)
    own, share = started_apart(rng, 4000, slope)
    assert room_to_gain(own, share)[0] == pytest.approx(slope, abs=0.04)
    plain = np.linalg.lstsq(np.column_stack([own.start, share]), own.gain, rcond=None)[0][0]
    assert abs(plain - slope) > 0.04  # what least squares makes of it


def test_leaving_a_student_out_is_the_same_as_never_having_measured_them():
    rng = np.random.default_rng(11)
    start, gain = rng.normal(size=(2, 30))
    var_start, var_gain, cov = rng.uniform(0.05, 0.4, (3, 30))
    own = StudentGains(gain, start, var_gain, var_start, cov)
    x = np.eye(4)[rng.integers(0, 4, 30)]
    slope, without = room_to_gain(own, x)
    kept = ~np.eye(30, dtype=bool)
    np.testing.assert_allclose(without, [room_to_gain(own[rest], x[rest])[0] for rest in kept])
    assert np.ptp(without) > 0.01 > abs(without.mean() - slope)
    alone = np.column_stack([x, np.arange(30) == 3])  # the fourth student is a coach's only one
    assert room_to_gain(own, alone)[1][3] == pytest.approx(room_to_gain(own[kept[3]], x[kept[3]])[0])


def test_equal_coaches_whose_students_start_apart_seldom_leave_the_limits():
    rng = np.random.default_rng(7)
    outside = []
    for _ in range(60):
        own, share = started_apart(rng, 48, 0.4)
        found = coach_gains(own, share, np.ones((48, 1)))
        outside += [not (f := figures(found, k))["lo95"] <= f["raw"] <= f["hi95"] for k in range(4)]
    assert np.mean(outside) <= 0.09


def slopes(simulate, better, bands, *, start=60.0, students=8, seed=2, per_month=0.6):
    rng = np.random.default_rng(seed)
    rows = baseline(
        pl.concat(
            simulate(rng, f"s{i}", start=start, per_month=per_month, sd_session=0.5)[0]
            for i in range(students)
        )
    )
    fits = fit_season(rows)
    items = item_slopes(rows, fits, {"m": better}, bands)
    with_room = items.filter("room")
    gains = student_gains(with_room, np.ones((8, 1))) if len(with_room) else None
    return items, gains, next(iter(fits.values()))


def no_bands():
    return Bands(pl.DataFrame(), {}, {})


def test_a_gain_is_per_90_days_in_detectable_changes(simulate):
    _, gains, fit = slopes(simulate, "up", no_bands())
    unit = detectable_change(typical_error(fit["sd_session"], fit["sd_swing"], 9))
    assert gains.gain.mean() == pytest.approx(1.8 / unit, rel=0.2)
    # The known variance is that of the slopes about their common truth (8 students: within a factor of 3).
    ratio = gains.gain.var(ddof=1) / gains.var_gain.mean()
    assert 1 / 3 < ratio < 3
    _, down, _ = slopes(simulate, "down", no_bands())
    assert down.gain == pytest.approx(-gains.gain)


def test_the_errors_of_gain_and_start_are_those_of_a_weighted_line(simulate):
    _, gains, fit = slopes(simulate, "up", no_bands())
    unit = detectable_change(typical_error(fit["sd_session"], fit["sd_swing"], 9))
    rng = np.random.default_rng(2)  # the same students
    own = [baseline(simulate(rng, f"s{i}", start=60.0, per_month=0.6, sd_session=0.5)[0]) for i in range(4)][
        3
    ]
    w = 1 / (fit["sd_session"] ** 2 + fit["sd_swing"] ** 2 / own["n"].to_numpy())
    design = np.column_stack([np.ones(len(own)), own["t"].to_numpy()])
    cov = np.linalg.inv(design.T @ (design * w[:, None])) / unit**2
    found = gains.var_gain[3], gains.var_start[3], gains.cov[3]
    assert found == pytest.approx((9 * cov[1, 1], cov[0, 0], -3 * cov[0, 1]))


def test_toward_the_band_is_a_gain_and_inside_it_nothing_is(simulate):
    def band(lo, hi):
        return Bands(
            pl.DataFrame(
                {"metric": ["m"], "club_family": ["iron"], "level": [None], "style": [None], "student": [None],
                 "lo": [lo], "hi": [hi], "version": ["v"], "from": [None]}
            ), {}, {},
        )  # fmt: skip

    assert slopes(simulate, "band", band(80.0, 90.0))[1].gain.min() > 0
    assert slopes(simulate, "band", band(20.0, 30.0))[1].gain.max() < 0
    inside, nobody, _ = slopes(simulate, "band", band(40.0, 90.0))
    assert nobody is None
    assert inside["student"].n_unique() == 8  # measured, without room
    assert slopes(simulate, "up", band(40.0, 90.0))[1] is None
    assert slopes(simulate, "none", no_bands())[0].is_empty()


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
