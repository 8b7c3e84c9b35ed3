"""Which drill comes first: what helps before what may, that before what is unknown; its dose, and the next aim."""

import pytest

from changed_academies import changed
from dashboard.aim import aim_of
from dashboard.drill_choice import DrillChoice, above, evidence, order
from dashboard.queries import lesson, people
from dashboard.safety import body_of
from dashboard.student_season import StudentSeason
from dashboard.text.advice import ADVICE


def row(name, label=None, kept=None, swc=1.0, drill="d", **more):
    return {
        "drill": drill,
        "name": name,
        "label": label,
        "kept": kept,
        "swc": swc,
        "unit": "points",
        "n_doses": 43,
    } | more


HELPS_LITTLE = row("helps little", "helps", 1.0)
HELPS_MUCH = row("helps much", "helps", 2.0)
HELPS_MUCH_OF_A_LARGE_UNIT = row("large unit", "helps", 30.0, swc=20.0)
HELPS_THOSE_ALIKE = row("those alike", "helps", 1.1, kept_alike=3.0, alike="club")
HELPS_OTHERS = row("others", "helps", 9.0, kept_alike=0.5, alike="club")
MAY_HELP = row("may help", "no_clear_effect", 5.0)
UNKNOWN = row("unknown")
TOO_LITTLE = row("too little", "too_little_data")
USUAL = row("", drill=None)
SEEMS_TO_LOSE = row("seems to lose", "no_clear_effect", -0.2)
IN_ORDER = [
    HELPS_THOSE_ALIKE, HELPS_MUCH, HELPS_MUCH_OF_A_LARGE_UNIT, HELPS_LITTLE, HELPS_OTHERS, MAY_HELP, TOO_LITTLE, UNKNOWN,
    USUAL, SEEMS_TO_LOSE,
]  # fmt: skip


def test_what_helps_students_like_this_one_comes_first_and_what_seems_to_lose_last():
    assert [one["name"] for one in sorted(IN_ORDER, key=order)] == [one["name"] for one in IN_ORDER]


def test_what_is_known_of_a_drill_is_said_with_its_doubt_and_for_whom():
    assert evidence(UNKNOWN, None) == evidence(TOO_LITTLE, None) == "Common choice, no evidence yet."
    assert evidence(MAY_HELP | {"kept_lo": -1.0, "kept_hi": 11.0}, None) == (
        "Common choice, not proven: kept between −1.0 and +11.0\u00a0points so far (43\u00a0doses)."
    )
    assert evidence(HELPS_THOSE_ALIKE | {"n_students": 12}, None) == (
        "Helps: kept +1.1\u00a0points (12\u00a0students). With students like this one (club): +3.0\u00a0points."
    )


def test_the_next_pace_is_the_one_above_what_holds():
    assert [above(holds) for holds in (None, "slow", "half", "full")] == ["slow", "half", "full", "full"]


@pytest.fixture
def choice_of(homes, reader_of):
    def make(kind, *statements):
        changed(homes, kind, *statements)
        reader = reader_of(kind, "h01")
        chosen = StudentSeason(reader, people.student(reader, "s01"), "2026", "iron")
        return DrillChoice(chosen, aim_of(chosen), body_of(reader, chosen.person)), lesson.doses(
            reader, "s01"
        )

    return make


LADDER = (
    "DELETE FROM season.pace_ladder",
    ("INSERT INTO season.pace_ladder (season, student, fault, club_family, pace, flagged, usable, holds_at, "
    "clean_swings_wanted, n_sessions) VALUES ('2026', 's01', 'trail_heel_down', 'iron', 'slow', 0, 9, {holds}, 8, 2)"),
)  # fmt: skip


@pytest.mark.parametrize(
    ("kind", "holds", "said"),
    [
        ("holds_not", "NULL", "20 times, at a slow pace; then measure 8 swings at a slow pace."),
        ("holds_half", "'half'", "20 times, at full pace; then measure 8 swings at full pace."),
    ],
)
def test_a_drill_is_done_as_often_as_it_was_set_at_the_pace_above_what_holds(choice_of, kind, holds, said):
    choice, doses = choice_of(kind, LADDER[0], LADDER[1].format(holds=holds))
    assert choice.dose(choice.first, doses).sentence.replace("\u00a0", " ") == said


SWUNG = (
    'INSERT INTO academy.drill_dose (note, student, drill, "at", day, kind, place, dose, unit, pace) '
    "VALUES ('n4', 's01', 'd01', '2026-03-24', '2026-03-24', 'practice', 'home', {n}, 'reps', 'full')"
)


@pytest.mark.parametrize(
    ("swung", "holds", "said"),
    [
        (85, "half", "7 times, at full pace; then measure 8 swings at full pace."),
        (95, "half", "10 times, at a slow pace; then measure 5 swings at full pace."),
        (100, "half", "10 times, at a slow pace; the limit leaves no full swing to measure."),
        (100, "slow", "20 times, at half pace; then measure 8 swings at half pace."),
    ],
)
def test_a_growing_player_is_given_no_more_full_swings_than_the_limit_leaves(choice_of, swung, holds, said):
    choice, doses = choice_of(
        f"swung-{swung}-{holds}", LADDER[0], LADDER[1].format(holds=f"'{holds}'"), SWUNG.format(n=swung)
    )
    assert choice.dose(choice.first, doses).sentence.replace("\u00a0", " ") == said


def test_a_fault_without_a_drill_on_the_roster_has_what_is_usually_done_about_it(choice_of):
    choice, doses = choice_of(
        "no_roster", "DELETE FROM academy.drill", "UPDATE season.student_fault_rate SET rate = 0.4"
    )
    assert [offer.exercise.how for offer in choice.offers] == [ADVICE["trail_heel_down"]["drill"]]
    assert choice.first.evidence == "Common choice, no evidence yet."
    assert choice.dose(choice.first, doses).sentence == (
        "10\u00a0times, slowly; then measure 5\u00a0swings at a slow pace."
    )


def test_two_more_are_offered_and_no_fourth(choice_of):
    more = [
        f"INSERT INTO academy.drill VALUES ('x{k}', 'More {k}', 'trail_heel_down', 'Walk.', NULL, NULL)"
        for k in range(4)
    ]
    choice, _doses = choice_of("many", "DELETE FROM season.drill_effect", *more)
    assert len(choice.offers) == 3


def test_the_drill_set_last_is_the_one_to_stop_before_another_for_the_aim(choice_of):
    nothing = (
        "INSERT INTO season.drill_effect (season, drill, aim, kept, kept_lo, kept_hi, n_students, n_doses, label, unit, swc, "
        "advice) VALUES ('2026', '{drill}', 'trail_heel_down', 0, -2, 1, 20, {doses}, 'no_clear_effect', 'points', 5, 'stop')"
    )
    other = "INSERT INTO academy.drill VALUES ('a00', 'Another', 'trail_heel_down', 'Walk.', NULL, NULL)"
    both = (nothing.format(drill="d01", doses=43), nothing.format(drill="a00", doses=50))
    choice, doses = choice_of("two_to_stop", "DELETE FROM season.drill_effect", other, *both)
    assert choice.stop(doses).startswith("Stop Heel-off strikes: 43\u00a0doses")
    choice, doses = choice_of(
        "none_set", "DELETE FROM season.drill_group", "DELETE FROM season.drill_effect", "UPDATE season.student_fault_rate SET rate = 0.4",
        "DELETE FROM academy.drill_dose", other, *both,
    )  # fmt: skip
    assert choice.stop(doses).startswith("Stop Another: 50\u00a0doses")
    choice, doses = choice_of("none_to_stop", "DELETE FROM season.drill_effect", other)
    assert choice.stop(doses) == ""
