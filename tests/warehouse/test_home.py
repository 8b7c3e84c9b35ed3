"""The academy home and its settings."""

import subprocess
import sys

import pytest

import builders
from warehouse.contracts.base import columns_of
from warehouse.contracts.deliveries import PlateSample
from warehouse.errors import CallError, UnderfootError
from warehouse.home import Home
from warehouse.settings import parse_settings
from warehouse.vocabulary import PLATE_COLUMNS, written_names


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
    assert device.columns["t_s"].columns == ("Clock",)
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


HEAD = 'name = "A"\ntime_zone = "UTC"\n'


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ('[device.x]\nkind = "insoles"\nrate = 100', r'\[device\.x\] has the unknown line "rate"; correct'),
        ('[device.x]\nkind = "insoles"\nrate_hz = "100"', r"rate_hz = '100'; write the samples a second"),
        ('[device.x]\nkind = "insoles"\nrate_hz = 0', "rate_hz = 0; write"),
        ('[device.x]\nkind = "force_plates"\nlead_platform = "1"', "lead_platform = '1'; write"),
        ('[device.x]\nkind = "sensor_grid"\nrows = "upside_down"', "rows = 'upside_down'; write"),
        (
            '[device.x]\nkind = "insoles"\ncolumns = "x"',
            r"columns = 'x'; write .*\[device\.x\.columns\] table",
        ),
        ('[device.x]\nkind = "insoles"\ncolumns = [1]', r"columns = \[1\]; write"),
        (
            '[device.x]\nkind = "insoles"\n[device.x.columns]\nlead_n = { column = "L", units = "lbf" }',
            r'\[device\.x\.columns\] lead_n has the unknown key "units"; correct',
        ),
        (
            '[device.x]\nkind = "insoles"\n[device.x.columns]\nlead_load = "L"',
            "lead_load is not a column of a plate file; map one of swing_no, ",
        ),
        ('[device.x]\nkind = "insoles"\n[device.x.columns]\nleft_cop_x_mm = "L"', "is not a column of"),
        ('device = "mat"', "device = 'mat' is no table; write"),
        ('device = { mat = "mat" }', r"\[device\.mat\] has kind"),
        ('minor_until_age = "sixteen"', "minor_until_age = 'sixteen' is not a whole number of years; write"),
        ("minor_until_age = true", "is not a whole number"),
        ('club_families = "wood"', "club_families = 'wood' is no table; write"),
        ('band = "x"', r"band is no list of tables; write each as \[\[band\]\]"),
        ("fault = [1]", "fault is no list of tables; write"),
    ],
)
def test_what_settings_can_t_know_or_take_is_told_in_one_sentence(text, says):
    with pytest.raises(UnderfootError, match=rf"^academy\.toml: .*{says}") as caught:
        parse_settings((HEAD + text).encode())
    assert "\n" not in str(caught.value)
    assert str(caught.value).endswith(".")


def test_every_line_a_device_may_have_is_taken():
    text = """
    [device.grid]
    kind = "sensor_grid"
    rows = "toes_first"
    columns = "right_first"
    [device.proposed]
    kind = "insoles"
    rate_hz = "?"
    [device.plates]
    kind = "force_plates"
    rate_hz = 200
    lead_platform = 2
    [device.plates.columns]
    """ + "".join(f'{name} = "{name}"\n' for name in written_names())
    devices = parse_settings((HEAD + text).encode()).devices
    assert devices["grid"].columns == {}
    assert devices["proposed"].raw["rate_hz"] == "?"
    assert devices["grid"].raw["columns"] == "right_first"
    assert list(devices["plates"].columns) == written_names()


def test_the_columns_that_can_be_mapped_are_those_of_a_plate_file():
    assert list(columns_of(PlateSample)) == list(PLATE_COLUMNS)
    assert {"left_n", "right_along_pct", "left_across_mm", "right_heel_n"} <= set(written_names())


def test_settings_once_in_force_are_read_as_they_were_then():
    text = HEAD + (
        'minor_until_age = "16"\n[device.x]\nkind = "insoles"\nrate = 5\n'
        '[device.x.columns]\nlead_n = { column = "L", units = "lbf" }\nload = "M"\n'
    )
    with pytest.raises(UnderfootError):
        parse_settings(text.encode())
    then = parse_settings(text.encode(), past=True)
    assert then.minor_until_age == 16
    assert then.devices["x"].columns["lead_n"].unit is None


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
