"""Checks of devices with a known weight: kept as they are, or the file is refused with one sentence."""

from datetime import UTC, datetime, timedelta

import pytest

from ingest.load import replay
from warehouse.deliverer import MARK, Deliverer, mark_text
from warehouse.store import writer

HEAD = "device,side,at,known_kg,reading_kg,recalibrated\n"
GOOD = HEAD + (
    "mat,,2026-05-04T09:00:00+01:00,20,20.2,\n"
    "imperial,left,2026-05-04T09:05:00+01:00,20,19.9,\n"
    "imperial,right,2026-05-04T09:06:00+01:00,20,20.6,yes\n"
)
ROWS = (
    'SELECT device, side, hour("at"), known_kg, reading_kg, recalibrated, round(error_pct, 6) '
    "FROM academy.device_check ORDER BY ALL"
)


def load(academy, text, folder=None):
    (folder or academy.inbox).joinpath("device_checks.csv").write_text(text)
    return academy.load()


def test_checks_become_rows_with_their_error(academy):
    assert load(academy, GOOD).refused == []
    assert academy.sql(ROWS).rows() == [
        ("imperial", "left", 8, 20.0, 19.9, False, -0.5),
        ("imperial", "right", 8, 20.0, 20.6, True, 3.0),
        ("mat", "whole", 8, 20.0, 20.2, False, 1.0),
    ]


def test_side_and_recalibrated_may_be_left_out_whole(academy):
    assert load(academy, "device,at,known_kg,reading_kg\nmat,2026-05-04T09:00:00Z,25,25\n").refused == []
    assert academy.sql("SELECT side, recalibrated, error_pct FROM academy.device_check").rows() == [
        ("whole", False, 0.0)
    ]


def test_a_file_may_grow_come_again_or_hold_the_new_checks_alone(academy):
    load(academy, GOOD)
    assert load(academy, GOOD).files == {"device_checks.csv": "unchanged"}
    load(academy, GOOD + "mat,,2026-05-11T09:00:00+01:00,20,20.3,\n")
    load(academy, HEAD + "mat,,2026-05-18T09:00:00+01:00,20,20.4,\n")
    load(academy, HEAD + "mat,whole,2026-05-18T09:00:00+01:00,20,20.5,\n")  # a slip of the pen is corrected
    readings = academy.sql("SELECT reading_kg FROM academy.device_check WHERE device = 'mat' ORDER BY \"at\"")
    assert readings.to_series().to_list() == [20.2, 20.3, 20.5]


def test_a_rebuild_brings_the_same_checks(academy, tmp_path):
    load(academy, GOOD)
    load(academy, HEAD + "mat,,2026-05-11T09:00:00+01:00,20,20.3,\n")
    twin = academy.twin(tmp_path / "twin")
    with writer(twin) as w:
        replay(twin, w)
        assert w.sql(ROWS).rows() == academy.sql(ROWS).rows()


LATER = (datetime.now(UTC) + timedelta(days=2)).isoformat(timespec="minutes")


@pytest.mark.parametrize(
    ("line", "column", "says"),
    [
        ("plates-x,,2026-05-04T09:00:00Z,20,20,", "device", 'device "plates-x" is not in academy.toml'),
        ("mat,front,2026-05-04T09:00:00Z,20,20,", "side", "whole, left, right"),
        ("mat,,yesterday,20,20,", "at", "must be a time such as"),
        (f"mat,,{LATER},20,20,", "at", "is yet to come"),
        ("mat,,2026-05-04T09:00:00Z,0,20,", "known_kg", "known_kg"),
        ("mat,,2026-05-04T09:00:00Z,20,heavy,", "reading_kg", "must be a number"),
        ("mat,,2026-05-04T09:00:00Z,20,44.1,", "reading_kg", "reading_kg is 44.1 with 20 kg on it, which looks like another"),
        ("mat,,2026-05-04T09:00:00Z,20,0,", "reading_kg", "reading_kg is 0 with 20 kg on it"),
        ("mat,,2026-05-04T09:00:00Z,20,20,maybe", "recalibrated", "must be true or false"),
        ("mat,whole,2026-05-04T08:00:00Z,20,20,", "device", "appears twice"),
    ],
)  # fmt: skip
def test_a_bad_line_refuses_the_file_whole_with_one_sentence(academy, line, column, says):
    (refused,) = load(academy, GOOD + line + "\n").refused
    assert says in refused.sentence
    assert refused.sentence.endswith("correct the file and deliver it again.")
    assert (refused.file, refused.line, refused.column) == ("device_checks.csv", 5, column)
    assert academy.sql(ROWS).is_empty()


@pytest.mark.parametrize(("by", "loads"), [("h1", True), ("c1", True), ("s1", False), ("g2", False)])
def test_any_coach_delivers_them_and_no_family(academy, by, loads):
    folder = academy.inbox / "dropped-1"
    folder.mkdir()
    (folder / MARK).write_text(mark_text(Deliverer(by, "2026-05-12T12:00:00+00:00", ())))
    report = load(academy, GOOD, folder)
    assert [r.reason for r in report.refused] == ([] if loads else ["not_yours"])
    assert len(academy.sql(ROWS)) == (3 if loads else 0)
