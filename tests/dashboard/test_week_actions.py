"""The head coach's first screen: one action for each person, what came and went, what is not safe, top faults."""

from dataclasses import replace
from datetime import timedelta

import pytest

from dashboard.pages.week import entries
from dashboard.pages.week.actions import Actions
from dashboard.pages.week.content import people_first, review, to_fix
from dashboard.pages.week.faults import finding, sentences, top_faults
from dashboard.pages.week.levels import level_plan
from dashboard.pages.week.safety_lines import safety_lines
from dashboard.pages.week.since import since_last_monday, weeks_words
from season_rows import AS_OF, WEEK


def actions_of(reader):
    """Kind → what is proposed, of every entry of a student to talk about."""
    proposed = Actions(reader)
    return {entry.kind: proposed.propose(entry) for entry in review(reader).entries if entry.works_on}


def signal(kind, student, subject, week=WEEK, weeks="NULL"):
    return (
        "INSERT INTO season.signal (week, as_of, rank, signal, kind, student, subject, club_family, kindred, weeks) "
        f"VALUES ('{week}', '{AS_OF}', 50, '{kind}:{student}:{subject}', '{kind}', '{student}', '{subject}', 'iron', [], {weeks})"
    )


def evidence(kind, student, subject, place, about, **numbers):
    names = "".join(f", {name}" for name in numbers)
    values = "".join(f", {value}" for value in numbers.values())
    return (
        f"INSERT INTO season.signal_evidence (week, signal, place, role, subject, club_family{names}) "
        f"VALUES ('{WEEK}', '{kind}:{student}:{subject}', {place}, 'main', '{about}', 'iron'{values})"
    )


def test_a_drill_that_helps_is_proposed_before_one_to_try_and_one_to_stop_never(reader_of):
    found = actions_of(reader_of("full", "h01"))
    assert found["slipping"] == "Set “Heel-off strikes”: it helps with this."


def test_of_drills_that_help_the_one_that_kept_most_with_students_of_the_same_level_is_proposed(changed):
    reader = changed(
        "alike", "INSERT INTO academy.drill VALUES ('d05', 'For club players', 'trail_heel_down', 'Walk.', NULL, NULL)",
        "INSERT INTO season.drill_effect (season, drill, aim, kept, kept_lo, kept_hi, n_students, n_doses, label, unit, swc, "
        "advice) VALUES ('2026', 'd05', 'trail_heel_down', 1, 0.5, 1.5, 20, 40, 'helps', 'points', 5, 'keep')",
        'INSERT INTO season.drill_group (season, drill, aim, grouping, "group", n_students, n_doses, kept, kept_lo, kept_hi) '
        "VALUES ('2026', 'd05', 'trail_heel_down', 'level', 'club', 9, 20, 40, 30, 50)",
    )  # fmt: skip
    assert actions_of(reader)["slipping"] == "Set “For club players”: it helps with this."


def test_without_a_drill_that_helps_one_to_try_is_proposed_and_said_to_be_unproven(changed):
    reader = changed("unproven", "UPDATE season.drill_effect SET advice = 'stop' WHERE drill = 'd01'",
                     "UPDATE academy.drill SET how = 'Stand.', min_age = NULL WHERE drill = 'd03'")  # fmt: skip
    assert actions_of(reader)["slipping"] == "Try “Never set”: no drill is proven for this yet."


def test_where_nothing_fits_no_drill_is_named(changed):
    reader = changed("nothing_fits", "UPDATE season.drill_effect SET advice = 'stop'",
                     "DELETE FROM academy.drill WHERE drill = 'd04'")  # fmt: skip
    assert actions_of(reader)["slipping"] == "No drill on the roster fits: look at it in the next lesson."


def test_no_action_names_a_drill_that_the_student_is_too_young_for(changed):
    reader = changed(
        "too_young",
        "UPDATE season.drill_effect SET advice = 'stop'",
        "DELETE FROM season.drill_effect WHERE drill = 'd03'",
        "DELETE FROM academy.drill WHERE drill = 'd04'",
        "UPDATE academy.drill SET min_age = 40, how = 'Stand.' WHERE drill = 'd03'",
        "DELETE FROM academy.note WHERE kind = 'discomfort'",
    )
    found = {
        e.student: Actions(reader).propose(e)
        for e in review(reader).entries
        if e.kind in ("slipping", "new_fault")
    }
    assert found == {
        "s01": "No drill on the roster fits: look at it in the next lesson.",  # 13 years old
        "s02": "Try “Quiet feet”: no drill is proven for this yet.",
    }


def test_a_drill_to_stop_is_replaced_by_another_with_its_aim_never_by_itself(changed):
    rows = (
        signal("idle_drill", "s02", "d02", weeks=2), evidence("idle_drill", "s02", "d02", 1, "d02", doses=3),
    )  # fmt: skip
    assert (
        actions_of(changed("idle", *rows))["idle_drill"]
        == "Set “Heel-off strikes” in its place: it helps with this."
    )
    alone = changed("idle_alone", *rows, "DELETE FROM season.drill_effect WHERE drill <> 'd02'",
                    "UPDATE academy.drill SET aim = 'stance_width_mm' WHERE drill <> 'd02'",
                    "UPDATE season.drill_effect SET advice = 'keep'")  # fmt: skip
    assert actions_of(alone)["idle_drill"] == "Stop it, and name a new aim."


def test_a_met_aim_becomes_the_fault_that_shows_now(changed):
    reader = changed(
        "met",
        signal("aim_met", "s02", "stance_width_mm"),
        evidence("aim_met", "s02", "stance_width_mm", 1, "stance_width_mm"),
        evidence("aim_met", "s02", "stance_width_mm", 2, "trail_heel_down", flagged=9, usable=12),
    )
    (entry,) = [entry for entry in review(reader).entries if entry.kind == "aim_met"]
    assert entry.brief == (
        "“Stance width, heel to heel” is on target. Trail heel still down at impact with irons in 9 of 12 swings now."
    )
    assert (
        Actions(reader).propose(entry) == "Make it the new aim. Set “Heel-off strikes”: it helps with this."
    )


def test_each_of_five_at_most_is_seen_first_for_their_first_reason_and_nobody_who_was_talked_to(reader_of):
    found = people_first(review(reader_of("full", "h01")).entries)
    assert [(entry.student, entry.kind) for entry in found] == [("s02", "slipping"), ("s01", "new_fault")]
    assert people_first([replace(found[0], ticked=True), found[1]]) == (found[1],)


def test_what_is_new_open_and_gone_since_last_monday_is_said_by_name_and_week(changed):
    before = WEEK - timedelta(days=7)
    reader = changed(
        "weeks",
        "UPDATE season.signal SET weeks = 3 WHERE kind = 'slipping'",
        "UPDATE season.signal SET weeks = 8 WHERE kind = 'discomfort'",
        "UPDATE season.signal SET weeks = 1 WHERE kind IN ('new_fault', 'improving', 'unmeasured')",
        signal("slipping", "s02", "x", before), signal("outside_band", "s03", "y", before),
        signal("unmeasured", "s02", "y", before), signal("new_fault", "s03", "y", before - timedelta(days=7)),
    )  # fmt: skip
    found = since_last_monday(reader, review(reader).entries)
    assert found.new == "New (1): Sanna Test (new fault)."
    assert (
        found.still
        == "Still open (2): Sanna Test (hurting, eighth week or more) and Sven Probe (slipping, third week)."
    )
    assert found.gone == "Gone (1): Sina Einmal (outside the target)."
    assert found.lines == (found.new, found.still, found.gone)


@pytest.mark.parametrize(
    ("weeks", "words"),
    [(None, ""), (1, ""), (2, "second week"), (3, "third week"), (4, "fourth week"), (5, "fifth week"),
     (6, "sixth week"), (7, "seventh week"), (8, "eighth week or more")],
)  # fmt: skip
def test_for_how_long_something_has_been_on_the_list_is_said_from_the_second_week_on(weeks, words):
    assert weeks_words(weeks) == words


def test_where_no_week_is_known_nothing_is_new_open_or_gone(reader_of):
    reader = reader_of("full", "h01")
    assert since_last_monday(reader, review(reader).entries).lines == ()


def test_more_people_than_can_be_named_are_counted(changed):
    rows = [signal("outside_band", "s03", f"m{k}", weeks=2) for k in range(5)]
    rows += [
        evidence(
            "outside_band",
            "s03",
            f"m{k}",
            1,
            "impact_trail_heel_pct_bw",
            value_now=20,
            side="'over'",
            sessions=6,
        )
        for k in range(5)
    ]
    reader = changed("many", *rows)
    name = "Sina Einmal (outside the target, second week)"
    assert since_last_monday(reader, review(reader).entries).still == (
        f"Still open (5): {name}, {name}, {name} and 2 more."
    )


def dose(student, day, drill="d03", overruled="NULL"):
    note = f"closed-{student}-{day}"
    written = f"""
        INSERT INTO academy.note
            (note, student, "at", day, author, kind, shared, delivery, loose, overruled_by)
        VALUES ('{note}', '{student}', '{day}', '{day}', 'c01', 'drill', false, 'x', true, {overruled})
        """
    given = f"""
        INSERT INTO academy.drill_dose (note, student, drill, "at", day, kind)
        VALUES ('{note}', '{student}', '{drill}', '{day}', '{day}', 'drill')
        """
    return written, given


def test_an_eyes_closed_drill_given_below_its_age_is_said_and_one_to_an_adult_or_overruled_is_not(changed):
    day = "2026-03-10"
    young = changed("closed", *dose("s01", day), *dose("s02", day))
    assert [(line.student, line.sentence) for line in safety_lines(young)] == [
        ("s01", "“Quiet feet” was given on 10 March 2026; it is for ages 14 and over.")
    ]
    assert safety_lines(changed("overruled", *dose("s01", day, overruled="'h01'"))) == []
    later = "UPDATE academy.drill SET min_age = 40 WHERE drill = 'd02'"
    assert safety_lines(changed("open", later, *dose("s01", day, drill="d02"))) == []


SWUNG = (
    'INSERT INTO academy.drill_dose (note, student, drill, "at", day, kind, place, dose, unit, pace) '
    "VALUES ('n4', '{}', 'd01', '2026-03-{:02}', '2026-03-{:02}', 'practice', 'home', {}, 'reps', 'full')"
)
BEFORE = [("s01", day, day, 20) for day in (1, 8, 15)]


@pytest.mark.parametrize(
    ("name", "swung", "lines"),
    [
        ("over", [("s01", 24, 24, 101)],
         [("Sanna Test", "107 full swings in seven days (limit 300), up to 101 in one day (limit 100): rest.")]),
        ("jumped", [*BEFORE, ("s01", 29, 29, 41)],
         [("Sanna Test", "47 full swings in seven days, far more than in the weeks before: build up slowly.")]),
        ("steady", [*BEFORE, ("s01", 29, 29, 20)], []),
        ("grown", [("s02", 24, 24, 101)], []),
    ],
)  # fmt: skip
def test_a_growing_player_over_a_limit_or_with_a_jump_is_named_and_nobody_else(changed, name, swung, lines):
    found = safety_lines(changed(name, *(SWUNG.format(*one) for one in swung)))
    assert [(line.name, line.sentence.replace("\u00a0", " ")) for line in found] == lines


def test_deliveries_to_fix_are_counted_by_who_can_fix_them(changed):
    reader = changed(
        "two", signal("refused", "s03", "late"), evidence("refused", "s03", "late", 1, "late", refusals=1)
    )
    assert to_fix(review(reader).entries) == [
        "Cato Brandt: 1\u00a0delivery couldn't load.", "Coach not known: 1\u00a0delivery couldn't load.",
    ]  # fmt: skip
    assert to_fix([]) == []


def test_the_top_faults_say_their_share_then_and_now_and_which_drill_has_moved_them(changed, reader_of):
    rows = top_faults(reader_of("full", "h01"))
    first = rows["Fault"][0]
    assert "drills have moved “Trail heel still down at impact”" in finding(rows)
    assert finding(rows).startswith(f"“{first}” shows most")
    assert sentences(rows) == [
        (
            first,
            "20\u00a0% of swings; often in 1 of 1 students. Earlier 67\u00a0%, 1 of 1. Moved by: Heel-off strikes.",
        )
    ]
    new = top_faults(changed("new_fault", "DELETE FROM season.student_fault_rate WHERE span = 'before'"))
    assert new["Students, earlier"].to_list() == ["–"]
    assert sentences(new) == [
        (first, "20\u00a0% of swings; often in 1 of 1 students. Moved by: Heel-off strikes.")
    ]
    unmoved = top_faults(changed("unmoved", "UPDATE season.drill_effect SET advice = 'try'"))
    assert finding(unmoved) == f"“{first}” shows most; no drill has moved the top three yet"
    assert all(sentence.endswith("Moved by: no drill yet.") for _fault, sentence in sentences(unmoved))


TRAIL, HEEL, STANCE = "mid_back_trail_share_pct", "impact_trail_heel_pct_bw", "stance_width_mm"


@pytest.mark.parametrize(
    ("stood", "row"),
    [
        ({TRAIL: [(60, 70), (80, 76), (70, 70)], HEEL: [(12, 5), (5, 5), (5, 5)]},
         ("Trail share when the lead arm is parallel going back", "2 of 3 outside", "1 of 3 outside", "65 % to 75 %")),
        # By share: two of three are more than one of two, though of those there more are outside now.
        ({TRAIL: [(60, 70), (80, 70), (70, 70)], HEEL: [(12, 12), (5, 5)], STANCE: [(300, 300)]},
         ("Trail share when the lead arm is parallel going back", "2 of 3 outside", "0 of 3 outside", "65 % to 75 %")),
        ({TRAIL: [(60, 70), (80, 70)], HEEL: [(12, 12), (12, 5)]},
         ("Load left under the trail heel at impact", "2 of 2 outside", "1 of 2 outside", "10 % of body weight or less")),
    ],
)  # fmt: skip
def test_the_season_plan_names_the_measure_with_most_students_outside_and_how_many_are_now(
    changed, stood, row
):
    trend = (
        "INSERT INTO season.student_trend (season, student, metric, club_family, n_sessions, start_value, value_now, label) "
        "VALUES ('2026', 's0{}', '{}', 'iron', 6, {}, {}, 'holding')"
    )
    reader = changed(
        f"plan_{len(stood)}{len(stood[TRAIL])}", "DELETE FROM season.student_trend", "DELETE FROM academy.band",
        "UPDATE academy.person SET level = 'club' WHERE role = 'student'", "UPDATE academy.metric SET core = true",
        f"INSERT INTO academy.band (metric, club_family, lo, hi, version) VALUES ('{TRAIL}', 'iron', 65, 75, 'v'), "
        f"('{HEEL}', 'iron', NULL, 10, 'v'), ('{STANCE}', 'iron', 250, NULL, 'v')",
        *(
            trend.format(k, metric, *values)
            for metric, students in stood.items()
            for k, values in enumerate(students, 1)
        ),
    )  # fmt: skip
    (found,) = level_plan(reader).rows()
    assert tuple(cell.replace("\u00a0", " ") for cell in found) == ("Club", *row)


def test_a_met_aim_points_at_what_comes_next_a_drill_to_stop_at_its_own_aim_and_a_delivery_at_nothing():
    first = {"subject": "what is met", "drill_aim": "of another drill"}
    last = {"subject": "what comes next", "drill_aim": "what the drill was for"}
    kinds = ("aim_met", "idle_drill", "slipping", "refused")
    points_at = [entries._works_on({"kind": kind, "subject": "itself"}, [first, last]) for kind in kinds]
    assert points_at == ["what comes next", "what the drill was for", "itself", None]
