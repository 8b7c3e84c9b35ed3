"""Every kind of bad delivery: one sentence with its place, and nothing half loaded."""

import json
import re

import polars as pl
import pytest

from ingest.load import retry
from warehouse.store import writer

BINARY = bytes(range(256)) * 20


def toml_line(made, old, new, **more):
    text = made.toml(**more)
    assert old in text
    return text.replace(old, new)


# name → (folder writer, reason, what the sentence must say, line)
SESSIONS = {
    "a missing column": (lambda d, m: m.deliver(d, m.toml(), m.plate().drop("trail_n")), "missing_column", "trail_n", 1),
    "a strange column": (
        lambda d, m: m.deliver(d, m.toml(), m.plate().with_columns(mood=pl.lit(1))), "unknown_column", '"mood"', 1),
    "a column twice": (
        lambda d, m: m.deliver(d, m.toml(), plate__csv="swing_no,t_s,t_s,lead_n,trail_n\n1,0,0,1,1\n"),
        "column_twice", "t_s appears twice", 1),
    "an empty plate file": (lambda d, m: m.deliver(d, m.toml(), plate__csv=""), "empty_file", "plate.csv: the file is empty", None),
    "a header and nothing else": (lambda d, m: m.deliver(d, m.toml(), m.plate().head(0)), "empty_file", "no samples", None),
    "a binary plate file": (lambda d, m: m.deliver(d, m.toml(), plate__csv=BINARY), "binary_file", "plate.csv: the file is not text", None),
    "a plate file that is not UTF-8": (
        lambda d, m: m.deliver(d, m.toml(), plate__csv="swing_no,t_s,lead_n,trail_n,lead_along_pct,trail_along_pct,é\n".encode("latin-1")),
        "unreadable", "plate.csv: byte", None),
    "a Parquet file that is none": (lambda d, m: m.deliver(d, m.toml(), plate__parquet=BINARY), "unreadable", "plate.parquet", None),
    "a row with too many cells": (
        lambda d, m: m.deliver(d, m.toml(), plate__csv=m.plate().write_csv().replace("\n1,0.5,", "\n1,9,9,0.5,")),
        "unreadable", "cells", 52),
    "an unknown student": (lambda d, m: m.deliver(d, m.toml(student="s99"), m.plate()), "unknown_person", "student s99 is not in people.csv", 2),
    "a coach for a student": (lambda d, m: m.deliver(d, m.toml(student="c1"), m.plate()), "unknown_person", "student c1 is a coach", 2),
    "an unknown coach": (lambda d, m: m.deliver(d, toml_line(m, '"c1"', '"c9"'), m.plate()), "unknown_person", "coach c9", 3),
    "an unknown device": (lambda d, m: m.deliver(d, m.toml(device="abacus"), m.plate()), "unknown_device", '"abacus"', 6),
    "no device": (lambda d, m: m.deliver(d, m.toml(device=None), m.plate()), "unknown_device", "no device", None),
    "a start without offset": (
        lambda d, m: m.deliver(d, m.toml(started_at="2026-05-05T10:00:00"), m.plate()), "no_offset", "offset", 4),
    "no start": (lambda d, m: m.deliver(d, toml_line(m, "started_at", "begun_at"), m.plate()), "unknown_key", '"begun_at"', 4),
    "a start that is a text": (
        lambda d, m: m.deliver(d, m.toml(started_at='"noon"'), m.plate()), "no_time", '"noon"', 4),
    "a start in another century": (
        lambda d, m: m.deliver(d, m.toml(started_at="9998-05-05T10:00:00Z"), m.plate()), "in_the_future", "two days ahead", None),
    "a key of thousands of parts": (
        lambda d, m: m.deliver(d, "x" + ".x" * 100_000 + " = 1\n" + m.toml(), m.plate()), "unreadable_toml", "more than 16 parts", 1),
    "brackets within one another by the thousand": (
        lambda d, m: m.deliver(d, "x = " + "[" * 100_000 + "\n" + m.toml(), m.plate()), "unreadable_toml", "More than 16 brackets", 1),
    "tables within one another by the thousand": (
        lambda d, m: m.deliver(d, "x = " + "{ x = " * 50_000 + "\n" + m.toml(), m.plate()), "unreadable_toml", "More than 16 brackets", 1),
    "a session.toml of a hundred thousand swings": (
        lambda d, m: m.deliver(d, m.toml() + "\n[[swing]]\nno = 3\n" * 100_000, m.plate()), "unreadable_toml", "larger than 1 MB", None),
    "a session.toml that is not TOML": (lambda d, m: m.deliver(d, "session = = 3\n", m.plate()), "unreadable_toml", "session.toml line 1", 1),
    "a name that climbs out": (lambda d, m: m.deliver(d, m.toml("../v1"), m.plate()), "bad_name", '"../v1"', 1),
    "a name with a slash": (lambda d, m: m.deliver(d, m.toml("a/b"), m.plate()), "bad_name", "letters, digits", 1),
    "no name": (lambda d, m: m.deliver(d, toml_line(m, 'session = "v1"', ""), m.plate()), "missing_key", "session name", None),
    "a body mass in pounds": (lambda d, m: m.deliver(d, m.toml(head="body_mass_kg = 1540"), m.plate()), "out_of_range", "15 to 250", 7),
    "a misspelt line": (lambda d, m: m.deliver(d, m.toml(head="body_mas_kg = 70"), m.plate()), "unknown_key", '"body_mas_kg"', 7),
    "no consent for the day": (
        lambda d, m: m.deliver(d, m.toml(started_at="2025-05-05T10:00:00Z"), m.plate()), "no_consent", "s1 on 2025-05-05", None),
    "feet by side of a golfer of no known hand": (
        lambda d, m: m.deliver(d, m.toml(student="s3"), m.plate().rename(lambda c: c.replace("lead_", "left_").replace("trail_", "right_"))),
        "no_handedness", "which hand s3 plays with", 1),
    "events.csv without its columns": (
        lambda d, m: m.deliver(d, m.toml(), m.plate(), events__csv="swing,event\n1,top\n"), "missing_column", "swing_no", 1),
    "a notes file without its columns": (
        lambda d, m: m.deliver(d, m.toml(), m.plate(), notes__csv="when,what\n1,2\n"), "missing_column", "at", 1),
    "nothing measured, nothing noted": (lambda d, m: m.deliver(d, m.toml(swings=0, device=None)), "no_swing_left", "no swing", None),
    "a clip without its table": (
        lambda d, m: m.deliver(d, m.toml(), m.plate(), clip__csv="swing_no,frame,point,x_px,y_px,score\n1,0,lead_heel,1,1,1\n"),
        "no_clip_table", "[clip]", None),
}  # fmt: skip


@pytest.mark.parametrize("case", SESSIONS)
def test_a_bad_session_is_refused_in_one_sentence_and_leaves_nothing(case, academy, made):
    write, reason, said, line = SESSIONS[case]
    write(academy.inbox / "v1", made)
    before = academy.tables(without=("academy.refusal",))
    report = academy.load()
    assert report.accepted == []
    (refused,) = report.refused
    assert (refused.reason, refused.line) == (reason, line), refused
    assert said in refused.sentence
    assert re.fullmatch(r"[^\n]+[^.]\.\)?\.?", refused.sentence)
    assert "Error" not in refused.sentence
    assert academy.tables(without=("academy.refusal",)) == before
    assert list(academy.home.traces.rglob("*.parquet*")) == []
    assert academy.left_in_inbox() == []
    assert len(academy.waiting()) == 1
    assert academy.sql("SELECT count(*) FROM academy.refusal").item() == 1


def set_cell(frame, row, **values):
    here = pl.int_range(pl.len()) == row
    return frame.with_columns(
        **{name: pl.when(here).then(pl.lit(v)).otherwise(pl.col(name)) for name, v in values.items()}
    )


def swap_far(frame):
    """Rows 100 and 150 of the first swing change places: the clock runs back."""
    order = list(range(len(frame)))
    order[100], order[150] = order[150], order[100]
    return frame[order]


# name → (frame maker, reason, what the sentence must say, line, column)
SWINGS = {
    "a load far too high": (lambda f: set_cell(f, 10, lead_n=9000.0), "out_of_range", "9000", 12, "lead_n"),
    "a load far below zero": (lambda f: set_cell(f, 10, trail_n=-25.0), "out_of_range", "-25", 12, "trail_n"),
    "a load that is a word": (lambda f: set_cell(f.cast({"lead_n": pl.String}), 10, lead_n="heavy"), "bad_value", '"heavy"', 12, "lead_n"),
    "an empty load": (lambda f: set_cell(f, 10, lead_n=None), "empty_value", "empty", 12, "lead_n"),
    "an infinite time": (lambda f: set_cell(f, 10, t_s=float("inf")), "out_of_range", "t_s", 12, "t_s"),
    "a position off the foot": (lambda f: set_cell(f, 10, lead_along_pct=140.0), "out_of_range", "140", 12, "lead_along_pct"),
    "no position under load": (lambda f: set_cell(f, 10, lead_along_pct=None), "empty_value", "empty", 12, "lead_along_pct"),
    "a heel heavier than its foot": (
        lambda f: f.with_columns(lead_heel_n=pl.col("lead_n") + 30.0, trail_heel_n=pl.lit(0.0)), "heel_over_foot", "whole foot", 2, "lead_heel_n"),
    "a time given twice": (lambda f: set_cell(f, 10, t_s=0.09), "same_time_twice", "0.09", 12, "t_s"),
    "a clock that runs back": (swap_far, "clock_runs_back", "runs back", 103, "t_s"),
    "a sampling rate too low": (lambda f: f.with_columns(t_s=pl.col("t_s") * 3), "rate", "33.33 Hz", 2, "t_s"),
    "a clock in the wrong unit": (lambda f: f.with_columns(t_s=pl.col("t_s") / 1000), "rate", "50 to 2000 Hz", 2, "t_s"),
}  # fmt: skip


@pytest.mark.parametrize("case", SWINGS)
def test_a_bad_swing_is_refused_with_its_place_and_the_other_loads(case, academy, made):
    spoil, reason, said, line, column = SWINGS[case]
    bad = spoil(made.plate(1))
    good = made.plate([2])
    frame = pl.concat([bad, good.cast({c: bad.schema[c] for c in good.columns})], how="diagonal")
    if "lead_heel_n" in frame.columns:
        frame = frame.with_columns(pl.col("lead_heel_n", "trail_heel_n").fill_null(0.0))
    made.deliver(academy.inbox / "v1", made.toml(), frame)
    report = academy.load()
    assert report.accepted == ["v1"]
    (refused,) = report.refused
    found = (refused.session, refused.swing_no, refused.reason, refused.file, refused.line, refused.column)
    assert found == ("v1", 1, reason, "plate.csv", line, column)
    assert said in refused.sentence
    assert refused.sentence.startswith(f"Swing 1 of v1, plate.csv line {line}, column {column}: ")
    assert academy.sql("SELECT swing_no FROM academy.swing").rows() == [(2,)]
    assert academy.trace("v1").swing_no.tolist() == [2]


def events(**changes):
    marks = {"address": 0.2, "takeaway": 0.4, "top": 1.2, "impact": 1.5, "finish": 1.9} | changes
    return {name: value for name, value in marks.items() if value is not None}


EVENTS = {
    "events out of order": (
        events(top=1.6),
        "events_out_of_order",
        "impact (1.5 s) must come after top (1.6 s)",
    ),
    "two events at one time": (events(top=1.5), "events_out_of_order", "must come after"),
    "an event before the samples": (events(address=-1.0), "event_outside", "outside the swing's samples"),
    "an event after the samples": (events(finish=2.5), "event_outside", "0 to 2 s"),
    "an event of an unknown name": (events(apex=1.3), "event_name", '"apex" is not an event'),
    "an event that is a word": (events(top='"late"'), "event_name", "must be a time in seconds"),
}


@pytest.mark.parametrize("case", EVENTS)
def test_a_swing_with_wrong_events_is_refused(case, academy, made):
    marks, reason, said = EVENTS[case]
    sheet = made.toml(swings=1, events=marks) + "\n[[swing]]\nno = 2\n"
    made.deliver(academy.inbox / "v1", sheet, made.plate())
    (refused,) = academy.load().refused
    assert (refused.swing_no, refused.reason, refused.file) == (1, reason, "session.toml")
    assert said in refused.sentence
    assert sheet.splitlines()[refused.line - 1].startswith(refused.column)
    assert academy.sql("SELECT swing_no FROM academy.swing").rows() == [(2,)]


def test_an_event_given_in_both_places_is_given_twice(academy, made):
    made.deliver(
        academy.inbox / "v1",
        made.toml(),
        made.plate(),
        events__csv="swing_no,event,t_s,clock\n2,top,1.2,plate\n",
    )
    (refused,) = academy.load().refused
    assert (refused.swing_no, refused.reason, refused.file, refused.line) == (
        2,
        "event_twice",
        "events.csv",
        2,
    )


@pytest.mark.parametrize(
    ("line", "reason"),
    [
        ("1,apex,1.2,plate", "unknown_value"),
        ("1,top,noon,plate", "bad_value"),
        ("9,top,1.2,plate", "unmatched_swing"),
        ("1,top,1.2,moon", "unknown_value"),
    ],
)
def test_a_bad_line_of_events_csv_refuses_its_swing(academy, made, line, reason):
    text = "swing_no,event,t_s,clock\n2,top,1.2,plate\n" + line + "\n"
    made.deliver(academy.inbox / "v1", made.toml(events={}), made.plate(), events__csv=text)
    (refused,) = academy.load().refused
    assert (refused.reason, refused.file, refused.line) == (reason, "events.csv", 3)
    assert refused.swing_no == int(line[0])


def test_samples_of_a_swing_that_session_toml_does_not_name_are_refused(academy, made):
    made.deliver(academy.inbox / "v1", made.toml(swings=1), made.plate([1, 7]))
    (refused,) = academy.load().refused
    assert (refused.swing_no, refused.reason, refused.line) == (7, "unmatched_swing", 203)


def test_a_swing_without_samples_is_refused(academy, made):
    made.deliver(academy.inbox / "v1", made.toml(swings=2), made.plate(1))
    (refused,) = academy.load().refused
    assert (refused.swing_no, refused.reason) == (2, "no_samples")


def test_a_swing_number_given_twice_is_refused(academy, made):
    made.deliver(academy.inbox / "v1", made.toml(swings=[1, 2, 2]), made.plate(2))
    (refused,) = academy.load().refused
    assert (refused.swing_no, refused.reason) == (2, "swing_twice")
    assert academy.sql("SELECT swing_no FROM academy.swing").rows() == [(1,)]


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ('part = "warm_up"', "part"),
        ('pace = "brisk"', "pace"),
        ('drill = "d99"', "drills.csv"),
        ('club = "broom"', "club family"),
        ('paces = "full"', "paces"),
    ],
)
def test_a_swing_described_wrongly_is_refused_on_its_line(academy, made, line, said):
    sheet = made.toml(swings=1) + f"\n[[swing]]\nno = 2\n{line}\n"
    made.deliver(academy.inbox / "v1", sheet, made.plate())
    (refused,) = academy.load().refused
    assert refused.swing_no == 2
    assert said in refused.sentence
    assert sheet.splitlines()[refused.line - 1] == line


def test_no_swing_left_refuses_the_session_and_lists_each(academy, made):
    made.deliver(academy.inbox / "v1", made.toml(), made.plate().with_columns(lead_n=pl.lit(9e6)))
    report = academy.load()
    assert report.accepted == []
    assert [(r.session, r.swing_no) for r in report.refused] == [("v1", 1), ("v1", 2)]
    assert academy.sql("SELECT count(*) FROM academy.session").item() == 0


def test_an_unknown_unit_names_the_device_and_the_units_that_fit(bare, made):
    bare.home.settings_file.write_text(made.settings.replace('"lbf"', '"stones"'))
    bare.roster()
    frame = made.plate().rename(lambda c: {"swing_no": "Rep", "t_s": "Clock"}.get(c, c))
    frame = frame.with_columns(pl.col("lead_n").alias("L Force"), pl.col("trail_n").alias("R Force"))
    made.deliver(bare.inbox / "v1", made.toml(device="imperial"), frame)
    (refused,) = bare.load().refused
    assert refused.reason == "unit"
    assert refused.column == "L Force"
    assert '"stones" is not a unit that fits here; use one of N, kN, kgf, lbf' in refused.sentence
    assert "[device.imperial.columns]" in refused.sentence


CONSENT = "student,given_by,purpose,from,to\n{},{},measure,2026-01-01,{}\n"


def whys(academy):
    found = [json.loads(why.read_text()) for why in academy.home.refused.glob("*/why.json")]
    return {told["delivery"]: told.get("superseded_by") for told in found}


def test_a_retry_does_not_bring_an_old_refused_roster_file_over_the_newer_one(academy):
    file = academy.inbox / "consents.csv"
    people = "person,role,display_name,born,handed,foot_length_mm,level,guardian_of,joined,left\n"
    newcomer = people + "s9,student,Una Reed,1990-01-01,right,250,club,,2025-03-01,\n"
    for end in ("2026-02-01", "2026-03-01"):
        file.write_text(CONSENT.format("s9", "s9", end))
        assert [r.reason for r in academy.load().refused] == ["unknown_person"]
    (first,) = [told for told, by in whys(academy).items() if by is not None]
    (second,) = [told for told, by in whys(academy).items() if by is None]
    assert whys(academy)[first] == second
    (academy.inbox / "people.csv").write_text(newcomer)
    file.write_text(CONSENT.format("s9", "s9", "2026-12-01"))
    assert academy.load().refused == []
    assert set(whys(academy)) == {first, second}
    assert None not in whys(academy).values()
    with writer(academy.home) as w:
        report = retry(academy.home, w)
    assert (report.files, report.refused) == ({}, [])
    (last,) = academy.sql("SELECT \"to\" FROM academy.consent WHERE student = 's9'").to_series()
    assert f"{last}" == "2026-12-01"


def test_the_latest_refused_roster_file_is_the_one_a_retry_takes(academy):
    for end in ("2026-02-01", "2026-03-01", "2026-04-01", "2026-05-01"):
        (academy.inbox / "consents.csv").write_text(CONSENT.format("s9", "s9", end))
        academy.load()
    (academy.inbox / "people.csv").write_text(
        "person,role,display_name,born,handed,foot_length_mm,level,guardian_of,joined,left\n"
        "s9,student,Una Reed,1990-01-01,right,250,club,,2025-03-01,\n"
    )
    academy.load()
    with writer(academy.home) as w:
        assert retry(academy.home, w).refused == []
    (last,) = academy.sql("SELECT \"to\" FROM academy.consent WHERE student = 's9'").to_series()
    assert f"{last}" == "2026-05-01"
