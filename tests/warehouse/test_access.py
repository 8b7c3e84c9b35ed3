"""Nobody reads a row outside their reach."""

import gc
import json
import weakref
from contextlib import closing
from datetime import UTC, date, datetime

import duckdb
import polars as pl
import pytest

import builders
from warehouse import access, settings
from warehouse.access import open_reader
from warehouse.body import FallsAnswer
from warehouse.errors import AccessError, CallError
from warehouse.filed import kept_film
from warehouse.permissions import views
from warehouse.reach import check_student, coach_of, head_coach, may_write, students_on, viewers
from warehouse.statements import check_select
from warehouse.store import open_snapshot, writer
from warehouse.tables import table_names
from warehouse.traces import trace_path, write_trace
from warehouse.vocabulary import ROLES

TODAY = date(2026, 5, 10)


@pytest.fixture
def academy(filled):
    return filled


@pytest.fixture(scope="module")
def unchanged(tmp_path_factory):
    """The academy for tests that only read."""
    home = builders.make_home(tmp_path_factory.mktemp("unchanged") / "academy")
    with writer(home) as w:
        builders.fill(w)
        w.publish()
    return home


@pytest.fixture(scope="module")
def readers(unchanged):
    return {person: open_reader(unchanged, person, today=TODAY) for person in ("c1", "s1", "g2")}


def students_seen(home, person, table="session"):
    reader = open_reader(home, person, today=TODAY)
    return set(reader.sql(f"SELECT DISTINCT student FROM {table}").to_series().to_list())


@pytest.mark.parametrize(
    ("person", "seen"),
    [("h1", {"s1", "s2", "s3"}), ("c1", {"s1", "s2"}), ("c2", {"s3"}), ("s1", {"s1"}), ("g2", {"s2"})],
)
def test_each_person_sees_their_own_students_only(academy, person, seen):
    assert students_seen(academy, person) == seen
    assert students_seen(academy, person, "note") == seen


def test_a_student_sees_shared_notes_only_and_a_coach_all(academy):
    def notes(person):
        return set(
            open_reader(academy, person, today=TODAY).sql("SELECT note FROM note").to_series().to_list()
        )

    assert notes("s1") == {"open-s1"}
    assert notes("g2") == {"open-s2"}
    assert notes("c2") == {"open-s3", "kept-s3"}


@pytest.mark.parametrize("kind", ["discomfort", "discomfort_over", "falls"])
def test_a_student_sees_what_is_noted_of_their_body_even_when_its_note_is_not_shared(academy, kind):
    with writer(academy) as w:
        w.append("academy.note", builders.note_frame("sore-s2", "s2", shared=False, kind=kind, code="knee"))
        w.publish()
    assert students_seen(academy, "s2", "note WHERE note = 'sore-s2'") == {"s2"}
    assert students_seen(academy, "g2", "note WHERE note = 'sore-s2'") == {"s2"}
    assert students_seen(academy, "s1", "note WHERE note = 'sore-s2'") == set()


def test_a_guardian_reaches_a_ward_until_the_day_they_come_of_age(academy):
    assert open_reader(academy, "g2", today=date(2031, 5, 31)).students == ["s2"]
    assert open_reader(academy, "g2", today=date(2031, 6, 1)).students == []


def test_a_coach_loses_reach_when_the_coaching_ends(academy):
    with writer(academy) as w:
        w.execute("UPDATE academy.coaching SET \"to\" = DATE '2026-05-09' WHERE student = 's1'")
        w.publish()
    assert open_reader(academy, "c1", today=TODAY).students == ["s2"]


@pytest.mark.parametrize("role_person", ["c1", "s1", "g2"])
@pytest.mark.parametrize(
    "query",
    [
        "SELECT * FROM academy.session",
        "SELECT * FROM main.session",
        "WITH x AS (SELECT * FROM academy.note) SELECT * FROM x",
        "SELECT * FROM session WHERE student IN (SELECT student FROM academy.session)",
        "SELECT (SELECT count(*) FROM academy.person)",
        "SELECT * FROM query('SELECT * FROM academy.session')",
        "SELECT * FROM query_table('academy.session')",
        "SELECT * FROM duckdb_tables()",
        "SELECT * FROM read_parquet('traces/season=none/v-s3.parquet')",
        "SELECT * FROM 'traces/season=none/v-s3.parquet'",
        "SELECT * FROM (SHOW TABLES)",
        "DESCRIBE session",
        "SELECT * FROM visible",
        "SELECT * FROM viewer",
        "WITH visible AS (SELECT * FROM visible) SELECT * FROM visible",
        "WITH duckdb_tables AS (SELECT * FROM duckdb_tables) SELECT * FROM duckdb_tables",
        "SELECT * FROM visible, (WITH visible AS (SELECT 1) SELECT * FROM visible)",
        "WITH a AS (SELECT * FROM visible), visible AS (SELECT 1) SELECT * FROM a",
        "WITH RECURSIVE visible AS (SELECT * FROM visible UNION ALL SELECT * FROM visible) SELECT * FROM visible",
        "SELECT json_serialize_plan('SELECT * FROM academy.note')",
        "SELECT stats(student) FROM session",
        "SELECT student FROM session ORDER BY stats(student)",
        "SELECT sum(1) OVER (ORDER BY stats(student)) FROM session",
        "SELECT list_transform([1], lambda x: getenv('HOME'))",
        "SELECT system.main.lower('A')",
        "SELECT current_setting('threads')",
        "SELECT getvariable('x')",
        "SELECT nextval('x')",
        "SELECT * FROM session AT (VERSION => 1)",
        "SELECT #1 FROM session",
        "SELECT * FROM glob('*')",
        "SELECT * FROM (SUMMARIZE session)",
        "SELECT * FROM session TABLESAMPLE 10%, academy.session",
        "SELECT count(*) FROM session GROUP BY ALL HAVING count(*) > (SELECT count(*) FROM academy.note)",
        "SELECT * FROM unnest((SELECT list(note) FROM academy.note))",
        "VALUES ((SELECT count(*) FROM academy.note))",
        "INSERT INTO reach VALUES ('s3')",
        "DROP VIEW session",
        "SELECT 1; SELECT 2",
        "SET memory_limit = '1GB'",
        "not a query",
    ],
)
def test_no_query_gets_round_the_views(readers, role_person, query):
    with pytest.raises(AccessError):
        readers[role_person].sql(query)


def test_plain_queries_with_parameters_joins_and_subqueries_run(academy):
    reader = open_reader(academy, "c1", today=TODAY)
    rows = reader.sql(
        "WITH mine AS (SELECT student, session FROM session WHERE student = ?) "
        "SELECT p.display_name, count(n.note) AS notes FROM mine JOIN person p ON p.person = mine.student "
        "JOIN note n USING (student) GROUP BY 1",
        ["s1"],
    )
    assert rows.rows() == [("Petra Quill", 2)]


@pytest.mark.parametrize(
    "query",
    [
        "SELECT * FROM Session",
        "WITH a AS (SELECT 1 AS x), b AS (SELECT x FROM a) SELECT x FROM b UNION ALL SELECT x FROM a",
        "WITH session AS (SELECT 7 AS x) SELECT x FROM session",
        "SELECT list_filter(list(student), lambda s: s <> 'x')[1] FROM session",
        "SELECT day, row_number() OVER (PARTITION BY student ORDER BY day) FROM session QUALIFY true",
        "SELECT x FROM unnest([1, 2]) AS t(x) JOIN range(3) AS r(y) ON x = y ORDER BY x LIMIT 1",
        "SELECT DISTINCT CASE WHEN shared THEN upper(kind) END FROM note WHERE text LIKE 'S%' AND day IN (day)",
    ],
)
def test_what_a_select_is_usually_made_of_is_taken(readers, query):
    readers["c1"].sql(query)


@pytest.mark.parametrize(
    "statement",
    [
        "COPY academy.note TO '{}/out.csv'", "EXPORT DATABASE '{}/out'", "ATTACH '{}/out.duckdb'",
        "SELECT * FROM read_text('{}/academy.toml')", "SELECT * FROM '{}/published/current.json'",
        "INSTALL httpfs", "LOAD httpfs", "SET enable_external_access = true", "SET lock_configuration = false",
        "DELETE FROM academy.note", "CREATE TABLE academy.x (a INTEGER)", "SET memory_limit = '9GB'",
    ],
)  # fmt: skip
def test_the_published_warehouse_is_opened_so_that_no_statement_reaches_past_it(unchanged, statement):
    snapshot = open_snapshot(unchanged)
    before = snapshot.sql("SELECT count(*) FROM academy.note").item()
    with pytest.raises((CallError, duckdb.Error)):
        snapshot.sql(statement.format(unchanged.path))
    assert snapshot.sql("SELECT count(*) FROM academy.note").item() == before
    assert not list(unchanged.path.glob("out*"))


def test_an_answer_given_twice_is_its_own_each_time(academy):
    reader = open_reader(academy, "c1", today=TODAY)
    query = "SELECT student FROM session WHERE list_contains(?, student) ORDER BY 1"
    first = reader.sql(query, [["s1", "s3"]])
    first.insert_column(0, pl.Series("mine", [1] * len(first)))
    again = reader.sql(query, [["s1", "s3"]])
    assert again.columns == ["student"]
    assert set(again["student"]) == {"s1"}
    assert set(reader.sql(query, [["s2"]])["student"]) == {"s2"}
    with pytest.raises(AccessError):
        reader.sql("SELECT * FROM academy.session")
    with pytest.raises(AccessError):
        reader.sql("SELECT * FROM academy.session")


def test_an_answer_is_given_from_memory_and_goes_with_its_reader(academy, monkeypatch):
    reader, asked = open_reader(academy, "c1", today=TODAY), []
    real = access.read_frame
    monkeypatch.setattr(access, "read_frame", lambda *args: asked.append(args[1]) or real(*args))
    monkeypatch.setattr(access, "_ANSWERS_KEPT", 2)
    for query in ("SELECT 1 AS a", "SELECT 1 AS a", "SELECT 2 AS a", "SELECT 3 AS a", "SELECT 1 AS a"):
        reader.sql(query)
    assert [query for query in asked if "json" not in query] == [
        "SELECT 1 AS a", "SELECT 2 AS a", "SELECT 3 AS a", "SELECT 1 AS a",
    ]  # fmt: skip
    gone = weakref.ref(reader)
    gc.disable()
    try:
        del reader
        assert gone() is None
    finally:
        gc.enable()


def test_staff_are_seen_by_name_only(academy):
    with writer(academy) as w:
        w.execute("UPDATE academy.person SET born = DATE '1980-01-01' WHERE person = 'c2'")
        w.publish()
    rows = open_reader(academy, "s1", today=TODAY).sql("SELECT person, born FROM person ORDER BY person")
    assert dict(rows.rows()) == {"c1": None, "c2": None, "h1": None, "s1": date(1990, 2, 3)}


def test_guardians_are_seen_by_name_with_their_wards_in_reach_only(academy):
    with writer(academy) as w:
        w.execute(
            "UPDATE academy.person SET guardian_of = ['s2', 's3'], born = DATE '1980-01-01' WHERE person = 'g2'"
        )
        w.publish()

    def guardian(person):
        query = "SELECT guardian_of, born FROM person WHERE person = 'g2'"
        return open_reader(academy, person, today=TODAY).sql(query).rows()

    assert guardian("c1") == guardian("s2") == [(["s2"], None)]
    assert guardian("c2") == [(["s3"], None)]
    assert guardian("s1") == []
    assert guardian("h1") == [(["s2", "s3"], date(1980, 1, 1))]
    assert [sorted(wards) for wards, _ in guardian("g2")] == [["s2", "s3"]]


def test_data_health_and_refusals_reach_the_coach_of_the_student_today(academy):
    with writer(academy) as w:
        for student, coach in (("s1", "c1"), ("s3", "c1"), (None, "c1"), (None, "c2"), (None, None)):
            w.execute(
                "INSERT INTO season.data_health BY NAME SELECT DATE '2026-05-05' AS day, ? AS coach, ? AS student, "
                "'usable' AS reason, 1 AS n",
                [coach, student],
            )
            w.execute(
                "INSERT INTO academy.refusal BY NAME SELECT 'x' AS reason, 'So.' AS sentence, "
                "TIMESTAMP '2026-05-05 10:00' AS at, ? AS coach, ? AS student",
                [coach, student],
            )
        w.publish()
    for table in ("data_health", "refusal"):
        rows = open_reader(academy, "c1", today=TODAY).sql(f"SELECT student, coach FROM {table} ORDER BY ALL")
        assert rows.rows() == [("s1", "c1"), (None, "c1")]
        assert len(open_reader(academy, "h1", today=TODAY).sql(f"SELECT 1 FROM {table}")) == 5
        assert open_reader(academy, "s1", today=TODAY).sql(f"SELECT 1 FROM {table}").is_empty()


@pytest.mark.parametrize(
    ("day", "there"),
    [("2026-05-09", False), ("2026-05-10", True), ("2026-05-12", True), ("2026-05-13", False)],
)
def test_a_coach_reaches_a_student_from_the_first_day_of_coaching_to_the_last(academy, day, there):
    with writer(academy) as w:
        w.execute(
            "UPDATE academy.coaching SET \"from\" = DATE '2026-05-10', \"to\" = DATE '2026-05-12' WHERE student = 's1'"
        )
        w.publish()
    assert ("s1" in open_reader(academy, "c1", today=date.fromisoformat(day)).students) is there


@pytest.mark.parametrize(("day", "may"), [("2026-05-09", True), ("2026-05-10", True), ("2026-05-11", False)])
def test_whoever_leaves_may_look_on_their_last_day(academy, day, may):
    with writer(academy) as w:
        w.execute("UPDATE academy.person SET \"left\" = DATE '2026-05-10' WHERE person = 'c1'")
        w.publish()
    if may:
        assert open_reader(academy, "c1", today=date.fromisoformat(day)).students == ["s1", "s2"]
    else:
        with pytest.raises(CallError, match="no person c1"):
            open_reader(academy, "c1", today=date.fromisoformat(day))


@pytest.mark.parametrize(("day", "minor"), [("2031-05-31", True), ("2031-06-01", False)])
def test_a_player_is_under_age_to_the_day_before_the_birthday(academy, day, minor):
    reader = open_reader(academy, "c1", today=date.fromisoformat(day))
    assert reader.is_minor("s2") is minor
    assert reader.is_minor("s1") is False


def test_the_day_is_the_academys_own(academy, monkeypatch):
    """An evening in Dublin is the next day in Auckland: coaching that ends that day has ended there."""

    class Evening(datetime):
        @classmethod
        def now(cls, tz=None):
            return cls(2026, 5, 10, 20, tzinfo=UTC).astimezone(tz)

    monkeypatch.setattr(settings, "datetime", Evening)
    with writer(academy) as w:
        w.execute("UPDATE academy.coaching SET \"to\" = DATE '2026-05-10' WHERE student = 's1'")
        w.publish()
    assert open_reader(academy, "c1").students == ["s1", "s2"]
    text = academy.settings_file.read_text("utf-8")
    academy.settings_file.write_text(text.replace("Europe/Dublin", "Pacific/Auckland"), "utf-8")
    assert open_reader(academy, "c1").students == ["s2"]


def test_a_reader_is_asked_for_anew_by_the_newest_roster(academy):
    reader = open_reader(academy, "c1")
    assert reader.anew().students == ["s1", "s2"]
    with writer(academy) as w:
        w.execute("UPDATE academy.coaching SET \"to\" = DATE '2026-05-09' WHERE student = 's1'")
        w.publish()
    assert reader.anew().students == ["s2"]
    with pytest.raises(AccessError, match="has changed"):
        reader.still()
    assert reader.anew().still().students == ["s2"]
    with writer(academy) as w:
        w.execute("UPDATE academy.person SET role = 'student' WHERE person = 'c1'")
        w.publish()
    with pytest.raises(AccessError, match="has changed"):
        reader.anew()
    with writer(academy) as w:
        w.execute(
            "UPDATE academy.person SET role = 'coach', \"left\" = DATE '2026-05-09' WHERE person = 'c1'"
        )
        w.publish()
    with pytest.raises(AccessError, match="no person c1"):
        reader.anew()
    lines = [json.loads(line) for line in academy.access_log.read_text().splitlines()]
    assert [(line["viewer"], line["outcome"]) for line in lines] == [("c1", "refused")] * 3
    assert lines[0]["lost"] == ["s1"]


def test_a_coach_who_gains_a_student_reads_on(academy):
    reader = open_reader(academy, "c1")
    with writer(academy) as w:
        w.execute("UPDATE academy.coaching SET coach = 'c1' WHERE student = 's3'")
        w.publish()
    assert reader.still().students == ["s1", "s2", "s3"]


def test_students_are_listed_by_their_codes_whenever_they_joined(academy):
    with writer(academy) as w:
        w.execute(
            "INSERT INTO academy.person SELECT * REPLACE ('s0' AS person) FROM academy.person WHERE person = 's3'"
        )
        w.execute("INSERT INTO academy.coaching VALUES ('s0', 'c2', '2026-05-01', NULL)")
        w.publish()
    assert open_reader(academy, "h1", today=TODAY).students == ["s0", "s1", "s2", "s3"]
    assert open_reader(academy, "c2", today=TODAY).students == ["s0", "s3"]


def test_every_table_has_a_view_for_every_role(academy):
    for person in ("h1", "c1", "s1", "g2"):
        reader = open_reader(academy, person, today=TODAY)
        for name in views(reader.viewer.role):
            reader.sql(f'SELECT count(*) FROM "{name}"')
    assert {views(role).keys() == views("head_coach").keys() for role in ROLES} == {True}


def test_a_trace_is_read_within_reach_and_refused_outside(academy):
    write_trace(trace_path(academy, None, "v-s1"), builders.make_trace("v-s1"))
    with writer(academy) as w:
        w.execute("UPDATE academy.session SET has_plate = false WHERE session = 'v-s3'")
        w.publish()
    assert open_reader(academy, "c1", today=TODAY).trace("v-s1").session == "v-s1"
    with pytest.raises(AccessError, match="no session v-s3 with plate samples"):
        open_reader(academy, "h1", today=TODAY).trace("v-s3")
    academy.access_log.write_text("")
    with pytest.raises(AccessError, match="no session v-s1"):
        open_reader(academy, "c2", today=TODAY).trace("v-s1")
    line = json.loads(academy.access_log.read_text())
    assert (line["viewer"], line["page"], line["session"], line["outcome"]) == (
        "c2", "trace", "v-s1", "refused",
    )  # fmt: skip


def test_a_film_is_found_within_reach_and_refused_outside(academy):
    reader = open_reader(academy, "c1", today=TODAY)
    assert reader.film("v-s1", 2) is None
    film = kept_film(academy.filed / reader.sql("SELECT delivery FROM session").item(0, 0), 2)
    film.parent.mkdir(parents=True)
    film.write_bytes(b"film")
    assert reader.film("v-s1", 2) == film
    with pytest.raises(AccessError, match="no session v-s1"):
        open_reader(academy, "c2", today=TODAY).film("v-s1", 2)
    line = json.loads(academy.access_log.read_text())
    assert (line["viewer"], line["page"], line["session"], line["outcome"]) == (
        "c2", "film", "v-s1", "refused",
    )  # fmt: skip


def test_refusals_and_pages_on_minors_are_logged_and_others_are_not(academy):
    reader = open_reader(academy, "c1", today=TODAY)
    reader.opened("Student", "s1")
    reader.opened("Student", "s2")
    with pytest.raises(AccessError):
        reader.opened("Student", "s3")
    lines = [json.loads(line) for line in academy.access_log.read_text().splitlines()]
    assert [(line["student"], line["outcome"]) for line in lines] == [("s2", "opened"), ("s3", "refused")]
    assert lines[0]["minor"] is True


def test_someone_who_is_not_on_the_roster_or_has_left_cannot_look(academy):
    with pytest.raises(CallError, match="no person nobody"):
        open_reader(academy, "nobody", today=TODAY)
    with writer(academy) as w:
        w.execute("UPDATE academy.person SET \"left\" = DATE '2026-05-01' WHERE person = 'c1'")
        w.publish()
    with pytest.raises(CallError, match="no person c1"):
        open_reader(academy, "c1", today=TODAY)


@pytest.mark.parametrize(
    ("change", "who"),
    [
        ("", "c1"),
        # The newest of several, on their first day and not the day before.
        ("INSERT INTO academy.coaching VALUES ('s1', 'c2', DATE '2026-05-10', NULL)", "c2"),
        ("INSERT INTO academy.coaching VALUES ('s1', 'c2', DATE '2026-05-11', NULL)", "c1"),
        ("INSERT INTO academy.coaching VALUES ('s1', 'c2', DATE '2026-01-01', NULL)", "c1"),
        # To the last day, then the head coach.
        ("UPDATE academy.coaching SET \"to\" = DATE '2026-05-10'", "c1"),
        ("UPDATE academy.coaching SET \"to\" = DATE '2026-05-09'", "h1"),
        ("UPDATE academy.person SET \"left\" = DATE '2026-05-10' WHERE person = 'c1'", "c1"),
        ("UPDATE academy.person SET \"left\" = DATE '2026-05-09' WHERE person = 'c1'", "h1"),
        ("UPDATE academy.person SET \"left\" = DATE '2026-05-09' WHERE role LIKE '%coach'", None),
    ],
)
def test_a_student_is_their_newest_coachs_who_is_there_else_the_head_coachs(academy, change, who):
    with writer(academy) as w:
        if change:
            w.execute(change)
        assert coach_of(w, "s1", TODAY) == who


@pytest.mark.parametrize(
    ("person", "said"), [("x", "no student x"), ("c1", "c1 is a coach"), ("g2", "is a guardian")]
)
def test_a_student_is_named_by_a_students_code(unchanged, person, said):
    with closing(open_snapshot(unchanged)) as snapshot:
        check_student(snapshot, "s1")
        with pytest.raises(CallError, match=said):
            check_student(snapshot, person)


@pytest.mark.parametrize(
    ("heads", "who"),
    [
        ([("h1", "2025-01-01", None), ("h2", "2024-01-01", None)], "h2"),  # the first to join
        ([("h2", "2025-01-01", None), ("h1", "2025-01-01", None)], "h1"),
        ([("h1", "2024-01-01", "2026-05-10"), ("h2", "2025-01-01", None)], "h1"),  # to their last day
        ([("h1", "2024-01-01", "2026-05-09"), ("h2", "2025-01-01", "2026-12-31")], "h2"),
        ([("h1", "2024-01-01", "2026-05-09")], None),
        ([], None),
    ],
)
def test_the_head_coach_is_the_first_to_join_of_those_who_are_there(academy, heads, who):
    with writer(academy) as w:
        w.execute("DELETE FROM academy.person WHERE role = 'head_coach'")
        for person, joined, left in heads:
            w.execute(
                "INSERT INTO academy.person BY NAME SELECT ? AS person, 'head_coach' AS role, 'A' AS display_name, "
                'CAST(? AS DATE) AS joined, CAST(? AS DATE) AS "left"',
                [person, joined, left],
            )
        assert head_coach(w, TODAY) == who


def test_students_of_a_day_are_those_who_have_not_left_by_their_codes(academy):
    with writer(academy) as w:
        w.execute("UPDATE academy.person SET \"left\" = DATE '2026-05-10' WHERE person IN ('s1', 'c1')")
        assert students_on(w, TODAY) == ["s1", "s2", "s3"]
        assert students_on(w, date(2026, 5, 11)) == ["s2", "s3"]


@pytest.mark.parametrize(("person", "student"), [("c1", "s3"), ("s1", "s1"), ("g2", "s2")])
def test_who_may_not_write_is_refused_and_that_is_logged(academy, person, student):
    assert open_reader(academy, "c1").to_write("note", "s1").may_write("note", "s2")
    with pytest.raises(AccessError, match=f"no student {student} for whom you may do this"):
        open_reader(academy, person).to_write("note", student)
    (line,) = map(json.loads, academy.access_log.read_text().splitlines())
    said = line["viewer"], line["page"], line["student"], line["outcome"]
    assert said == (person, "note", student, "refused")


@pytest.mark.parametrize(
    ("what", "writers"),
    [
        ("session", {"head_coach", "coach"}), ("note", {"head_coach", "coach"}),
        ("film_decision", {"head_coach", "coach"}), ("practice", {"student", "guardian"}),
        ("film", {"student", "guardian"}), ("discomfort", {"student", "guardian"}),
    ],
)  # fmt: skip
def test_staff_and_families_each_write_their_own_of_students_in_reach_alone(what, writers):
    assert {role for role in (*ROLES, None) if may_write(what, role, ["s1", "s2"], "s2")} == writers
    assert not any(may_write(what, role, ["s1", "s2"], "s3") for role in (*ROLES, None))


def test_the_people_who_could_look_are_listed_staff_first(academy):
    assert [v.role for v in viewers(open_snapshot(academy))] == [
        "head_coach", "coach", "coach", "student", "student", "student", "guardian",
    ]  # fmt: skip


@pytest.fixture
def signals(academy):
    """Four signals, each with one row of evidence: of s1, of s3, and of refused deliveries without a student."""
    with writer(academy) as w:
        for signal, student, coach in (
            ("a", "s1", "c1"),
            ("b", "s3", "c2"),
            ("c", None, "c2"),
            ("d", None, None),
        ):
            w.execute(
                "INSERT INTO season.signal BY NAME SELECT DATE '2026-05-04' AS week, DATE '2026-05-10' AS as_of, "
                "1 AS rank, ? AS signal, 'refused' AS kind, [] AS kindred, ? AS student, ? AS coach",
                [signal, student, coach],
            )
            w.execute(
                "INSERT INTO season.signal_evidence BY NAME SELECT DATE '2026-05-04' AS week, ? AS signal, "
                "1 AS place, 'main' AS role, 'x' AS subject",
                [signal],
            )
        w.publish()
    return academy


def test_the_weeks_signals_reach_the_staff_of_their_student_only(signals):
    def seen(person):
        rows = open_reader(signals, person, today=TODAY).sql("SELECT student, coach FROM signal ORDER BY ALL")
        return rows.rows()

    assert len(seen("h1")) == 4
    assert seen("c1") == [("s1", "c1")]
    assert seen("c2") == [("s3", "c2"), (None, "c2")]
    assert seen("s1") == seen("g2") == []


@pytest.mark.parametrize("person", ["h1", "c1", "c2", "s1", "s3", "g2"])
def test_a_signals_evidence_reaches_exactly_those_whom_the_signal_reaches(signals, person):
    reader = open_reader(signals, person, today=TODAY)
    of_signal, of_evidence = (
        reader.sql(f"SELECT signal FROM {table} ORDER BY ALL")["signal"].to_list()
        for table in ("signal", "signal_evidence")
    )
    assert of_evidence == of_signal
    assert of_evidence == {"h1": ["a", "b", "c", "d"], "c1": ["a"], "c2": ["b", "c"]}.get(person, [])


def test_signals_made_of_what_is_out_of_use_go_and_what_hurts_or_was_refused_stays(signals):
    with writer(signals) as w:
        w.execute(
            "UPDATE season.signal SET kind = 'slipping', student = 's1', coach = 'c1' WHERE signal = 'b'"
        )
        w.execute(
            "UPDATE season.signal SET kind = 'discomfort', student = 's1', coach = 'c1' WHERE signal = 'c'"
        )
        w.execute("INSERT INTO academy.consent VALUES ('s1', 's1', 'measure', '2026-01-01', '2026-05-09')")
        w.publish()
    for person, others in (("h1", {"d"}), ("c1", set())):
        for day, of_student in ((date(2026, 5, 9), {"a", "b", "c"}), (TODAY, {"a", "c"})):
            reader = open_reader(signals, person, today=day)
            for table in ("signal", "signal_evidence"):
                seen = set(reader.sql(f"SELECT signal FROM {table}").to_series())
                assert seen == of_student | others, (person, day, table)


def test_a_coach_sees_the_own_eye_and_everyones_together_and_no_other_coachs(academy):
    with writer(academy) as w:
        for coach in ("c1", "c2", None):
            w.execute(
                "INSERT INTO season.eye_plate BY NAME SELECT 'spring' AS season, 'f' AS fault, ? AS coach, 9 AS n, "
                "columns_of.* FROM (SELECT 1 AS seen_and_measured, 2 AS seen_only, 3 AS measured_only, 3 AS neither) columns_of",
                [coach],
            )
        w.publish()

    def seen(person):
        return set(open_reader(academy, person, today=TODAY).sql("SELECT coach FROM eye_plate").to_series())

    assert seen("h1") == {"c1", "c2", None}
    assert seen("c1") == {"c1", None}
    assert seen("s1") == set()


def test_a_coach_sees_their_own_gain_by_name_the_others_without_names_and_families_none(academy):
    with writer(academy) as w:
        w.execute(
            "INSERT INTO season.coach_gain BY NAME SELECT 'spring' AS season, unnest(['c1', 'c2']) AS coach, "
            "unnest([0.5, 0.25]) AS gain, 9 AS n_students, 9 AS n_room, true AS shown"
        )
        w.publish()

    def seen(person):
        return set(open_reader(academy, person, today=TODAY).sql("SELECT coach, gain FROM coach_gain").rows())

    assert seen("h1") == {("c1", 0.5), ("c2", 0.25)}
    assert seen("c1") == {("c1", 0.5), (None, 0.25)}
    assert seen("c2") == {(None, 0.5), ("c2", 0.25)}
    assert seen("s1") == seen("g2") == set()


@pytest.mark.parametrize("table", ["aim", "agreed_aim"])
def test_an_aim_from_a_note_that_is_not_shared_is_for_the_staff(academy, table):
    with writer(academy) as w:
        put_one_of_each(w, f"season.{table}")
        w.execute(f"UPDATE season.{table} SET student = 's2' WHERE student = 's3'")
        w.execute(f"INSERT INTO season.{table} SELECT * REPLACE (NOT shared AS shared) FROM season.{table}")
        w.publish()

    def seen(person):
        rows = open_reader(academy, person, today=TODAY).sql(f"SELECT student, shared FROM {table}")
        return sorted(rows.rows())

    assert seen("c1") == seen("h1") == [("s1", False), ("s1", True), ("s2", False), ("s2", True)]
    assert seen("c2") == seen("s3") == []
    assert seen("s1") == [("s1", True)]
    assert seen("s2") == seen("g2") == [("s2", True)]


def test_where_a_table_is_missing_the_way_out_is_said_and_the_rest_is_read(academy):
    with writer(academy) as w:
        w.execute("DROP TABLE season.felt")
        w.publish()
    reader = open_reader(academy, "c1", today=TODAY)
    missing = r"The published warehouse is not complete \(.*felt.*\); run: underfoot build"
    for _ in range(2):
        with pytest.raises(CallError, match=missing):
            reader.sql("SELECT * FROM felt")
    assert len(reader.sql("SELECT * FROM session")) == 2


def test_what_is_out_of_use_is_reported_for_students_in_reach_only(academy):
    with writer(academy) as w:
        for purpose in ("measure", "family_page", "share_page", "academy_figures"):
            w.execute(
                "INSERT INTO academy.consent VALUES ('s1', 's1', ?, '2026-01-01', '2026-05-09')", [purpose]
            )
        w.publish()
    said = {p: open_reader(academy, p, today=TODAY).out_of_use("s1") for p in ("h1", "c1", "s1", "c2", "s3")}
    own = ["measure", "family_page", "academy_figures"]
    assert said == {"h1": own, "c1": own, "s1": own, "c2": [], "s3": []}
    assert open_reader(academy, "c1", today=TODAY).out_of_use("s2") == []
    assert open_reader(academy, "c1", today=date(2026, 5, 9)).out_of_use("s1") == []


def test_what_goes_with_the_ball_is_for_the_students_staff(academy):
    with writer(academy) as w:
        w.execute(
            "INSERT INTO season.ball_link BY NAME SELECT 'spring' AS season, unnest(['s1', 's3']) AS student, "
            "'m' AS metric, 'iron' AS club_family, 'carry_m' AS outcome, 5 AS n_sessions, 'not_clear' AS label"
        )
        w.publish()
    assert students_seen(academy, "h1", "ball_link") == {"s1", "s3"}
    assert students_seen(academy, "c1", "ball_link") == {"s1"}
    assert students_seen(academy, "s1", "ball_link") == set()


PLAIN = {"VARCHAR": "x", "DATE": date(2026, 5, 5), "TIMESTAMP": datetime(2026, 5, 5), "BOOLEAN": True}  # noqa: DTZ001


def put_one_of_each(w, table):
    """A row of a table for s1 and one for s3, of any values; which column says whose it is."""
    columns = w.sql(
        "SELECT column_name, data_type, is_nullable FROM duckdb_columns() WHERE schema_name || '.' || table_name = ?",
        [table],
    ).rows()
    names = [name for name, _, _ in columns]
    whose = next((name for name in ("student", "session") if name in names), None)
    w.execute(f"DELETE FROM {table}")
    for student in ("s1", "s3"):
        own = {"student": student, "session": f"v-{student}", "signal": f"of-{student}"}
        row = {
            name: own.get(name, [] if kind.endswith("[]") else PLAIN.get(kind, 1))
            for name, kind, nullable in columns
            if name in own or not nullable
        }
        marks = ", ".join("?" for _ in row)
        w.execute(
            f"INSERT INTO {table} ({', '.join(map(repr_name, row))}) VALUES ({marks})", list(row.values())
        )
    return whose


def repr_name(name):
    return f'"{name}"'


def test_every_table_about_students_is_cut_to_those_in_reach_and_whole_for_the_head_coach(academy):
    of_students = {}
    with writer(academy) as w:
        for table in table_names():
            found = w.sql(f"SELECT * FROM {table} LIMIT 0").columns
            if table not in ("academy.person", "academy.coaching", "academy.session") and {
                "student",
                "session",
            } & set(found):
                of_students[table] = put_one_of_each(w, table)
        w.publish()
    assert {"academy.hold", "academy.note", "academy.swing", "season.trend_line"} <= of_students.keys()
    for person, students in (
        ("h1", {"s1", "s3"}),
        ("c1", {"s1"}),
        ("c2", {"s3"}),
        ("s1", {"s1"}),
        ("g2", set()),
    ):
        reader = open_reader(academy, person, today=TODAY)
        for table, whose in of_students.items():
            rows = reader.sql(f'SELECT {whose} FROM "{table.split(".")[1]}"').to_series()
            seen = {str(row).removeprefix("v-") for row in rows}
            if reader.viewer.role in ("head_coach", "coach"):
                assert seen == students, (person, table)
            else:
                assert seen <= students, (person, table)
        assert reader.something_hurts("s3") is False or "s3" in reader.students
    own = open_reader(academy, "s1", today=TODAY)
    for table in ("hold", "swing", "swing_event", "shot", "clip_point"):
        assert list(own.sql(f"SELECT session FROM {table}").to_series()) == ["v-s1"], table
    for table in ("student_trend", "trend_line", "session_metric", "pace_ladder"):
        assert list(own.sql(f"SELECT student FROM {table}").to_series()) == ["s1"], table


def test_what_is_about_nobody_is_for_everyone_and_what_is_of_the_academy_for_the_staff(academy):
    everyones = ("metric", "fault", "drill", "season")
    of_the_staff = (
        "device",
        "device_check",
        "device_accuracy",
        "parameter",
        "reliability",
        "drill_effect",
        "drill_group",
        "calibration",
        "self_audit",
        "signal_week",
    )
    names = {full.split(".")[1]: full for full in table_names()}
    with writer(academy) as w:
        for table in (*everyones, *of_the_staff):
            assert put_one_of_each(w, names[table]) is None
        w.publish()
    for person in ("h1", "c1", "s1", "g2"):
        reader = open_reader(academy, person, today=TODAY)
        staff = reader.viewer.role in ("head_coach", "coach")
        for table in everyones:
            assert len(reader.sql(f"SELECT 1 FROM {table}")) == 2, (person, table)
        for table in of_the_staff:
            assert len(reader.sql(f"SELECT 1 FROM {table}")) == (2 if staff else 0), (person, table)


def test_that_something_hurts_is_told_of_students_in_reach_alone(academy):
    with writer(academy) as w:
        w.append(
            "academy.note", builders.note_frame("sore", "s2", shared=False, kind="discomfort", code="knee")
        )
        w.publish()
    hurting = {
        p: open_reader(academy, p, today=TODAY).something_hurts("s2")
        for p in ("h1", "c1", "c2", "s1", "s2", "g2")
    }
    assert hurting == {"h1": True, "c1": True, "c2": False, "s1": False, "s2": True, "g2": True}
    with writer(academy) as w:
        w.append("academy.note", builders.note_frame("over", "s2", shared=False, kind="discomfort_over"))
        w.publish()
    assert not any(
        open_reader(academy, p, today=TODAY).something_hurts("s2")
        for p in ("h1", "c1", "c2", "s1", "s2", "g2")
    )


def test_answers_about_falls_are_shown_for_students_in_reach_only(academy):
    with writer(academy) as w:
        w.append("academy.note", builders.note_frame("fell", "s2", shared=False, kind="falls", grade=1))
        w.publish()
    answer = FallsAnswer(date(2026, 5, 5), fell=True)
    for person, told in (
        ("h1", answer),
        ("c1", answer),
        ("s2", answer),
        ("g2", answer),
        ("c2", None),
        ("s1", None),
    ):
        assert open_reader(academy, person, today=TODAY).falls_answer("s2") == told, person


def test_whoever_is_no_student_any_more_is_reached_by_no_coach_and_no_guardian(academy):
    with writer(academy) as w:
        w.execute("UPDATE academy.person SET role = 'coach' WHERE person = 's2'")
        w.publish()
    assert open_reader(academy, "c1", today=TODAY).students == ["s1"]
    assert open_reader(academy, "g2", today=TODAY).students == []
    assert open_reader(academy, "h1", today=TODAY).students == ["s1", "s3"]


@pytest.mark.parametrize("person", ["h1", "c1", "s1"])
def test_samples_and_films_are_not_shown_once_the_consent_has_ended_and_are_again_once_it_is_renewed(
    academy, person
):
    write_trace(trace_path(academy, None, "v-s1"), builders.make_trace())
    film = academy.filed / "d-v-s1" / ".film" / "swing-1.mp4"
    film.parent.mkdir(parents=True)
    film.write_bytes(b"film")

    def seen(day):
        reader = open_reader(academy, person, today=day)
        if reader.is_withheld("measure", "s1"):
            with pytest.raises(AccessError, match="has ended"):
                reader.trace("v-s1")
            return 0, reader.film("v-s1", 1)
        return len(reader.trace("v-s1").swing_no), reader.film("v-s1", 1)

    assert seen(date(2026, 6, 1)) == (3, film)  # loaded where consents were kept elsewhere
    with writer(academy) as w:
        for first, last in (("2026-01-01", "2026-05-31"), ("2026-07-01", None)):
            for purpose in ("measure", "film"):
                w.execute("INSERT INTO academy.consent VALUES ('s1', 's1', ?, ?, ?)", [purpose, first, last])
        w.publish()
    assert seen(date(2026, 5, 31)) == (3, film)
    assert seen(date(2026, 6, 1)) == (0, None)
    assert seen(date(2026, 6, 30)) == (0, None)
    assert seen(date(2026, 7, 1)) == (3, film)


def test_a_film_is_not_shown_once_the_consent_to_film_alone_has_ended(academy):
    film = academy.filed / "d-v-s1" / ".film" / "swing-1.mp4"
    film.parent.mkdir(parents=True)
    film.write_bytes(b"film")
    with writer(academy) as w:
        for purpose, last in (("measure", None), ("film", "2026-05-31")):
            w.execute(
                "INSERT INTO academy.consent VALUES ('s1', 's1', ?, DATE '2026-01-01', ?)", [purpose, last]
            )
        w.publish()
    assert open_reader(academy, "c1", today=date(2026, 5, 31)).film("v-s1", 1) == film
    assert open_reader(academy, "c1", today=date(2026, 6, 1)).film("v-s1", 1) is None


ENDED = "INSERT INTO academy.consent VALUES ('s1', 's1', ?, '2026-01-01', '2026-05-09')"
MADE_OF_RECORDINGS = (
    "academy.setup_target", "academy.band", "academy.swing_metric", "academy.swing_fault", "season.session_metric",
    "season.session_fault", "season.student_trend", "season.trend_line", "season.style", "season.student_fault_rate",
    "season.pace_ladder", "season.fault_chain", "season.felt", "season.felt_agreement", "season.aim", "season.agreed_aim",
    "season.aim_forecast", "season.ball_link", "season.outcome_chance", "season.student_outcome",
)  # fmt: skip


@pytest.mark.parametrize(
    ("purpose", "made_of"),
    [("measure", True), ("film", False), ("family_page", False), ("academy_figures", False)],
)
def test_numbers_made_of_recordings_are_not_shown_once_the_consent_to_these_has_ended(
    academy, purpose, made_of
):
    with writer(academy) as w:
        whose = {table: put_one_of_each(w, table) for table in MADE_OF_RECORDINGS}
        w.execute(ENDED, [purpose])  # v-s1 has plate samples and no film
        w.publish()
    for day in (date(2026, 5, 9), TODAY):
        reader = open_reader(academy, "h1", today=day)
        for table, column in whose.items():
            rows = reader.sql(f'SELECT {column} FROM "{table.split(".")[1]}"').to_series()
            left = {"s3"} if made_of and day == TODAY else {"s1", "s3"}
            assert {row.removeprefix("v-") for row in rows} == left, (table, day)


@pytest.mark.parametrize("person", ["h1", "c1", "s1"])
@pytest.mark.parametrize(
    ("recorded", "ended", "left"),
    [
        (["plate"], ["measure"], []), (["plate"], ["film"], ["plate"]), (["clip"], ["film"], []),
        (["clip"], ["measure"], ["clip"]), (["plate", "clip"], ["measure"], ["clip"]),
        (["plate", "clip"], ["film"], ["plate"]), (["plate", "clip"], ["measure", "film"], []),
        (["plate", "clip"], ["family_page"], ["plate", "clip"]), ([], ["measure", "film"], []),
    ],
)  # fmt: skip
def test_of_a_visit_what_may_still_be_used_is_shown_and_a_swing_without_any_says_so(
    academy, recorded, ended, left, person
):
    key = "SELECT 'v-s1' AS session, 1 AS swing_no"
    with writer(academy) as w:
        w.execute(
            "UPDATE academy.session SET has_plate = ?, has_clip = ?, body_mass_kg = 70 WHERE session = 'v-s1'",
            ["plate" in recorded, "clip" in recorded],
        )
        w.execute(
            f"INSERT INTO academy.swing BY NAME {key}, 'baseline' AS part, 'full' AS pace, 9 AS n_samples, true AS usable, "
            "['low_rate'] AS flags, [60] AS flag_counts, ['low_rate'] AS file_flags, [60] AS file_flag_counts, "
            "'measured' AS heel_source, 60.0 AS rate_hz, 'swing' AS kind, 0.9 AS sure"
        )
        for clock in recorded:
            event = "'impact' AS event, 1.0 AS t_s, 0.0 AS expected_error_s, 'marked' AS source"
            w.execute(f"INSERT INTO academy.swing_event BY NAME {key}, {event}, '{clock}' AS clock")
        if len(recorded) == 2:  # of the film, on the plate's clock
            event = "'top' AS event, 1.0 AS t_s, 0.0 AS expected_error_s, 'clip' AS source, 'plate' AS clock"
            w.execute(f"INSERT INTO academy.swing_event BY NAME {key}, {event}")
        for purpose in ended:
            w.execute(ENDED, [purpose])
        w.publish()
    reader = open_reader(academy, person, today=TODAY)
    session = reader.sql("SELECT has_plate, has_clip, body_mass_kg FROM session WHERE session = 'v-s1'").row(
        0
    )
    assert session == ("plate" in left, "clip" in left, None if "measure" in ended else 70.0)
    events = [("impact", clock) for clock in left] + ([("top", "plate")] if len(left) == 2 else [])
    assert sorted(reader.sql("SELECT event, clock FROM swing_event").rows()) == sorted(events)
    flags = (["no_consent"], [1]) if recorded and not left else (["low_rate"], [60])
    made_of = (
        (False, 0, "none", None, None, None)
        if recorded and not left
        else (True, 9, "measured", "swing", 0.9, 60.0)
    )
    query = "SELECT flags, flag_counts, file_flags, file_flag_counts, usable, n_samples, heel_source, kind, sure, rate_hz FROM swing"
    assert reader.sql(query).row(0) == (*flags, *flags, *made_of)


def test_bands_of_nobody_in_particular_are_everyones(academy):
    with writer(academy) as w:
        for student in (None, "s1", "s3"):
            w.execute(
                "INSERT INTO academy.band BY NAME SELECT 'm' AS metric, 'iron' AS club_family, ? AS student, '1' AS version",
                [student],
            )
        w.publish()
    for person, seen in (
        ("c1", [None, "s1"]),
        ("s3", [None, "s3"]),
        ("g2", [None]),
        ("h1", [None, "s1", "s3"]),
    ):
        rows = open_reader(academy, person, today=TODAY).sql(
            "SELECT student FROM band ORDER BY student NULLS FIRST"
        )
        assert list(rows["student"]) == seen, person


def test_a_query_in_order_for_one_list_of_tables_is_checked_anew_for_another():
    query, connection = (
        "WITH mine AS (SELECT * FROM Note) SELECT * FROM mine JOIN person USING (x)",
        duckdb.connect(),
    )
    for _ in range(2):
        assert check_select(connection, query, {"note", "person", "swing"}) == {"note", "person"}
        with pytest.raises(AccessError, match="person"):
            check_select(connection, query, {"note"})
