"""What is delivered through the pages loads only where its deliverer may deliver it; the rest loads as ever."""

import json
import shutil
import zipfile

import pytest

from ingest.load import replay, retry
from warehouse.deliverer import MARK, Deliverer, mark_text
from warehouse.store import writer

NOTE = "student,at,author,kind,text\n"
NOON = "2026-05-12T12:00:00+00:00"
FOOT = {"started_at": "2026-05-12T10:00:00+01:00"}


@pytest.fixture
def academy(academy, made):
    """The roster with a second coach, who has s1 as well and, for eleven days, s3."""
    people = made.roster["people.csv"].replace("1960-01-01,,", "1960-01-01,right,250")
    academy.roster(
        people=people + "c2,coach,Sorrel Dene,,,,,,2025-01-01,2026-06-30\n",
        coaching=made.roster["coaching.csv"] + "s3,c2,2026-05-10,2026-05-20\ns1,c2,2026-05-10,\n",
    )
    assert not academy.load().refused
    return academy


@pytest.fixture
def drop(academy, made):
    """Drop a session's folder as somebody, and load it: drop(by, session.toml, …) → the report."""

    def go(by, sheet, *, at=NOON, corrects=(), **files):
        made.deliver(dropped(academy, by, at=at, corrects=corrects) / "visit", sheet, made.plate(), **files)
        return academy.load()

    return go


def dropped(academy, by, *, at=NOON, corrects=(), name="dropped-1"):
    """A folder of the inbox as the pages leave it."""
    folder = academy.inbox / name
    folder.mkdir()
    (folder / MARK).write_text(mark_text(Deliverer(by, at, tuple(corrects))))
    return folder


def filed(academy):
    """Session, delivery and who delivered it, of what is in the warehouse."""
    return academy.sql(
        "SELECT s.session, s.delivery, d.delivered_by FROM academy.session s JOIN academy.delivery d USING (delivery) "
        "ORDER BY ALL"
    ).rows()


def test_a_coach_delivers_a_session_of_a_student_in_reach_and_the_ledger_says_who_did(academy, drop, made):
    assert drop("c1", made.toml()).accepted == ["v1"]
    ((session, _, by),) = filed(academy)
    assert (session, by) == ("v1", "c1")
    last = json.loads(academy.home.ledger.read_text().splitlines()[-1])
    assert last["by"] == "c1"
    assert not list(academy.inbox.iterdir())


def test_what_the_keeper_of_the_home_puts_there_needs_no_right(academy, made):
    made.deliver(academy.inbox / "visit", made.toml(student="s3", **FOOT), made.plate())
    (academy.inbox / "notes.csv").write_text(f"{NOTE}s3,2026-05-12T10:00:00+01:00,h1,plan,Slowly.\n")
    assert academy.load().accepted == ["v1"]
    assert filed(academy)[0][2] is None
    made.deliver(
        academy.inbox / "visit", made.toml(student="s3", head="body_mass_kg = 70", **FOOT), made.plate()
    )
    assert academy.load().accepted == ["v1"]


@pytest.mark.parametrize(
    ("by", "sheet", "said"),
    [
        ("c1", lambda toml: toml(student="s3", **FOOT), "s3 is not a student whom c1 coaches"),
        (
            "c1",
            lambda toml: toml().replace('"c1"', '"h1"'),
            "it is under the name of h1, and c1 delivered it",
        ),
        ("c2", lambda toml: toml(), "it is under the name of c1, and c2 delivered it"),
        ("s1", lambda toml: toml(), "s1 is no coach of the academy who may deliver"),
        ("g2", lambda toml: toml(student="s2"), "g2 is no coach"),
        ("nobody", lambda toml: toml(), "nobody is no coach"),
    ],
)
def test_anyone_elses_session_is_refused_and_nothing_of_it_lands(academy, by, sheet, said, drop, made):
    (refused,) = drop(by, sheet(made.toml)).refused
    assert refused.reason == "not_yours"
    assert said in refused.sentence
    assert filed(academy) == []
    assert academy.sql("SELECT DISTINCT reason FROM academy.refusal").rows() == [("not_yours",)]
    assert not list(academy.inbox.iterdir())


def test_a_session_that_names_no_coach_is_under_nobodys_name(academy, drop, made):
    assert drop("c2", made.toml().replace('coach = "c1"\n', "")).accepted == ["v1"]


@pytest.mark.parametrize(
    ("at", "loads"),
    [
        ("2026-05-09T22:59:00+00:00", False), ("2026-05-09T23:00:00+00:00", True),  # midnight in Dublin
        ("2026-05-20T22:59:00+00:00", True), ("2026-05-20T23:00:00+00:00", False),
    ],
)  # fmt: skip
def test_the_day_that_counts_is_that_of_the_delivery_in_the_academys_own_time(academy, at, loads, drop, made):
    sheet = made.toml(student="s3", **FOOT).replace('"c1"', '"c2"')
    assert bool(drop("c2", sheet, at=at).accepted) is loads


@pytest.mark.parametrize(
    ("at", "loads"), [("2026-06-30T12:00:00+00:00", True), ("2026-07-01T12:00:00+00:00", False)]
)
def test_whoever_leaves_delivers_to_their_last_day(academy, at, loads, drop, made):
    sheet = made.toml(student="s1").replace('"c1"', '"c2"')
    assert bool(drop("c2", sheet, at=at).accepted) is loads


def test_a_correction_names_what_it_corrects(academy, drop, made):
    drop("c1", made.toml())
    ((_, first, _),) = filed(academy)
    again = made.toml(head="body_mass_kg = 70")
    (refused,) = drop("c1", again).refused
    assert refused.reason == "correction_unnamed"
    (refused,) = drop("c1", again, corrects=["ab" * 32]).refused
    assert refused.reason == "correction_unnamed"
    assert filed(academy) == [("v1", first, "c1")]
    assert drop("c1", again, corrects=[first]).accepted == ["v1"]
    ((_, second, _),) = filed(academy)
    assert second != first
    (refused,) = drop("c1", made.toml(head="body_mass_kg = 71"), corrects=[first]).refused  # no longer there
    assert refused.reason == "correction_unnamed"


def test_the_same_bytes_again_correct_nothing_and_change_nothing(academy, drop, made):
    drop("c1", made.toml())
    assert drop("c1", made.toml()).unchanged == ["v1"]


@pytest.mark.parametrize("first_by", ["c1", None])
def test_no_coach_corrects_a_session_that_another_filed(academy, first_by, drop, made):
    if first_by is None:
        made.deliver(academy.inbox / "visit", made.toml(), made.plate())  # its coach is c1
        academy.load()
    else:
        drop(first_by, made.toml())
    ((_, first, _),) = filed(academy)
    sheet = made.toml(head="body_mass_kg = 70").replace('coach = "c1"\n', "")
    (refused,) = drop("c2", sheet, corrects=[first]).refused
    assert "filed already, by c1" in refused.sentence
    assert drop("c1", sheet, corrects=[first]).accepted == ["v1"]


def test_no_coach_takes_a_session_over_by_giving_it_to_a_student_of_theirs(academy, drop, made):
    made.deliver(academy.inbox / "visit", made.toml(student="s3", **FOOT), made.plate())
    academy.load()
    ((_, first, _),) = filed(academy)
    (refused,) = drop("c1", made.toml(student="s1"), corrects=[first]).refused
    assert "s3 is not a student whom c1 coaches" in refused.sentence


def test_a_session_of_nobody_in_particular_is_the_head_coachs_to_correct(academy, drop, made):
    sheet = made.toml().replace('coach = "c1"\n', "")
    made.deliver(academy.inbox / "visit", sheet, made.plate())
    academy.load()
    ((_, first, _),) = filed(academy)
    (refused,) = drop("c1", sheet + "\n", corrects=[first]).refused
    assert "by somebody else" in refused.sentence
    assert drop("h1", sheet + "\n", corrects=[first]).accepted == ["v1"]


def test_a_head_coach_delivers_for_everyone_and_over_everyone_and_that_is_logged(academy, drop, made):
    drop("c1", made.toml())
    ((_, first, _),) = filed(academy)
    (refused,) = drop("h1", made.toml(head="body_mass_kg = 70")).refused
    assert refused.reason == "correction_unnamed"
    assert drop("h1", made.toml(head="body_mass_kg = 70"), corrects=[first]).accepted == ["v1"]
    assert drop("h1", made.toml("v2", student="s3", **FOOT).replace('"c1"', '"h1"')).accepted == ["v2"]
    events = map(json.loads, academy.home.events.read_text().splitlines())
    overruled = [
        (e["viewer"], e["session"], e["of"]) for e in events if e["event"] == "delivered_for_another"
    ]
    assert overruled == [("h1", "v1", ["c1"])]


def test_lines_of_notes_load_where_student_and_author_are_right(academy):
    lines = [
        "s1,2026-05-12T10:00:00+01:00,c1,plan,Mine.", "s3,2026-05-12T10:00:00+01:00,c1,plan,Not my student.",
        "s1,2026-05-12T10:00:00+01:00,h1,plan,Not my name.",
    ]  # fmt: skip
    (dropped(academy, "c1") / "notes.csv").write_text(NOTE + "\n".join(lines) + "\n")
    report = academy.load()
    assert [(r.reason, r.line) for r in report.refused] == [("not_yours", 3), ("not_yours", 4)]
    assert academy.sql("SELECT text FROM academy.note").rows() == [("Mine.",)]
    assert not list(academy.inbox.iterdir())
    (dropped(academy, "h1") / "notes.csv").write_text(NOTE + "\n".join(lines) + "\n")
    assert academy.load().rows["note"] == 2


def test_notes_in_a_sessions_folder_are_under_the_deliverers_name_too(academy, drop, made):
    lines = "at,author,kind,text\n2026-05-05T10:00:00+01:00,c1,plan,Mine.\n2026-05-05T10:00:00+01:00,h1,plan,Not mine.\n"
    report = drop("c1", made.toml(), notes__csv=lines)
    assert report.accepted == ["v1"]
    assert [r.reason for r in report.refused] == ["not_yours"]
    assert academy.sql("SELECT text FROM academy.note").rows() == [("Mine.",)]


def test_ball_results_are_not_put_over_another_coachs(academy, drop, made):
    drop("c1", made.toml())
    shots = "session,swing_no,carry_m,side_m\nv1,1,150,2\n"
    (dropped(academy, "c2") / "shots.csv").write_text(shots)
    (refused,) = academy.load().refused
    assert (refused.reason, academy.sql("SELECT * FROM academy.shot").is_empty()) == ("not_yours", True)
    (dropped(academy, "c1") / "shots.csv").write_text(shots)
    assert academy.load().rows["shot"] == 1


@pytest.mark.parametrize("file", ["people.csv", "coaching.csv", "consents.csv", "drills.csv", "seasons.csv"])
def test_the_roster_is_taken_from_a_head_coach_alone(academy, file, made):
    text = made.roster[file].replace("2026", "2025").replace("Ada", "Adah").replace("slow", "slower")
    (dropped(academy, "c1") / file).write_text(text)
    (refused,) = academy.load().refused
    assert refused.reason == "not_yours"
    (dropped(academy, "h1") / file).write_text(text)
    assert academy.load().files == {file: "accepted"}


def test_what_is_in_an_archive_is_its_deliverers(academy, tmp_path, made):
    inside = made.deliver(tmp_path / "visit", made.toml(student="s3", **FOOT), made.plate())
    with zipfile.ZipFile(dropped(academy, "c1") / "visits.zip", "w") as archive:
        for file in inside.iterdir():
            archive.write(file, f"visit/{file.name}")
        archive.writestr(f"visit/{MARK}", mark_text(Deliverer("h1", NOON)))
        archive.writestr(
            "visit/why.json", json.dumps({"by": {"person": "h1", "at": "2026-05-12", "corrects": []}})
        )
    assert [r.reason for r in academy.load().refused] == ["not_yours"]
    assert not list(academy.inbox.iterdir())


def test_no_file_of_a_delivery_says_who_delivered_it(academy, made):
    folder = made.deliver(dropped(academy, "c1") / "visit", made.toml(student="s3", **FOOT), made.plate())
    (folder / "why.json").write_text(json.dumps({"by": {"person": "h1", "at": "2026-05-12", "corrects": []}}))
    (folder / MARK).write_text(mark_text(Deliverer("h1", NOON)))
    shutil.copy(folder / "why.json", folder.parent)
    assert [r.reason for r in academy.load().refused] == ["not_yours"]


@pytest.mark.parametrize("text", ["", "{}", "[]", '{"person": "h1", "at": "soon", "corrects": []}', "\x00"])
def test_a_mark_that_cannot_be_read_gives_no_right(academy, text, made):
    folder = dropped(academy, "h1")
    made.deliver(folder / "visit", made.toml(), made.plate())
    (folder / MARK).write_text(text)
    (refused,) = academy.load().refused
    assert refused.reason == "not_yours"


def test_a_refused_delivery_is_tried_again_as_its_deliverers(academy, drop, made):
    sheet = made.toml(student="s3", **FOOT)
    drop("c1", sheet)
    with writer(academy.home) as w:
        assert [r.reason for r in retry(academy.home, w).refused] == ["not_yours"]
    (academy.inbox / "coaching.csv").write_text("student,coach,from,to\ns3,c1,2026-05-12,2026-05-12\n")
    academy.load()
    with writer(academy.home) as w:
        assert retry(academy.home, w).accepted == ["v1"]
    assert filed(academy)[0][2] == "c1"


def test_a_session_that_waits_for_a_consent_waits_as_its_deliverers(academy, drop, made):
    (academy.inbox / "consents.csv").write_text(made.roster["consents.csv"].replace("s2,g2,measure,2026-01-01,", "s2,g2,measure,2026-01-01,2026-01-02"))  # fmt: skip
    academy.load()
    assert [r.reason for r in drop("c1", made.toml(student="s2")).refused] == ["no_consent"]
    (academy.inbox / "consents.csv").write_text(made.roster["consents.csv"])
    assert academy.load().accepted == ["v1"]
    assert filed(academy)[0][2] == "c1"


def test_a_rebuild_knows_who_delivered_what(academy, drop, made):
    drop("c1", made.toml())
    before = filed(academy)
    with writer(academy.home) as w:
        for table in (
            "session",
            "delivery",
            "swing",
            "swing_event",
            "person",
            "coaching",
            "consent",
            "drill",
            "season",
        ):
            w.execute(f"DELETE FROM academy.{table}")
        replay(academy.home, w)
    assert filed(academy) == before
