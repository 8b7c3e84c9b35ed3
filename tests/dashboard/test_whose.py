"""Whose is this: the likely owners of a recording that waits, one tap, and only the viewer's own students."""

import json
import tomllib

import pytest

from dashboard import readers
from dashboard.pages.deliveries import content, whose
from warehouse.deliverer import read_mark
from warehouse.errors import AccessError, CallError
from warehouse.store import writer

HASH, SESSION = "5e" * 32, "2026-04-07-1610-export-csv"
OWNERS = [("s02", ["body_mass"]), ("s01", []), ("s03", ["lesson", "body_mass"])]


def wait(home, delivery=HASH, *, by=None, owners=OWNERS, file="export.csv", session=SESSION):
    """A recording that a load could not place."""
    folder = home.refused / f"{file}-{delivery[:8]}"
    folder.mkdir(parents=True)
    (folder / file).write_bytes(b"t_s,left_n,right_n\n")
    proposal = {
        "session": session, "device": "mat-east", "started_at": "2026-04-07T16:10:00+02:00",
        "club": "7-iron", "mass_kg": 71.3,
        "owners": [{"person": p, "chance": 0.5, "because": because} for p, because in owners],
    }  # fmt: skip
    mark = None if by is None else {"person": by, "at": "2026-04-07T17:00:00+00:00", "corrects": []}
    why = {
        "delivery": delivery,
        "name": file,
        "reason": "whose",
        "by": mark,
        "refused": [{"proposal": proposal}],
    }
    (folder / "why.json").write_text(json.dumps(why), "utf-8")
    with writer(home) as w:
        w.execute(
            "INSERT INTO academy.refusal BY NAME SELECT ? AS delivery, 'whose' AS reason, 'So.' AS sentence, "
            "TIMESTAMP '2026-04-07 15:00' AS at, ? AS name, ? AS coach",
            [delivery, file, by],
        )
        w.publish()


@pytest.fixture
def home(homes, request):
    return homes(request.node.name)


def seen(home, person):
    return [
        (one.file, [owner.student for owner in one.owners])
        for one in whose.waiting(readers.reader(home, person))
    ]


def test_a_head_coach_is_offered_everyone_and_a_coach_their_own_students_alone(home):
    wait(home)
    assert seen(home, "h01") == [("export.csv", ["s02", "s01", "s03"])]
    assert seen(home, "c01") == [("export.csv", ["s01", "s03"])]
    assert seen(home, "c02") == [("export.csv", ["s02"])]
    [one] = whose.waiting(readers.reader(home, "c01"))
    assert set(whose.others(readers.reader(home, "c01"), one)) == set()
    assert one.about == "7 April 2026, 16:10, 7-iron, mat-east, about 71 kg on the plates".replace(
        "71 kg", "71\u00a0kg"
    )
    assert [owner.because for owner in one.owners] == ["", "had a lesson then and the weight fits"]


@pytest.mark.parametrize("person", ["s02", "g01"])
def test_families_are_asked_nothing(home, person):
    wait(home)
    assert seen(home, person) == []


def test_what_another_coach_delivered_waits_for_them_and_the_head_coach(home):
    wait(home, by="c02")
    assert (seen(home, "c01"), len(seen(home, "c02")), len(seen(home, "h01"))) == ([], 1, 1)


def test_one_tap_is_an_ordinary_delivery_under_the_coachs_name(home):
    wait(home)
    session, folder = whose.give(readers.reader(home, "c02"), HASH, "s02")
    sheet = tomllib.loads((folder / session / "session.toml").read_text("utf-8"))
    assert (sheet["session"], sheet["student"], sheet["coach"], sheet["club"]) == (
        SESSION,
        "s02",
        "c02",
        "7-iron",
    )
    assert sheet["started_at"].isoformat() == "2026-04-07T16:10:00+02:00"
    assert (folder / session / "plate.csv").read_bytes() == b"t_s,left_n,right_n\n"
    assert read_mark(folder).person == "c02"


def test_a_second_tap_delivers_nothing_more(home):
    wait(home)
    reader = readers.reader(home, "h01")
    whose.give(reader, HASH, "s01")
    with pytest.raises(CallError, match="just said"):
        whose.give(reader, HASH, "s02")
    assert len(list(home.inbox.iterdir())) == 1
    assert seen(home, "h01") == []


@pytest.mark.parametrize(
    ("person", "student"), [("c01", "s02"), ("s01", "s01"), ("g01", "s01"), ("h01", "g01")]
)
def test_nobody_gives_a_recording_to_somebody_out_of_reach(home, person, student):
    wait(home)
    with pytest.raises(AccessError):
        whose.give(readers.reader(home, person), HASH, student)
    assert not list(home.inbox.iterdir())


@pytest.mark.parametrize(
    "spoil",
    [
        lambda why: why["refused"].clear(), lambda why: why["refused"][0].pop("proposal"),
        lambda why: why["refused"][0]["proposal"].update(started_at="soon"),
        lambda why: why["refused"][0]["proposal"].update(owners=[{"person": "gone"}]),
        lambda why: why.update(superseded_by="x"), lambda why: why.update(reason="unit"),
    ],
)  # fmt: skip
def test_what_cannot_be_read_or_is_settled_is_not_asked_about(home, spoil):
    wait(home)
    path = next(home.refused.glob("*/why.json"))
    why = json.loads(path.read_text("utf-8"))
    spoil(why)
    path.write_text(json.dumps(why), "utf-8")
    assert seen(home, "h01") == []


def test_it_is_asked_once_on_the_page_and_not_listed_as_refused_too(home):
    wait(home)
    found, _older = content.refused(readers.reader(home, "h01"), home)
    assert HASH not in {one.delivery for one in found}


def test_a_tap_on_the_page_says_that_it_is_being_loaded(home, visit, request):
    wait(home)
    at = visit(request.node.name, "deliveries", "h01")
    [button] = [one for one in at.button if one.key == f"give-{HASH}-s02"]
    button.click().run()
    assert not at.exception
    assert any("being loaded" in one.value for one in at.info)
    assert len(list(home.inbox.iterdir())) == 1
