"""Refresh and build: what a load's rows become, the same every time, whole or not at all; and the plan."""

import re
from dataclasses import replace

import pytest

import builders
import models.build
import models.plan
from landed_session import land_session
from models.build import build, refresh
from models.parameters import load_parameter, save_parameters
from models.plan import PLAN, plan_rows
from models.season.reliability import calibration_rows
from warehouse.errors import UnderfootError
from warehouse.store import Writer, writer
from warehouse.tables import columns, table_names

SWINGS = 4


def land(w, session, student="s1", *, shift=0.0, **more):
    """A session of `SWINGS` swings; the path of its trace."""
    return land_session(w, session, student, shifts=[shift] * SWINGS, **more)


def contents(w):
    """Every filled table, rows in order, but the time of a fit."""
    return {
        table: w.sql(f"SELECT * FROM {table} ORDER BY ALL")
        for table in (*(table for step in PLAN for table in step.tables), "academy.swing", "academy.session")
    }


def same(one, other):
    return all(one[table].equals(other[table]) for table in one)


@pytest.fixture
def open_writer(home):
    with writer(home) as w:
        w.append("academy.person", builders.people_frame())
        yield w


def test_a_refresh_reduces_what_waits_and_answers_for_its_student(home, open_writer):
    land(open_writer, "a")
    done = refresh(home, open_writer)
    assert (done.sessions, done.swings, done.students, done.problems) == (1, SWINGS, ["s1"], [])
    assert open_writer.sql("SELECT reduced FROM academy.session").item()
    assert open_writer.sql("SELECT bool_and(usable) FROM academy.swing").item()
    found = open_writer.sql(
        "SELECT mean, n FROM season.session_metric WHERE metric = 'impact_lead_share_pct'"
    ).row(0)
    assert found == (pytest.approx(74, abs=1.0), SWINGS)  # the key point at impact
    for table in (
        "academy.swing_fault",
        "season.session_fault",
        "season.student_fault_rate",
        "season.data_health",
    ):
        assert open_writer.sql(f"SELECT count(*) FROM {table}").item() > 0, table


def test_refreshing_or_building_again_changes_nothing(home, open_writer):
    for day in range(3):
        land(open_writer, f"a{day}", day=10 * day, seed=day)
    refresh(home, open_writer)
    first = contents(open_writer)
    assert refresh(home, open_writer).sessions == 0
    assert same(first, contents(open_writer))
    build(home, open_writer)
    built, fits = contents(open_writer), open_writer.sql("SELECT * FROM academy.parameter ORDER BY ALL")
    build(home, open_writer)
    assert same(built, contents(open_writer))
    assert fits.equals(open_writer.sql("SELECT * FROM academy.parameter ORDER BY ALL"))


def test_sessions_loaded_one_by_one_and_built_equal_sessions_built_at_once(home, tmp_path, open_writer):
    other_home = builders.make_home(tmp_path / "other")
    with writer(other_home) as other:
        other.append("academy.person", builders.people_frame())
        for day in range(4):
            land(open_writer, f"a{day}", "s1" if day % 2 else "s2", day=10 * day, seed=day)
            refresh(home, open_writer)
            land(other, f"a{day}", "s1" if day % 2 else "s2", day=10 * day, seed=day)
        build(home, open_writer)
        build(other_home, other)
        assert same(contents(open_writer), contents(other))


def test_other_students_rows_are_left_alone(home, open_writer):
    land(open_writer, "a", "s1")
    land(open_writer, "b", "s2", seed=2)
    build(home, open_writer)
    before = open_writer.sql("SELECT * FROM season.session_metric WHERE student = 's2' ORDER BY ALL")
    land(open_writer, "c", "s1", day=9, seed=3)
    assert refresh(home, open_writer).students == ["s1"]
    assert before.equals(
        open_writer.sql("SELECT * FROM season.session_metric WHERE student = 's2' ORDER BY ALL")
    )
    assert open_writer.sql("SELECT count(DISTINCT session) FROM season.session_metric").item() == 3


def test_a_corrected_session_replaces_its_rows_even_for_another_student(home, open_writer):
    land(open_writer, "a", "s1")
    refresh(home, open_writer)
    for table in ("session", "swing", "swing_event"):
        open_writer.execute(f"DELETE FROM academy.{table} WHERE session = 'a'")
    land(open_writer, "a", "s2", shift=-8.0)
    assert refresh(home, open_writer).students == ["s1", "s2"]
    rows = open_writer.sql(
        "SELECT student, mean FROM season.session_metric WHERE metric = 'impact_lead_share_pct'"
    )
    assert rows.rows() == [("s2", pytest.approx(66, abs=1.0))]
    assert open_writer.sql("SELECT count(*) FROM academy.swing_metric").item() == SWINGS
    assert open_writer.sql("SELECT count(DISTINCT student) FROM season.student_fault_rate").item() == 1


def test_missing_samples_are_reported_and_the_session_waits(home, open_writer):
    gone = land(open_writer, "a")
    land(open_writer, "b", day=3, seed=2)
    kept = gone.read_bytes()
    gone.unlink()
    done = refresh(home, open_writer)
    assert len(done.problems) == 1
    assert "Session a was not reduced and waits" in done.problems[0]
    assert open_writer.sql("SELECT session FROM academy.session WHERE reduced").to_series().to_list() == ["b"]
    assert open_writer.sql("SELECT DISTINCT session FROM season.session_metric").to_series().to_list() == [
        "b"
    ]
    gone.write_bytes(kept)
    assert refresh(home, open_writer).problems == []
    assert open_writer.sql("SELECT count(DISTINCT session) FROM season.session_metric").item() == 2


def test_a_step_that_fails_leaves_everything_as_it_was(home, open_writer, monkeypatch):
    land(open_writer, "a")
    refresh(home, open_writer)
    before = contents(open_writer)

    def fail(_run):
        raise UnderfootError("Stopped.")

    monkeypatch.setattr(models.build, "PLAN", (*PLAN, replace(PLAN[-1], make=fail)))
    with pytest.raises(UnderfootError, match=r"Stopped\."):
        build(home, open_writer)
    assert same(before, contents(open_writer))


def test_lines_wait_for_a_build_and_a_refresh_then_answers_from_its_fit(home, open_writer):
    for student in range(6):
        for visit in range(3):
            shift = 2.0 * student + 3.0 * visit
            land(
                open_writer,
                f"a{student}{visit}",
                f"s{student}",
                day=20 * visit,
                shift=shift,
                seed=7 * student + visit,
            )
    refresh(home, open_writer)
    labels = open_writer.sql("SELECT DISTINCT label FROM season.student_trend").to_series().to_list()
    assert "not_clear" in labels
    assert not {"improving", "slipping"} & set(labels)
    assert open_writer.sql("SELECT count(*) FROM season.trend_line").item() == 0
    assert open_writer.sql("SELECT count(*) FROM season.reliability").item() == 0
    build(home, open_writer)
    built = contents(open_writer)
    row = open_writer.sql(
        "SELECT start_value, value_now, change FROM season.student_trend "
        "WHERE student = 's3' AND metric = 'mid_down_lead_share_pct'"
    ).row(0, named=True)
    assert row["change"] == pytest.approx(6.0, abs=1.5)  # planted: three points a visit
    assert len(built["season.trend_line"]) > 0
    assert len(built["season.reliability"]) > 10
    open_writer.execute("UPDATE academy.session SET reduced = false WHERE student = 's3'")
    assert refresh(home, open_writer).students == ["s3"]
    assert same(built, contents(open_writer))


def test_an_empty_academy_builds_to_empty_answers(home, open_writer):
    assert build(home, open_writer).swings == 0
    assert open_writer.sql("SELECT count(*) FROM season.session_metric").item() == 0
    assert open_writer.sql("SELECT count(*) FROM academy.metric").item() > 30


def test_a_build_keeps_the_faults_of_a_student_together_however_visits_take_turns(
    home, open_writer, monkeypatch
):
    monkeypatch.setattr(models.plan, "JUDGED_AT_ONCE", 3)  # the limit falls within a student's sessions
    for day, student in enumerate(("s1", "s2", "s1", "s2")):
        land(open_writer, f"d{day}", student, day=day)
    build(home, open_writer)
    kept = open_writer.sql("SELECT student, session FROM academy.swing_fault")
    assert kept.unique(maintain_order=True).rows() == [("s1", "d0"), ("s1", "d2"), ("s2", "d1"), ("s2", "d3")]


def test_a_build_forgets_sessions_that_are_no_more(home, open_writer):
    land(open_writer, "a")
    build(home, open_writer)
    for table in ("session", "swing", "swing_event"):
        open_writer.execute(f"DELETE FROM academy.{table}")
    build(home, open_writer)
    for table in (
        "academy.swing_metric",
        "academy.swing_fault",
        "season.session_metric",
        "season.student_fault_rate",
    ):
        assert open_writer.sql(f"SELECT count(*) FROM {table}").item() == 0, table


def test_a_fit_is_kept_as_a_new_version_only_when_it_differs(open_writer):
    assert load_parameter(open_writer, "spread") is None
    for value in ({"a": 1.0}, {"a": 1.0}, {"a": 2.0}, {"a": 1.0}):
        save_parameters(open_writer, {"spread": value})
    versions = open_writer.sql("SELECT version, value FROM academy.parameter ORDER BY version").rows()
    assert versions == [(1, '{"a": 1.0}'), (2, '{"a": 2.0}'), (3, '{"a": 1.0}')]
    assert load_parameter(open_writer, "spread") == {"a": 1.0}


def test_progress_is_reported_step_by_step(home, open_writer):
    land(open_writer, "a")
    steps = []
    build(home, open_writer, progress=lambda done, total, name: steps.append((done, total, name)))
    assert (1, 1, "sessions reduced") in steps
    assert steps[-1] == (len(PLAN), len(PLAN), "done")


def test_a_students_own_band_spares_them_the_fault_it_allows(home):
    """Load to the trail side is too little for the rules, but inside the band agreed with s1."""
    with writer(home) as w:
        for student in ("s1", "s2"):
            land(w, "v-" + student, student, shift=14.0)
        build(home, w)
        rates = "SELECT student, sum(flagged) FROM season.session_fault WHERE fault = 'stays_centred' GROUP BY 1 ORDER BY 1"
        before = dict(w.sql(rates).iter_rows())
        assert before["s1"] == before["s2"] > 0
        low = w.sql("SELECT min(mid_back_trail_share_pct) FROM academy.swing_metric").item()
        w.execute(
            "INSERT INTO academy.note BY NAME SELECT 'n' AS note, 's1' AS student, TIMESTAMP '2026-04-01' AS at, "
            "DATE '2026-04-01' AS day, 'c1' AS author, 'target' AS kind, 'mid_back_trail_share_pct' AS code, "
            "? AS value, 75.0 AS value_to, false AS shared, 'd' AS delivery, true AS loose",
            [low - 1],
        )
        refresh(home, w, touched=["s1"])
        after = dict(w.sql(rates).iter_rows())
        assert (after["s1"], after["s2"]) == (0, before["s2"])
        assert (
            w.sql(
                "SELECT max(severity) FROM academy.swing_fault WHERE fault = 'stays_centred' AND session = 'v-s1'"
            ).item()
            == 0.0
        )
        build(home, w)
        assert dict(w.sql(rates).iter_rows()) == after


def test_an_own_band_that_starts_later_spares_nothing_before_it(home):
    with writer(home) as w:
        land(w, "v-s1", "s1", shift=14.0)
        w.execute(
            "INSERT INTO academy.note BY NAME SELECT 'n' AS note, 's1' AS student, TIMESTAMP '2026-05-01' AS at, "
            "DATE '2026-05-01' AS day, 'c1' AS author, 'target' AS kind, 'mid_back_trail_share_pct' AS code, "
            "20.0 AS value, 75.0 AS value_to, false AS shared, 'd' AS delivery, true AS loose"
        )
        build(home, w)
        flags = "SELECT count(*) FROM academy.swing_fault WHERE fault = 'stays_centred' AND flagged"
        assert w.sql(flags).item() > 0


def test_a_discomfort_note_stands_first_in_the_weeks_list_right_after_its_load(home, open_writer):
    land(open_writer, "a", "s1")
    build(home, open_writer)
    note = builders.note_frame("sore-s1", "s1", shared=False, kind="discomfort", code="knee")
    open_writer.append("academy.note", note)
    refresh(home, open_writer, touched=["s1"])
    first = open_writer.sql("SELECT kind, student, subject FROM season.signal ORDER BY rank LIMIT 1")
    assert first.rows() == [("discomfort", "s1", "knee")]
    assert open_writer.sql("SELECT count(*) FROM season.signal_week").item() == 1


def test_one_student_with_one_coach_builds_to_answers_that_claim_nothing(home, open_writer):
    land(open_writer, "a", "s1")
    open_writer.execute("INSERT INTO academy.coaching VALUES ('s1', 'c1', DATE '2020-01-01', NULL)")
    build(home, open_writer)
    assert open_writer.sql("SELECT count(*) FROM season.coach_gain WHERE shown").item() == 0
    assert open_writer.sql("SELECT count(*) FROM season.ball_link").item() == 0
    assert open_writer.sql("SELECT count(*) FROM season.eye_plate").item() == 0
    assert open_writer.sql("SELECT listed FROM season.signal_week").item() == 0


def test_one_student_with_one_session_builds_to_labels_that_claim_nothing(home):
    with writer(home) as w:
        land(w, "only", "s1")
        w.execute(
            "INSERT INTO academy.drill BY NAME SELECT 'd1' AS drill, 'One' AS name, 'recentre_pts' AS aim"
        )
        build(home, w)
        assert set(w.sql("SELECT label FROM season.student_trend")["label"]) == {"too_few"}
        assert set(w.sql("SELECT label FROM season.student_fault_rate")["label"]) == {"too_few"}
        assert set(w.sql("SELECT label FROM season.drill_effect")["label"]) == {"too_little_data"}
        assert w.sql("SELECT count(*) FROM season.calibration").item() > 0


def test_a_metric_that_is_null_in_every_swing_has_no_rows(home):
    with writer(home) as w:
        for day in (0, 14, 35):
            land(w, f"v{day}", "s1", day=day)
        build(home, w)  # a mat without heel load: no heel metric anywhere
        never = "SELECT count(*) FROM season.{} WHERE metric = 'lead_heel_rise_mm'"
        assert [
            w.sql(never.format(t)).item() for t in ("session_metric", "student_trend", "reliability")
        ] == [0] * 3


def test_identical_sessions_are_holding_without_a_warning(home):
    with writer(home) as w:
        for student in ("s1", "s2", "s3", "s4", "s5", "s6"):
            for day in (0, 14, 35):
                land(w, f"{student}{day}", student, day=day, seed=1)
        build(home, w)
        labels = w.sql("SELECT label, count(*) FROM season.student_trend GROUP BY 1")
        assert set(labels["label"]) == {"holding"}


def test_what_a_step_needs_is_made_earlier_or_not_by_the_models_at_all():
    made_by_models = {table for step in PLAN for table in step.tables}
    made = set()
    for step in PLAN:
        assert set(step.needs) <= set(table_names())
        assert not (set(step.needs) & made_by_models) - made, step.tables
        made |= set(step.tables)
    assert made == made_by_models
    assert len(made) == sum(len(step.tables) for step in PLAN)


def test_a_step_reads_what_the_plan_says_and_nothing_else(home, open_writer, monkeypatch):
    for student in range(6):
        for day in (0, 14, 35):
            land(open_writer, f"s{student}{day}", f"s{student}", day=day, seed=7 * student + day)
    seen = []
    for name in ("sql", "execute"):
        plain = getattr(Writer, name)

        def recorded(self, query, *params, plain=plain):
            seen.extend(re.findall(r"(?:FROM|JOIN) ((?:academy|season)\.[a-z_]+)", query))
            return plain(self, query, *params)

        monkeypatch.setattr(Writer, name, recorded)
    read = {}

    def watched(step):
        def make(run):
            seen.clear()
            rows = step.make(run)
            read[step.tables] = set(seen)
            return rows

        return replace(step, make=make)

    monkeypatch.setattr(models.build, "PLAN", tuple(map(watched, PLAN)))
    build(home, open_writer)
    for step in PLAN:
        assert read[step.tables] <= {*step.needs, *step.tables}, step.tables
        # What this academy has nothing of is not read: fits of before, marks on film, bands of a student's own.
        unread = set(step.needs) - read[step.tables]
        assert unread <= {"academy.parameter", "academy.clip_point", "academy.fault"}, step.tables


def test_the_plan_is_printed_a_line_a_table():
    rows = plan_rows()
    assert [row[0] for row in rows] == [table for step in PLAN for table in step.tables]
    assert ("season.trend_line", "load, build", "models.season.trend") in [(t, w, by) for t, _, w, by in rows]
    assert ("season.style", "build", "models.sql") in [(t, w, by) for t, _, w, by in rows]


def test_the_kept_calibration_fits_its_table(open_writer):
    rows = calibration_rows()
    assert rows.columns == list(columns("season.calibration"))
    assert len(rows) > 0
    open_writer.append("season.calibration", rows)
    assert open_writer.sql("SELECT count(*) FROM season.calibration WHERE n_academies < 1").item() == 0


def test_no_calibration_yet_is_no_rows(tmp_path):
    assert calibration_rows(tmp_path / "none.toml").is_empty()
