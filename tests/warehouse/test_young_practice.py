"""What an academy says of the body in academy.toml: practice, ages and the room around a set-up."""

import pytest

from warehouse.errors import UnderfootError
from warehouse.settings import parse_settings

TOML = 'name = "Test"\ntime_zone = "Europe/Berlin"\nyoung_practice_minutes_a_week = {value}\n'


def test_the_limit_is_read_and_may_be_left_out():
    assert parse_settings(TOML.format(value=120).encode()).young_practice_minutes_a_week == 120.0
    assert parse_settings(TOML.split("young", maxsplit=1)[0].encode()).young_practice_minutes_a_week is None


@pytest.mark.parametrize("value", ['"two hours"', "-5", "0", "true", "20000"])
def test_a_limit_that_cannot_be_is_said_with_an_example(value):
    with pytest.raises(UnderfootError, match="young_practice_minutes_a_week = 120"):
        parse_settings(TOML.format(value=value).encode())


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("setup_room_pct = 0", "setup_room_pct = 5"),
        ("setup_room_pct = true", "setup_room_pct = 5"),
        (f"setup_room_pct = 1{'0' * 400}", "setup_room_pct = 5"),
        ("setup_room_pct = nan", "setup_room_pct = 5"),
        ('eyes_closed_from_age = "ten"', "eyes_closed_from_age = 14"),
        ("eyes_closed_from_age = 14.5", "eyes_closed_from_age = 14"),
        ("young_full_swings_a_day = 0", "young_full_swings_a_day = 100"),
        ("young_full_swings_a_day = 10_001", "whole number of full swings"),
        ("young_full_swings_a_week = 99.5", "young_full_swings_a_week = 300"),
    ],
)
def test_a_value_that_cannot_be_is_said_with_the_usual_one(line, said):
    with pytest.raises(UnderfootError, match=said):
        parse_settings(TOML.format(value=120).encode() + line.encode())


def test_ages_and_room_are_read_and_have_usual_values():
    usual = parse_settings(TOML.format(value=120).encode())
    assert (usual.eyes_closed_from_age, usual.setup_room_pct) == (14, 5.0)
    assert (usual.young_full_swings_a_day, usual.young_full_swings_a_week) == (100, 300)
    own = parse_settings(TOML.format(value=120).encode() + b"eyes_closed_from_age = 16\nsetup_room_pct = 4\n")
    assert (own.eyes_closed_from_age, own.setup_room_pct) == (16, 4.0)
    limits = b"young_full_swings_a_day = 60\nyoung_full_swings_a_week = 10000\n"
    swings = parse_settings(TOML.format(value=120).encode() + limits)
    assert (swings.young_full_swings_a_day, swings.young_full_swings_a_week) == (60, 10_000)
