"""A refused delivery that nobody wants any more is dropped for good: from the disk, the lists, and a rebuild."""

import json

import pytest

import made_swings as made
from command import underfoot_command
from warehouse import filed
from warehouse.home import Home
from warehouse.store import open_snapshot

SETTINGS = (
    'name = "The Hollow Oak academy"\ntime_zone = "Europe/Dublin"\n[device.mat]\nkind = "pressure_mat"\n'
)


@pytest.fixture
def home(tmp_path):
    """A home with its roster, one lone plate file and one session that were refused."""
    home = Home(tmp_path / "academy")
    home.path.mkdir()
    home.settings_file.write_text(SETTINGS)
    roster = made.write_roster(tmp_path / "roster")
    lone = tmp_path / "lone"
    lone.mkdir()
    (lone / "plate.csv").write_text("swing_no,t_s\n1,0\n")
    bad = made.write_session(
        tmp_path / "bad", made.session_toml("bad", device="nobody's"), made.swing_frame()
    )
    underfoot_command("load", roster, lone, bad, "--home", home.path)
    return home


def refused(home):
    return json.loads(underfoot_command("refused", "--home", home.path, "--json").stdout)["refused"]


def test_a_dropped_delivery_is_off_the_list_off_the_disk_and_stays_away_after_a_rebuild(home):
    assert len(refused(home)) == 2
    ran = underfoot_command("refused", "--drop", "bad", "--home", home.path)
    assert "Dropped: bad-" in ran.stdout
    assert [row["session"] for row in refused(home)] == [None]
    assert not list(home.refused.glob("bad-*"))
    assert underfoot_command("build", "--from-filed", "--home", home.path).returncode == 0
    assert [row["session"] for row in refused(home)] == [None]


def test_what_was_dropped_is_refused_anew_when_it_comes_again(home, tmp_path):
    underfoot_command("refused", "--drop", "bad", "--home", home.path)
    underfoot_command("load", tmp_path / "bad", "--home", home.path)
    assert {row["session"] for row in refused(home)} == {None, "bad"}


def test_a_name_under_which_nothing_is_kept_is_said(home):
    ran = underfoot_command("refused", "--drop", "nothing", "--home", home.path)
    assert ran.returncode == 2
    assert "Nothing is kept in refused/ as nothing" in ran.stderr


def test_what_was_asked_for_on_a_page_is_dropped_at_the_next_load(home):
    folder = next(home.refused.glob("bad-*"))
    filed.ask_to_drop(folder, "h1")
    underfoot_command("load", "--home", home.path)
    assert not folder.exists()
    lines = [json.loads(line) for line in home.ledger.read_text().splitlines()]
    assert [(line["outcome"], line["by"]) for line in lines][-1] == ("dropped", "h1")


def test_a_refused_file_of_no_session_is_a_signal_of_the_week_until_it_is_dropped(home, tmp_path):
    good = made.write_session(tmp_path / "good", made.session_toml("good"), made.swing_frame())
    underfoot_command("load", good, "--home", home.path)

    def listed():
        snapshot = open_snapshot(home)
        found = snapshot.sql("SELECT subject FROM season.signal WHERE kind = 'refused'")["subject"].to_list()
        snapshot.close()
        return len(found)

    underfoot_command("build", "--home", home.path)
    assert listed() == 2
    lone = next(path.name for path in home.refused.iterdir() if not path.name.startswith("bad"))
    underfoot_command("refused", "--drop", lone, "--home", home.path)
    assert listed() == 1


@pytest.mark.parametrize("slip", ["the home itself", "photos"])
def test_a_path_that_is_no_delivery_is_not_loaded_before_somebody_says_so(home, tmp_path, slip):
    path = home.path
    if slip == "photos":
        path = tmp_path / "photos"
        path.mkdir()
        for number in range(30):
            (path / f"IMG_{number}.JPG").write_bytes(b"x")
    before = home.ledger.read_bytes()
    ran = underfoot_command("load", path, "--home", home.path)
    assert ran.returncode == 2
    assert "--yes" in ran.stderr
    assert home.ledger.read_bytes() == before
