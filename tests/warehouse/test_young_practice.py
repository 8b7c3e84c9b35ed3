"""The academy's limit on a young player's home practice."""

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
