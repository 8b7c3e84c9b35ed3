"""The academy home and its settings."""

import subprocess
import sys

import pytest

import builders
from warehouse.errors import CallError, UnderfootError
from warehouse.home import Home, parse_settings


def test_a_home_is_found_by_option_then_environment_then_default(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("UNDERFOOT_HOME", raising=False)
    assert Home.find().path == (tmp_path / "academy").resolve()
    monkeypatch.setenv("UNDERFOOT_HOME", str(tmp_path / "from-environment"))
    assert Home.find().path == (tmp_path / "from-environment").resolve()
    assert Home.find(tmp_path / "named").path == (tmp_path / "named").resolve()


def test_a_folder_without_an_academy_is_told_in_one_sentence(tmp_path):
    with pytest.raises(CallError, match=r"academy\.toml is missing.*--home DIR"):
        Home(tmp_path).settings()


def test_settings_carry_devices_with_their_columns_and_units(home):
    device = home.settings().devices["imperial"]
    assert device.kind == "force_plates"
    assert device.columns["t_s"].column == "Clock"
    assert device.columns["t_s"].unit == "ms"


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("name = ", "not readable TOML"),
        ('time_zone = "UTC"', "has no academy name"),
        ('name = "A"', "has no time_zone"),
        ('name = "A"\ntime_zone = "Nowhere/Land"', "not a known time zone"),
        ('name = "A"\ntime_zone = "UTC"\n[device.x]\nkind = "abacus"', r"\[device\.x\] has kind"),
        (
            'name = "A"\ntime_zone = "UTC"\ndevice.x = { kind = "insoles", columns = { lead_n = { column = "L", unit = 4.448 } } }',
            r"\[device\.x\.columns\] lead_n has unit = 4\.448.*write one",
        ),
        ('name = "A"\ntime_zone = "UTC"\n[club_families]\n"big" = "tree"', "is not one of"),
    ],
)
def test_wrong_settings_are_told_with_the_place_and_the_mend(text, says):
    with pytest.raises(UnderfootError, match=says) as caught:
        parse_settings(text.encode())
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("club", "family"),
    [
        ("7-iron", "iron"),
        ("Driver", "driver"),
        ("pitching wedge", "wedge"),
        ("56", "wedge"),
        ("3-wood", "wood"),
        ("4-hybrid", "hybrid"),
        ("putter", "putter"),
    ],
)
def test_a_club_finds_its_family_by_its_name(club, family):
    assert parse_settings(builders.SETTINGS.encode()).club_family(club) == family


def test_an_unknown_club_is_told_and_the_academys_own_table_comes_first():
    with pytest.raises(UnderfootError, match="fits no club family"):
        parse_settings(builders.SETTINGS.encode()).club_family("broom")
    own = parse_settings((builders.SETTINGS + '\n[club_families]\n"broom" = "putter"\n').encode())
    assert own.club_family("Broom") == "putter"


def test_a_second_writer_waits_and_is_told(home):
    waited = []
    with home.lock():
        code = (
            "import sys; from pathlib import Path; from warehouse.home import Home\n"
            "from warehouse.errors import UnderfootError\n"
            "try:\n"
            "    with Home(Path(sys.argv[1])).lock(lambda: print('waiting'), wait_s=0.2): print('held')\n"
            "except UnderfootError as error: print(error)\n"
        )
        ran = subprocess.run(
            [sys.executable, "-c", code, str(home.path)], capture_output=True, text=True, check=True
        )
        waited = ran.stdout.splitlines()
    assert waited[0] == "waiting"
    assert "wait for it to end" in waited[1]
    with home.lock():
        pass
