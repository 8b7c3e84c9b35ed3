"""Pages on a large academy: what is asked does not grow with its people, and one student's rows alone are read."""

from unittest import mock

import pytest

from bench import academies, large, pages
from dashboard import safety
from dashboard.pages.people import content as roster
from dashboard.pages.students import content
from dashboard.pages.week.content import review
from dashboard.pages.week.safety_lines import safety_lines
from dashboard.queries import people
from warehouse.access import Reader, open_reader
from warehouse.invented import people_digest
from warehouse.store import open_snapshot, writer

COPIES = 3


@pytest.fixture(scope="module")
def many(homes, tmp_path_factory):
    """The small academy, and one of three times its people and visits."""
    small = homes("to copy")
    with writer(small) as w:
        people = w.sql("SELECT person, display_name, born FROM academy.person").rows()
        demo = f'demo = true\ndemo_people = "{people_digest(people)}"\n'
        settings = small.settings_file.read_text(encoding="utf-8")
        small.settings_file.write_text(settings.replace("demo = true\n", demo), encoding="utf-8")
        w.execute(
            "INSERT INTO academy.swing_metric (session, swing_no, mid_back_trail_share_pct) "
            "SELECT session, swing_no, 30 + swing_no FROM academy.swing"
        )
        swings = w.sql("SELECT count(*) FROM academy.swing").item()
        w.publish()
    with mock.patch.object(large, "ROW_GROUP", 10):  # week by week, however few they are
        return small, large.make(small, tmp_path_factory.mktemp("large") / "academy", COPIES * swings)[0]


def test_work_on_it_is_done_in_a_process_of_its_own_that_says_its_memory(many):
    spent = academies.alone("health", many[1])
    assert spent.cpu_s > 0
    assert 50 < spent.peak_mb < 2000


@pytest.fixture
def asked(monkeypatch):
    """Every query that a reader is asked from now on."""
    found, plain = [], Reader.sql
    monkeypatch.setattr(
        Reader, "sql", lambda self, query, params=None: found.append(query) or plain(self, query, params)
    )
    return found


def test_everybody_and_every_visit_is_there_as_often_as_was_asked(many):
    small, copied = map(open_snapshot, many)
    counted = """
        SELECT (SELECT count(*) FROM academy.swing_metric), (SELECT count(DISTINCT session) FROM academy.swing),
            (SELECT count(*) FROM season.student_trend), (SELECT count(DISTINCT note) FROM academy.note),
            (SELECT count(DISTINCT student) FROM season.signal JOIN season.signal_evidence USING (week, signal))
    """
    once = small.sql(counted).row(0)
    assert min(once) > 0
    assert copied.sql(counted).row(0) == tuple(COPIES * n for n in once)
    rules = "SELECT * FROM academy.metric ORDER BY metric"
    assert copied.sql(rules).equals(small.sql(rules))
    own = "SELECT student, count(*) AS n FROM academy.swing JOIN academy.session USING (session) GROUP BY 1"
    swings = dict(copied.sql(own).iter_rows())
    for student, n in small.sql(own).iter_rows():
        assert [swings[student + tail] for tail in ("", ".1", ".2")] == [n] * COPIES


def test_no_two_swings_of_a_large_academy_are_alike(many):
    copied = open_snapshot(many[1])
    values = copied.sql("SELECT mid_back_trail_share_pct AS v FROM academy.swing_metric WHERE v IS NOT NULL")[
        "v"
    ]
    once = (
        open_snapshot(many[0])
        .sql("SELECT count(DISTINCT mid_back_trail_share_pct) FROM academy.swing_metric")
        .item()
    )
    assert values.n_unique() > 2 * once


def test_pages_open_on_it_and_each_query_has_its_time(many):
    found = pages.open_all(many[1], ("coach",), ("swings",))
    assert found.pages["swings, coach"] > 0
    assert min(found.queries["dashboard.queries.swings.swings"]) > 0
    worst = [max(found.queries[name]) for name in found.slow(0)]
    assert worst == sorted(worst, reverse=True)


def test_growing_players_loads_are_asked_for_all_at_once_and_are_those_of_each(many, asked):
    reader = open_reader(many[1], "h01")
    everyone = people.students(reader).rows(named=True)
    asked.clear()
    loads = safety.swing_loads(reader, everyone)
    assert len(asked) <= 2
    assert len(loads) == COPIES
    for person in everyone:
        assert safety.swing_load(reader, person) == loads.get(person["student"])
    assert len({load.week for load in loads.values()}) == 1


def test_as_many_queries_for_the_week_of_three_academies_as_of_one(many):
    counts = []
    for home in many:
        reader = open_reader(home, "h01")
        found = review(reader)
        assert len(found.entries) > 5
        safety_lines(reader)
        counts.append(len(reader._answers))
    assert counts[1] == counts[0] > 10


def test_more_students_than_a_picture_holds_are_to_be_narrowed_down_first(homes, monkeypatch):
    monkeypatch.setattr(content, "MOST_COMPARED", 2)
    reader = open_reader(homes("full"), "h01")
    about, everyone = content.subject(reader, "trail_heel_down", "2026", "iron"), content.students(reader)
    section = content.comparison(reader, about, everyone, narrow=False)
    assert section.picture is None
    assert section.sentences == (
        "3\u00a0students are too many for one picture: choose a coach, a level or an age.",
    )
    assert content.comparison(reader, about, everyone.head(2), narrow=False).picture is not None


def test_what_the_roster_lacks_of_everybody_is_asked_at_once(many):
    counts = []
    for home in many:
        reader = open_reader(home, "h01")
        found = roster.table(reader)
        assert len(found) == len(roster.rows(reader))
        for row, lacking in zip(roster.rows(reader).values(), found["Missing"], strict=True):
            assert str(len(roster.person(reader, row["person"]).missing) or "") == lacking
        counts.append(len(reader._answers))
    assert counts[1] == counts[0]
