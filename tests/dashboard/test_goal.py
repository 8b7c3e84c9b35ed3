"""What a player came for, the ball's answer, and the next pace: on the pages of the coach and of the player."""

from datetime import date, datetime, timedelta

import polars as pl
import pytest

from dashboard import goal
from dashboard.pages.notes import lines as notes
from dashboard.pages.progress import next_pace
from dashboard.pages.progress.content import progress_html, progress_page
from dashboard.queries import people
from dashboard.student_season import StudentSeason
from models.season import ball_season
from warehouse.errors import CallError
from warehouse.store import writer

START, NBSP = date(2026, 1, 12), "\u00a0"
GOAL = "Reach the green on the seventh"


def add_goal(w, code="farther", shared=True, text=GOAL, day="2026-02-03"):
    w.execute(
        'INSERT INTO academy.note (note, student, "at", day, author, kind, code, text, shared, delivery, loose) '
        f"VALUES ('{day}', 's01', '{day}', '{day}', 'c01', 'goal', '{code}', '{text}', {shared}, 'x', true)"
    )


def add_ball(w, label="improving"):
    keys = {"season": "2026", "student": "s01", "club_family": "iron"}
    days = [START + timedelta(days=14 * k) for k in range(6)]
    w.append(
        "season.session_ball",
        pl.DataFrame(
            [
                keys | {"session": f"{day}-s01", "started_at": datetime.combine(day, datetime.min.time()), "day": day,
                        "club": "7-iron", "outcome": outcome, "value": value + step * k, "lo": value + step * k - 4 * step,
                        "hi": value + step * k + 4 * step, "n": 6}
                for outcome, value, step in (("carry_m", 120.0, 2.0), ("strike_ratio", 1.30, 0.01))
                for k, day in enumerate(days)
            ]
        ),
    )  # fmt: skip
    fit = {"n_sessions": 6, "start_value": 120.0, "value_now": 130.0, "change": 10.0, "change_lo": 8.0, "change_hi": 12.0,
           "p": 0.001, "q": 0.004}  # fmt: skip
    w.append("season.ball_trend", pl.DataFrame([keys | fit | {"outcome": "carry_m", "label": label}]))


def add_paces(w, holds_at="slow"):
    rows = [
        {"season": "2026", "student": "s01", "fault": "trail_heel_down", "club_family": "iron", "pace": pace, "flagged": 1,
         "usable": 10, "rate": 0.1, "rate_lo": 0.0, "rate_hi": 0.3, "p_seldom": 0.9, "holds_at": holds_at,
         "clean_swings_wanted": 14, "n_sessions": 3}
        for pace in ("slow", "half", "full")
    ]  # fmt: skip
    w.append("season.pace_ladder", pl.DataFrame(rows, schema_overrides={"holds_at": pl.String}))


@pytest.fixture
def with_goal(homes):
    home = homes("goal")
    with writer(home) as w:
        if w.sql("SELECT count(*) FROM academy.note WHERE kind = 'goal'").item() == 0:
            add_goal(w, text="An old goal", day="2026-01-13")
            add_goal(w)
            add_ball(w)
            add_paces(w)
            w.execute("UPDATE academy.note SET grade = 3 WHERE note = 'n4'")
            w.publish()
    return "goal"


@pytest.mark.parametrize("path", ["student", "lesson", "progress"])
def test_the_latest_goal_is_on_each_page_in_the_players_words(visit, page_text, unfold, with_goal, path):
    text = page_text(unfold(visit(with_goal, path, "c01", student="s01", clubs="iron")))
    assert GOAL in text
    assert "since 13 January" not in text
    assert "The goal of 13 January" not in text


def test_the_student_page_shows_the_ball_over_the_season_with_its_doubt(visit, page_text, with_goal):
    at = visit(with_goal, "student", "c01", student="s01", clubs="iron")
    assert not at.exception
    text = page_text(at)
    assert "What the ball does" in text
    assert f"Change over 6{NBSP}sessions: +10{NBSP}m, 90{NBSP}% between +8{NBSP}m and +12{NBSP}m" in text
    charts = "".join(str(chart.proto) for chart in at.get("vega_lite_chart"))
    assert "Carry with the 7-iron" in charts
    strike = page_text(visit(with_goal, "student", "c01", student="s01", clubs="iron", result="strike_ratio"))
    assert "divided by how fast the club arrives" in strike


def test_of_few_sessions_it_says_of_what_and_how_many_a_change_needs(reader_of, homes):
    home = homes("goal-few")
    with writer(home) as w:
        add_goal(w, code="more_solid")
        add_ball(w)
        w.execute("DELETE FROM season.session_ball WHERE outcome = 'strike_ratio' AND day > '2026-02-10'")
        w.publish()
    reader = reader_of("goal-few", "c01")
    chosen = StudentSeason(reader, people.student(reader, "s01"), "2026", "iron")
    assert goal.ball_sentence(chosen) == (
        "The ball, ball speed over club speed with the 7-iron: 1.32 at the last session. "
        f"3{NBSP}sessions with at least five full shots so far, and a change is judged from six on."
    )
    assert ball_season.LEAST_SESSIONS == 6


def test_the_player_reads_goal_ball_and_next_pace_plainly(reader_of, with_goal):
    reader = reader_of(with_goal, "s01")
    page = progress_page(reader, people.student(reader, "s01"))
    assert page.goal[0] == f"Your goal since 3 February 2026: “{GOAL}” (farther)."
    assert page.goal[1].startswith(f"The ball at your last session: carry 130{NBSP}m with the 7-iron.")
    assert page.goal[1].endswith("most likely more than chance, and enough to matter.")
    pace = page.focus.pace
    assert (pace.pace, pace.reps) == ("half", 20)  # the coach's own dose
    assert pace.sentences[0] == "It holds at a slow pace. The next step is half pace."
    assert pace.sentences[2].endswith("it felt easy.")
    paper = progress_html(reader, "s01")
    assert "Slow first, then faster" in paper
    assert "<script" not in paper


def test_a_growing_player_is_not_told_to_swing_more_often_at_full_pace_than_the_limit_of_a_day(
    reader_of, homes
):
    with writer(homes("goal-limit")) as w:
        add_paces(w, holds_at="half")
        w.publish()
    for toml, reps in (("", 20), ("young_full_swings_a_day = 12\n", 12)):
        file = homes("goal-limit").settings_file
        file.write_text(toml + file.read_text())
        reader = reader_of("goal-limit", "s01")
        pace = progress_page(reader, people.student(reader, "s01")).focus.pace
        assert (pace.pace, pace.reps) == ("full", reps)


def test_the_list_to_tick_off_has_a_line_for_each_practice(reader_of, with_goal):
    reader = reader_of(with_goal, "s01")
    page = progress_page(reader, people.student(reader, "s01"))
    text = next_pace.ticks_html(page.name, page.focus.drill, page.focus.pace, page.focus.cautions)
    assert "20 times at half pace" in text
    assert "felt in between" in text
    assert text.count("<tr>") == next_pace.PRACTICES + 1
    assert "Stop at any pain in the calf." in text


def test_another_player_and_another_coach_see_none_of_it(reader_of, with_goal):
    for person in ("s02", "c02"):
        reader = reader_of(with_goal, person)
        for table in ("session_ball", "ball_trend", "pace_ladder"):
            assert reader.sql(f"SELECT * FROM {table} WHERE student = 's01'").is_empty()
    assert not reader_of(with_goal, "s01").sql("SELECT * FROM session_ball").is_empty()


def test_while_something_hurts_no_pace_is_suggested(homes, reader_of):
    with writer(homes("goal-hurts")) as w:
        add_paces(w)
        w.execute(
            'INSERT INTO academy.note (note, student, "at", day, author, kind, code, shared, delivery, loose) '
            "VALUES ('h', 's01', '2026-03-02', '2026-03-02', 'c01', 'discomfort', 'knee', true, 'x', true)"
        )
        w.publish()
    reader = reader_of("goal-hurts", "s01")
    assert progress_page(reader, people.student(reader, "s01")).focus.pace is None


def test_at_full_pace_there_is_no_next_one(homes, reader_of):
    with writer(homes("goal-full")) as w:
        add_paces(w, "full")
        w.publish()
    reader = reader_of("goal-full", "s01")
    assert progress_page(reader, people.student(reader, "s01")).focus.pace is None


def line_of(**form):
    quiet = {"grade": "2", "dose": "20", "unit": "reps", "pace": "half", "place": "home", "shared": True}
    (line,) = notes.lines(quiet | form, author="c01", student="s01", now=datetime(2026, 3, 24).astimezone())
    return {key: value for key, value in line.items() if key not in ("student", "author", "at")}


def test_the_form_keeps_a_goal_and_how_practice_felt():
    assert line_of(goal_words=GOAL, goal="farther") == {
        "kind": "goal", "code": "farther", "text": GOAL, "shared": True,
    }  # fmt: skip
    assert line_of(practised="d01", practice_reps="30", practice_pace="slow", practice_felt="1") == {
        "kind": "practice", "code": "d01", "value": 30.0, "unit": "reps", "pace": "slow", "grade": 1,
        "place": "home", "shared": True,
    }  # fmt: skip


@pytest.mark.parametrize(
    ("form", "said"),
    [
        ({"goal": "farther"}, "own words are missing"),
        ({"practised": "d01", "practice_reps": "2.5"}, "a whole number"),
        ({"practised": "d01", "practice_reps": "5", "minutes": "5"}, "write one of them"),
    ],
)
def test_a_form_that_cannot_be_meant_says_why(form, said):
    with pytest.raises(CallError, match=said):
        line_of(**form)
