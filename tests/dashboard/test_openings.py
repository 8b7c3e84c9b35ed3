"""What a page opens on: how sure in a few plain sentences, and the measure that most students are outside."""

import pytest

from dashboard.pages.students.content import most_outside
from dashboard.pages.trust.content import in_short
from warehouse.store import writer

TRAIL, HEEL = "mid_back_trail_share_pct", "impact_trail_heel_pct_bw"


@pytest.fixture
def changed(homes, reader_of):
    def make(name, *statements):
        with writer(homes(name)) as w:
            for statement in statements:
                w.execute(statement)
            w.publish()
        return reader_of(name, "h01")

    return make


def test_how_sure_opens_with_plain_sentences_and_counts_the_goals_that_were_met(changed):
    reader = changed("sure", "UPDATE season.calibration SET met = false")
    said = in_short(reader, "2026")
    assert 3 <= len(said) <= 5
    assert said[0] == "Irons: one session tells students apart well on 1 of 2 measures."
    assert said[1].startswith("Ask for 8 to 10 swings with each club.")
    assert said[2].startswith("Where the truth was known, in simulated academies, 0 of ")
    assert all(sentence.endswith(".") for sentence in said)


def test_how_sure_says_how_often_an_agreed_aim_seems_to_show_and_how_often_it_does(changed):
    claim = "INSERT INTO season.calibration (claim, truth, students, figure, n_academies) VALUES ('{}', 'aims', 40, {}, 80)"
    shown = ("aim_reached_of_no_change", 0.05), ("aim_of_4_reached", 0.7)
    reader = changed("sure_aims", *(claim.format(*one) for one in shown))
    (said,) = [sentence for sentence in in_short(reader, "2026") if "agreed aims" in sentence]
    assert said.replace("\u00a0", " ") == (
        "Of agreed aims in which nothing changed, 5 % were said to show there; of those that changed by 4 smallest "
        "worthwhile changes, 70 %."
    )


def test_what_is_not_known_yet_is_left_out(changed):
    reader = changed(
        "unsure",
        "DELETE FROM season.reliability",
        "DELETE FROM season.calibration",
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
