"""A device's recipe comes into academy.toml beside what is there, and never over another one."""

import tomllib
from datetime import UTC

import pytest
from hypothesis import given
from hypothesis import strategies as st

from warehouse.errors import UnderfootError
from warehouse.recipes import read_recipe, recipe_text, with_recipe
from warehouse.settings import parse_settings
from warehouse.toml import lines, tables

ACADEMY = b'name = "Foot first"  # ours\ntime_zone = "UTC"\n\n[sign_in.people]\n"a@example.org" = "c01"\n'
COLUMNS = {
    "t_s": {"column": 'Clock "raw"', "unit": "ms"},
    "left_n": {"column": ["L1", "L2"], "scale": -1.0},
    "right_n": {"column": "R 力"},
}
TABLE = {"kind": "force_plates", "rate_hz": 100.0, "layout": {"delimiter": "\t"}, "columns": COLUMNS}
names = st.text("abcXYZ-_019", min_size=1, max_size=12).filter(lambda name: name[0] not in "-_")
texts = st.text(st.characters(codec="utf-8", exclude_categories=["Cs"]), max_size=12)


def test_everything_else_stays_as_it_was_written():
    added = with_recipe(ACADEMY, "plates", TABLE)
    assert added.startswith(ACADEMY.rstrip())
    assert tomllib.loads(added.decode()) == {
        **tomllib.loads(ACADEMY.decode()),
        "device": {"plates": TABLE},
    }
    assert parse_settings(added).devices["plates"].columns["left_n"].columns == ("L1", "L2")


@given(names, texts, texts)
def test_what_is_written_is_read_back(name, header, sheet):
    table = {"kind": "insoles", "layout": {"sheet": sheet}, "columns": {"left_n": {"column": header}}}
    assert read_recipe(recipe_text(name, table).encode()) == (name, table)


@given(
    st.dictionaries(
        names, texts | st.booleans() | st.integers() | st.datetimes(timezones=st.just(UTC)) | st.lists(texts)
    )
)
def test_whatever_is_written_as_toml_is_read_back(table):
    assert tables("\n".join(lines(table))) == table


def test_adding_it_again_changes_nothing():
    added = with_recipe(ACADEMY, "plates", TABLE)
    assert with_recipe(added, "plates", TABLE) == added


def test_a_device_that_is_only_named_is_given_its_recipe():
    named = (
        ACADEMY
        + b'\n[device.plates]\nkind = "force_plates"   # in the bay\n[device.other]\nkind = "insoles"\n'
    )
    added = with_recipe(named, "plates", TABLE)
    assert tomllib.loads(added.decode())["device"] == {"plates": TABLE, "other": {"kind": "insoles"}}
    assert b"# in the bay" in added


@pytest.mark.parametrize("other", [{"columns": {}}, {"layout": {"delimiter": ";"}}, {"kind": "insoles"}])
def test_another_recipe_is_never_written_over(other):
    there = with_recipe(ACADEMY, "plates", {**TABLE, **other})
    with pytest.raises(UnderfootError, match="another recipe"):
        with_recipe(there, "plates", TABLE)


@pytest.mark.parametrize(
    ("text", "match"),
    [
        (recipe_text("mat", TABLE) + '[sign_in.people]\n"me@example.org" = "c01"\n', "nothing else"),
        ('name = "Mine"\n', "nothing else"),
        (recipe_text("a", TABLE) + recipe_text("b", TABLE), "one device"),
        ('[device."a b"]\nkind = "insoles"\n', "letters, digits"),
        ("[device.mat]\nkind = 3\n", "kind"),
        ("[device", "readable TOML"),
    ],
)
def test_a_recipe_brings_one_device_and_nothing_else(text, match):
    with pytest.raises(UnderfootError, match=match):
        read_recipe(text.encode())
