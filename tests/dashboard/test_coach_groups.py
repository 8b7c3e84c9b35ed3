"""Groups of the coaches: each student counted once, under the coach of today, and nobody ranked."""

import pytest

from dashboard.pages.coaches import groups
from warehouse.store import writer

LABELS = {
    "s01": ("improving", "slipping"), "s02": ("improving", "not_clear"), "s03": ("not_clear", "holding"),
}  # fmt: skip


@pytest.fixture
def planted(homes, reader_of):
    """s01 and s02 are coached by c02, s03 by c01; s01 slips and gains, s02 gains, s03 neither."""
    with writer(homes("groups")) as w:
        w.execute("DELETE FROM season.student_trend")
        w.execute("DELETE FROM academy.coaching")
        for student, labels in LABELS.items():
            coach = "c01" if student == "s03" else "c02"
            w.execute(
                f"INSERT INTO academy.coaching VALUES ('{student}', '{coach}', DATE '2026-01-01', NULL)"
            )
            for metric, label in zip(
                ("mid_back_trail_share_pct", "impact_trail_heel_pct_bw"), labels, strict=True
            ):
                w.execute(
                    "INSERT INTO season.student_trend (season, student, metric, club_family, n_sessions, label) "
                    f"VALUES ('2026', '{student}', '{metric}', 'iron', 6, '{label}')"
                )
        w.execute("UPDATE academy.session SET day = day - 60 WHERE student = 's02'")
        w.publish()
    return groups.rows(reader_of("groups", "h01"), "2026")


def test_each_student_counts_once_and_slipping_goes_before_gaining(planted):
    found = {row["name"]: row for row in planted.iter_rows(named=True)}
    numbers = ("students", "better", "steady", "worse", "unseen", "in_pain")
    assert [found["Cato Brandt"][name] for name in numbers] == [2, 1, 0, 1, 1, 1]
    assert [found["Caro Lindt"][name] for name in numbers][:4] == [1, 0, 1, 0]
    assert found["Caro Lindt"]["in_pain"] == 0


def test_groups_are_in_order_of_name_whoever_does_better(planted):
    assert planted["name"].to_list() == ["Caro Lindt", "Cato Brandt"]


def test_the_headline_counts_everyone_and_says_what_wants_looking_after(planted):
    said = groups.headline(planted).replace("\u00a0", " ")
    assert said.startswith("3 students this season: 1 better, 1 steady, 1 worse. ")
    assert said.endswith("1 has an open discomfort.")
    quiet = planted.filter(name="Caro Lindt").with_columns(unseen=0, in_pain=0)
    assert groups.headline(quiet).replace("\u00a0", " ") == (
        "1 student this season: 0 better, 1 steady, 0 worse."
    )


def test_who_has_no_label_yet_is_neither_better_nor_worse_but_not_measured(planted):
    unknown = planted.filter(name="Caro Lindt").with_columns(steady=0, unseen=2, in_pain=2, students=3)
    assert groups.headline(unknown).replace("\u00a0", " ") == (
        "3 students this season: 0 better, 0 steady, 0 worse. 3 are not measured yet. "
        "2 have not been seen for six weeks. 2 have an open discomfort."
    )


def test_a_coach_sees_their_own_group_alone(planted, reader_of):
    assert len(planted) == 2
    own = groups.rows(reader_of("groups", "c02"), "2026")
    assert own["name"].to_list() == ["Cato Brandt"]
