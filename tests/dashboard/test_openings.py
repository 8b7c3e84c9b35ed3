"""What a page opens on: how sure in a few plain sentences, and the measure that most students are outside."""

import json

import polars as pl
import pytest
from streamlit.testing.v1 import AppTest

from dashboard import layout, tables
from dashboard.pages.students.content import most_outside
from dashboard.pages.trust.content import claims_since, in_short, session_worth
from dashboard.pages.week.content import review
from dashboard.student_season import ladder

TRAIL, HEEL = "mid_back_trail_share_pct", "impact_trail_heel_pct_bw"


def test_how_sure_opens_with_plain_sentences_and_counts_the_goals_that_were_met(changed):
    reader = changed("sure", "UPDATE season.calibration SET met = false")
    said = in_short(reader, "2026")
    assert 3 <= len(said) <= 6
    assert said[0] == "Irons: one session tells students apart well on 1 of 2 measures."
    assert said[1].startswith("Ask for 8 to 10 full swings with each club.")
    assert said[2].startswith("Where the truth was known, in simulated academies, 0 of ")
    assert all(sentence.endswith(".") for sentence in said)


def test_how_sure_says_how_often_an_agreed_aim_seems_to_show_and_how_often_it_does(changed):
    claim = "INSERT INTO season.calibration (claim, truth, students, figure, n_academies) VALUES ('{}', 'aims', 40, {}, 80)"
    shown = ("aim_reached_of_no_change", 0.05), ("aim_of_4_reached", 0.7)
    reader = changed("sure_aims", *(claim.format(*one) for one in shown))
    (said,) = [sentence for sentence in in_short(reader, "2026") if "agreed aims" in sentence]
    assert said.replace("\u00a0", " ") == (
        "Of agreed aims where nothing changed, 5 % were reported to show a change there; of those that changed by 4 smallest "
        "worthwhile changes, 70 %."
    )


def test_how_sure_says_the_worst_of_the_weeks_list_also_of_what_is_new_on_it(changed):
    new = "('new_rows_wrong', 'unequal_noise_six', 40, 0.31, 260)"
    reader = changed(
        "sure_week",
        f"INSERT INTO season.calibration (claim, truth, students, figure, n_academies) VALUES {new}",
    )
    said = [sentence.replace("\u00a0", " ") for sentence in in_short(reader, "2026")]
    assert "Of the changes on the week's list, at most 31 % were wrong there." in said


def test_what_rests_on_other_academies_is_said_and_nothing_where_nothing_does(changed):
    lent = "UPDATE season.reliability SET lenders = 3 WHERE metric = (SELECT min(metric) FROM season.reliability)"
    said = [
        [
            text.replace("\u00a0", " ")
            for text in session_worth(reader, "2026", "iron", narrow=False).sentences
        ]
        for reader in (
            changed("lent", lent),
            changed("unlent", "UPDATE season.reliability SET lenders = NULL"),
        )
    ]
    assert said[0][1:] == [
        "1 measure: fewer than five students here, so how much players differ is borrowed from 3 other academies."
    ]
    assert said[1] == said[0][:1]


@pytest.mark.parametrize(
    ("called", "lasted", "said"),
    [
        (23, 21, ("Of 23 changes that were called Improving or Slipping by 1 March 2026, 21 have lasted. If the calls are "
                 "right, about 20 should have; if nothing had changed, about 12 would have.")),
        (23, 13, ("13 have lasted. If the calls are right, about 20 should have; if nothing had changed, about 12 would have. That is "
                 "hardly better than chance: where a page says Improving or Slipping, measure again before you act on it.")),
        (9, 9, "Too soon to say whether changes that were called Improving or Slipping last: 9 changes so far, and it takes 10."),
    ],
)  # fmt: skip
def test_how_sure_says_how_many_claims_lasted_and_how_many_should_have(changed, called, lasted, said):
    reader = changed(
        f"scored_{called}_{lasted}",
        f"UPDATE season.self_audit SET claims = {called}, borne_out = {lasted} WHERE kind = 'change'",
    )
    found = claims_since(reader, "2026")
    first, second, _ = (sentence.replace("\u00a0", " ") for sentence in found.sentences)
    assert first.endswith(said)
    assert second == (
        "Of 240 values measured on a student's next visit, 214 fell inside the 90 % interval predicted for it; about 216 should have."
    )
    assert first in [sentence.replace("\u00a0", " ") for sentence in in_short(reader, "2026")]


def test_intervals_that_hold_too_seldom_are_said_to_be_too_narrow(changed):
    reader = changed("narrow", "UPDATE season.self_audit SET borne_out = 200 WHERE kind = 'next_visit'")
    assert claims_since(reader, "2026").sentences[1].endswith("a change is less sure than the pages say.")


@pytest.mark.parametrize(
    ("kind", "held", "said"),
    [
        ("new_fault", 11, ("Of 12 faults listed as new, 11 have stayed. If the list is right, about 10 should have; if nothing "
                          "had changed, about 3 would have.")),
        ("new_fault", 5, "That is hardly better than chance: measure again before you act on one of these."),
        ("drill_helps", 9, ("Of 12 drills called Helps, 9 kept about as much with the students given them later. If the calls are "
                           "right, about 10 should have; if they did nothing, about 3 would have.")),
        ("drill_not_clear", 2, ("Of 12 drills called No clear effect, 2 stayed inside the interval claimed with the students "
                               "given them later; about 10 should have.")),
        ("aim_reached", 12, ("Of 12 agreed aims that were said to show, 12 have lasted. If that was right, about 10 should have; "
                            "if nothing had changed, about 3 would have.")),
    ],
)  # fmt: skip
def test_each_kind_of_claim_is_scored_in_a_sentence_of_its_own(changed, kind, held, said):
    chance = "NULL" if kind == "drill_not_clear" else "3"
    reader = changed(
        f"scored_{kind}_{held}",
        f"INSERT INTO season.self_audit VALUES ('2026', '2026-03-01', '{kind}', 12, {held}, 10.2, {chance})",
    )
    third = claims_since(reader, "2026").sentences[2].replace("\u00a0", " ")
    assert third.endswith(said)


def test_kinds_of_which_too_few_were_claimed_are_named_as_too_few_to_score(changed):
    reader = changed(
        "few_scored",
        "INSERT INTO season.self_audit VALUES ('2026', '2026-03-01', 'drill_helps', 3, 3, 2.6, 0.9)",
        "INSERT INTO season.self_audit VALUES ('2026', '2026-03-01', 'new_fault', 10, 9, 8.8, 0.9)",
    )
    last = claims_since(reader, "2026").sentences[-1].replace("\u00a0", " ")
    assert last == (
        "Too few to score yet: drill that helps (3), drill without a clear effect (0) and agreed aim that shows (0). "
        "It takes 10 of a kind."
    )


def test_what_is_not_known_yet_is_left_out(changed):
    reader = changed(
        "unsure",
        "DELETE FROM season.reliability",
        "DELETE FROM season.calibration",
        "DELETE FROM season.self_audit",
        "DELETE FROM season.eye_plate",
    )
    assert in_short(reader, "2026") == []


@pytest.mark.parametrize(
    ("now", "most"), [({TRAIL: (60, 80, 70), HEEL: (20, 5, 5)}, TRAIL), ({TRAIL: (70, 80, 70), HEEL: (20, 12, 5)}, HEEL),
                      ({TRAIL: (70, 70, 70), HEEL: (5, 5, 5)}, None)],
)  # fmt: skip
def test_students_opens_on_the_measure_that_most_are_outside_and_on_none_where_nobody_is(changed, now, most):
    rows = [
        "INSERT INTO season.student_trend (season, student, metric, club_family, n_sessions, start_value, value_now, label) "
        f"VALUES ('2026', 's0{k}', '{metric}', 'iron', 6, 0, {value}, 'holding')"
        for metric, values in now.items()
        for k, value in enumerate(values, 1)
    ]
    reader = changed(
        f"outside_{most}_{now[HEEL][1]}", "DELETE FROM season.student_trend", "DELETE FROM academy.band",
        "UPDATE academy.person SET level = 'club' WHERE role = 'student'",
        f"INSERT INTO academy.band (metric, club_family, lo, hi, version) VALUES ('{TRAIL}', 'iron', 65, 75, 'v'), ('{HEEL}', 'iron', NULL, 10, 'v')",
        *rows,
    )  # fmt: skip
    assert most_outside(reader, "2026", "iron") == most


def shown(fault, position, now, before, label="not_clear", sessions=(2, 6)):
    """Rows of a fault's rate now and before."""
    return [
        {
            "fault": fault, "position": position, "span": span, "flagged": round(20 * rate), "usable": 20,
            "rate": rate, "rate_lo": max(0.0, rate - 0.1), "rate_hi": rate + 0.1, "label": label, "n_sessions": n,
        }
        for span, rate, n in (("now", now, sessions[0]), ("before", before, sessions[1]))
    ]  # fmt: skip


def ladder_of(*faults):
    drawn = ladder(pl.DataFrame([row for rows in faults for row in rows]), narrow=False)
    sort = drawn.chart.to_dict()["layer"][3]["encoding"]["y"]["sort"]
    return sort, drawn.key, drawn.rows["Fault"].to_list()


def test_a_fault_never_or_hardly_ever_seen_has_no_line_of_its_own_but_stays_in_the_table():
    drawn, key, table = ladder_of(
        shown("Never one", 0, 0.0, 0.0), shown("Never two", 1, 0.0, 0.0), shown("Hardly", 2, 0.05, 0.05),
        shown("Often now", 3, 0.1, 0.0), shown("Often before", 4, 0.0, 0.1),
        shown("Hardly, and better", 5, 0.0, 0.05, "better"),
    )  # fmt: skip
    assert drawn == ["Often now", "Often before", "Hardly, and better"]
    assert key.endswith(
        " Never seen in 8\u00a0sessions: 2\u00a0faults, listed in the table."
        " In fewer than one swing in ten, without a clear change: 1\u00a0fault, listed in the table."
    )
    assert table == ["Never one", "Never two", "Hardly", "Often now", "Often before", "Hardly, and better"]


def test_where_every_fault_is_worth_a_line_nothing_is_said_of_others():
    drawn, key, __ = ladder_of(shown("Often", 0, 0.5, 0.6))
    assert drawn == ["Often"]
    assert key.endswith("(9 in 10).")


def test_where_no_fault_is_worth_a_line_all_are_drawn():
    assert ladder_of(shown("Never", 0, 0.0, 0.0), shown("Hardly", 1, 0.05, 0.0))[0] == ["Never", "Hardly"]


def test_each_panel_of_students_opens_its_students_page_as_whoever_is_looking(visit):
    at = visit("full", "students", "h01", language="en")
    (drawn,) = at.get("vega_lite_chart")
    rows = pl.read_ipc_stream(drawn.proto.datasets[0].data.data)
    assert rows["page"].unique().sort().to_list() == [
        f"student?as=h01&student={s}" for s in ("s01", "s02", "s03")
    ]


@pytest.mark.parametrize(
    ("born", "first", "second"),
    [("1980-05-03", "Sanna Test (born 2012)", "Sanna Test (born 1980)"), ("2012-11-30", "Sanna Test (s01)", "Sanna Test (s02)"),
     (None, "Sanna Test (born 2012)", "Sanna Test (s02)")],
)  # fmt: skip
def test_two_students_of_one_name_have_a_panel_each_that_opens_their_own_page(
    changed, visit, born, first, second
):
    day = f"DATE '{born}'" if born else "NULL"
    reader = changed(
        f"namesakes_{born}",
        f"UPDATE academy.person SET display_name = 'Sanna Test', born = {day} WHERE person = 's02'",
    )
    at = visit(f"test_openings_namesakes_{born}", "students", "h01", language="en")
    (drawn,) = at.get("vega_lite_chart")
    rows = pl.read_ipc_stream(drawn.proto.datasets[0].data.data)
    panels = dict(rows.select(pl.col("page").str.split("=").list.last(), "panel").unique().iter_rows())
    assert {code: panel.split("  ")[0] for code, panel in panels.items()} == {
        "s01": first, "s02": second, "s03": "Sina Einmal",
    }  # fmt: skip
    (search,) = [box for box in at.selectbox if box.label == "Find a student"]
    assert search.options == [first, second, "Sina Einmal"]
    listed = {entry.student: entry.name for entry in review(reader).entries if entry.student}
    assert listed == {"s01": first, "s02": second, "s03": "Sina Einmal"}


def test_a_student_is_found_by_a_part_of_the_name_and_opened_from_there(visit):
    at = visit("full", "students", "h01")
    (search,) = [box for box in at.selectbox if box.label == "Find a student"]
    assert search.value is None
    assert not [link for link in at.get("page_link") if "page →" in link.proto.label]
    search.select("s02").run()
    (link,) = [link for link in at.get("page_link") if "page →" in link.proto.label]
    assert link.proto.query_string == "student=s02"


def one_table(table):
    """A page with a table and nothing else."""
    from dashboard import layout  # noqa: PLC0415 - it is run as a script of its own

    layout.table(table)


@pytest.mark.parametrize(
    ("rows", "columns", "lines", "grids"), [(4, 5, 4, 0), (14, 5, 10, 1), (14, 12, 0, 1), (4, 2, 0, 1)]
)
def test_a_phone_shows_a_tables_first_rows_as_a_list_and_wide_ones_as_a_grid(
    monkeypatch, rows, columns, lines, grids
):
    monkeypatch.setattr(layout, "narrow", lambda: True)
    table = pl.DataFrame(
        {f"Column {k}": [f"cell {k} of {row}" for row in range(rows)] for k in range(columns)}
    )
    at = AppTest.from_function(one_table, kwargs={"table": table}).run()
    assert not at.exception
    said = [text.value for text in at.markdown]
    assert sum(text.count("- **") for text in said) == lines
    assert len(at.dataframe) == grids
    assert [box.label for box in at.expander] == (["All 14 rows"] if lines and grids else [])
    if grids:
        pinned = json.loads(at.dataframe[0].proto.columns)
        assert [name for name, column in pinned.items() if column.get("pinned")] == ["Column 0"]


def test_long_cells_stand_in_rows_tall_enough_for_streamlit_to_break_them():
    assert tables.TWO_LINES > 4 * 16  # its grid breaks text from rows of over 4 rem
