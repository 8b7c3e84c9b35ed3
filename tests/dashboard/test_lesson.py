"""The lesson sheet: what hurts comes first, and what is called real is more than scatter."""

from datetime import date
from html import unescape

import polars as pl
import pytest

from changed_academies import NOTES_ONLY, changed, falls
from dashboard.pages.lesson.content import lesson_sheet
from dashboard.pages.notes import content as notes
from dashboard.pages.progress.content import progress_html, progress_page
from dashboard.queries import lesson, people
from dashboard.student_season import StudentSeason
from dashboard.text import sentences
from dashboard.text.cautions import EYES_CLOSED, IF_IT_HURTS, SWING_LIMITS
from dashboard.text.numbers import Measure
from warehouse.body import quiet_work

HEEL = Measure("impact_trail_heel_pct_bw", "Load under the trail heel", "% of body weight", "", "down", 0)
FITTED = (
    "UPDATE season.reliability SET sd_session = 1, sd_swing = 2 "
    "WHERE season = '2026' AND metric = 'impact_trail_heel_pct_bw' AND club_family = 'iron'"
)
FILM_AGREED = (
    'INSERT INTO academy.consent (student, given_by, purpose, "from") '
    "VALUES ('s01', 'g01', 'film', DATE '2025-01-01')"
)
NO_EFFECTS = "DELETE FROM season.drill_effect"
ONE_DRILL = "DELETE FROM academy.drill WHERE drill <> 'd01'"
HURTS = (
    'INSERT INTO academy.note (note, student, "at", day, author, kind, code, text, shared, delivery, loose) '
    "VALUES ('d', 's01', '2026-03-02', '2026-03-02', 'c01', 'discomfort', '{area}', 'Sore.', false, 'x', true)"
)


def made(reader_of, kind, student="s01", viewer="h01"):
    reader = reader_of(kind, viewer)
    person = people.student(reader, student)
    return lesson_sheet(
        StudentSeason(reader, person, "2026", "iron") if person["sessions"] else StudentSeason(reader, person)
    )


def part(page, title):
    return next(part for part in (*page.today, *page.parts) if part.title.startswith(title))


def test_the_last_session_is_compared_with_the_three_before_by_their_own_scatter(reader_of, homes):
    changed(homes, "scattered", FITTED)
    rows = lesson.last_against_before(reader_of("scattered", "h01"), "s01", "iron", "2026")
    heel = rows.row(by_predicate=pl.col("metric") == "impact_trail_heel_pct_bw", named=True)
    # Sessions at 18, 14, 10, 6, 2, −2; each has variance 1 + 4 / 5; by hand: 1.96 · √(1.8 + 3 · 1.8 / 9) = 3.036
    assert (heel["last"], heel["before"], heel["n_before"]) == (-2.0, 6.0, 3)
    assert heel["beyond"] == pytest.approx(3.036, abs=0.001)


def test_a_change_is_said_to_be_within_the_usual_scatter_or_beyond_it_and_never_to_be_no_chance():
    row = {"before": 10.0, "beyond": 3.0, "last": 12.9}
    assert sentences.verdict(HEEL, row, (None, None)) == "Within the usual scatter (3)"
    beyond = "by more than the usual scatter (3)"
    assert sentences.verdict(HEEL, row | {"last": 13.1}, (None, None)) == f"▽ Worse, {beyond}"
    assert sentences.verdict(HEEL, row | {"last": 6.0}, (None, None)) == f"▲ Better, {beyond}"
    assert sentences.verdict(HEEL, row | {"beyond": None}, (None, None)) == "Scatter not known yet"


WIDE = "UPDATE season.reliability SET sd_session = 20 WHERE metric = 'impact_trail_heel_pct_bw'"
NO_AIM = (
    "DELETE FROM academy.drill_dose",
    "DELETE FROM academy.note",
    "DELETE FROM season.student_fault_rate",
)
NO_CHANGE = "UPDATE season.student_trend SET label = 'holding'"
HEEL_LEFT = "Load left under the trail heel at impact"


@pytest.mark.parametrize(
    ("kind", "statements", "listed"),
    [
        ("moved", (FITTED, *NO_AIM, NO_CHANGE), {HEEL_LEFT: "▲ Better, by more than the usual scatter (3)"}),
        ("worked_on", (WIDE, NO_CHANGE), {HEEL_LEFT: "Within the usual scatter (45)"}),
        ("over_the_season", (WIDE, *NO_AIM), {HEEL_LEFT: "Within the usual scatter (45)"}),
        ("none", (WIDE, *NO_AIM, NO_CHANGE), {}),
    ],
)
def test_what_moved_what_is_worked_on_and_what_changed_over_the_season_is_listed_and_nothing_else(
    reader_of, homes, kind, statements, listed
):
    changed(homes, f"listed_{kind}", *statements)
    rows = part(made(reader_of, f"listed_{kind}"), "What changed since last time").rows
    found = {} if rows is None else dict(rows.select("Measure", "Since last time").iter_rows())
    assert found == listed


def test_a_session_on_another_device_is_not_compared(reader_of, homes):
    changed(
        homes, "moved_house", FITTED,
        "UPDATE season.session_metric SET device = 'mat-west' WHERE session = '2026-03-23-s01'",
    )  # fmt: skip
    said = part(made(reader_of, "moved_house"), "What changed since last time").sentences[0]
    assert "first on its device" in said


def effect(label="helps", kept=12, drill="d01", doses=40, **ends):
    lo, hi = ends.get("lo", kept - 6), ends.get("hi", kept + 6)
    advice = ends.get("advice", {"helps": "keep", "harms": "stop"}.get(label, "try"))
    return (
        "INSERT INTO season.drill_effect (season, drill, aim, kept, kept_lo, kept_hi, n_students, n_doses, label, unit, swc, "
        f"advice) VALUES ('2026', '{drill}', 'trail_heel_down', {kept}, {lo}, {hi}, 20, {doses}, '{label}', 'points', 5, '{advice}')"
    )


def drill(code, name, how="Stand tall.", min_age="NULL", aim="trail_heel_down"):
    return f"INSERT INTO academy.drill VALUES ('{code}', '{name}', '{aim}', '{how}', NULL, {min_age})"


def test_what_hurts_comes_first_with_what_is_left_and_no_drill_that_may_load_it(reader_of, homes):
    changed(homes, "calf", HURTS.format(area="trail calf"), NO_EFFECTS, ONE_DRILL, effect())
    page = made(reader_of, "calf")
    assert page.hurts[0].startswith("Discomfort: trail calf")
    assert "does not diagnose" in page.hurts[0]
    assert page.hurts[0].endswith("may load it; what was set before is marked.")
    safe = page.today[0]
    assert safe.title == "What is safe today, with the trail calf"
    assert [said.split(":")[0] for said in safe.sentences] == [
        "Seated",
        "Hands only, seated",
        "Short game",
        "Talk",
    ]
    assert part(page, "Drills").sentences == ("None of the drills for this is safe while it hurts.",)
    assert "stop it until that is over" in part(page, "Last visit").sentences[0]
    assert "last set" not in part(page, "Today").sentences[0]
    assert part(page, "Today").sentences[0].endswith("May load the trail calf: stop it until that is over.")
    changed(homes, "no_pain", NO_EFFECTS, ONE_DRILL, effect())
    page = made(reader_of, "no_pain")
    assert page.today[0].title == "Today's fault: trail heel still down at impact"
    assert part(page, "First drill: Heel-off strikes").sentences[:2] == (
        "Strike with the trail heel already light.",
        (
            "20\u00a0times, at a slow pace; then measure 5\u00a0swings at a slow pace. Helps: kept +12.0\u00a0points (20\u00a0students). "
            "With students like this one (club): +11.0\u00a0points."
        ),
    )


def test_pain_open_for_over_three_weeks_is_said_to_last_and_leaves_nothing_that_swings(reader_of, homes):
    three_weeks, longer = HURTS.format(area="trail calf"), HURTS.format(area="heel").replace("03-02", "03-01")
    step = drill("d02", "Light words", "Say what you feel.")  # loads neither
    changed(homes, "three_weeks", three_weeks, step)
    page = made(reader_of, "three_weeks")
    assert "has lasted" not in page.hurts[0]
    assert page.today[0].sentences[0] == "Of the drills, Light words does not load it."
    changed(homes, "longer", longer, step)
    page = made(reader_of, "longer")
    assert page.hurts[0].startswith(
        "Discomfort: heel, noted on 1 March 2026. “Sore.” This has lasted for more than three weeks: see a physician "
        "before any more swings. Stop any drill"
    )
    assert [said.split(":")[0] for said in page.today[0].sentences] == [
        "Seated",
        "Hands only, seated",
        "Talk",
    ]
    assert part(page, "Drills").sentences[0] == "No drills until a physician has seen it."
    for viewer in ("g01", "h01"):
        reader = reader_of("longer", viewer)
        (told,) = progress_page(reader, people.student(reader, "s01")).discomfort
        assert told.startswith(
            "You told us about your heel on 1 March 2026. This has lasted for more than three weeks: see a physician before"
        )


@pytest.mark.parametrize(
    ("areas", "left"),
    [
        (["lower back"], ["seated", "hands", "talk"]),
        (["trail_knee"], ["seated", "hands", "talk"]),
        (["heel"], ["seated", "hands", "short_game", "talk"]),
        (["lead wrist"], ["seated", "talk"]),
        (["heel", "neck"], ["seated", "talk"]),
        ([None], ["seated", "talk"]),
        (["somewhere new"], ["seated", "talk"]),
    ],
)
def test_something_is_always_left_that_spares_what_hurts(areas, left):
    assert list(quiet_work(areas)) == left


def test_a_drill_that_does_not_load_what_hurts_is_left_and_comes_first(reader_of, homes):
    changed(
        homes, "sore_hand", HURTS.format(area="lead hand"), NO_EFFECTS,
        "UPDATE academy.drill SET how = 'Turn the club with both hands.'", drill("d02", "Light steps", "Step on the spot."),
    )  # fmt: skip
    page = made(reader_of, "sore_hand")
    assert page.today[0].sentences[0] == "Of the drills, Light steps does not load it."
    assert part(page, "First drill").title == "First drill: Light steps"
    assert "Heel-off strikes" not in str(part(page, "First drill"))


def test_without_an_open_note_the_sheet_says_what_to_do_if_it_hurts(reader_of, homes):
    assert IF_IT_HURTS in made(reader_of, "full").cautions
    changed(homes, "calf_noted", HURTS.format(area="trail calf"))
    assert IF_IT_HURTS not in made(reader_of, "calf_noted").cautions  # the box above says more


@pytest.mark.parametrize(
    ("label", "min_age", "warned"), [("helps", "NULL", True), ("harms", "NULL", False), ("helps", "90", False)]
)  # fmt: skip
def test_an_offered_drill_with_eyes_closed_brings_its_caution_and_one_ruled_out_is_nowhere(
    reader_of, homes, label, min_age, warned
):
    kind = f"eyes-{label}-{min_age}"
    added = (
        NO_EFFECTS, ONE_DRILL, drill("d02", "Quiet feet", "Stand with eyes closed.", min_age), effect(label, drill="d02"),
    )  # fmt: skip
    changed(homes, kind, *added, falls("s01"))
    page = made(reader_of, kind)
    assert (part(page, "First drill").title == "First drill: Quiet feet") is warned
    assert (EYES_CLOSED in page.cautions) is warned
    changed(homes, f"{kind}-unasked", *added)
    page = made(reader_of, f"{kind}-unasked")
    assert EYES_CLOSED not in page.cautions
    assert part(page, "First drill").title == "First drill: Heel-off strikes"
    if label == "helps":
        assert "Quiet feet" not in str(page)


def test_a_drill_set_for_home_before_much_practice_still_brings_its_caution(reader_of, homes):
    changed(
        homes, "practised_since",
        "UPDATE academy.drill SET how = 'Stand with eyes closed.'",
        "INSERT INTO academy.drill VALUES ('d03', 'Open', 'trail_heel_down', 'Look ahead.', NULL, NULL)",
        *(
            PRACTISED.format(day=f"2026-03-{day}", dose=5, unit="minutes").replace("'d01'", "'d03'")
            for day in (20, 21, 22, 23)
        ),
    )  # fmt: skip
    assert EYES_CLOSED in made(reader_of, "practised_since").cautions


def test_a_drill_that_harms_or_can_have_kept_nothing_that_matters_is_the_one_to_stop(reader_of, homes):
    changed(homes, "harming", NO_EFFECTS, ONE_DRILL, effect("harms", -9))
    page = made(reader_of, "harming")
    assert part(page, "First drill").title == "First drill"  # what is usually done
    assert (
        part(page, "First drill").sentences[-1]
        == "Stop Heel-off strikes: 40\u00a0doses, and it got worse with it."
    )
    changed(
        homes,
        "nothing_kept",
        NO_EFFECTS,
        ONE_DRILL,
        effect("no_clear_effect", 1, doses=43, lo=-2, hi=4, advice="stop"),
    )
    assert part(made(reader_of, "nothing_kept"), "First drill").sentences[-1] == (
        "Stop Heel-off strikes: 43\u00a0doses, nothing kept (at most +4.0; 5.0\u00a0points would matter)."
    )
    changed(homes, "may_matter", NO_EFFECTS, ONE_DRILL, effect("no_clear_effect", 1, doses=43, lo=-4, hi=6))
    said = part(made(reader_of, "may_matter"), "First drill: Heel-off strikes").sentences
    assert (
        "Common choice, not proven: kept between −4.0 and +6.0\u00a0points so far (43\u00a0doses)." in said[1]
    )
    assert not any(line.startswith("Stop") for line in said)


def test_a_drill_above_the_students_age_is_nowhere_but_where_it_was_set(reader_of, homes):
    changed(
        homes, "too_young", "DELETE FROM academy.drill_dose", NO_EFFECTS, ONE_DRILL, effect(),
        "UPDATE academy.drill SET min_age = 16",
    )  # fmt: skip
    assert "Heel-off strikes" not in str(made(reader_of, "too_young"))


def test_the_pace_sentence_says_where_it_holds_and_where_not_yet():
    rows = [
        {"pace": p, "rate": r, "usable": 10, "holds_at": "half", "clean_swings_wanted": 13}
        for p, r in (("slow", 0.0), ("half", 0.1), ("full", 0.4))
    ]
    said = sentences.pace_sentence("Crosses late", rows)
    assert said == (
        "Crosses late: holds at half pace; not yet at full pace, where about 13\u00a0clean swings would show it. Shows in "
        "0\u00a0% of 10\u00a0swings at a slow pace, 10\u00a0% of 10\u00a0swings at half pace and 40\u00a0% of 10\u00a0swings "
        "at full pace."
    )
    nowhere = [row | {"holds_at": None, "rate": None} for row in rows]
    assert sentences.pace_sentence("Crosses late", nowhere) == (
        "Crosses late: not yet shown to hold at any pace; about 13\u00a0clean swings at a slow pace would show it."
    )


def test_a_young_players_minutes_are_compared_with_the_academys_limit(reader_of, homes):
    home = homes("limited")
    toml = home.settings_file.read_text()
    home.settings_file.write_text("young_practice_minutes_a_week = 10\n" + toml)
    changed(homes, "limited", "UPDATE academy.drill_dose SET day = '2026-03-22'")
    said = part(made(reader_of, "limited"), "Young player").sentences
    assert said[0] == (
        "Home practice timed from 17 March 2026 to 23 March 2026: 12\u00a0minutes. That is over the academy's limit of "
        "10\u00a0minutes a week."
    )
    assert "Days without practice or a lesson in the last seven: 5." in said[1]
    assert "Young player" not in [p.title for p in made(reader_of, "limited", "s02").parts]


PRACTISED = (
    'INSERT INTO academy.drill_dose (note, student, drill, "at", day, kind, place, dose, unit) '
    "VALUES ('n4', 's01', 'd01', '{day}', '{day}', 'practice', 'home', {dose}, '{unit}')"
)


IN_THE_WEEK = PRACTISED.format(day="2026-03-22", dose=12, unit="minutes")


@pytest.mark.parametrize(
    ("kind", "limit", "statements", "said"),
    [
        ("never", None, ["DELETE FROM academy.drill_dose WHERE kind = 'practice'"],
         "No home practice recorded in the seven days to 23 March 2026."),
        ("before", None, [], "No home practice recorded in the seven days to 23 March 2026; the last was on 2 February 2026."),
        ("timed", None, [IN_THE_WEEK], "Practised at home in the seven days to 23 March 2026: 12 minutes on 1 day."),
        ("limited_week", 60, [IN_THE_WEEK],
         "Practised at home in the seven days to 23 March 2026: 12 of at most 60 minutes, on 1 day."),
        ("untimed", 60, [PRACTISED.format(day="2026-03-22", dose=30, unit="reps")],
         "Practised at home in the seven days to 23 March 2026: on 1 day, not timed."),
    ],
)  # fmt: skip
def test_practice_of_the_week_is_one_sentence_with_the_limit_where_there_is_one(
    reader_of, homes, kind, limit, statements, said
):
    home = homes(f"practice_{kind}")
    if limit:
        toml = home.settings_file.read_text()
        home.settings_file.write_text(f"young_practice_minutes_a_week = {limit}\n{toml}")
    changed(homes, f"practice_{kind}", *statements)
    page = made(reader_of, f"practice_{kind}")
    assert part(page, "Last visit").sentences[1].replace("\u00a0", " ") == said


def test_practice_after_the_last_session_counts_and_untimed_practice_is_mentioned(reader_of, homes):
    home = homes("after_session")
    toml = home.settings_file.read_text()
    home.settings_file.write_text("young_practice_minutes_a_week = 60\n" + toml)
    changed(
        homes, "after_session",
        PRACTISED.format(day="2026-03-30", dose=45, unit="minutes"),
        PRACTISED.format(day="2026-03-25", dose=100, unit="reps"),
        PRACTISED.format(day="2026-03-26", dose="NULL", unit="minutes"),
        PRACTISED.format(day="2026-03-23", dose=90, unit="minutes"),  # before those seven days
    )  # fmt: skip
    expected = (
        "Home practice timed from 24 March 2026 to 30 March 2026: 45\u00a0minutes. That is within the academy's limit of "
        "60\u00a0minutes a week. Practice on 2\u00a0days was not timed, so it may be over."
    )
    said = part(made(reader_of, "after_session"), "Young player").sentences
    assert said[0] == expected
    assert "Days without practice or a lesson in the last seven: 4." in said[1]
    for viewer in ("h01", "s01", "g01"):
        reader = reader_of("after_session", viewer)
        assert expected in progress_page(reader, people.student(reader, "s01")).cautions
    assert expected in unescape(progress_html(reader_of("after_session", "g01"), "s01"))
    reader = reader_of("after_session", "h01")
    assert not any(
        "home practice" in said for said in progress_page(reader, people.student(reader, "s02")).cautions
    )


SWUNG = (
    'INSERT INTO academy.drill_dose (note, student, drill, "at", day, kind, place, dose, unit, pace) '
    "VALUES ('n4', 's01', 'd01', '{day}', '{day}', 'practice', 'home', {dose}, '{unit}', {pace})"
)
SWINGS = "Full swings, measured and practised: "


def swung(day, dose, unit="reps", pace="'full'"):
    return SWUNG.format(day=day, dose=dose, unit=unit, pace=pace)


def test_a_growing_players_full_swings_are_beside_the_limits_on_every_page(reader_of, homes):
    changed(
        homes, "swung", swung("2026-03-24", 50), swung("2026-03-25", 70, pace="'slow'"),
        swung("2026-03-26", 10, pace="NULL"), swung("2026-03-27", 15, unit="minutes"), swung("2026-03-29", 20),
    )  # fmt: skip
    expected = (
        f"{SWINGS}20 on 29 March 2026 (limit 100), 76 in the seven days to then (limit 300). That day was 80\u00a0full swings under its limit.",
        "Practice on 2\u00a0days may have been at full pace and has no count, so it may be more.",
    )  # measured on 23 March: 6 swings at full pace, one of which is not usable
    said = part(made(reader_of, "swung"), "Young player").sentences
    assert said[2:4] == expected
    assert said[4] == SWING_LIMITS
    for viewer in ("c01", "s01", "g01"):
        reader = reader_of("swung", viewer)
        assert set(expected) <= set(progress_page(reader, people.student(reader, "s01")).cautions)
    reader = reader_of("swung", "h01")
    form = notes.form_data(reader, people.student(reader, "s01"), None)
    assert form["full_swings_left"] == 80
    assert form["cautions"]["swings"].startswith(" ".join(expected))
    grown = notes.form_data(reader, people.student(reader, "s02"), None)
    assert (grown["full_swings_left"], grown["cautions"]["swings"]) == (None, "")


@pytest.mark.parametrize(
    ("kind", "statements", "said"),
    [
        ("over_day", [swung("2026-03-24", 101)], "Over the limit: rest from full swings"),
        ("at_limit", [swung("2026-03-24", 100)], "The limit is reached"),
        ("putted", ["UPDATE academy.swing SET club_family = 'putter'", swung("2026-03-24", 1)],
         "1 on 24 March 2026 (limit 100), 1 in the seven days to then"),
        ("unknown_club", ["UPDATE academy.swing SET club_family = NULL", swung("2026-03-24", 1)],
         "1 on 24 March 2026 (limit 100), 7 in the seven days to then"),
    ],
)  # fmt: skip
def test_the_sheet_says_when_a_limit_is_reached_and_counts_no_putts(reader_of, homes, kind, statements, said):
    changed(homes, kind, *statements)
    assert said in part(made(reader_of, kind), "Young player").sentences[2]


def test_the_sheet_says_when_the_load_has_jumped(reader_of, homes):
    before = [swung(f"2026-03-{day:02}", 20) for day in (1, 8, 15)]
    changed(homes, "jumped", *before, swung("2026-03-29", 41))
    said = part(made(reader_of, "jumped"), "Young player").sentences
    assert any(line.startswith("The load has jumped: 47 full swings in seven days, about 1") for line in said)
    changed(homes, "steady_load", *before, swung("2026-03-29", 20))
    assert not any(
        "jumped" in line for line in part(made(reader_of, "steady_load"), "Young player").sentences
    )


def test_in_an_academy_that_is_not_a_demo_the_week_ends_today(reader_of):
    reader = reader_of("real", "h01")
    assert lesson.as_of(reader, "s01") == reader.today


def test_without_a_limit_the_staff_read_where_to_set_it_and_a_family_whom_to_ask():
    week = (date(2026, 3, 17), date(2026, 3, 23), None)
    said = sentences.week_sentence(0.0, 1, *week)
    assert "Practice on 1\u00a0day was not timed. The academy has set no limit yet: young_practice" in said
    over = sentences.week_sentence(90.0, 1, *week[:2], 60.0)
    assert over.endswith(
        "over the academy's limit of 60\u00a0minutes a week. Practice on 1\u00a0day was not timed."
    )
    assert sentences.week_sentence(0.0, 0, *week, staff=False).endswith("no limit yet; ask your coach.")


def test_the_first_lesson_has_a_sheet_that_says_what_to_do(reader_of):
    page = made(reader_of, "empty")
    assert page.today[0].title == "Today"
    assert page.today[0].sentences == (
        (
            "The first lesson. Ask what they came for and whether anything hurts, then measure ten swings at "
            "full pace, all with the same club: then there is an aim."
        ),
    )
    assert part(page, "Last visit").sentences[0] == "No visit yet."


def test_the_first_lesson_says_what_others_of_the_level_have_most(reader_of, homes):
    changed(homes, "one_new", *NOTES_ONLY, "DELETE FROM academy.note", "DELETE FROM academy.drill_dose",
            "INSERT INTO season.student_fault_rate (season, student, fault, club_family, span, flagged, usable, rate, label, "
            "n_sessions) VALUES ('2026', 's02', 'stays_centred', 'iron', 'now', 6, 15, 0.4, 'not_clear', 3), "
            "('2026', 's03', 'stays_centred', 'iron', 'now', 4, 15, 0.25, 'not_clear', 3), "
            "('2026', 's03', 'trail_heel_down', 'iron', 'now', 2, 15, 0.1, 'not_clear', 3)")  # fmt: skip
    assert part(made(reader_of, "one_new"), "Today").sentences[-1] == (
        "Of 2\u00a0students of level club, 2 have “little load to the trail side”, more than any other fault: "
        "look for it first."
    )


def test_of_one_session_the_aim_is_a_first_look(reader_of, homes):
    changed(
        homes, "once", "DELETE FROM academy.drill_dose", *(
            "DELETE FROM academy.session WHERE student = 's01' AND day <> DATE '2026-03-23'",
        ), "UPDATE season.student_fault_rate SET rate = 0.5 WHERE span = 'now'",
    )  # fmt: skip
    assert (
        part(made(reader_of, "once"), "Today").sentences[-1]
        == "One session so far: a first look, not yet a habit."
    )
    assert not any("first look" in said for said in part(made(reader_of, "full"), "Today").sentences)


def test_faults_without_room_are_named_and_only_rare_ones_are_called_rare(reader_of, homes):
    # Eight faults show in half of the swings and more, one is Better at one of fifteen, two are rare.
    rates = [(f"often{k}", 8 + k, "not_clear") for k in range(8)]
    rates += [("fixed", 1, "better"), ("rare1", 0, "not_clear"), ("rare2", 1, "not_clear")]
    changed(
        homes, "many_faults", "DELETE FROM season.student_fault_rate",
        *(
            "INSERT INTO academy.fault (fault, name, phase, looks_like, position, metrics, rule, "
            '"limit", clear, in_words) '
            f"VALUES ('{code}', 'Fault {code}', 'back', 'It looks so.', {10 + k}, ['stance_width_mm'], 'above', "
            "[1], 1, 'over {limit}')"
            for k, (code, *_) in enumerate(rates)
        ),
        *(
            "INSERT INTO season.student_fault_rate (season, student, fault, club_family, span, flagged, usable, "
            "rate, rate_lo, rate_hi, label, n_sessions) "
            f"VALUES ('2026', 's01', '{code}', 'iron', 'now', {n}, 15, {n / 15}, 0, 1, '{label}', 3)"
            for code, n, label in rates
        ),
    )  # fmt: skip
    faults = part(made(reader_of, "many_faults"), "Faults now")
    assert set(faults.rows["Fault"]) == {"Fault fixed", *(f"Fault often{k}" for k in range(3, 8))}
    assert faults.sentences == (
        "3 more show up as well: Fault often2, Fault often1 and Fault often0.",
        "2\u00a0other faults checked: each in fewer than one swing in ten lately, and no clear change.",
    )


def test_a_student_with_notes_alone_is_not_measured_and_the_sheet_says_what_was_set(reader_of, homes):
    changed(homes, "sheet_of_notes", *NOTES_ONLY)
    page = made(reader_of, "sheet_of_notes")
    assert "measured in 0\u00a0sessions" in page.about
    assert "last on" not in page.about
    assert part(page, "Today's fault: trail heel still down at impact").sentences == (
        "Named on 2 February 2026 with the drill “Heel-off strikes”, and not met yet. Not measured yet.",
    )
    assert part(page, "Last visit").sentences[0] == (
        "Last visit on 23 March 2026. Set: Heel-off strikes, 20\u00a0times, at half pace. "
        "Plan of 2 February 2026 (Caro Lindt): Keep the heel light."
    )
    changed(homes, "nothing_named", *NOTES_ONLY, "DELETE FROM academy.drill_dose")
    assert part(made(reader_of, "nothing_named"), "Today").sentences == (
        "Nothing is measured yet. Ten swings at full pace, all with the same club, give this sheet an aim.",
    )


def test_a_session_with_a_clip_alone_counts_as_measured(reader_of, homes):
    changed(homes, "clip_alone", *NOTES_ONLY, FILM_AGREED,
            "UPDATE academy.session SET has_clip = true WHERE session = '2026-02-09-s01'")  # fmt: skip
    person = people.student(reader_of("clip_alone", "h01"), "s01")
    assert (person["sessions"], person["first_day"], person["last_day"]) == (
        1,
        date(2026, 2, 9),
        date(2026, 2, 9),
    )


def test_the_picture_of_the_season_has_a_key_of_its_points_and_bars_and_of_no_line_that_is_not_there(
    reader_of,
):
    [shown] = [part.picture for part in made(reader_of, "full").parts if part.picture]
    assert "Each point is one session" in shown.key
    assert "inside the bar" in shown.key
    assert "shading" not in shown.key  # no line was fitted to this fault


def test_the_newest_session_day_is_now(reader_of):
    assert lesson.as_of(reader_of("full", "h01")) == date(2026, 3, 23)
