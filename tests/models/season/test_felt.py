"""What was felt against what was measured: which swings a note is about, and how agreement is counted."""

from datetime import date, timedelta

import numpy as np
import polars as pl
import pytest

import builders
from models.season.felt import agreement, felt_rows
from warehouse.store import writer
from warehouse.tables import columns

DAY = date(2026, 4, 7)
SWINGS = (  # number, part, drill, flagged for lead_heel_heavy
    (1, "baseline", None, True), (2, "baseline", None, True), (3, "baseline", None, False),
    (4, "after_drill", "d1", False), (5, "after_drill", "d1", False), (6, "after_drill", "d1", True),
    (7, "after_drill", "d2", None),
)  # fmt: skip


def note(name, *, swing_no=None, drill=None, session=None, yes=1, code="lead_heel_light", day=DAY):
    return builders.note_frame(
        name, "s1", shared=True, kind="felt", code=code, grade=yes, day=day.isoformat(), at=f"{day} 16:00:00"
    ).with_columns(
        session=pl.lit(session, pl.String),
        swing_no=pl.lit(swing_no, pl.Int32),
        drill=pl.lit(drill, pl.String),
    )


@pytest.fixture
def felt(tmp_path):
    def of(*notes, faults=("lead_heel_heavy",)):
        home = builders.make_home(tmp_path / "academy")
        with writer(home) as w:
            w.append(
                "academy.session", builders.session_frame("v1", "s1", season="spring", day=DAY.isoformat())
            )
            none = pl.Series([[]] * len(SWINGS), dtype=pl.List(pl.String))
            counts = pl.Series([[]] * len(SWINGS), dtype=pl.List(pl.Int32))
            key = {"session": ["v1"] * len(SWINGS), "swing_no": [row[0] for row in SWINGS]}
            w.append(
                "academy.swing",
                pl.DataFrame(
                    key | {"part": [row[1] for row in SWINGS], "drill": [row[2] for row in SWINGS]}
                ).with_columns(
                    club_family=pl.lit("iron"), pace=pl.lit("full"), usable=pl.lit(value=True), n_samples=pl.lit(9),
                    heel_source=pl.lit("none"), flags=none, flag_counts=counts, file_flags=none,
                    file_flag_counts=counts,
                ),
            )  # fmt: skip
            for fault in faults:
                judged = pl.DataFrame(key | {"student": "s1", "flagged": [row[3] for row in SWINGS]})
                w.append(
                    "academy.swing_fault", judged.with_columns(fault=pl.lit(fault), rule_version=pl.lit("1"))
                )
            for one in notes:
                w.append("academy.note", one)
            w.execute("CREATE TEMP TABLE touched AS SELECT 's1' AS student")
            return {row["note"]: row for row in felt_rows(w)[0].to_dicts()}

    return of


def test_a_note_is_about_its_swing_or_its_drills_swings_or_the_whole_session(felt):
    found = felt(
        note("swing", session="v1", swing_no=2), note("clean", session="v1", swing_no=3, yes=0),
        note("drill", drill="d1"), note("day"), note("unjudged", drill="d2"), note("never", drill="d9"),
        note("elsewhere", day=DAY + timedelta(days=1)),
    )  # fmt: skip
    told = {
        name: (row["felt"], row["measured"], row["judged"], row["against"]) for name, row in found.items()
    }
    assert told == {
        "swing": (True, False, 1, 1), "clean": (False, True, 1, 0), "drill": (True, True, 3, 1),
        "day": (True, False, 6, 3), "unjudged": (True, None, 0, 0), "never": (True, None, 0, 0),
        "elsewhere": (True, None, 0, 0),
    }  # fmt: skip
    assert found["day"]["session"] == "v1"
    assert found["elsewhere"]["session"] is None


def test_a_feeling_of_two_faults_needs_both_judged_unless_one_shows(felt):
    found = felt(note("middle", code="weight_mid_foot"), faults=("heels_at_address",))
    assert (found["middle"]["judged"], found["middle"]["against"]) == (3, 3)  # toes was never judged


def rows(*pairs, start=DAY):
    """(felt, measured) by day, one a week."""
    known = [
        (
            f"n{k:02}",
            "s1",
            "spring",
            "v",
            start + timedelta(weeks=k),
            "lead_heel_light",
            None,
            None,
            f,
            m,
            3,
            0,
        )
        for k, (f, m) in enumerate(pairs)
    ]
    return pl.DataFrame(known, columns("season.felt"), orient="row")


def test_agreement_is_counted_with_what_was_felt_alone_and_measured_alone():
    found = agreement(rows((True, True), (True, False), (False, True), (False, False), (True, None)))
    season = found.filter(span="season").to_dicts()[0]
    assert [season[name] for name in ("n", "agreed", "felt_only", "measured_only")] == [4, 2, 1, 1]
    assert season["rate_lo"] < 0.5 < season["rate_hi"]
    assert season["label"] == "too_few"


def test_a_player_who_learns_to_feel_it_is_better_and_one_who_guesses_is_not_called_so():
    learns = agreement(rows(*[(True, False)] * 12, *[(True, True)] * 12)).filter(span="now").to_dicts()[0]
    assert learns["label"] == "better"
    assert learns["p_higher"] > 0.95
    rng, called = np.random.default_rng(5), 0
    for _ in range(60):
        guessed = agreement(rows(*((bool(f), bool(m)) for f, m in rng.integers(0, 2, (20, 2)))))
        called += guessed["label"][0] in {"better", "worse"}
    assert called <= 12  # a tenth, either way, is what chance alone would do


def test_no_notes_are_no_agreement():
    assert agreement(rows()).is_empty()
