"""New faults: the odds by another way, and a season of weeks in academies whose truth is known."""

from datetime import date, timedelta

import numpy as np
import polars as pl
import pytest
from scipy import integrate, stats

from models.season.faultrate import FaultPrior, fit_priors
from models.season.ledger import claims, listed
from models.season.new_fault import USUALLY_CHANGED, as_seen, new_fault_chances, share_changed
from warehouse.tables import columns

FIRST = date(2026, 4, 6)
SWINGS = 10
FLAT = {"spring": {"trail_push": FaultPrior(rho=0.0, mean=0.2, strength=5.0)}}
NO_CHANGES, NO_OUTCOMES = (
    pl.DataFrame(schema=columns(f"season.{name}")) for name in ("change_chance", "outcome_chance")
)


def sessions(flagged, student="s1", fault="trail_push", days=None):
    """Rows as `faultrate.baseline_sessions` gives them: ten swings a session, a session a week."""
    days = range(0, 7 * len(flagged), 7) if days is None else days
    at = [FIRST + timedelta(days=int(day)) for day in days]
    return pl.DataFrame(
        {"session": [f"{student}-{day}" for day in at], "day": at, "flagged": np.asarray(flagged, float)}
    ).with_columns(
        season=pl.lit("spring"), student=pl.lit(student), fault=pl.lit(fault), club_family=pl.lit("iron"),
        usable=pl.lit(float(SWINGS)), started_at=pl.col("day").cast(pl.Datetime),
    )  # fmt: skip


def test_the_odds_of_a_change_are_those_of_integrating_over_the_rates():
    seen = as_seen(sessions([0, 1, 0, 0, 4, 5, 3, 4]), FLAT).row(-1, named=True)
    before, now = (1, 40), (16, 40)  # the last 28 days: sessions five to eight
    prior = stats.beta(1.0, 4.0)

    def rate(count, swings, of):
        return integrate.quad(lambda p: of(p) * p**count * (1 - p) ** (swings - count), 0, 1)[0]

    changed = rate(*before, prior.pdf) * rate(*now, lambda _p: 1.0)
    same = rate(before[0] + now[0], before[1] + now[1], prior.pdf)
    assert seen["log_odds"] == pytest.approx(np.log(changed / same), rel=1e-6)


def test_a_fault_is_new_only_where_it_was_seldom_and_is_shown_in_most_of_the_last_sessions():
    def chances(flagged):
        return new_fault_chances(as_seen(sessions(flagged), FLAT), {"spring": USUALLY_CHANGED})

    last = FIRST + timedelta(days=49)
    assert chances([0, 1, 0, 0, 4, 5, 6, 7]).filter(day=last)["p"].item() > 0.95
    assert chances([3, 2, 3, 2, 8, 9, 9, 8]).filter(day=last).is_empty()  # not seldom before
    assert chances([1, 1, 1, 1, 0, 9, 1, 1]).filter(day=last).is_empty()  # one session of the last three
    assert chances([0, 1, 0, 0, 1]).is_empty()  # too few sessions


def academy(rng, *, changing=0.0, students=60, faults=6):
    """Six to fourteen visits in 26 weeks; swings of a visit resemble each other, of some students more."""
    frames, truth = [], {}
    for i in range(students):
        days = np.sort(rng.choice(182, rng.integers(6, 15), replace=False))
        for f in range(faults):
            rate, alike = rng.beta(0.8, 4), 0.15 * rng.choice([0.5, 1, 2])
            changes, at = rng.random() < changing, rng.integers(40, 110)
            p = np.where(changes & (days >= at), min(rate + 0.5, 0.95), rate)
            strength = 1 / alike - 1
            own = rng.beta(np.maximum(p * strength, 1e-3), np.maximum((1 - p) * strength, 1e-3))
            frames.append(sessions(rng.binomial(SWINGS, own), f"s{i}", f"f{f}", days))
            if changes:
                truth[f"s{i}", f"f{f}"] = FIRST + timedelta(days=int(at))
    return pl.concat(frames).sort("season", "student", "fault", "club_family", "started_at"), truth


def season_of(rows):
    """Everything listed as a new fault, week after week."""
    full = rows.with_columns(
        part=pl.lit("baseline"), pace=pl.lit("full"), heel_source=pl.lit("none"), coach=pl.lit("c1")
    )
    seen = as_seen(rows, fit_priors(full))
    chances = new_fault_chances(seen, {"spring": share_changed(seen)})
    return listed(claims(NO_CHANGES, chances, NO_OUTCOMES))


def test_where_nothing_changes_a_whole_season_lists_next_to_nothing():
    rng = np.random.default_rng(4)
    assert sum(len(season_of(academy(rng)[0])) for _ in range(4)) <= 3


def test_where_faults_do_come_they_are_found_and_few_others():
    rng, right, wrong = np.random.default_rng(5), 0, 0
    for _ in range(3):
        rows, truth = academy(rng, changing=0.2)
        for student, fault, since in season_of(rows).select("student", "subject", "since").iter_rows():
            true = truth.get((student, fault), date.max) <= since + timedelta(days=6)
            right, wrong = right + true, wrong + (not true)
    assert right >= 20
    assert wrong <= 0.12 * right
