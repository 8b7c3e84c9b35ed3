"""The season scored by what came since: right where the truth is planted, and not where claims are false."""

from datetime import date, datetime, timedelta

import numpy as np
import polars as pl
import pytest

from models.season.cells import baseline
from models.season.judgement import Bands
from models.season.self_audit import (
    audited,
    days_of_claims,
    fits_before,
    line_claims,
    next_first,
    scored_claims,
)
from warehouse.vocabulary import CHANGE, NEXT_VISIT

START = datetime(2026, 3, 2, 9, 0)  # noqa: DTZ001 - a Monday; UTC without a zone, as in the warehouse
MADE = date(2026, 6, 1)
DAYS, HALF = 182, 91  # of a season, and up to MADE
NO_BANDS = Bands(pl.DataFrame(schema={"metric": pl.String, "club_family": pl.String}), {}, {})


def season(seed, path, students=40, metrics=3):
    """Rows of season.session_metric: 14 visits of 9 swings, session sd 1, swing sd 2, about `path(rng, days)`."""
    rng, rows = np.random.default_rng(seed), []
    for metric in range(metrics):
        for student in range(students):
            day = np.sort(rng.choice(DAYS, 14, replace=False))
            value = 60 + rng.normal(0, 4) + path(rng, day) + rng.normal(0, np.sqrt(1 + 4 / 9), day.size)
            for place, (at, mean) in enumerate(zip(day, value, strict=True)):
                began = START + timedelta(days=int(at))
                rows.append(
                    (f"{metric}-{student}-{place}", f"s{student:02}", f"m{metric}", began, began.date(), mean)
                )
    names = ["session", "student", "metric", "started_at", "day", "mean"]
    return pl.DataFrame(rows, schema=names, orient="row").with_columns(
        season=pl.lit("2026"), club_family=pl.lit("iron"), part=pl.lit("baseline"), pace=pl.lit("full"),
        device=pl.lit("mat"), heel_source=pl.lit("none"), coach=pl.lit("c1"), sd=pl.lit(2.0), n=pl.lit(9),
    )  # fmt: skip


def slope(rng, day):
    """An even change, N(0, 6²) over the season."""
    return rng.normal(0, 6) * day / DAYS


def gone_again(rng, day):
    """A change up to MADE, and from then on the start again."""
    return np.where(day < HALF, rng.normal(0, 6) * day / HALF, 0.0)


def form_of_weeks(rng, day):
    """Nobody changes: a form that comes and goes within three weeks or so, of sd 3."""
    steps, value = rng.normal(size=day.size), np.zeros(day.size)
    lasting = np.exp(-np.diff(day, prepend=day[0]) / 21)
    for k in range(day.size):
        value[k] = steps[k] if k == 0 else lasting[k] * value[k - 1] + np.sqrt(1 - lasting[k] ** 2) * steps[k]
    return 3 * value


def scored(frame):
    better = dict.fromkeys(frame["metric"].unique(), "up")
    rows = baseline(frame)
    return scored_claims(rows, fits_before(rows, MADE), MADE, better, NO_BANDS)


def of_kind(rows, kind):
    return audited(line_claims(rows)).row(by_predicate=pl.col("kind") == kind, named=True)


@pytest.fixture(scope="module")
def true_changes():
    return scored(season(1, slope))


def test_where_the_model_is_right_changes_last_and_visits_come_as_foreseen(true_changes):
    change, visit = of_kind(true_changes, CHANGE), of_kind(true_changes, NEXT_VISIT)
    assert change["claims"] > 20
    assert (
        change["borne_out"]
        >= change["expected"] - 2 * np.sqrt(change["expected"] * 0.1)
        > change["by_chance"]
    )
    assert visit["claims"] == 120
    assert visit["expected"] == pytest.approx(0.9 * 120)
    assert abs(visit["borne_out"] - visit["expected"]) <= 3 * np.sqrt(120 * 0.9 * 0.1)


@pytest.mark.parametrize("false_since", [gone_again, form_of_weeks])
def test_claims_that_did_not_last_are_said_not_to_have(false_since):
    change = of_kind(scored(season(2, false_since)), CHANGE)
    assert change["claims"] >= 10
    assert change["expected"] > 0.75 * change["claims"]
    assert change["borne_out"] < (change["expected"] + change["by_chance"]) / 2


def test_where_nobody_changes_half_of_what_is_called_lasts():
    rows = scored(season(3, lambda _, day: 0.0 * day, metrics=5))
    change = audited(line_claims(rows)).filter(kind=CHANGE)
    assert change["claims"].sum() <= 0.03 * len(rows)
    # Too few are called to judge by; whoever's estimate moved at all lies on either side of half-way since.
    assert rows["lasted"].mean() == pytest.approx(0.5, abs=0.08)


def test_a_claim_knows_nothing_of_its_day_and_what_comes_after_it(true_changes):
    frame = season(1, slope)
    later = pl.col("day") >= MADE
    other = frame.with_columns(
        mean=pl.when(later).then(1000 - 3 * pl.col("mean")).otherwise("mean"), sd=pl.when(later).then(50.0).otherwise("sd")
    )  # fmt: skip
    newcomers = other.filter(later).with_columns(student=pl.lit("new-") + pl.col("student"))
    found = scored(pl.concat([other, newcomers]))
    claimed = ["student", "metric", "label", "half_way", "chance", "lo", "hi"]
    assert found.select(claimed).equals(true_changes.select(claimed))
    assert not found["next"].equals(true_changes["next"])


def test_a_change_counts_once_on_the_first_day_it_was_called():
    row = {"season": "2026", "club_family": "iron", "metric": "m", "student": "s1", "chance": 0.9, "lasted": True,
           "foreseen": False}  # fmt: skip
    rows = pl.DataFrame(
        [row | {"label": label, "made": date(2026, month, 1)}
         for month, label in ((5, "not_clear"), (6, "slipping"), (7, "slipping"), (8, "improving"))]
    )  # fmt: skip
    found = audited(line_claims(rows))
    assert found.filter(kind=CHANGE)["made"].to_list() == [date(2026, 6, 1), date(2026, 8, 1)]
    assert found.filter(kind=NEXT_VISIT)["claims"].to_list() == [1, 1, 1, 1]
    assert found.filter(kind=NEXT_VISIT)["borne_out"].sum() == 0


def test_claims_are_those_of_the_last_three_months_with_a_fortnight_since():
    assert days_of_claims(date(2026, 10, 14)) == [date(2026, 7, 1), date(2026, 8, 1), date(2026, 9, 1)]
    assert days_of_claims(date(2026, 10, 15))[-1] == date(2026, 10, 1)
    assert days_of_claims(date(2026, 1, 20)) == [date(2025, 11, 1), date(2025, 12, 1), date(2026, 1, 1)]
    assert [next_first(date(2026, month, 1)) for month in (2, 12)] == [date(2026, 3, 1), date(2027, 1, 1)]
