"""Eye and plate: kappa against another program, and which sessions count as looked at."""

from datetime import date

import numpy as np
import polars as pl
import pytest

from models.season.eye_plate import agreement, cohens_kappa, eye_plate_rows, looked_at


@pytest.mark.parametrize("table", [[[20, 5], [10, 15]], [[3, 0], [2, 40]], [[1, 9], [8, 2]]])
def test_kappa_and_its_error_are_the_librarys(table):
    # statsmodels.stats.inter_rater.cohens_kappa; 20/5/10/15 gives κ = 0.4 (worked example in many texts, from memory).
    rater = pytest.importorskip("statsmodels.stats.inter_rater", reason="statsmodels (test extra)")
    theirs = rater.cohens_kappa(np.array(table))
    kappa, se = cohens_kappa(np.array(table, float))
    assert (kappa, se) == (pytest.approx(theirs.kappa), pytest.approx(theirs.std_kappa))


@pytest.mark.parametrize("table", [[[0, 0], [0, 0]], [[0, 0], [3, 4]], [[5, 0], [0, 0]]])
def test_where_one_side_never_differs_there_is_no_kappa(table):
    assert np.isnan(cohens_kappa(np.array(table, float))).all()


def saw(*rows):
    schema = dict.fromkeys(("session", "coach", "fault"), pl.String)
    return pl.DataFrame(list(rows), schema, orient="row").with_columns(seen=pl.lit(value=True))


def judged(*rows):
    return pl.DataFrame(
        [(*row[:2], 10 if len(row) < 4 else row[3], row[2]) for row in rows],
        schema={"session": pl.String, "fault": pl.String, "usable": pl.Int32, "flagged": pl.Int32}, orient="row",
    ).with_columns(season=pl.lit("spring"), student=pl.lit("s1"), day=pl.lit(date(2026, 4, 1)))  # fmt: skip


def test_a_session_with_a_saw_note_is_looked_at_for_what_the_coach_ever_names():
    looks = looked_at(
        saw(("a", "c1", "sink"), ("b", "c1", "push"), ("d", "c2", "sink")),
        judged(
            ("a", "sink", 2), ("a", "push", 1), ("a", "late", 9), ("b", "sink", 5), ("b", "push", 0),
            ("c", "sink", 9), ("d", "sink", 0), ("d", "push", 9), ("b", "late", 4, 4),
        ),
        saw(),
    )  # fmt: skip
    seen_and_measured = {(r["session"], r["fault"]): (r["seen"], r["measured"]) for r in looks.to_dicts()}
    # c: nobody wrote; late: nobody ever named it; d's push: c2 never names that.
    assert seen_and_measured == {
        ("a", "sink"): (True, True), ("a", "push"): (False, False), ("b", "sink"): (False, True),
        ("b", "push"): (True, False), ("d", "sink"): (True, False),
    }  # fmt: skip


def test_everyone_together_stands_under_no_coach():
    rows = agreement(
        looked_at(
            saw(("a", "c1", "f"), ("b", "c1", "g"), ("b", "c1", "f"), ("d", "c2", "f"), ("e", "c1", "g")),
            judged(("a", "f", 5), ("b", "f", 0), ("d", "f", 5), ("e", "f", 0)),
            saw(),
        )
    ).filter(pl.col("fault") == "f")
    counts = {row["coach"]: row for row in rows.to_dicts()}
    assert {coach: row["n"] for coach, row in counts.items()} == {"c1": 3, "c2": 1, None: 4}
    whole = counts[None]
    assert (whole["seen_and_measured"], whole["seen_only"], whole["measured_only"], whole["neither"]) == (
        2,
        1,
        0,
        1,
    )
    assert whole["agree_pct"] == 75.0
    assert whole["kappa_lo"] < whole["kappa"] < whole["kappa_hi"]
    assert counts["c2"]["kappa"] is None


def test_no_notes_give_no_rows(bench):
    assert eye_plate_rows(bench.writer).is_empty()
