"""The demo lets anyone look as anyone, so it holds nobody but its own people."""

from contextlib import closing
from datetime import date

import pytest

import builders
from warehouse.invented import all_invented, people_digest
from warehouse.store import open_snapshot, writer


@pytest.fixture
def demo(tmp_path):
    home = builders.make_home(tmp_path / "academy", f"demo = true\n{builders.SETTINGS}")
    with writer(home) as w:
        builders.fill(w)
        w.publish()
    return home


def invented(home):
    with closing(open_snapshot(home)) as snapshot:
        return all_invented(snapshot, home.settings())


def test_a_home_is_the_demos_while_it_says_who_is_in_it_and_holds_nobody_else(demo):
    assert not invented(demo)  # it does not say who is of the demo
    builders.call_invented(demo)
    assert invented(demo)
    text = demo.settings_file.read_text("utf-8")
    demo.settings_file.write_text(text.replace("demo = true", "demo = false"), "utf-8")
    assert not invented(demo)


@pytest.mark.parametrize(
    "change",
    [
        "INSERT INTO academy.person BY NAME SELECT 's9' AS person, 'student' AS role, 'Real Person' AS display_name, DATE '2026-01-01' AS joined",
        "UPDATE academy.person SET display_name = 'Real Person' WHERE person = 's1'",
        "UPDATE academy.person SET born = DATE '2014-01-01' WHERE person = 's2'",
        "DELETE FROM academy.person WHERE person = 's1'",
    ],
)
def test_one_other_person_closes_it(demo, change):
    builders.call_invented(demo)
    with writer(demo) as w:
        w.execute(change)
        w.publish()
    assert not invented(demo)


def test_an_empty_demo_may_be_looked_at(demo):
    with writer(demo) as w:
        w.execute("DELETE FROM academy.person")
        w.publish()
    assert invented(demo)


def test_the_order_of_people_does_not_matter_and_each_part_does():
    people = [("s1", "Ada", date(2012, 3, 4)), ("c1", "Bo", None)]
    assert people_digest(people) == people_digest(people[::-1])
    assert people_digest(people) != people_digest([("s1", "Ada", None), ("c1", "Bo", None)])
    assert people_digest([("a", "b,c", None)]) != people_digest([("a,b", "c", None)])
