"""The season's error budget: which changes, new faults and outcomes were ever listed, when first, how surely.

A list that is looked through every week finds something sooner or later, also where nothing changed. So
whatever the pages list in a season comes out of one budget: each week the rows that were never listed before
are taken, surest first, while the sum of 1 − P at first listing stays within 5 % of all that was listed.
"""

import polars as pl

from warehouse.vocabulary import IMPROVING, NEW_FAULT, SLIPPING, Outcome

LEAST_SURE = 0.80
MOST_WRONG = 0.05  # share of a season's listed rows
CREDIT = 0.15  # of a row, so that a first row can be listed before there are twenty
KEY = ["kind", "student", "subject", "club_family"]
SCHEMA = {**dict.fromkeys(KEY, pl.String), "day": pl.Date, "p": pl.Float64}


def claims(
    change_chance: pl.DataFrame, new_fault_chance: pl.DataFrame, outcome_chance: pl.DataFrame
) -> pl.DataFrame:
    """KEY, day and p of everything that could be listed, in one season, as known on each measured day."""
    parts = [
        rows.select(
            kind=pl.lit(kind), student="student", subject=subject, club_family="club_family", day="day", p=p
        )
        for rows, kind, subject, p in (
            (change_chance, IMPROVING, "metric", "p_improved"),
            (change_chance, SLIPPING, "metric", "p_slipped"),
            (new_fault_chance, NEW_FAULT, "fault", "p"),
            *(
                (outcome_chance.filter(outcome=outcome), f"{outcome} {label}", "metric", p)
                for outcome in Outcome
                for label, p in ((IMPROVING, "p_better"), (SLIPPING, "p_worse"))
            ),
        )
    ]
    return pl.concat([pl.DataFrame(schema=SCHEMA), *parts])


def listed(claims: pl.DataFrame) -> pl.DataFrame:
    """KEY, the Monday of the week of first listing, and p then; from `claims` of one season.

    A student who was measured twice in a week counts as known on the later day.
    """
    looks = (
        claims.sort("day")
        .group_by(*KEY, pl.col("day").dt.truncate("1w").alias("week"), maintain_order=True).last()
        .filter(pl.col("p") >= LEAST_SURE)
        .sort("week", "p", *KEY, descending=[False, True, False, False, False, False])
        .select(*KEY, "week", "p")
    )  # fmt: skip
    known: set[tuple[str, ...]] = set()
    rows: list[tuple[object, ...]] = []
    spent, closed = 0.0, None
    for *key, monday, p in looks.iter_rows():
        if (name := tuple(key)) in known or monday == closed:
            continue
        if spent + 1 - p > MOST_WRONG * (len(rows) + 1) + CREDIT:
            closed = monday  # the rest of the week's are less sure still
            continue
        known.add(name)
        rows.append((*key, monday, p))
        spent += 1 - p
    schema = {**dict.fromkeys(KEY, pl.String), "since": pl.Date, "p_then": pl.Float64}
    return pl.DataFrame(rows, schema, orient="row")
