"""Notes that set what age or pain rules out: stopped alone, with the reason and a safe choice, unless overruled."""

import json

import pytest

from ingest.load import replay

HEAD = "student,at,author,kind,code,held,lost,unit,stood_by,value,overruled_by\n"
DRILLS = """\
drill,name,aim,how,cautions,min_age
d1,Slow start,rocking_start,Start in slow motion.,,
d2,Step through,late_crossing,Step to the target.,Clear space.,
d3,Quiet feet,late_crossing,Close your eyes and breathe.,,
d4,Grown step,late_crossing,Breathe out.,,16
"""
CHILD = "s2"  # born 2012-05-06: turns 14 the day after the first of these notes


@pytest.fixture
def ready(academy):
    (academy.inbox / "drills.csv").write_text(DRILLS)
    assert academy.load().refused == []
    return academy


def drop(academy, *lines, name="notes.csv"):
    (academy.inbox / name).write_text(HEAD + "".join(f"{line}\n" for line in lines))
    return academy.load()


def stopped(report):
    assert {r.reason for r in report.refused} == {"ruled_out"}
    return [r.sentence for r in report.refused]


@pytest.mark.parametrize(
    ("line", "said", "instead"),
    [
        (
            "s2,2026-05-05,c1,drill,d3,,,,,,",
            "Quiet feet (d3) is for ages 14 and over",
            "set Step through (d2)",
        ),
        (
            "s2,2026-05-05,c1,plan,d4,,,,,,",
            "Grown step (d4) is for ages 16 and over",
            "set Step through (d2)",
        ),
        (
            "s2,2026-05-05,c1,steadiness,,forward,,closed,Wren,,",
            "Nudge check with eyes closed is for ages 14",
            "eyes open",
        ),
    ],
)
def test_what_age_rules_out_is_stopped_with_a_safe_choice_and_the_rest_lands(ready, line, said, instead):
    report = drop(ready, line, "s2,2026-05-05,c1,drill,d2,,,,,5,")
    (sentence,) = stopped(report)
    assert said in sentence
    assert instead in sentence
    assert "s2 is not known to be on 2026-05-05" in sentence
    assert report.rows["note"] == 1


FALLS = "at,author,kind,student,grade\n{day},c1,falls,s2,{grade}\n"


def asked(academy, day, grade):
    (academy.inbox / "notes-falls.csv").write_text(FALLS.format(day=day, grade=grade))
    return academy.load()


def test_it_is_the_age_on_the_day_of_the_note_that_counts(ready):
    assert asked(ready, "2026-05-06", 0).refused == []
    report = drop(ready, "s2,2026-05-06,c1,drill,d3,,,,,,", "s2,2026-05-06,c1,steadiness,,back,,,Wren,,")
    assert (report.refused, report.rows["note"]) == ([], 2)


@pytest.mark.parametrize(
    ("day", "grade", "said"),
    [
        ("2026-05-07", 0, "not for s2 until they have said whether they fell in the year before 2026-05-06; ask them and add a falls line with grade 0 (no) or 1 (yes), set Step through (d2)"),
        ("2025-05-06", 0, "not for s2 until they have said whether they fell"),
        ("2026-05-05", 1, "not for s2, who has fallen in the year before 2026-05-06; set Step through (d2)"),
    ],
)  # fmt: skip
def test_a_drill_with_eyes_closed_is_stopped_until_a_no_to_falls_of_the_past_year(ready, day, grade, said):
    assert asked(ready, day, grade).refused == []
    (sentence,) = stopped(drop(ready, "s2,2026-05-06,c1,drill,d3,,,,,,", "s2,2026-05-06,c1,drill,d2,,,,,,"))
    assert f"Quiet feet (d3) is {said}" in sentence


def test_an_answer_about_falls_is_yes_or_no(ready):
    (refused,) = asked(ready, "2026-05-06", 2).refused
    assert "grade is 2 but must be 1 (fell) or 0 (did not)" in refused.sentence


def test_falls_asked_in_the_session_count_for_its_own_drill_and_a_correction_takes_them_back(ready, made):
    notes = "at,author,kind,code,grade\n2026-05-05T10:05,c1,falls,,0\n2026-05-05T10:20,c1,drill,d3,\n"
    made.deliver(ready.inbox / "v1", made.toml(), made.plate(), notes__csv=notes)
    assert ready.load().refused == []
    corrected = notes.replace("falls,,0", "falls,,1")
    made.deliver(ready.inbox / "v1", made.toml(), made.plate(), notes__csv=corrected)
    (sentence,) = stopped(ready.load())
    assert "Quiet feet (d3) is not for s1, who has fallen" in sentence


def test_practice_that_was_done_is_kept_whatever_the_age(ready):
    assert drop(ready, "s2,2026-05-05,c1,practice,d4,,,,,5,").refused == []


def test_a_drill_that_may_load_what_hurts_is_stopped_until_that_is_over(ready):
    assert drop(ready, "s1,2026-05-05T10:00,c1,discomfort,left_knee,,,,,,").refused == []
    (sentence,) = stopped(drop(ready, "s1,2026-05-06,c1,drill,d2,,,,,,", name="notes-2.csv"))
    assert (
        "may load the left knee of s1, whose discomfort is still open; set Slow start (d1) instead"
        in sentence
    )
    earlier = drop(ready, "s1,2026-05-04,c1,drill,d2,,,,,,", name="notes-3.csv")
    assert earlier.refused == []
    over = drop(
        ready,
        "s1,2026-05-07,c1,discomfort_over,left knee,,,,,,",
        "s1,2026-05-07,c1,drill,d2,,,,,,",
        name="notes-4.csv",
    )
    assert over.refused == []


def test_the_sore_place_and_the_drill_of_one_session_are_seen_together_and_a_correction_brings_it_back(
    ready, made
):
    notes = "at,author,kind,code\n2026-05-05T10:05,c1,discomfort,knee\n2026-05-05T10:20,c1,drill,d2\n"
    made.deliver(ready.inbox / "v1", made.toml(), made.plate(), notes__csv=notes)
    (sentence,) = stopped(ready.load())
    assert sentence.startswith(
        "Session v1, notes.csv line 3, column code: Step through (d2) may load the knee"
    )
    again = made.deliver(ready.inbox / "v1", made.toml(), made.plate(), notes__csv=notes)
    report = ready.load()
    assert (report.unchanged, again.exists()) == (["v1"], False)
    corrected = notes.replace("2026-05-05T10:05,c1,discomfort,knee\n", "")
    made.deliver(ready.inbox / "v1", made.toml(), made.plate(), notes__csv=corrected)
    assert ready.load().refused == []
    assert ready.sql("SELECT kind FROM academy.note").rows() == [("drill",)]


def test_a_head_coach_may_overrule_and_is_named_in_the_note_and_in_the_event_log(ready):
    report = drop(ready, "s2,2026-05-05,c1,steadiness,,forward,back,closed,Wren,,h1")
    assert report.refused == []
    assert ready.sql("SELECT overruled_by FROM academy.note").item() == "h1"
    events = [json.loads(line) for line in ready.home.events.read_text().splitlines()]
    (event,) = [event for event in events if event["event"] == "overruled"]
    assert {key: event[key] for key in ("by", "student", "why", "what")} == {
        "by": "h1", "student": "s2", "why": ["age"], "what": "nudge_check_closed",
    }  # fmt: skip


def test_a_rebuild_stops_the_notes_that_were_stopped_and_no_others(ready, made, tmp_path):
    notes = "at,author,kind,code\n2026-05-05T10:05,c1,discomfort,knee\n2026-05-05T10:20,c1,drill,d2\n"
    made.deliver(ready.inbox / "v1", made.toml(), made.plate(), notes__csv=notes)
    drop(ready, "s2,2026-05-05,c1,drill,d3,,,,,,", "s2,2026-05-05,c1,drill,d2,,,,,,")
    (ready.inbox / "people.csv").write_text(made.roster["people.csv"].replace("right,250", "left,250"))
    ready.load()  # reads v1 again
    twin = type(ready)(ready.twin(tmp_path / "twin"))
    assert twin.with_writer(replay).notices == []
    assert twin.tables() == ready.tables()
    assert twin.sql("SELECT kind, code FROM academy.note ORDER BY ALL").rows() == [
        ("discomfort", "knee"),
        ("drill", "d2"),
    ]
    assert twin.sql("SELECT count(*) FROM academy.refusal WHERE reason = 'ruled_out'").item() == 2


def test_notes_that_landed_before_there_was_a_rule_stay_in_a_rebuild(ready, made, tmp_path):
    drop(ready, "s2,2026-05-06,c1,drill,d4,,,,,,h1", "s2,2026-05-06,c1,drill,d3,,,,,,h1")
    (ready.inbox / "drills.csv").write_text(
        DRILLS.replace("d3,Quiet feet,late_crossing,Close", "d3,Quiet feet,x,Close")
    )
    ledger = ready.home.ledger.read_text()
    assert "ruled_out" not in ledger
    twin = type(ready)(ready.twin(tmp_path / "twin"))
    twin.home.settings_file.write_text("eyes_closed_from_age = 18\n" + made.settings)
    twin.with_writer(replay)
    assert twin.sql("SELECT code FROM academy.note ORDER BY code").rows() == [("d3",), ("d4",)]


def test_what_one_session_says_of_falls_counts_for_the_next_ones_of_the_same_load(ready, made):
    falls = "at,author,kind,code,grade\n2026-05-05T10:05,c1,falls,,0\n"
    made.deliver(ready.inbox / "v1", made.toml(), made.plate(), notes__csv=falls)
    for day in (6, 7):
        toml = made.toml(session=f"v{day}").replace("2026-05-05", f"2026-05-0{day}")
        notes = f"at,author,kind,code\n2026-05-0{day}T10:20,c1,drill,d3\n"
        made.deliver(ready.inbox / f"v{day}", toml, made.plate(), notes__csv=notes)
    assert ready.load().refused == []
