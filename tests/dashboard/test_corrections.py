"""Correct what was refused: the kept files with the corrected ones in their place, delivered again as a whole."""

import json
import shutil
from datetime import UTC, datetime

import pytest

from app_test import AppTest
from dashboard import readers
from dashboard.pages.deliveries import content, corrections
from dashboard.pages.deliveries.content import Dropped
from warehouse import filed
from warehouse.deliverer import MARK, read_mark
from warehouse.errors import AccessError, CallError
from warehouse.home import Home
from warehouse.store import writer

HASH = "ab" * 32
DROPPED_AT = datetime(2026, 2, 9, tzinfo=UTC).replace(tzinfo=None)


@pytest.fixture
def refused(tmp_path, full_home):
    """A home with one session refused whole."""
    home = Home(shutil.copytree(full_home, tmp_path / "academy"))
    folder = home.refused / f"2026-02-03-s01-{HASH[:8]}"
    folder.mkdir()
    (folder / "why.json").write_text(json.dumps({"delivery": HASH}))
    (folder / "session.toml").write_text('session = "x"')
    (folder / "plate.csv").write_text("wrong")
    list_refusals(home, HASH)
    return home


def list_refusals(home, *deliveries, coach="c01"):
    """Say in the warehouse that these were refused."""
    with writer(home) as w:
        for delivery in deliveries:
            w.execute(
                "INSERT INTO academy.refusal BY NAME SELECT ? AS delivery, 'x' AS reason, 'So.' AS sentence, "
                "TIMESTAMP '2026-02-09 10:00' AS at, ? AS coach",
                [delivery, coach],
            )
        w.publish()


def deliver_again(home, *what, by="h01"):
    return corrections.deliver_again(readers.reader(home, by), *what)


def inbox_files(home):
    return {
        p.relative_to(home.inbox).as_posix().split("/", 1)[1]: p.read_text()
        for p in home.inbox.rglob("*")
        if p.is_file() and p.name != MARK
    }


def test_a_corrected_file_takes_the_place_of_its_own_name(refused):
    deliver_again(refused, HASH, "2026-02-03-s01", [("plate.csv", b"right")])
    assert inbox_files(refused) == {
        "2026-02-03-s01/plate.csv": "right",
        "2026-02-03-s01/session.toml": 'session = "x"',
    }
    assert (refused.refused / f"2026-02-03-s01-{HASH[:8]}" / "plate.csv").read_text() == "wrong"


def test_another_try_takes_the_files_as_they_are(refused):
    deliver_again(refused, HASH, "2026-02-03-s01")
    assert inbox_files(refused)["2026-02-03-s01/plate.csv"] == "wrong"


def test_a_folder_of_another_delivery_whose_hash_starts_alike_is_not_taken(refused):
    other = HASH[:8] + "cd" * 28
    list_refusals(refused, other)
    assert corrections.kept_files(refused, other) == {}
    with pytest.raises(CallError, match="Nothing is kept"):
        deliver_again(refused, other, "x")


def test_cut_films_are_not_files_of_the_delivery_and_films_not_kept_must_come_again(refused):
    home, other = refused, "98" * 32
    list_refusals(home, other)
    folder = home.filed / other
    (folder / filed.FILM_FOLDER).mkdir(parents=True)
    (folder / "session.toml").write_text('session = "x"')
    (folder / filed.FILM_FOLDER / "swing-1.mp4").write_bytes(b"cut")
    gone = {"clip-1.mp4": filed.FileFacts(3, "ab" * 32)}
    (folder / filed.FILM_FOLDER / filed.FILM_LIST).write_text(filed.film_list({}, gone))
    assert list(corrections.kept_files(home, other)) == ["session.toml"]
    with pytest.raises(CallError, match="of x is not kept here, as films of minors"):
        deliver_again(home, other, "x", [("session.toml", b"right")])
    deliver_again(home, other, "x", [("session.toml", b"right"), ("clip-1.mp4", b"film")])
    assert inbox_files(home) == {"x/session.toml": "right", "x/clip-1.mp4": "film"}


def test_a_film_that_left_a_refused_session_must_come_again_with_it(refused):
    folder = refused.refused / f"2026-02-03-s01-{HASH[:8]}"
    refusal = {"delivery": HASH, "superseded_by": "cd" * 32, "films_not_kept": ["clip.mp4"]}
    (folder / "why.json").write_text(json.dumps(refusal))
    assert list(corrections.kept_files(refused, HASH)) == ["plate.csv", "session.toml"]
    with pytest.raises(CallError, match=r"clip\.mp4 of x is not kept here"):
        deliver_again(refused, HASH, "x")
    deliver_again(refused, HASH, "x", [("clip.mp4", b"film")])
    assert inbox_files(refused)["x/clip.mp4"] == "film"


def test_a_loose_file_is_corrected_under_its_own_name_alone(refused):
    list_refusals(refused, "ef" * 32)
    folder = refused.refused / f"notes-{'ef' * 4}"
    folder.mkdir()
    (folder / "why.json").write_text(json.dumps({"delivery": "ef" * 32}))
    (folder / "notes.csv").write_text("wrong")
    with pytest.raises(CallError, match=r"mine\.csv is not a file of notes\.csv"):
        deliver_again(refused, "ef" * 32, "notes.csv", [("mine.csv", b"x")])
    deliver_again(refused, "ef" * 32, "notes.csv", [("notes.csv", b"right")])
    assert inbox_files(refused) == {"notes.csv": "right"}


def test_a_session_that_loaded_in_part_is_corrected_from_its_filed_files(refused):
    folder = refused.filed / ("12" * 32)
    folder.mkdir(parents=True)
    (folder / "session.toml").write_text("s")
    assert list(corrections.kept_files(refused, "12" * 32)) == ["session.toml"]


def test_a_refusal_that_a_coach_may_not_see_is_not_theirs_to_correct(refused):
    list_refusals(refused, HASH, coach="c02")
    with writer(refused) as w:
        w.execute("DELETE FROM academy.refusal WHERE delivery = ? AND coach = 'c01'", [HASH])
        w.publish()
    with pytest.raises(AccessError, match="no refused delivery x that you may see"):
        deliver_again(refused, HASH, "x", by="c01")
    deliver_again(refused, HASH, "x", by="c02")


def test_what_has_loaded_in_part_names_itself_as_what_it_corrects(refused):
    loaded = "hash-2026-01-12-s01"
    list_refusals(refused, loaded)
    (refused.filed / loaded).mkdir()
    (refused.filed / loaded / "session.toml").write_text('session = "x"')
    assert read_mark(deliver_again(refused, loaded, "x", by="c01")).corrects == (loaded,)
    assert read_mark(deliver_again(refused, HASH, "x", by="c01")).corrects == ()


def test_the_page_delivers_a_refused_session_again_and_shows_it_waiting(visit, page_text, homes):
    home = homes("corrected")
    folder = home.refused / "2026-02-03-s01-bad-c01"
    folder.mkdir(parents=True)
    (folder / "why.json").write_text(json.dumps({"delivery": "bad-c01"}))
    (folder / "plate.csv").write_text("wrong")
    at: AppTest = visit("corrected", "deliveries", "c01")
    next(button for button in at.button if button.label == "Try again as it is").click().run()
    assert not at.exception
    assert [p.read_text() for p in home.inbox.rglob("plate.csv")] == ["wrong"]
    assert "1\u00a0delivery waits in the inbox" in page_text(at)


def refuse_roster(home):
    folder = home.refused / "people.csv-bad-c01"
    folder.mkdir(parents=True)
    (folder / "why.json").write_text(json.dumps({"delivery": "bad-c01"}))
    (folder / "people.csv").write_text("person,role\nc01,head_coach\n")


def test_a_refused_roster_file_is_delivered_again_by_a_head_coach_alone(refused):
    home = refused
    refuse_roster(home)
    for corrected in ([], [("people.csv", b"right")]):
        with pytest.raises(CallError, match="only a head coach delivers"):
            deliver_again(home, "bad-c01", "people.csv", corrected, by="c01")
    assert inbox_files(home) == {}
    deliver_again(home, "bad-c01", "people.csv", [])
    assert list(inbox_files(home)) == ["people.csv"]
    assert '"viewer": "h01"' in home.events.read_text()


def test_the_page_neither_shows_a_coach_a_refused_roster_nor_lets_them_correct_it(visit, page_text, homes):
    refuse_roster(homes("roster_corrected"))
    at: AppTest = visit("roster_corrected", "deliveries", "c01")
    assert not at.exception
    assert "only a head coach can fix it" in page_text(at)
    assert not [button for button in at.button if button.label == "Try again as it is"]
    assert "rosters" not in page_text(at)


def test_what_was_dropped_and_has_gone_through_shows_with_its_refusal(visit, page_text, homes):
    home = homes("gone_through")
    at = visit("gone_through", "deliveries", "c01")
    at.session_state["dropped"] = {
        "dropped-1": Dropped(("2026-02-09-s01",), "2 files", DROPPED_AT),
        "dropped-2": Dropped(("2026-02-10-s01",), "2 files", DROPPED_AT),
    }
    with writer(home) as w:
        w.execute(
            'INSERT INTO academy.refusal (delivery, session, reason, sentence, "at", name, student, coach) VALUES '
            "('n', '2026-02-09-s01', 'missing_column', 'plate.csv has no t_s.', '2026-02-09 10:00:00', '2026-02-09-s01', 's01', 'c01')"
        )
        w.publish()
    text = page_text(at.run())
    assert "**2026-02-09-s01**: refused." in text
    assert "**2026-02-10-s01**: gone through." in text


def test_a_dropped_folder_names_the_filed_sessions_that_it_corrects_when_it_is_ticked(refused):
    reader = readers.reader(refused, "c01")

    def corrects(*sheets, ticked=True):
        files = [(f"visit-{n}/session.toml", text.encode()) for n, text in enumerate(sheets)]
        return read_mark(content.deliver(reader, files, corrects=ticked)).corrects

    own, others = 'session = "2026-01-12-s01"\n', "session = '2026-01-12-s02'\n"
    assert corrects(own) == ("hash-2026-01-12-s01",)
    assert corrects(f'student = "s01"\n{own}') == ("hash-2026-01-12-s01",)
    assert corrects(own, ticked=False) == ()
    assert corrects(others) == ()  # not theirs to see, so not theirs to name
    assert set(corrects(own, 'session = "2026-01-26-s01"')) == {"hash-2026-01-12-s01", "hash-2026-01-26-s01"}
    assert corrects('session = "new"') == corrects("session = 7") == ()


def test_a_head_coach_drops_a_refused_delivery_and_a_coach_does_not(refused):
    folder = corrections.refused_folder(refused, HASH)
    with pytest.raises(AccessError, match="may discard"):
        corrections.drop(readers.reader(refused, "c01"), HASH, "2026-02-03-s01")
    assert not filed.is_drop_asked(folder)
    corrections.drop(readers.reader(refused, "h01"), HASH, "2026-02-03-s01")
    assert filed.drop_asked_by(folder) == "h01"
