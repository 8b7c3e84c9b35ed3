"""What each drill says of itself: keep, change, stop or try, how sure, and what would settle the open ones."""

import polars as pl
import pytest

from dashboard.pages.drills.verdicts import (
    advice_table,
    advised,
    finding,
    given,
    kept_sentence,
    sentence,
    settled_by,
    settling,
    worked_for,
)

SCHEMA = {
    "kept": pl.Float64,
    "kept_lo": pl.Float64,
    "kept_hi": pl.Float64,
    "minutes": pl.Float64,
    "advice": pl.String,
}


def drill(name, advice, ends=(1.0, 3.0), **more):
    lo, hi = ends or (None, None)
    return {
        "drill": name.lower(), "name": name, "aim": "heel", "aim_name": "Heel", "own": True, "advice": advice,
        "label": {"keep": "helps", "stop": "no_clear_effect"}.get(advice, "no_clear_effect"),
        "kept": None if ends is None else (lo + hi) / 2, "kept_lo": lo, "kept_hi": hi, "swc": 1.0, "unit": "points",
        "places": 1, "times": 44, "minutes": 120.0, "n_students": 12,
    } | more  # fmt: skip


def said(text):
    return text.replace("\u00a0", " ")


@pytest.mark.parametrize(
    ("row", "expected"),
    [
        (drill("A", "keep"), "+2.0 points (90 % between +1.0 and +3.0) kept."),
        (drill("A", "stop", (-0.6, 0.4)), "At most +0.4 points kept: below what matters, 1.0 points."),
        (drill("A", "stop", (-2.6, -1.4)), "At most 0.0 points kept: below what matters, 1.0 points."),
        (drill("A", "stop", (-3.0, -1.0), label="harms"), "−2.0 points (90 % between −3.0 and −1.0) kept."),
        (drill("A", "change", (-0.5, 1.5)), "At most +1.5 points kept, perhaps nothing; 1.0 points would matter."),
        (drill("A", "try", (0.5, 5.5)), "+3.0 points (90 % between +0.5 and +5.5) kept, not sure yet."),
        (drill("A", "try", None), "Too little data to say."),
        (drill("A", "try", label="too_little_data"), "Too little data to say."),
    ],
)  # fmt: skip
def test_how_sure_is_said_with_numbers_and_never_as_no_clear_effect_alone(row, expected):
    assert said(kept_sentence(row)) == expected


def effects(*rows):
    return pl.DataFrame(rows, schema_overrides=SCHEMA, infer_schema_length=None)


def test_drills_to_keep_come_first_the_surest_of_them_and_those_to_try_last():
    rows = effects(
        drill("Tried", "try", (-1.0, 3.0)), drill("Stopped", "stop", (-1.0, 0.5)), drill("Wide", "keep", (1.0, 9.0)),
        drill("Narrow", "keep", (2.0, 3.0)), drill("Changed", "change", (-1.0, 2.0)), drill("Unknown", None, None),
        drill("Beside", "keep", own=False),
    )  # fmt: skip
    assert advised(rows)["name"].to_list() == ["Narrow", "Wide", "Changed", "Stopped", "Tried", "Unknown"]
    assert said(finding(advised(rows))) == (
        "Keep “Narrow” and “Wide”; change “Changed”; stop “Stopped”; go on trying 2 drills"
    )


def test_the_finding_of_drills_that_are_all_to_be_tried_names_none():
    assert said(finding(advised(effects(drill("A", "try"))))) == "Go on trying 1 drill"


def test_open_drills_lead_to_a_draw_with_another_of_their_aim_and_settled_ones_to_none():
    rows = effects(
        drill("A", "try"), drill("B", "keep"), drill("C", "change", aim="toe"), drill("D", "stop", aim="toe")
    )
    found = {row["drill"]: settled_by(row, rows) for row in rows.iter_rows(named=True)}
    assert found == {"a": "underfoot draw a b", "b": "", "c": "underfoot draw c d", "d": ""}
    assert settling(rows) == (
        "A random draw will settle what is still open: underfoot draw a b and underfoot draw c d."
    )


def test_an_open_drill_alone_with_its_aim_asks_for_a_second_one_first():
    rows = effects(drill("A", "try"), drill("B", "keep", aim="toe"))
    assert settling(rows) == (
        "Before chance can decide about “A”, add a second drill for the same aim to drills.csv."
    )
    assert settling(rows.filter(drill="b")) == ""


def test_how_often_and_how_long_it_was_given_is_said_and_unknown_minutes_are_not():
    assert (
        said(given(drill("A", "keep")))
        == "44 times set or practised, 12 students measured before and after, 120 minutes"
    )
    assert (
        said(given(drill("A", "keep", minutes=None)))
        == "44 times set or practised, 12 students measured before and after"
    )


def groups(*rows):
    schema = {"grouping": pl.String, "name": pl.String, "kept_lo": pl.Float64}
    return pl.DataFrame(rows, schema, orient="row")


def test_it_worked_for_the_groups_whose_own_interval_is_above_nothing():
    found = groups(
        ("level", "club", 0.1),
        ("age_band", "under_18", 0.2),
        ("level", "beginner", -0.1),
        ("level", "x", None),
    )
    assert worked_for(found) == "Worked for: Club and Under 18 years."
    assert worked_for(groups()) == ""


def test_a_drill_in_a_line_and_in_a_table_say_the_same():
    row = drill("A", "keep")
    assert said(sentence(row, groups(("level", "club", 0.1)))) == (
        "For “Heel”: +2.0 points (90 % between +1.0 and +3.0) kept. 44 times set or practised, 12 students measured "
        "before and after, 120 minutes. Worked for: Club."
    )
    (cells,) = advice_table(effects(row)).rows()
    assert [said(cell) for cell in cells] == [
        "A", "Keep", "Heel", "+2.0 points (90 % between +1.0 and +3.0) kept.",
        "44 times set or practised, 12 students measured before and after, 120 minutes", "",
    ]  # fmt: skip
