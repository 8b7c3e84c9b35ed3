"""A list of students as people have it: read for sure, or left empty and said."""

import csv
import io
import zipfile
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as some

import made_spreadsheets
from dashboard import spreadsheet, student_list
from dashboard.student_list import Staff, roster_rows
from warehouse.errors import CallError

TODAY = date(2026, 6, 1)
HEAD = ["Name", "Date of birth", "Handed", "Foot length (mm)", "Level", "Coach", "Parent", "Phone"]
MIA = ["Mia Orr", date(2012, 4, 13), "R", 238, "junior", "Bo Lind", "Jo Orr", "0123"]
TOM = ["Tom Pell", date(1980, 5, 6), "left-handed", "", "", "", "", ""]


def read(rows, **more):
    columns = student_list.recognise(rows)
    return student_list.students(rows, columns, TODAY, **more)


def as_csv(rows, delimiter=","):
    out = io.StringIO()
    csv.writer(out, delimiter=delimiter).writerows(rows)
    return out.getvalue().encode()


@pytest.mark.parametrize(
    ("name", "data"),
    [
        ("list.xlsx", made_spreadsheets.xlsx([HEAD, MIA, TOM])),
        ("list.ods", made_spreadsheets.ods([HEAD, MIA, TOM])),
        ("list.csv", as_csv([HEAD, MIA, TOM])),
        ("list.CSV", "\ufeff".encode() + as_csv([HEAD, MIA, TOM], ";")),
        ("list.tsv", as_csv([HEAD, MIA, TOM], "\t").decode().encode("utf-16")),
    ],
)
def test_the_same_list_reads_alike_from_every_kind_of_file(name, data):
    mia, tom = read(spreadsheet.read_file(name, data))
    assert (mia.name, mia.born, mia.handed, mia.foot_length_mm) == (
        "Mia Orr",
        date(2012, 4, 13),
        "right",
        238.0,
    )
    assert (mia.level, mia.coach, mia.guardian, mia.oddities) == ("junior", "Bo Lind", "Jo Orr", ())
    assert (tom.name, tom.born, tom.handed, tom.foot_length_mm, tom.oddities) == (
        "Tom Pell",
        date(1980, 5, 6),
        "left",
        None,
        (),
    )


@pytest.mark.parametrize("name", ["a.xlsx", "a.ods", "a.csv", "a.pdf"])
def test_what_is_no_spreadsheet_is_one_sentence(name):
    if name == "a.csv":
        assert spreadsheet.read_file(name, b"") == []
        return
    with pytest.raises(CallError, match="a\\."):
        spreadsheet.read_file(name, b"%PDF-1.7 nothing")


def test_a_spreadsheet_that_would_unpack_to_too_much_or_defines_entities_is_refused():
    for text in (
        "<a>" + " " * (spreadsheet.MOST_BYTES + 1) + "</a>",
        '<!DOCTYPE a [<!ENTITY b "b">]><a>&b;</a>',
    ):
        data = io.BytesIO()
        with zipfile.ZipFile(data, "w", zipfile.ZIP_DEFLATED) as packed:
            packed.writestr("content.xml", text)
        with pytest.raises(CallError, match="can't be read"):
            spreadsheet.read_file("list.ods", data.getvalue())


def test_names_alone_are_students():
    assert [s.name for s in read(spreadsheet.read_text("Mia Orr\n\n  Tom   Pell \n"))] == [
        "Mia Orr",
        "Tom Pell",
    ]


@pytest.mark.parametrize(
    "head",
    ["Vorname;Nachname;Geburtsdatum;Schlaghand", "Prénom;Nom de famille;Date de naissance;Latéralité",
     "Nombre de pila;Apellidos;Fecha de nacimiento;Mano", "First name;Surname;DOB;Plays"],
)  # fmt: skip
def test_headers_in_other_languages_are_recognised(head):
    (found,) = read(spreadsheet.read_text(f"{head}\nMia;Orr;13.04.2012;links"))
    assert (found.name, found.born, found.handed) == ("Mia Orr", date(2012, 4, 13), "left")


def test_a_day_that_could_be_two_is_asked_for_and_never_guessed():
    rows = spreadsheet.read_text("Name;Born\nMia;03/04/2012")
    columns = student_list.recognise(rows)
    assert student_list.needs_day_order(rows, columns)
    (found,) = student_list.students(rows, columns, TODAY)
    assert found.born is None
    assert "day or the month" in found.oddities[0]
    assert student_list.students(rows, columns, TODAY, day_first=True)[0].born == date(2012, 4, 3)
    assert student_list.students(rows, columns, TODAY, day_first=False)[0].born == date(2012, 3, 4)
    rows.append(["Tom", "25/12/1980"])  # one that shows the order settles all of the list
    assert not student_list.needs_day_order(rows, columns)
    assert student_list.students(rows, columns, TODAY)[0].born == date(2012, 4, 3)


@given(some.dates(date(1930, 1, 1), date(2020, 12, 31)), some.booleans())
def test_a_day_is_the_one_that_was_written_or_none(day, day_first):
    written = f"{day:%d/%m/%Y}" if day_first else f"{day:%m/%d/%Y}"
    (found,) = read([["Name", "Born"], ["Mia", written]])
    assert found.born in (day, None)
    assert (found.born is None) == bool(found.oddities)
    assert read([["Name", "Born"], ["Mia", written]], day_first=day_first)[0].born == day


@pytest.mark.parametrize(
    ("head", "cell", "expected"),
    [
        ("Foot length (mm)", "238", 238), ("Foot (cm)", "23.8", 238), ("Foot (cm)", "23,8", 238), ("Foot", "238", 238),
        ("Foot", "24 cm", 240), ("Foot", "24", None), ("Foot", "43", None), ("Foot", "9½", None),
        ("Foot (cm)", "43", None), ("Foot (mm)", "24", None),
    ],
)  # fmt: skip
def test_a_foot_length_is_taken_only_where_its_unit_is_sure(head, cell, expected):
    (found,) = read([["Name", head], ["Mia", cell]])
    assert found.foot_length_mm == expected
    assert (expected is None) == bool(found.oddities)


def test_what_is_odd_is_said_of_the_student_it_is_odd_of():
    rows = [
        ["Name", "Born", "Hand", "Coach"],
        ["Mia", "2031-01-01", "R", "Nobody"],
        ["mia", "soon", "?", "Bo"],
    ]
    one, two = read(rows, coaches=["Bo"], taken=["MIA"])
    assert [
        word
        for word in ("can't be a player's", "not one of the coaches", "more than once", "already")
        if not any(word in o for o in one.oddities)
    ] == []
    assert [
        word
        for word in ("birth date “soon”", "handed “?”", "more than once")
        if not any(word in o for o in two.oddities)
    ] == []
    assert one.born is None is two.born


def test_guardians_are_people_of_their_own_and_consent_for_the_young():
    rows = [["Name", "Born", "Parent", "Coach"], ["Mia", "2012-04-13", "Jo Orr", ""], ["Mo", "2014-04-13", "jo orr", "Bo"],
            ["Tom", "1980-01-01", "", "Nobody"], ["Kid", "2013-01-01", "", ""], ["Who", "", "", ""]]  # fmt: skip
    found = roster_rows(
        read(rows), Staff({"Ada": "c01", "Bo": "c02"}, "c01"), ["c01", "c02"], TODAY, agreed=["measure"]
    )
    assert [p["display_name"] for p in found.people] == ["Mia", "Mo", "Tom", "Kid", "Who", "Jo Orr"]
    assert found.people[-1]["guardian_of"] == ["s001", "s002"]
    assert {(r["student"], r["given_by"]) for r in found.consents} == {
        ("s001", "g001"),
        ("s002", "g001"),
        ("s003", "s003"),
    }
    assert found.without_consent == ["Kid", "Who"]
    assert [(r["student"], r["coach"]) for r in found.coaching] == [
        ("s001", "c01"),
        ("s002", "c02"),
        ("s004", "c01"),
        ("s005", "c01"),
    ]
