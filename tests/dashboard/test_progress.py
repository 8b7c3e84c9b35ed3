"""What the progress page chooses to show: one thing to work on, and never a drill that could hurt."""

from datetime import date, datetime, time

import pytest

from changed_academies import NOTES_ONLY, changed, falls
from dashboard.pages.progress.content import progress_page
from dashboard.pages.progress.next_pace import next_pace
from dashboard.queries import lesson, people, sessions
from dashboard.student_season import StudentSeason
from dashboard.text.advice import ADVICE
from warehouse.access import open_reader


def page(reader_of, kind, person, student):
    reader = reader_of(kind, person)
    return progress_page(reader, people.student(reader, student))


def note(code, kind, day, shared=True):
    return {"note": f"{kind}-{day}-{shared}", "student": "s01", "at": datetime.combine(date(2026, 3, day), time()), "day": date(2026, 3, day),
            "author": "c01", "kind": kind, "code": code, "text": "Sore after practice.", "shared": shared, "delivery": "x", "loose": True}  # fmt: skip


def test_the_latest_drills_aim_is_the_one_thing_to_work_on(reader_of):
    focus = page(reader_of, "full", "s01", "s01").focus
    assert focus.title == "Back heel light at impact"
    assert focus.drill == "Heel-off strikes"
    assert focus.how == ("Strike with the trail heel already light.", "20\u00a0times, at half pace.")
    assert focus.sentences[0] == (
        "In 8 of 10 swings lately, your back heel is light when you strike. Earlier in the season it was 3 of 10."
    )


def test_a_drill_without_a_text_is_shown_by_the_coach(reader_of, homes):
    changed(homes, "unwritten", "UPDATE academy.drill SET how = NULL WHERE drill = 'd01'")
    how = page(reader_of, "unwritten", "s01", "s01").focus.how
    assert how == ("Your coach shows you how.", "20\u00a0times, at half pace.")


def test_what_holds_is_the_same_as_in_the_month_of_the_first_session(reader_of, homes):
    changed(
        homes, "holds", "UPDATE academy.drill SET aim = 'mid_back_trail_share_pct'",
        "UPDATE season.session_metric SET mean = 60 WHERE metric = 'mid_back_trail_share_pct'",
        "DELETE FROM season.session_metric WHERE session = '2026-01-26-s01'",  # the next is of February
        "UPDATE season.student_trend SET metric = 'mid_back_trail_share_pct', label = 'holding' WHERE student = 's01'",
    )  # fmt: skip
    assert page(reader_of, "holds", "s01", "s01").focus.verdict == "Same as in January"


LADDER = (
    "INSERT INTO season.pace_ladder (season, student, fault, club_family, pace, flagged, usable, holds_at, "
    "clean_swings_wanted, n_sessions) VALUES ('2026', '{}', 'trail_heel_down', 'iron', 'slow', 0, 9, {}, 8, 2)"
)
EASY = "Go faster only once this pace feels easy; if it falls apart, go back one."


@pytest.mark.parametrize(
    ("student", "holds", "said"),
    [
        ("s01", "NULL", ("Start at a slow pace: it is not yet clear that it holds there.", f"150 times at a time. {EASY}")),
        ("s01", "'slow'", ("It holds at a slow pace. The next step is half pace.", f"150 times at a time. {EASY}")),
        ("s01", "'half'", ("It holds at half pace. The next step is full pace.", f"100 times at a time. {EASY}")),
        ("s02", "'half'", ("It holds at half pace. The next step is full pace.", f"150 times at a time. {EASY}")),
        ("s01", "'full'", ()),
    ],
)  # fmt: skip
def test_the_next_pace_is_one_above_what_holds_and_a_growing_player_keeps_to_a_days_limit(
    reader_of, homes, student, holds, said
):
    kind = f"ladder_{student}_{holds.strip(chr(39))}"
    changed(homes, kind, "DELETE FROM season.pace_ladder", LADDER.format(student, holds))
    reader = reader_of(kind, "h01")
    chosen = StudentSeason(reader, people.student(reader, student), "2026", "iron")
    nothing = lesson.doses(reader, student).clear()
    found = next_pace(chosen, "trail_heel_down", {"drill": "d01", "dose": 150.0, "unit": "reps"}, nothing)
    assert tuple(sentence.replace("\u00a0", " ") for sentence in (found.sentences if found else ())) == said


@pytest.mark.parametrize(("day", "drill"), [(1, "Heel-off strikes"), (3, "Never set")])
def test_of_two_drills_for_one_aim_the_one_set_last_is_practised(reader_of, homes, day, drill):
    at = f"2026-02-0{day}"
    changed(
        homes, f"two_drills_{day}",
        'INSERT INTO academy.drill_dose (note, student, drill, "at", day, kind) '
        f"VALUES ('n9', 's01', 'd04', '{at}', '{at}', 'drill')",
        notes=[note("d04", "drill", 1) | {"note": "n9", "day": date(2026, 2, day)}],
    )  # fmt: skip
    assert page(reader_of, f"two_drills_{day}", "s01", "s01").focus.drill == drill


def test_while_discomfort_is_open_no_drill_is_suggested_and_it_comes_first(reader_of, homes):
    changed(homes, "sore", notes=[note("lower_back", "discomfort", 2)])
    shown = page(reader_of, "sore", "s01", "s01")
    assert shown.focus.drill is None
    assert "no drill is suggested" in shown.focus.cautions[0]
    assert "lower back" in shown.discomfort[0]
    assert "does not diagnose" in shown.discomfort[0]


@pytest.mark.parametrize("over", ["lower_back", "Lower back", None])
def test_a_discomfort_that_is_over_is_no_longer_shown(reader_of, homes, over):
    changed(homes, "healed", notes=[note("lower_back", "discomfort", 2), note(over, "discomfort_over", 9)])
    shown = page(reader_of, "healed", "s01", "s01")
    assert shown.discomfort == ()
    assert shown.focus.drill == "Heel-off strikes"


def test_a_drill_for_older_players_is_not_suggested(reader_of, homes):
    changed(homes, "young", "UPDATE academy.drill SET min_age = 16")
    focus = page(reader_of, "young", "s01", "s01").focus
    assert focus.drill is None
    assert "aged 16 and over" in focus.cautions[0]


STEADY = "UPDATE academy.drill SET how = 'Stand with eyes closed for ten breaths.' WHERE drill = 'd01'"


def test_a_steadiness_drill_carries_the_eyes_closed_caution(reader_of, homes):
    changed(homes, "steady", STEADY, falls("s01"))
    assert any(
        "someone within reach" in text for text in page(reader_of, "steady", "s01", "s01").focus.cautions
    )


@pytest.mark.parametrize(
    ("kind", "answers", "said"),
    [
        ("not_asked", [], "First tell your coach whether you have fallen in the past year. A safe choice: Never set."),
        ("fell", [falls("s01", fell=True)], "not for you within a year of a fall. Ask your coach for another"),
    ],
)  # fmt: skip
def test_with_eyes_closed_a_drill_waits_for_the_answer_about_falls(reader_of, homes, kind, answers, said):
    changed(homes, kind, STEADY, *answers)
    focus = page(reader_of, kind, "s01", "s01").focus
    assert (focus.drill, focus.pace) == (None, None)
    assert said in focus.cautions[0]


def test_by_a_link_nobody_learns_of_a_fall_and_the_drill_is_held_back_all_the_same(homes):
    changed(homes, "linked_fall", STEADY, falls("s01", fell=True))
    reader = open_reader(homes("linked_fall"), "s01", link="x")
    assert sessions.body_notes(reader, "s01").is_empty()
    focus = progress_page(reader, people.student(reader, "s01")).focus
    assert focus.drill is None
    assert focus.cautions[0].startswith("Your last drill is done with eyes closed; talk to your coach")
    assert "fall" not in focus.cautions[0]


def test_without_a_drill_the_fault_that_shows_most_is_the_focus_and_the_coach_is_asked(reader_of, homes):
    changed(
        homes, "undrilled", "DELETE FROM academy.drill_dose",
        "UPDATE season.student_fault_rate SET rate = 0.5 WHERE span = 'now'",
    )  # fmt: skip
    focus = page(reader_of, "undrilled", "s01", "s01").focus
    assert focus.title == "Back heel light at impact"
    assert focus.drill == "Until your next lesson"
    assert focus.how == (
        ADVICE["trail_heel_down"]["drill"],
        "Ten times, slowly, each time you practise. Your coach may set another drill.",
    )


def test_a_metric_as_the_aim_shows_its_value_and_the_band_as_the_aim(reader_of, homes):
    changed(
        homes, "metric", "UPDATE academy.drill SET aim = 'mid_back_trail_share_pct'",
        "UPDATE season.session_metric SET mean = 60 WHERE metric = 'mid_back_trail_share_pct'",
    )  # fmt: skip
    focus = page(reader_of, "metric", "s01", "s01").focus
    assert (
        "At your last session: 60\u00a0%. The aim, the pale strip in the picture, is 65\u00a0% to 75\u00a0%."
        in focus.sentences
    )
    assert any("Not clear yet" in sentence for sentence in focus.sentences)


def test_a_drill_that_the_coach_does_not_share_is_not_the_focus_even_for_staff(reader_of, homes):
    changed(
        homes, "unshared",
        "INSERT INTO academy.drill VALUES ('d02', 'Kept back', 'stays_centred', 'How.', NULL, NULL)",
        "INSERT INTO academy.drill_dose VALUES ('kept', 's01', NULL, 'd02', '2026-03-20', '2026-03-20', 'drill', 'home', 5, 'reps', NULL, NULL)",
        notes=[note("d02", "drill", 20, shared=False) | {"note": "kept"}],
    )  # fmt: skip
    for person in ("h01", "s01"):
        assert page(reader_of, "unshared", person, "s01").focus.drill == "Heel-off strikes"


@pytest.mark.parametrize("kind", ["full", "one_session", "empty"])
def test_there_are_never_more_than_three_pictures(reader_of, kind):
    assert len(page(reader_of, kind, "s01", "s01").pictures) <= 3


def test_a_student_never_measured_reads_so(reader_of):
    shown = page(reader_of, "empty", "s01", "s01")
    assert shown.focus is None
    assert "not been measured yet" in shown.opening


def test_a_shared_drill_is_the_focus_before_anything_is_measured(reader_of, homes):
    changed(homes, "page_of_notes", *NOTES_ONLY)
    shown = page(reader_of, "page_of_notes", "s01", "s01")
    assert shown.opening == (
        "You have not been measured yet. After your first session this page shows what we saw. "
        "You practised at home on 1\u00a0day. Good work."
    )
    assert shown.focus.drill == "Heel-off strikes"
    assert shown.focus.sentences == ("Not measured yet; your next session will show it.",)
    assert shown.focus.feel == "The trail heel is already light when you strike; you do not push it up."
    assert shown.focus.verdict == "Too soon to see a change"


def test_fewer_than_ten_swings_are_counted_as_they_are_without_ten_circles(reader_of, homes):
    changed(
        homes, "one_swing",
        "UPDATE season.student_fault_rate SET flagged = 0, usable = 1, rate = 0 WHERE span = 'now'",
        "UPDATE season.student_fault_rate SET flagged = 3, usable = 9, rate = 3 / 9 WHERE span = 'before'",
    )  # fmt: skip
    shown = page(reader_of, "one_swing", "s01", "s01")
    assert shown.focus.sentences[0] == (
        "In 1 of 1\u00a0swing lately, your back heel is light when you strike. Earlier in the season it was "
        "6 of 9\u00a0swings."
    )
    assert not any("Swings like this" in picture.rows.columns for picture in shown.pictures)
    changed(homes, "ten_swings", "UPDATE season.student_fault_rate SET flagged = 2, usable = 10, rate = 0.2 WHERE span = 'now'",
            "UPDATE season.student_fault_rate SET flagged = 3, usable = 9, rate = 3 / 9 WHERE span = 'before'")  # fmt: skip
    ten = page(reader_of, "ten_swings", "s01", "s01").pictures[0].rows
    assert ten.rows() == [("Lately", "8 of 10")]


def test_staff_and_student_see_the_same_shared_words(reader_of):
    assert page(reader_of, "full", "h01", "s01").notes == page(reader_of, "full", "s01", "s01").notes


def test_where_consents_are_kept_elsewhere_a_minors_page_points_there_before_it_is_shared(reader_of, homes):
    changed(homes, "full-elsewhere")
    home = homes("full-elsewhere")
    home.settings_file.write_text(
        'consents = "kept elsewhere"\n' + home.settings_file.read_text("utf-8"), "utf-8"
    )
    said = " ".join(page(reader_of, "full-elsewhere", "g01", "s01").cautions)
    assert "Consents are kept elsewhere: check there before this page is shared by link." in said
    assert "on file" not in said
