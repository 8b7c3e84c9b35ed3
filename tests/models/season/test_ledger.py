"""The season's error budget: what is listed, when first, and in academies of known truth how often wrongly."""

from datetime import date, timedelta

import numpy as np
import polars as pl

from models.season.cells import baseline
from models.season.judgement import Bands
from models.season.ledger import CREDIT, LEAST_SURE, MOST_WRONG, SCHEMA, claims, listed
from models.season.trend import fit_season, student_lines
from warehouse.tables import columns

FIRST = date(2026, 4, 6)  # a Monday


def made(*rows):
    """Claims from (student, day after the first Monday, p)."""
    return pl.DataFrame(
        [("improving", student, "m", "iron", FIRST + timedelta(days=day), p) for student, day, p in rows],
        SCHEMA, orient="row",
    )  # fmt: skip


def test_the_surest_come_first_and_what_they_may_be_wrong_adds_up_within_the_budget():
    rows = listed(made(*((f"s{i:02d}", 7 * (i % 4), 0.8 + i / 250) for i in range(50))))
    assert 0 < len(rows) < 50
    assert rows["p_then"].min() >= LEAST_SURE
    # At every row the sum so far is within 5 % of the rows so far and the credit.
    spent = (1 - rows["p_then"]).cum_sum().to_list()
    assert all(s <= MOST_WRONG * n + CREDIT + 1e-9 for n, s in enumerate(spent, start=1))
    for _, week in rows.group_by("since", maintain_order=True):
        assert week["p_then"].is_sorted(descending=True)


def test_a_row_is_listed_once_and_keeps_the_week_it_came_in():
    rows = listed(made(("a", 0, 0.99), ("a", 14, 0.999), ("b", 9, 0.97)))
    assert rows.select("student", "since", "p_then").rows() == [
        ("a", FIRST, 0.99), ("b", FIRST + timedelta(days=7), 0.97),
    ]  # fmt: skip


def test_of_two_days_in_one_week_the_later_counts():
    assert listed(made(("a", 0, 0.99), ("a", 3, 0.6))).is_empty()
    assert listed(made(("a", 0, 0.6), ("a", 3, 0.99)))["since"].to_list() == [FIRST]


def test_nothing_comes_of_nothing():
    assert listed(pl.DataFrame(schema=SCHEMA)).is_empty()


def season(simulate, rng, per_month):
    """Everything ever listed in a season of 40 students and 4 metrics, `per_month` (i, m) → true slope."""
    parts = [
        simulate(rng, f"s{i}", metric=f"m{m}", start=rng.normal(60, 5), per_month=per_month(i, m))[0]
        for m in range(4) for i in range(40)
    ]  # fmt: skip
    rows = baseline(pl.concat(parts))
    better = {f"m{m}": "up" for m in range(4)}
    found = student_lines(rows, fit_season(rows), better, Bands(pl.DataFrame(), {}, {})).chance
    faults, outcomes = (
        pl.DataFrame(schema=columns(f"season.{name}")) for name in ("new_fault_chance", "outcome_chance")
    )
    return listed(claims(found, faults, outcomes))


def test_where_nobody_changes_next_to_nothing_is_listed_in_a_whole_season(simulate):
    rng = np.random.default_rng(8)
    assert sum(len(season(simulate, rng, lambda _i, _m: 0.0)) for _ in range(3)) <= 1


def test_where_some_change_they_are_listed_and_few_others(simulate):
    rng = np.random.default_rng(9)
    rows = season(simulate, rng, lambda i, m: 2.5 if (i + m) % 3 == 0 else 0.0)
    true = [
        (int(student[1:]) + int(metric[1:])) % 3 == 0
        for student, metric in rows.select("student", "subject").iter_rows()
    ]
    assert sum(true) >= 15
    assert true.count(False) <= 0.15 * len(true)
    assert set(rows.filter(pl.Series(true))["kind"]) == {"improving"}
