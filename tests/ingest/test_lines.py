"""Rosters, notes, shots, clips, holds: what their lines become, and which are refused."""

import json

import numpy as np
import pytest

NOTES = """\
session,student,at,author,kind,swing_no,code,grade,value,value_to,unit,pace,place,text,shared
v1,,2026-05-05T10:20:00+01:00,c1,saw,1,late_crossing,2,,,,,,"late, by a lot",yes
v1,,2026-05-05T10:25:00+01:00,c1,drill,,d2,,20,,,,,,false
v1,,2026-05-05T10:30:00+01:00,c1,steadiness,,back,1,,,eyes closed,,,,
,s1,2026-05-07T19:00,s1,practice,,d1,,15,,minutes,slow,,,true
,s1,2026-05-08,c1,target,,mid_back_trail_share_pct,,60,70,,,,,true
,s1,2026-05-09,c1,discomfort,,knee,,,,,,,sore,false
"""


NO_FALLS = "student,at,author,kind,grade\ns1,2026-05-01,c1,falls,0\n"


def drop_notes(academy, made, text, name="notes.csv"):
    """Deliver a session and notes of s1, who said before that they had not fallen; returns the second report."""
    (academy.inbox / "notes-falls.csv").write_text(NO_FALLS)
    academy.load()
    made.deliver(academy.inbox / "v1", made.toml(), made.plate())
    (academy.inbox / name).write_text(text)
    return academy.load()


def test_notes_become_notes_doses_and_nudge_checks(academy, made):
    report = drop_notes(academy, made, NOTES)
    assert report.refused == []
    assert (report.rows["note"], report.rows["drill_dose"], report.rows["steadiness"]) == (6, 2, 1)
    dose = 'SELECT drill, kind, place, dose, unit, pace, CAST(day AS VARCHAR) FROM academy.drill_dose ORDER BY "at"'
    assert academy.sql(dose).rows() == [
        ("d2", "drill", "lesson", 20.0, "reps", None, "2026-05-05"),
        ("d1", "practice", "home", 15.0, "minutes", "slow", "2026-05-07"),
    ]
    nudge = "SELECT direction, lost, eyes, session FROM academy.steadiness"
    assert academy.sql(nudge).rows() == [("back", True, "closed", "v1")]
    saw = "SELECT student, swing_no, code, grade, text, shared, loose FROM academy.note WHERE kind = 'saw'"
    assert academy.sql(saw).rows() == [("s1", 1, "late_crossing", 2, "late, by a lot", True, True)]


def test_a_nudge_check_in_one_line_is_one_note_and_a_row_for_each_direction(academy, made):
    text = "student,at,author,kind,held,lost,unit,announced,stood_by\n"
    text += "s1,2026-05-06,c1,steadiness,forward toward,away back,,no,Wren\n"
    report = drop_notes(academy, made, text)
    assert (report.refused, report.rows["note"], report.rows["steadiness"]) == ([], 1, 4)
    rows = academy.sql(
        "SELECT direction, lost, eyes, announced, stood_by FROM academy.steadiness ORDER BY direction"
    ).rows()
    assert rows == [
        ("away", True, "closed", False, "Wren"), ("back", True, "closed", False, "Wren"),
        ("forward", False, "closed", False, "Wren"), ("toward", False, "closed", False, "Wren"),
    ]  # fmt: skip
    assert academy.sql("SELECT held, lost FROM academy.note WHERE kind = 'steadiness'").rows() == [
        ("forward toward", "back away")
    ]


def test_what_a_player_felt_and_what_no_plate_measures_are_notes(academy, made):
    text = "session,student,at,author,kind,code,grade,swing_no,drill\n"
    text += "v1,,2026-05-06,s1,felt,lead_heel_light,0,2,\n,s1,2026-05-06,s1,felt,trail_heel_light,1,,d2\n"
    text += ",s1,2026-05-06,c1,saw,hips_wind,2,,\n"
    assert drop_notes(academy, made, text).refused == []
    felt = "SELECT code, grade, swing_no, drill FROM academy.note WHERE kind = 'felt' ORDER BY code"
    assert academy.sql(felt).rows() == [("lead_heel_light", 0, 2, None), ("trail_heel_light", 1, None, "d2")]


@pytest.mark.parametrize(
    ("line", "reason", "column"),
    [
        (",,back,back,,Wren,,", "unknown_value", "lost"),
        (",,up,,,Wren,,", "unknown_value", "held"),
        ("back,1,forward,,,Wren,,", "unknown_value", "code"),
        (",,forward,back,closed,,,", "empty_value", "stood_by"),
        (",,forward,back,shut,Wren,,", "unknown_value", "unit"),
        (",,forward,back,,Wren,,c1", "unknown_person", "overruled_by"),
        (",,forward,back,,Wren,,x9", "unknown_person", "overruled_by"),
    ],
)
def test_a_nudge_check_that_contradicts_itself_is_refused(academy, made, line, reason, column):
    text = "student,at,author,kind,code,grade,held,lost,unit,stood_by,drill,overruled_by\n"
    report = drop_notes(academy, made, f"{text}s1,2026-05-06,c1,steadiness,{line}\n")
    assert [(r.reason, r.column) for r in report.refused] == [(reason, column)]


def test_a_time_without_offset_in_a_note_is_the_academy_s_own_clock(academy, made):
    drop_notes(academy, made, NOTES)
    # 19:00 in Dublin in May is 18:00 UTC; a bare day is its midnight there.
    times = "SELECT kind, CAST(\"at\" AS VARCHAR), CAST(day AS VARCHAR) FROM academy.note WHERE kind IN ('practice', 'target')"
    assert sorted(academy.sql(times).rows()) == [
        ("practice", "2026-05-07 18:00:00", "2026-05-07"),
        ("target", "2026-05-07 23:00:00", "2026-05-08"),
    ]


def test_json_lines_read_as_csv_does(academy, made, tmp_path):
    other = made.make_academy(tmp_path / "other")
    other.roster()
    other.load()
    drop_notes(other, made, NOTES)
    head, *lines = NOTES.splitlines()
    rows = [dict(zip(head.split(","), line.split(","), strict=False)) for line in lines if '"' not in line]
    rows.append(
        {"session": "v1", "at": "2026-05-05T10:20:00+01:00", "author": "c1", "kind": "saw", "swing_no": 1}
        | {"code": "late_crossing", "grade": 2, "text": "late, by a lot", "shared": True}
    )
    drop_notes(academy, made, "\n".join(json.dumps(row) for row in rows), "notes.jsonl")
    columns = 'note, session, student, "at", author, kind, code, grade, value, text, shared'
    query = f"SELECT {columns} FROM academy.note ORDER BY note"
    assert academy.sql(query).rows() == other.sql(query).rows()


def test_the_same_note_in_two_files_is_one_note(academy, made):
    drop_notes(academy, made, NOTES)
    (academy.inbox / "notes-again.csv").write_text(NOTES + ",s2,2026-05-10,c1,plan,,,,,,,,,More.,true\n")
    report = academy.load()
    assert report.rows == {"note": 1}
    assert report.touched >= {"s2"}
    other = "SELECT count(*), count(DISTINCT note) FROM academy.note WHERE kind <> 'falls'"
    assert academy.sql(other).rows() == [(7, 7)]


BAD_NOTES = {
    "an unknown fault": (",s1,2026-05-05,c1,saw,,slice,2,,,,,,,", "unknown_value", "code"),
    "a grade of four": (",s1,2026-05-05,c1,saw,,late_crossing,4,,,,,,,", "out_of_range", "grade"),
    "no grade": (",s1,2026-05-05,c1,saw,,late_crossing,,,,,,,,", "out_of_range", "grade"),
    "an unknown drill": (",s1,2026-05-05,c1,drill,,d9,,,,,,,,", "unknown_drill", "code"),
    "minus five reps": (",s1,2026-05-05,c1,drill,,d1,,-5,,,,,,", "out_of_range", "value"),
    "a dose in miles": (",s1,2026-05-05,c1,practice,,d1,,5,,miles,,,,", "unknown_value", "unit"),
    "a nudge upward": (",s1,2026-05-05,c1,steadiness,,up,1,,,open,,,,", "unknown_value", "code"),
    "a nudge neither held nor lost": (
        ",s1,2026-05-05,c1,steadiness,,back,2,,,open,,,,",
        "out_of_range",
        "grade",
    ),
    "an unknown feeling": (",s1,2026-05-05,s1,felt,,happy,1,,,,,,,", "unknown_value", "code"),
    "felt half way": (",s1,2026-05-05,s1,felt,,lead_heel_light,2,,,,,,,", "out_of_range", "grade"),
    "an unknown metric": (",s1,2026-05-05,c1,target,,swagger,,1,2,,,,,", "unknown_value", "code"),
    "a target upside down": (",s1,2026-05-05,c1,target,,backswing_s,,3,2,,,,,", "out_of_range", "value_to"),
    "an empty plan": (",s1,2026-05-05,c1,plan,,,,,,,,,,", "empty_value", "text"),
    "an unknown author": (",s1,2026-05-05,c9,plan,,,,,,,,,x,", "unknown_person", "author"),
    "an unknown student": (",s9,2026-05-05,c1,plan,,,,,,,,,x,", "unknown_person", "student"),
    "nobody": (",,2026-05-05,c1,plan,,,,,,,,,x,", "empty_value", "student"),
    "an unknown session": ("v9,,2026-05-05,c1,plan,,,,,,,,,x,", "unknown_session", "session"),
    "another's session": ("v1,s2,2026-05-05,c1,plan,,,,,,,,,x,", "unknown_person", "student"),
    "an unknown swing": ("v1,,2026-05-05,c1,plan,9,,,,,,,,x,", "unmatched_swing", "swing_no"),
    "a day that is none": (",s1,2026-02-30,c1,plan,,,,,,,,,x,", "bad_value", "at"),
    "an unknown kind": (",s1,2026-05-05,c1,gossip,,,,,,,,,x,", "unknown_value", "kind"),
    "a word for a number": (",s1,2026-05-05,c1,drill,,d1,,many,,,,,,", "bad_value", "value"),
}


@pytest.mark.parametrize("case", BAD_NOTES)
def test_a_bad_line_is_refused_alone_and_the_others_land(case, academy, made):
    line, reason, column = BAD_NOTES[case]
    report = drop_notes(academy, made, NOTES + line + "\n")
    (refused,) = report.refused
    assert (refused.reason, refused.column, refused.file, refused.line) == (reason, column, "notes.csv", 8)
    assert report.rows["note"] == 6


def test_a_line_is_counted_in_the_file_even_below_a_text_of_several_lines(academy, made):
    text = NOTES.replace("late, by a lot", "late,\nby a lot") + "\n,s1,2026-05-05,c9,plan,,,,,,,,,x,\n"
    (refused,) = drop_notes(academy, made, text).refused
    assert text.splitlines()[refused.line - 1].startswith(",s1,2026-05-05,c9")


def test_a_notes_file_with_no_good_line_is_refused_whole(academy, made):
    head = NOTES.splitlines()[0]
    report = drop_notes(academy, made, head + "\n,s9,2026-05-05,c1,plan,,,,,,,,,x,\n")
    assert [r.reason for r in report.refused] == ["unknown_person"]
    assert academy.waiting() == [f"notes.csv-{report.refused[0].delivery[:8]}"]
    landed = "SELECT count(*) FROM academy.delivery WHERE kind = 'notes'"
    assert academy.sql(landed).item() == 1  # that of the falls


def test_a_session_of_notes_only_has_no_device(academy, made):
    text = "at,author,kind,text,shared\n2026-05-05,c1,plan,Talked.,true\n"
    made.deliver(academy.inbox / "v1", made.toml(swings=0, device=None), notes__csv=text)
    assert academy.load().accepted == ["v1"]
    assert academy.sql("SELECT device, has_plate, has_clip FROM academy.session").rows() == [
        (None, False, False)
    ]


def test_loose_shots_land_and_a_later_one_takes_the_place_of_an_earlier(academy, made):
    made.deliver(academy.inbox / "v1", made.toml(), made.plate())
    (academy.inbox / "shots.csv").write_text(
        "session,swing_no,carry_m,side_m,ball_speed_m_s\nv1,1,140,-3,60\nv1,2,150,1,\n"
    )
    assert academy.load().rows["shot"] == 2
    (academy.inbox / "shots.csv").write_text("session,swing_no,carry_m,side_m\nv1,1,145,-2\n")
    academy.load()
    rows = academy.sql("SELECT swing_no, carry_m, side_m, ball_speed_m_s FROM academy.shot ORDER BY 1").rows()
    assert rows == [(1, 145.0, -2.0, None), (2, 150.0, 1.0, None)]


@pytest.mark.parametrize(
    ("line", "reason"),
    [
        ("v9,1,1,1", "unmatched_swing"),
        ("v1,9,1,1", "unmatched_swing"),
        ("v1,1,1400,1", "out_of_range"),
        ("v1,2,9,9", "shot_twice"),
    ],
)
def test_a_bad_shot_is_refused_by_its_line(academy, made, line, reason):
    made.deliver(academy.inbox / "v1", made.toml(), made.plate())
    (academy.inbox / "shots.csv").write_text(f"session,swing_no,carry_m,side_m\nv1,2,150,1\n{line}\n")
    (refused,) = academy.load().refused
    assert (refused.reason, refused.line) == (reason, 3)
    assert academy.sql("SELECT count(*) FROM academy.shot").item() == 1


CLIP = '[clip]\nfps = 60\nshoe_length_mm = 290\nview = "face_on"\n'


def clip_rows(swings=(1,), sides=("lead", "trail"), frames=3):
    rows = [
        f"{no},{frame},{side}_{part},{(160 if side == 'lead' else 100) + frame},{400 - frame},0.9"
        for no in swings
        for frame in range(frames)
        for side in sides
        for part in ("heel", "toe")
    ]
    return "swing_no,frame,point,x_px,y_px,score\n" + "\n".join(rows) + "\n"


def test_a_session_of_clips_only_lands_its_points(academy, made):
    sheet = made.toml(
        device=None, swings=[], more="\n[[swing]]\nno = 1\n[swing.clip_events]\ntop = 0.5\n" + CLIP
    )
    made.deliver(academy.inbox / "v1", sheet, clip__csv=clip_rows())
    assert academy.load().refused == []
    assert academy.sql("SELECT count(*) FROM academy.clip_point").item() == 12
    swing = "SELECT rate_hz, n_samples, device, heel_source, file_flags FROM academy.swing"
    assert academy.sql(swing).rows() == [(None, 0, None, "none", [])]
    assert academy.sql("SELECT event, t_s, clock FROM academy.swing_event").rows() == [("top", 0.5, "clip")]
    assert academy.sql("SELECT has_plate, has_clip, clip_fps, clip_view FROM academy.session").rows() == [
        (False, True, 60.0, "face_on")
    ]


def test_left_and_right_points_of_a_left_hander_become_lead_and_trail(academy, made):
    (academy.inbox / "consents.csv").write_text("student,given_by,purpose,from,to\ns2,g2,film,2026-01-01,\n")
    sheet = made.toml(student="s2", more="\n" + CLIP)
    made.deliver(
        academy.inbox / "v1",
        sheet,
        made.plate(),
        clip__csv=clip_rows(sides=("left", "right")).replace(",100,400", ",111,444", 1),
    )
    assert academy.load().refused == []
    # The first row is the left heel: a left-hander's trail foot is the left.
    found = academy.sql("SELECT point FROM academy.clip_point WHERE x_px = 111").rows()
    assert found == [("trail_heel",)]


def test_a_clip_needs_a_consent_to_film(academy, made):
    made.deliver(
        academy.inbox / "v1", made.toml(student="s2", more="\n" + CLIP), made.plate(), clip__csv=clip_rows()
    )
    (refused,) = academy.load().refused
    assert refused.reason == "no_consent"
    assert "film" in refused.sentence


@pytest.mark.parametrize(
    ("line", "reason"),
    [
        ("2,0,lead_knee,1,1,1", "unknown_value"),
        ("2,0,lead_heel,1,1,7", "out_of_range"),
        ("9,0,lead_heel,1,1,1", "unmatched_swing"),
    ],
)
def test_a_bad_line_of_a_clip_refuses_its_swing(academy, made, line, reason):
    text = clip_rows((1,)) + line + "\n"
    made.deliver(academy.inbox / "v1", made.toml(more="\n" + CLIP), made.plate(), clip__csv=text)
    (refused,) = academy.load().refused
    assert (refused.reason, refused.swing_no, refused.line) == (reason, int(line[0]), 14)


HOLD = '\n[[hold]]\nno = 9\neyes = "open"\nfrom_s = {0}\nto_s = {1}\n'


def test_a_hold_lands_with_its_span(academy, made):
    frame = made.plate(2).vstack(made.plate([9], seconds=25))
    made.deliver(academy.inbox / "v1", made.toml(more=HOLD.format(1, 22)), frame)
    assert academy.load().refused == []
    hold = "SELECT swing_no, eyes, seconds, from_s, to_s, rate_hz, n_samples, path_mm FROM academy.hold"
    assert academy.sql(hold).rows() == [(9, "open", 21.0, 1.0, 22.0, 100.0, 2501, None)]
    assert academy.trace("v1").swing_no.tolist() == [1, 2, 9]
    assert academy.sql("SELECT count(*) FROM academy.swing").item() == 2


@pytest.mark.parametrize(
    ("span", "said"), [((1, 9), "at least 10 s"), ((1, 30), "outside the hold's samples")]
)
def test_a_hold_too_short_or_outside_its_samples_is_refused(academy, made, span, said):
    frame = made.plate(2).vstack(made.plate([9], seconds=25))
    made.deliver(academy.inbox / "v1", made.toml(more=HOLD.format(*span)), frame)
    (refused,) = academy.load().refused
    assert refused.swing_no == 9
    assert said in refused.sentence
    assert academy.trace("v1").swing_no.tolist() == [1, 2]


BAD_ROSTERS = {
    "an unknown role": ("people.csv", "s9,caddie,X Y,,,,,,2026-01-01,", "unknown_value", "role"),
    "an unknown hand": ("people.csv", "s9,student,X Y,,both,,,,2026-01-01,", "unknown_value", "handed"),
    "a foot in inches": ("people.csv", "s9,student,X Y,,right,10.5,,,2026-01-01,", "out_of_range", "foot_length_mm"),
    "a day the wrong way round": ("people.csv", "s9,student,X Y,31/12/1990,right,,,,2026-01-01,", "bad_value", "born"),
    "a person twice": ("people.csv", "s1,student,X Y,,right,,,,2026-01-01,", "key_twice", "person"),
    "a guardian of nobody": ("people.csv", "g9,guardian,X Y,,,,,s77,2026-01-01,", "unknown_person", "guardian_of"),
    "gone before they came": ("people.csv", "s9,student,X Y,,,,,,2026-01-01,2025-01-01", "dates", "left"),
    "a code with a slash": ("people.csv", "s/9,student,X Y,,,,,,2026-01-01,", "bad_name", "person"),
    "no name": ("people.csv", "s9,student,,,,,,,2026-01-01,", "empty_value", "display_name"),
    "a stranger coached": ("coaching.csv", "s77,c1,2026-01-01,", "unknown_person", "student"),
    "a student coaching": ("coaching.csv", "s1,s2,2026-01-01,", "unknown_person", "coach"),
    "an aim nobody knows": ("drills.csv", "d9,Nine,charm,How.,,", "unknown_value", "aim"),
    "seasons that overlap": ("seasons.csv", "late,2026-09-01,2026-12-31", "dates", "from"),
    "a season that ends before it starts": ("seasons.csv", "x,2027-09-01,2027-01-31", "dates", "to"),
    "a consent to anything": ("consents.csv", "s1,s1,everything,2026-01-01,", "unknown_value", "purpose"),
    "a consent of a coach": ("consents.csv", "c1,c1,measure,2026-01-01,", "unknown_person", "student"),
}  # fmt: skip


@pytest.mark.parametrize("case", BAD_ROSTERS)
def test_one_bad_line_refuses_the_roster_file_whole(case, academy, made):
    file, line, reason, column = BAD_ROSTERS[case]
    before = academy.tables(without=("academy.refusal",))
    (academy.inbox / file).write_text(made.roster[file] + line + "\n")
    report = academy.load()
    (refused,) = report.refused
    at = made.roster[file].count("\n") + 1
    assert (refused.reason, refused.column, refused.file, refused.line) == (reason, column, file, at)
    assert academy.tables(without=("academy.refusal",)) == before


def test_roster_rows_are_upserts_by_key_and_none_leaves(academy, made):
    head = made.roster["people.csv"].splitlines()[0]
    (academy.inbox / "people.csv").write_text(
        head + "\ns1,student,Ada F. Renamed,1988-02-03,right,250,club,,2025-03-01,2026-08-01\n"
    )
    report = academy.load()
    assert report.rows == {"person": 1}
    assert academy.sql(
        "SELECT display_name, CAST(\"left\" AS VARCHAR) FROM academy.person WHERE person = 's1'"
    ).rows() == [("Ada F. Renamed", "2026-08-01")]
    assert academy.sql("SELECT count(*) FROM academy.person").item() == 6


def test_a_guardian_may_answer_for_several(academy, made):
    (academy.inbox / "people.csv").write_text(made.roster["people.csv"].replace(",s2,2025", ",s2 s1,2025"))
    academy.load()
    assert academy.sql("SELECT guardian_of FROM academy.person WHERE person = 'g2'").item().to_list() == [
        "s2",
        "s1",
    ]


def test_stance_and_clip_offset_stand_in_the_rows(academy, made):
    stance = "[stance]\nlead_heel = [200, 0]\nlead_toe = [220, 250]\ntrail_heel = [-200, 0]\ntrail_toe = [-220, 250]\n"
    sheet = made.toml(more="\n" + stance + CLIP + "offset_s = 1.25\n")
    made.deliver(academy.inbox / "v1", sheet, made.plate(), clip__csv=clip_rows((1, 2)))
    assert academy.load().refused == []
    held = academy.sql("SELECT stance_mm FROM academy.session").item().to_list()
    assert np.array_equal(held, [200, 0, 220, 250, -200, 0, -220, 250])
    assert academy.sql("SELECT DISTINCT clip_offset_s FROM academy.swing").rows() == [(1.25,)]


def test_lots_are_noted_on_plans_and_doses(academy, made):
    text = (
        NOTES.replace("text,shared\n", "text,shared,drawn_against\n", 1)
        .replace("yes\n", "yes,\n")
        .replace("false\n", "false,\n")
    )
    text = text.replace("true\n", "true,\n").replace("closed,,,,\n", "closed,,,,,\n")
    text += ",s1,2026-05-08,c1,plan,,d2,,,,,,,,false,d1\nv1,,2026-05-05T10:26:00+01:00,c1,drill,,d1,,20,,,,,,,d2\n"
    assert drop_notes(academy, made, text).refused == []
    noted = "SELECT kind, code, drawn_against FROM academy.note WHERE drawn_against IS NOT NULL ORDER BY kind"
    assert academy.sql(noted).rows() == [("drill", "d1", "d2"), ("plan", "d2", "d1")]
    assert academy.sql("SELECT drill, drawn_against FROM academy.drill_dose ORDER BY 1, 2").rows() == [
        ("d1", "d2"), ("d1", None), ("d2", None),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("line", "reason"),
    [
        (",s1,2026-05-05,c1,plan,,d2,,,,,,,x,,d2", "unknown_value"),
        (",s1,2026-05-05,c1,plan,,d2,,,,,,,x,,d9", "unknown_drill"),
        (",s1,2026-05-05,c1,talked,,m,,,,,,,x,,d2", "unknown_value"),
    ],
)
def test_a_lot_that_says_nothing_is_refused(academy, made, line, reason):
    header = NOTES.split("\n", 1)[0] + ",drawn_against\n"
    (refused,) = drop_notes(academy, made, header + line + "\n").refused
    assert (refused.reason, refused.column) == (reason, "drawn_against")


@pytest.mark.parametrize(
    ("line", "reason"),
    [
        (",s1,2026-05-08,s1,goal,farther,,Reach the pond in two", None),
        (",s1,2026-05-08,c1,goal,,,Enjoy it more", None),
        (",s1,2026-05-08,c1,goal,farther,,", "empty_value"),
        (",s1,2026-05-08,c1,goal,win,,Win", "unknown_value"),
        (",s1,2026-05-08,s1,practice,d1,3,", None),
        (",s1,2026-05-08,s1,practice,d1,0,", "out_of_range"),
    ],
)
def test_a_goal_has_the_players_words_and_practice_says_how_it_felt(academy, made, line, reason):
    report = drop_notes(academy, made, f"session,student,at,author,kind,code,grade,text\n{line}\n")
    assert [refusal.reason for refusal in report.refused] == ([] if reason is None else [reason])


AIM = "student,at,author,kind,code,kindred,due,value\n"


def test_an_agreed_aim_is_kept_with_its_metrics_and_its_day(academy, made):
    line = "s1,2026-05-06,c1,agreed_aim,recentre_pts,lead_heel_lightens_pts  trail_heel_lightens_pts,2026-08-01,3\n"
    report = drop_notes(academy, made, AIM + line)
    assert report.refused == []
    kept = "SELECT code, kindred, CAST(due AS VARCHAR), value FROM academy.note WHERE kind = 'agreed_aim'"
    assert academy.sql(kept).rows() == [
        ("recentre_pts", "lead_heel_lightens_pts trail_heel_lightens_pts", "2026-08-01", 3.0)
    ]


@pytest.mark.parametrize(
    ("line", "reason", "said"),
    [
        (",,2026-08-01,", "empty_value", "needs a metric as its code"),
        ("mid_back_trail_share_pct,,2026-08-01,", "unknown_value", "of which more, or less, is better"),
        ("recentre_pts,heels,2026-08-01,", "unknown_value", '"heels" is not a metric of which'),
        ("recentre_pts,recentre_pts,2026-08-01,", "unknown_value", "recentre_pts is in the aim twice"),
        ("recentre_pts,,,", "empty_value", "the day by which it is to be reached"),
        ("recentre_pts,,2026-05-06,", "out_of_range", "must be after the day it is agreed"),
        ("recentre_pts,,2028-05-06,", "out_of_range", "within a year of it"),
        ("recentre_pts,,2026-08-01,-2", "out_of_range", "must be over 0"),
    ],
)
def test_an_agreed_aim_that_cannot_be_answered_is_refused(academy, made, line, reason, said):
    report = drop_notes(academy, made, AIM + f"s1,2026-05-06T10:00,c1,agreed_aim,{line}\n")
    assert [found.reason for found in report.refused] == [reason]
    assert said in report.refused[0].sentence
