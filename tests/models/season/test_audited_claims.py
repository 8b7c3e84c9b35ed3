"""New faults, drills and agreed aims scored by what came since: where the claims are right, and where they are not."""

from datetime import date, datetime, timedelta

import numpy as np
import polars as pl
import pytest
from scipy import stats

from models.season.agreed_line import Course, wandering_covariance
from models.season.audited_claims import aim_claims, drill_claims, new_fault_claims, share_past
from models.season.cells import baseline
from models.season.drill_data import Reference, Sources
from models.season.judgement import Bands
from models.season.self_audit import audited, fits_before
from warehouse.tables import columns
from warehouse.vocabulary import AIM_REACHED, DRILL_HELPS, DRILL_NOT_CLEAR

START = datetime(2026, 3, 2, 9, 0)  # noqa: DTZ001 - a Monday; UTC without a zone, as in the warehouse
JUNE, JULY, AUGUST = (date(2026, month, 1) for month in (6, 7, 8))
HALF = 121  # days from START up to July
SAME = {
    "season": "2026", "club_family": "iron", "part": "baseline", "pace": "full", "device": "mat",
    "heel_source": "none", "coach": "c1",
}  # fmt: skip


def at(day):
    """`day` days after the start."""
    return START + timedelta(days=int(day))


def table(rows, names):
    """Rows of session tables: what is the same in all of them is added."""
    frame = pl.DataFrame(rows, schema=names, orient="row")
    return frame.with_columns(
        day=pl.col("started_at").dt.date(), **{key: pl.lit(v) for key, v in SAME.items()}
    )


# --- new faults ------------------------------------------------------------------------------------------------------


def faults(seed, lasts, students=60):
    """Ten swings a week in 26 weeks, alike within a day; a third show a fault as new from the 13th to 18th week on."""
    rng, rows = np.random.default_rng(seed), []
    for student in range(students):
        seldom, begins = rng.uniform(0.02, 0.1), rng.integers(91, 126) if student % 3 == 0 else 999
        for day in range(student % 7, 182, 7):
            often = begins <= day < begins + lasts
            mean = seldom + 0.5 * often
            rate = rng.beta(mean * 9, (1 - mean) * 9)
            rows.append(
                (f"s{student:02}", f"{student}-{day}", at(day), "sway", int(rng.binomial(10, rate)), 10)
            )
    return table(rows, ["student", "session", "started_at", "fault", "flagged", "usable"])


NO_CHANGES, NO_OUTCOMES = (
    pl.DataFrame(schema=columns(f"season.{name}")) for name in ("change_chance", "outcome_chance")
)


def of_faults(rows):
    spans = ((JUNE, JULY), (JULY, AUGUST))
    return pl.concat([new_fault_claims(rows, NO_CHANGES, NO_OUTCOMES, *span) for span in spans])


def total(claims, kind):
    """Claims, borne out, expected and by chance of a kind over all days."""
    rows = audited(claims).filter(kind=kind)
    return tuple(rows[name].sum() for name in ("claims", "borne_out", "expected", "by_chance"))


def test_new_faults_that_stay_are_borne_out_and_those_that_are_gone_in_five_weeks_are_not():
    made, stayed, expected, by_chance = total(of_faults(faults(1, lasts=999)), "new_fault")
    assert made >= 12
    assert expected > 0.8 * made
    assert by_chance < 0.25 * made
    assert stayed >= expected - 2
    made, stayed, expected, by_chance = total(of_faults(faults(2, lasts=35)), "new_fault")
    assert made >= 12
    assert expected > 0.8 * made
    assert stayed < (expected + by_chance) / 2


def test_a_new_fault_knows_nothing_of_the_months_after_it():
    rows = faults(1, lasts=999)
    other = rows.with_columns(flagged=pl.when(pl.col("day") >= JULY).then(0).otherwise("flagged"))
    first, then = (new_fault_claims(one, NO_CHANGES, NO_OUTCOMES, JUNE, JULY) for one in (rows, other))
    assert len(first) > 5
    assert first.select("claim", "chance", "by_chance").equals(then.select("claim", "chance", "by_chance"))
    assert then["borne_out"].sum() < first["borne_out"].sum()


def test_the_chance_of_a_share_is_that_of_the_beta_binomial_distribution():
    """Beside scipy's beta-binomial, for which a share of n whole swings is exact; the form in between is a beta."""
    for a, b, least in ((12, 13, 0.3), (6, 45, 0.2), (3, 30, 0.1)):
        whole = 40
        exact = (
            stats.betabinom.sf(least * whole, whole, a, b)
            + stats.betabinom.sf(least * whole - 1, whole, a, b)
        ) / 2
        assert share_past(least, a, b, whole) == pytest.approx(exact, abs=0.03)


# --- drills ----------------------------------------------------------------------------------------------------------


def drills(seed, early, late, students=60, of=3):
    """Each drill adds `early` from the next visit on if it is first set before July, and `late` if set since then.

    A third are first given it in May, a third in July or August, a third never.
    """
    rng, rows, doses = np.random.default_rng(seed), [], []
    for drill in range(of):
        for student in range(students):
            days = np.sort(rng.choice(182, 14, replace=False))
            level, given = 60 + rng.normal(0, 4), None
            since = {0: 60, 1: HALF}.get(student % 3, 999)
            gain, form = (early, late)[student % 3] if student % 3 < 2 else 0.0, 1.0
            for place, day in enumerate(days):
                value = level + gain * (given is not None) + rng.normal(0, form) + rng.normal(0, 2 / 3)
                session = f"{drill}-{student}-{place}"
                rows.append((f"s{student:02}", session, at(day), f"m{drill}", value, 2.0, 9))
                if given is None and day >= since:
                    given = day
                if given is not None and rng.random() < 0.5:
                    when = at(day) + timedelta(minutes=40)
                    doses.append((f"s{student:02}", session, f"d{drill}", when, when.date(), "drill"))
    metrics = table(rows, ["student", "session", "started_at", "metric", "mean", "sd", "n"])
    names = [f"m{drill}" for drill in range(of)]
    bands = Bands(pl.DataFrame(schema={"metric": pl.String, "club_family": pl.String}), {}, {})
    return Sources(
        metrics=metrics, faults=pl.DataFrame(schema={"season": pl.String, "fault": pl.String, "day": pl.Date}),
        dose=pl.DataFrame(doses, ["student", "session", "drill", "at", "day", "kind"], orient="row"),
        first_drill=pl.DataFrame(schema={"session": pl.String, "drill": pl.String}), draws=pl.DataFrame(),
        drills={f"d{drill}": f"m{drill}" for drill in range(of)}, people={},
        reference=Reference(dict.fromkeys(names, "up"), dict.fromkeys(names, "%"), {}, bands, {}),
    )  # fmt: skip


def test_drills_that_still_help_are_borne_out_and_those_that_no_longer_do_are_not():
    made, held, expected, by_chance = total(drill_claims(drills(1, 4, 4), "2026", JULY), DRILL_HELPS)
    assert (made, held) == (3, 3)
    assert by_chance < expected / 2 > 0.9
    made, held, expected, by_chance = total(drill_claims(drills(1, 4, 0), "2026", JULY), DRILL_HELPS)
    assert (made, held) == (3, 0)
    assert by_chance < expected / 2 > 0.9


def test_drills_without_a_clear_effect_are_borne_out_unless_they_have_one_since():
    made, held, expected, _ = total(drill_claims(drills(3, 0, 0), "2026", JULY), DRILL_NOT_CLEAR)
    assert made == 3
    assert held >= 2
    assert 1.8 < expected < 3
    claims = drill_claims(drills(4, 0, 5), "2026", JULY)
    assert claims["by_chance"].is_null().all()
    assert total(claims, DRILL_NOT_CLEAR)[:2] == (3, 0)


def test_drills_that_too_few_have_been_given_since_are_not_scored():
    assert drill_claims(drills(1, 4, 4, of=1), "2026", date(2026, 8, 20)).is_empty()
    assert drill_claims(drills(1, 4, 4, of=1), "2026", date(2027, 1, 1)).is_empty()


# --- agreed aims -----------------------------------------------------------------------------------------------------

AGREED = 61  # days after the start: 2 May


def aims(seed, rise, *, students=24):
    """Two measures that change by `rise(days since)` from 2 May on, due in half a year; a visit a week or so.

    Rows, and the aims as the query of notes gives them.
    """
    rng, rows, notes = np.random.default_rng(seed), [], []
    for student in range(students):
        days = np.arange(student % 7, 182, 7)
        for metric in ("m0", "m1"):
            mean = (
                60
                + rng.normal(0, 4)
                + rise(np.maximum(days - AGREED, 0))
                + rng.normal(0, np.sqrt(1 + 4 / 9), days.size)
            )
            rows += [
                (f"s{student:02}", f"{student}-{day}", at(day), metric, value, 2.0, 9)
                for day, value in zip(days, mean, strict=True)
            ]  # fmt: skip
        notes.append(
            {"note": f"n{student}", "student": f"s{student:02}", "season": "2026", "metrics": ["m0", "m1"],
             "agreed": at(AGREED).date(), "due": at(181).date(), "shared": True, "wanted": 2.7}
        )  # fmt: skip
    return table(rows, ["student", "session", "started_at", "metric", "mean", "sd", "n"]), notes


def of_aims(frame, notes, made, until):
    rows = baseline(frame)
    return aim_claims(notes, rows, fits_before(rows, made), {"m0": "up", "m1": "up"}, made, until)


def steady(days):
    """By 5 in two months, and on like that."""
    return days / 12


def gone_again(days):
    """By 5 in the two months up to July, and in two weeks back."""
    return np.where(days <= HALF - AGREED, days / 12, np.maximum(5 - (days - HALF + AGREED) / 3, 0))


def test_aims_reached_are_borne_out_by_who_keeps_on_and_not_by_who_falls_back():
    made, kept, expected, by_chance = total(of_aims(*aims(1, steady), JUNE, JULY), AIM_REACHED)
    assert made >= 12
    assert expected > 0.9 * made
    assert by_chance < 0.6 * made
    assert kept >= expected - 2
    made, kept, expected, by_chance = total(of_aims(*aims(2, gone_again), JUNE, JULY), AIM_REACHED)
    assert made >= 12
    assert expected > 0.9 * made
    assert kept < (expected + by_chance) / 2


def test_without_aims_or_before_the_first_visit_nothing_is_claimed():
    frame, notes = aims(1, steady, students=6)
    assert of_aims(frame, [], JUNE, JULY).is_empty()
    assert of_aims(frame.clear(), notes, JUNE, JULY).is_empty()


def test_what_is_foreseen_is_the_conditional_normal_distribution():
    """Beside Bayes by matrices, a and b ~ N(0, 10⁴²), β likewise or 0: the half-way value and the mean since."""
    rng = np.random.default_rng(5)
    t = np.array([-2.0, -1.2, -0.6, 0.0, 0.5, 1.1, 1.6, 2.4, 3.0])
    y, known, walk = 5 + np.maximum(t, 0) + rng.normal(0, 1, t.size), 6, 0.3
    course = Course(
        t,
        y[:, None],
        np.full((t.size, 1), 1.2),
        np.array([walk**0.5]),
        np.zeros((1, t.size, t.size)),
        np.eye(1),
    )
    half_way, expected, se = course.foreseen(np.ones(1), known)
    ends = np.append(
        t, [0.0, t[known - 1]]
    )  # and the line itself, at the agreed day and at the last known visit
    x = np.column_stack([np.ones(ends.size), np.maximum(ends, 0), np.minimum(ends, 0)])
    for case, rising in enumerate((1e8, 0.0)):
        both = wandering_covariance(ends, walk) + x @ np.diag([1e8, rising, 1e8]) @ x.T
        both[: t.size, : t.size] += np.diag(np.full(t.size, 1.44))
        seen = both[:known, :known]
        later = np.zeros(ends.size)
        later[known : t.size] = 1 / (t.size - known)
        line = np.zeros(ends.size)
        line[-2:] = 0.5
        gain = np.linalg.solve(seen, both[:known])
        assert later @ gain.T @ y[:known] == pytest.approx(expected[case], abs=1e-3)
        assert later @ (both - both[:, :known] @ gain) @ later == pytest.approx(se[case] ** 2, rel=1e-3)
        if case == 0:
            assert line @ gain.T @ y[:known] == pytest.approx(half_way, abs=1e-3)
