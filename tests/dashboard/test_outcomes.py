"""What the Student page says of scatter, pauses, pace and other clubs."""

from datetime import date

import polars as pl
import pytest

from dashboard.pages.student import outcomes
from dashboard.queries import people
from dashboard.student_season import StudentSeason
from warehouse.errors import UnderfootError
from warehouse.store import writer
from warehouse.tables import columns

HEEL = "impact_trail_heel_pct_bw"


@pytest.fixture
def part(homes, reader_of):
    def read(*rows):
        with writer(homes("outcomes")) as w:
            w.execute("DELETE FROM season.student_outcome")
            w.execute("UPDATE season.reliability SET worthwhile = 2")
            w.append("season.student_outcome", pl.DataFrame(rows, schema=columns("season.student_outcome")))
            w.publish()
        reader = reader_of("outcomes", "c01")
        (season,) = reader.sql("SELECT DISTINCT season FROM reliability").to_series()
        return outcomes.part(StudentSeason(reader, people.student(reader, "s01"), season, "iron"))

    return read


@pytest.fixture
def row(homes):
    def made(outcome, label, change, **more):
        return {
            "season": "2026", "student": "s01", "metric": HEEL, "club_family": "iron", "outcome": outcome,
            "day": date(2026, 3, 2), "n": 6, "change": change, "change_lo": change - 0.5, "change_hi": change + 0.5,
            "label": label,
        } | more  # fmt: skip

    return made


def test_what_is_said_comes_first_in_the_measures_own_unit_and_scatter_as_a_percentage(part, row):
    found = part(
        row("transfer_club", "holding", 0.0), row("consistency", "improving", 0.6931), row("keeping", "slipping", -3.0),
        row("transfer_pace", "not_clear", 1.0),
    )  # fmt: skip
    table = found.table[0].rows()
    told = [tuple(cell.replace("\u00a0", " ") for cell in one[1:]) for one in table]
    assert told == [
        ("Scatter from swing to swing", "50 %", "30 to 82 %", "▲ Steadier"),
        ("After weeks without practice", "−6 % of body weight", "−7 to −5 % of body weight", "▽ Lost"),
        (
            "With other clubs, compared with these",
            "0 % of body weight",
            "−1 to +1 % of body weight",
            "● No large gap",
        ),
    ]
    assert found.sentences[0].replace("\u00a0", " ") == "Not clear yet: 1 comparison."


def test_before_anything_can_be_judged_it_says_what_it_takes(part):
    with pytest.raises(UnderfootError, match="Scatter needs four sessions"):
        part()


def test_where_nothing_is_clear_yet_there_is_no_table(part, row):
    assert part(row("keeping", "not_clear", 0.3)).table is None
