"""A file dropped by itself is placed by its name or columns; what stays open is asked, with likely owners."""

import json

import polars as pl
import pytest

from ingest import placing, reading_process
from ingest.load import retry
from planted_recordings import QUIET, recording
from warehouse.devices import read_devices
from warehouse.errors import UnderfootError
from warehouse.vocabulary import words

COLUMNS = "".join(f'{name} = "{name}"\n' for name in ("t_s", "left_n", "right_n"))
DEVICE = '\n[device.run]\nkind = "force_plates"\n[device.run.layout]\nswings = "found"\n{says}\n[device.run.columns]\n'
NAMED = DEVICE.format(says='file_name = "{student}_{date}_{time}"') + COLUMNS
IN_COLUMNS = DEVICE.format(says='student = "Player"\nstarted_at = "When"') + COLUMNS


@pytest.fixture(scope="module")
def samples() -> pl.DataFrame:
    made = recording(QUIET, seed=11, minutes=1.5)
    return pl.DataFrame({name: getattr(made, name) for name in ("t_s", "left_n", "right_n")})


def drop(academy, samples: pl.DataFrame, name: str, settings: str = NAMED):
    file = academy.home.settings_file
    if "[device.run]" not in file.read_text():
        file.write_text(file.read_text() + settings)
    samples.write_csv(academy.inbox / name)
    return academy.load()


def waiting(academy) -> dict:
    [why] = [json.loads(path.read_text()) for path in academy.home.refused.glob("*/why.json")]
    return why


@pytest.mark.parametrize(
    "name",
    [
        "s1_2026-05-05_1610.csv", "Ada Fennimore_20260505_16-10.csv", "FENNIMORE ada_05.05.2026_16.10.csv",
        "Fénnimore_2026-05-05_161000.csv",
    ],
)  # fmt: skip
def test_a_file_named_after_its_student_and_time_loads_as_their_session(academy, samples, name):
    assert drop(academy, samples, name).refused == []
    [(student, at, device)] = academy.sql("SELECT student, started_at, device FROM academy.session").rows()
    assert (student, device) == ("s1", "run")
    assert at.isoformat() == "2026-05-05T15:10:00"
    assert academy.sql("SELECT count(*) FROM academy.swing").item() >= 1
    assert academy.left_in_inbox() == []


def test_a_club_is_named_as_the_file_names_it(academy, samples):
    named = NAMED.replace("{time}", "{time}_{club}")
    [refused] = drop(academy, samples, "s1_2026-05-05_1610_7 🏌.csv", named).refused
    assert (refused.reason, 'the club "7 🏌"' in refused.sentence) == ("unknown_club", True)


def test_two_exports_named_alike_but_for_their_ending_are_both_kept(academy, samples):
    name = "s1_2026-05-05_1610"
    samples.head(4000).write_csv(academy.inbox / f"{name}.tsv", separator="\t")
    assert drop(academy, samples, f"{name}.csv").refused == []
    assert academy.sql("SELECT count(*) FROM academy.session").item() == 2


def test_columns_may_say_whose_and_when(academy, samples):
    told = samples.with_columns(Player=pl.lit("Tam Brackley"), When=pl.lit("2026-05-05T16:10:00+01:00"))
    assert drop(academy, told, "export 17.csv", IN_COLUMNS).refused == []
    assert academy.sql("SELECT student FROM academy.session").to_series().to_list() == ["s2"]


def test_several_people_in_one_column_are_a_question(academy, samples):
    who = pl.when(pl.int_range(pl.len()) < 100).then(pl.lit("s1")).otherwise(pl.lit("s2"))
    told = samples.with_columns(Player=who, When=pl.lit("2026-05-05T16:10:00+01:00"))
    assert [found.reason for found in drop(academy, told, "export.csv", IN_COLUMNS).refused] == ["whose"]


def test_a_name_that_two_students_have_is_asked_and_both_are_proposed(academy, made, samples):
    people = made.roster["people.csv"] + "s4,student,Mia Fennimore,1990-01-01,right,,club,,2025-03-01,\n"
    academy.roster(people=people)
    academy.load()
    [refused] = drop(academy, samples, "Fennimore_2026-05-05_1610.csv").refused
    assert refused.reason == "whose"
    assert '"Fennimore" may be s1 or s4' in refused.sentence
    proposal = waiting(academy)["refused"][0]["proposal"]
    assert {owner["person"] for owner in proposal["owners"]} == {"s1", "s4"}
    assert proposal["mass_kg"] == pytest.approx(74.0, abs=1.0)
    assert academy.left_in_inbox() == []


def test_owners_are_ranked_by_body_mass_where_the_name_says_nothing(academy, made, samples):
    for session, student, kg in (("v1", "s1", 73), ("v2", "s2", 41)):
        made.deliver(
            academy.inbox / session, made.toml(session, student=student, swings=0, head=f"body_mass_kg = {kg}"),
            notes__csv="at,author,kind,code\n2026-05-05T10:00:00+01:00,c1,talked,rhythm\n",
        )  # fmt: skip
    academy.load()
    drop(academy, samples, "nobody known_2026-05-05_1610.csv")
    owners = waiting(academy)["refused"][0]["proposal"]["owners"]
    assert owners[0]["person"] == "s1"
    assert owners[0]["because"] == ["body_mass"]
    assert owners[-1]["person"] == "s2"


def test_a_file_that_was_asked_about_loads_once_answered_and_is_asked_no_more(academy, samples):
    [refused] = drop(academy, samples, "unknown_2026-05-05_1610.csv").refused
    assert refused.reason == "whose"
    proposal = waiting(academy)["refused"][0]["proposal"]
    folder = academy.inbox / "answer"
    folder.mkdir()
    [kept] = list(academy.home.refused.rglob("*.csv"))
    (folder / "plate.csv").write_bytes(kept.read_bytes())
    (folder / "session.toml").write_text(
        f'session = "{proposal["session"]}"\nstudent = "s1"\ndevice = "{proposal["device"]}"\n'
        f"started_at = {proposal['started_at']}\n"
    )
    assert academy.load().refused == []
    assert academy.sql("SELECT student FROM academy.session").to_series().to_list() == ["s1"]
    assert academy.sql("SELECT count(*) FROM academy.refusal").item() == 0
    assert not list(academy.home.refused.iterdir())
    assert academy.with_writer(retry).to_json()["refused"] == []


def test_a_session_of_the_same_name_with_other_samples_leaves_the_file_that_waits(academy, made, samples):
    drop(academy, samples, "unknown_2026-05-05_1610.csv")
    proposal = waiting(academy)["refused"][0]["proposal"]
    made.deliver(academy.inbox / "other", made.toml(proposal["session"]), made.plate())
    assert academy.load().refused == []
    assert "superseded_by" in waiting(academy)


def test_what_goes_beyond_the_limits_of_a_load_is_refused_for_that_alone(academy, samples, monkeypatch):
    """Reading by columns is a load's own reading: in a process of its own, within its limits."""
    monkeypatch.setattr(reading_process, "READ_LIMIT_S", 0.001)
    monkeypatch.setattr(placing, "is_little", lambda *_: False)
    told = samples.with_columns(Player=pl.lit("s1"), When=pl.lit("2026-05-05T16:10:00+01:00"))
    told.write_csv(academy.inbox / "another.csv")
    report = drop(academy, told, "export.csv", IN_COLUMNS)
    assert [found.reason for found in report.refused] == ["over_time", "over_time"]
    assert academy.left_in_inbox() == []


def test_a_file_whose_mass_takes_too_long_to_find_still_waits_for_whose_it_is(academy, samples, monkeypatch):
    monkeypatch.setattr(reading_process, "READ_LIMIT_S", 0.001)
    monkeypatch.setattr(placing, "is_little", lambda *_: False)
    [refused] = drop(academy, samples, "unknown_2026-05-05_1610.csv").refused
    assert refused.reason == "whose"
    assert waiting(academy)["refused"][0]["proposal"]["mass_kg"] is None


def test_a_file_larger_than_a_session_can_hold_is_refused_for_its_size(academy, samples, monkeypatch):
    monkeypatch.setattr(placing, "MOST_HELD_BYTES", 1000)
    monkeypatch.setattr("ingest.delivery.MOST_HELD_BYTES", 1000)
    assert [one.reason for one in drop(academy, samples, "s1_2026-05-05_1610.csv").refused] == ["too_large"]


@pytest.mark.parametrize(
    "name",
    [
        "whatever.csv", "s1_2026-02-30_1610.csv", "s1_31.02.2026_1610.csv", "s1_2026-05-05_2561.csv",
        "s1_2026-05-05_99.csv", "s1_2026-05-05_1610_7.csv", "_2026-05-05_1610.csv", "__.csv",
    ],
)  # fmt: skip
def test_files_of_other_names_and_kinds_are_left_to_the_other_rules(academy, samples, name):
    (academy.inbox / "s1_2026-05-05_1610.jpg").write_bytes(b"\xff\xd8\xff")
    report = drop(academy, samples, name)
    assert {found.reason for found in report.refused} == {"unknown_file"}
    assert not report.accepted


def test_the_same_file_again_is_unchanged(academy, samples):
    drop(academy, samples, "s1_2026-05-05_1610.csv")
    report = drop(academy, samples, "s1_2026-05-05_1610.csv")
    assert report.refused == []
    assert len(report.unchanged) == 1


def test_a_session_toml_that_names_no_swing_takes_those_its_file_numbers(academy, made):
    made.deliver(academy.inbox / "v1", made.toml(swings=0), made.plate(3))
    assert academy.load().refused == []
    assert academy.sql("SELECT swing_no FROM academy.swing ORDER BY 1").to_series().to_list() == [1, 2, 3]


@pytest.mark.parametrize("file_name", ["{player}_{date}", "{student}_{student}", "{}"])
def test_a_file_name_with_an_unknown_part_is_one_sentence(file_name):
    table = {"run": {"kind": "force_plates", "layout": {"file_name": file_name}}}
    with pytest.raises(UnderfootError, match="file_name"):
        read_devices(table, "academy.toml")


def test_a_name_is_the_same_without_case_accents_and_order():
    assert words("Özil_José") == words("jose OZIL")
