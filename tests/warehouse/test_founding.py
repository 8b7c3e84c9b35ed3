"""A new academy: its files load as they are, and nothing that is there is ever written over."""

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as some

import builders
from warehouse import founding
from warehouse.errors import CallError
from warehouse.founding import NewAcademy
from warehouse.home import Home
from warehouse.rosters import new_codes, roster_csv
from warehouse.settings import parse_settings
from warehouse.store import open_snapshot

DAY = date(2026, 1, 5)
PEOPLE = [
    {"person": "c01", "role": "head_coach", "display_name": 'Ada "A", Kern', "joined": DAY},
    {"person": "s001", "role": "student", "display_name": "Mia Orr", "born": date(2012, 4, 3), "joined": DAY},
    {"person": "g001", "role": "guardian", "display_name": "Jo Orr", "guardian_of": ["s001"], "joined": DAY},
]


def new(**more):
    rows = {
        "people": PEOPLE,
        "seasons": [{"season": "2026", "from": date(2026, 1, 1), "to": date(2026, 12, 31)}],
        "coaching": [{"student": "s001", "coach": "c01", "from": DAY}],
        "consents": [{"student": "s001", "given_by": "g001", "purpose": "measure", "from": DAY}],
        "drills": [vars(d) | {"drill": d.code} for d in founding.starter_drills()],
    }
    rows["drills"] = [{k: v for k, v in row.items() if k != "code"} for row in rows["drills"]]
    return NewAcademy("Foot first", "Europe/Berlin", **(rows | more))


@pytest.fixture
def empty(tmp_path):
    path = tmp_path / "new"
    path.mkdir()
    return Home(path)


def test_an_empty_folder_becomes_an_academy_whose_roster_loads_without_a_refusal(empty):
    assert empty.is_new()
    assert not founding.is_founded(empty)
    founding.found(empty, new())
    assert founding.is_founded(empty)
    assert builders.load_all(empty, [empty.inbox]) == []
    snapshot = open_snapshot(empty)
    people = snapshot.sql(
        "SELECT person, display_name, guardian_of FROM academy.person ORDER BY person"
    ).rows()
    assert people == [("c01", 'Ada "A", Kern', []), ("g001", "Jo Orr", ["s001"]), ("s001", "Mia Orr", [])]
    drills = snapshot.sql("SELECT drill, cautions, min_age FROM academy.drill").rows()
    assert {d for d, *_ in drills} == {d.code for d in founding.starter_drills()}
    assert all(cautions and age for _, cautions, age in drills)
    assert snapshot.sql("SELECT purpose FROM academy.consent").item() == "measure"
    snapshot.close()


def test_a_second_time_nothing_is_written_over(empty):
    founding.found(empty, new())
    before = {p: p.read_bytes() for p in empty.path.rglob("*.csv")} | {
        empty.settings_file: empty.settings_file.read_bytes()
    }
    for _ in range(2):
        with pytest.raises(CallError, match="already"):
            founding.found(empty, new(people=[PEOPLE[0] | {"display_name": "Somebody else"}]))
        builders.load_all(empty, [empty.inbox])
    assert empty.settings_file.read_bytes() == before[empty.settings_file]
    assert empty.settings().name == "Foot first"
    assert list(empty.inbox.iterdir()) == []


def test_an_academy_toml_that_is_there_stays_and_gets_its_roster(empty):
    empty.settings_file.write_text('name = "By hand"\ntime_zone = "Europe/Oslo"\n')
    founding.found(empty, new())
    assert empty.settings().name == "By hand"
    assert builders.load_all(empty, [empty.inbox]) == []


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"people": PEOPLE[1:2]}, "head coach"),
        ({"seasons": [{"season": "x", "from": date(2026, 2, 1), "to": date(2026, 1, 1)}]}, "ends before"),
    ],
)
def test_what_could_not_load_is_not_written(empty, wrong, said):
    with pytest.raises(CallError, match=said):
        founding.found(empty, new(**wrong))
    assert not empty.settings_file.exists()
    assert not empty.inbox.exists()


def test_a_folder_that_holds_something_else_is_not_new(tmp_path):
    (tmp_path / "letter.txt").write_text("Dear Ada")
    assert not Home(tmp_path).is_new()
    assert not Home(tmp_path / "nowhere").is_new()


@given(some.text(max_size=60))
def test_any_name_is_read_back_as_one_line(name):
    text = NewAcademy(name, "UTC", [], []).settings_text()
    told = " ".join(name.split())
    if told:
        assert " ".join(parse_settings(text.encode("utf-8", "surrogatepass")).name.split()) == told


def test_codes_follow_the_highest_that_is_taken():
    assert [code for code, _ in zip(new_codes("student", ["s001", "s017", "x"]), range(2), strict=False)] == [
        "s018",
        "s019",
    ]
    assert next(new_codes("coach", [])) == "c01"


def test_a_roster_file_has_only_its_own_columns():
    with pytest.raises(KeyError, match="shoe"):
        roster_csv("people.csv", [{"person": "s1", "shoe": 43}])
