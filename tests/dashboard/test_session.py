"""New session: what a saved visit has become is told by the newest snapshot, also when a load just ends."""

import json
import os
import tomllib
from contextlib import suppress
from dataclasses import replace
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, strategies

import builders
from app_test import AppTest
from dashboard import readers
from dashboard.pages.session import content, films, moments, saving, screen
from dashboard.pages.session.shared import parts_of
from dashboard.queries import people
from ingest import filing
from warehouse import home
from warehouse.errors import AccessError, CallError
from warehouse.filed import content_hash
from warehouse.preview import Preview, PreviewedFilm, PreviewedSwing, Share
from warehouse.store import writer
from warehouse.vocabulary import EVENTS


@pytest.fixture
def opened(homes):
    home = homes("new-session")
    return readers.reader(home, "h01").by(lambda: readers.reader(home, "h01"))


def landing(reader, session):
    """What a load does as its last: a session is published."""
    with writer(reader.home) as w:
        w.execute(
            "INSERT INTO academy.session BY NAME "
            "SELECT * REPLACE (? AS session) FROM academy.session LIMIT 1", [session]
        )  # fmt: skip
        w.publish()


@pytest.mark.parametrize("at_work", [True, False])
def test_a_load_that_ends_while_somebody_looks_is_seen(opened, monkeypatch, at_work):
    def ends(path):
        landing(opened, f"new-{at_work}")
        return {} if at_work else None

    monkeypatch.setattr(content, "holder", ends)
    assert content.became(opened, f"new-{at_work}", "taken-from-the-inbox") == content.LOADED


def test_a_visit_waits_in_the_inbox_and_while_a_load_is_at_work(opened, monkeypatch):
    (opened.home.inbox / "there").mkdir(parents=True)
    assert content.became(opened, "another", "there") == content.WAITING
    monkeypatch.setattr(content, "holder", lambda path: {})
    assert content.became(opened, "another", "taken") == content.WAITING
    monkeypatch.setattr(content, "holder", lambda path: None)
    assert content.became(opened, "another", "taken") == content.NOTHING_NEW


def brought(day, data=b"swing_no"):
    """A visit of that day of January, and the one file that was brought from it."""
    began = datetime(2026, 1, day, 10, 0, tzinfo=ZoneInfo("UTC"))
    visit = content.Visit("s01", "7-iron", "full", "mat", "pressure_mat", began)
    return visit, content.Opened(Preview({}, swings=(PreviewedSwing(1, None),)), {"plate.csv": data})


def saved(reader, visit, files):
    """The session and the folder of a visit by itself."""
    found = saving.save(reader, [(visit, files, {})])
    [(student, session)] = found.sessions
    assert student == visit.student
    return session, found.folder


def together(*students):
    """A recording of several, cut into a part of each."""
    parts = []
    for student in students:
        visit, files = brought(23, f"{student}".encode())
        parts.append((replace(visit, student=student, only=(1,)), files, {}))
    return parts


def test_a_recording_of_several_is_one_delivery_with_a_session_for_each(opened):
    found = saving.save(opened, together("s01", "s02"))
    assert [student for student, _ in found.sessions] == ["s01", "s02"]
    for student, session in found.sessions:
        assert (found.folder / session / "plate.csv").read_bytes() == student.encode()
        assert f'student = "{student}"' in (found.folder / session / "session.toml").read_text("utf-8")


def test_where_one_of_several_can_not_be_saved_nothing_is(opened):
    before = set(opened.home.inbox.iterdir())
    parts = together("s01", "s02")
    left_out = [parts[0], (*parts[1][:2], {1: saving.MarkedSwing("not_a_swing")})]
    with pytest.raises(CallError, match="Every swing is left out"):
        saving.save(opened, left_out)
    coach = readers.reader(opened.home, "c01").by(lambda: readers.reader(opened.home, "c01"))
    with pytest.raises(AccessError, match="s02"):
        saving.save(coach, parts)
    with builders.no_large_files(), pytest.raises(OSError, match="large"):
        saving.save(opened, [parts[0], (*brought(24, b"0" * (1 << 20)), {})])
    assert set(opened.home.inbox.iterdir()) == before


class Killed(BaseException):
    """The process ends here: nothing is tidied up after it."""


def test_a_save_that_is_killed_at_any_step_is_whole_or_is_not_there_and_the_next_one_doubles_nothing(
    opened, monkeypatch
):
    """What is left of a killed one is removed by a later load; the same files again are the same session."""
    before, parts, whole = set(opened.home.inbox.iterdir()), together("s01", "s02"), 0
    usual = home.sync
    for step in range(1, 40):
        steps = iter(range(1, 1000))

        def killed(path, steps=steps, step=step):
            if next(steps) == step:
                raise Killed
            usual(path)

        monkeypatch.setattr(home, "sync", killed)
        try:
            saving.save(opened, parts)
        except Killed:
            new = set(opened.home.inbox.iterdir()) - before
            for folder in new:
                assert {path.name for path in folder.rglob("plate.csv")} == {"plate.csv"}
                assert len(list(folder.rglob("session.toml"))) == 2
            whole += len(new)
            before |= new
            continue
        break
    assert step > 5
    assert whole <= 1  # after the move into the inbox there is one step left
    monkeypatch.setattr(home, "sync", usual)
    found = saving.save(opened, parts)
    again = saving.save(opened, parts)
    assert found.sessions == again.sessions
    hashes = {content_hash(one.folder / session) for one in (found, again) for _, session in one.sessions}
    assert len(hashes) == 2
    left = list(opened.home.path.glob(".arriving-*"))
    assert left
    filing.sweep(opened.home)
    assert list(opened.home.path.glob(".arriving-*")) == left  # somebody may be saving now
    for path in left:
        os.utime(path, (0, 0))
    filing.sweep(opened.home)
    assert not list(opened.home.path.glob(".arriving-*"))


SWING = PreviewedSwing(
    3, None, t_s=(0.0, 2.0, 4.0), lead_n=(300.0, 500.0, 700.0), trail_n=(400.0, 200.0, 10.0), seconds=4.0,
    t0_s=40.25, sure=0.9, kind="uncertain_swing",
    events={"takeaway": (1.0, 0.08), "top": (2.0, 0.08), "mid_down": (2.2, 0.06), "impact": (2.3, 0.0)},
)  # fmt: skip


def plain(words):
    return words.replace("\u00a0", " ")


def notes_of(folder):
    [file] = folder.rglob("notes.jsonl")
    return [json.loads(line) for line in file.read_text("utf-8").splitlines()]


def test_what_a_coach_says_of_a_swing_and_its_moments_goes_with_the_delivery(opened):
    """That it is kept, and learned from: tests/ingest/recording/test_swings.py, tests/models/test_fitting.py."""
    visit, files = brought(25)
    files = replace(files, preview=Preview({}, swings=(SWING, PreviewedSwing(4, None))))
    said = {3: saving.MarkedSwing("d01", {"top": 2.06}), 4: saving.MarkedSwing("swing")}
    found = saving.save(opened, [(visit, files, said)])
    lines = [(n["kind"], n["swing_no"], n["code"], n.get("value")) for n in notes_of(found.folder)]
    assert lines == [
        ("swing_kind", 3, "swing", None), ("swing_drill", 3, "d01", None), ("swing_event", 3, "top", 42.31),
    ]  # fmt: skip


def with_films(*names):
    swings = tuple(PreviewedSwing(n, None, sure=0.9, t_s=(0.0, 1.0)) for n in (1, 2))
    return Preview({}, swings=swings, films=tuple(PreviewedFilm(name, 1.6, 60.0) for name in names))


def test_a_film_is_its_names_swing_or_one_in_order_where_there_are_as_many_else_it_is_asked():
    assert films.guesses(with_films("clip-2.mp4")) == {"clip-2.mp4": 2}
    assert films.guesses(with_films("b.mov", "a.mov")) == {"b.mov": 1, "a.mov": 2}
    assert films.guesses(with_films("clip-7.mp4")) == {}
    assert films.guesses(with_films("a.mov")) == {}


def test_chosen_films_go_with_their_swings_and_one_that_is_marked_later_stays_away(opened):
    visit, files = brought(27)
    files = replace(
        files, preview=with_films("x.MOV", "y.mp4"), files={**files.files, "x.MOV": b"film", "y.mp4": b"more"}
    )
    visit = replace(visit, pace="slow", films=content.KeptFilms({"x.MOV": 2}, 120.0, "down_line"))
    session, folder = saved(opened, visit, files)
    assert {path.name for path in (folder / session).iterdir()} == {"plate.csv", "session.toml", "clip-2.mov"}
    sheet = tomllib.loads((folder / session / "session.toml").read_text("utf-8"))
    assert sheet["clip"] == {"fps": 120.0, "view": "down_line"}
    assert sheet["pace"] == "slow"
    without, folder = saved(opened, replace(visit, films=None), files)
    assert without != session
    assert {path.name for path in (folder / without).iterdir()} == {"plate.csv", "session.toml"}


def films_page(reader, visit, found):
    import streamlit as st  # noqa: PLC0415 - run as a page of its own

    from dashboard import layout  # noqa: PLC0415
    from dashboard.pages.session import films  # noqa: PLC0415

    with layout.part():
        st.session_state["chosen"] = films.choose(reader, visit, found)


def test_the_page_shows_each_film_with_its_facts_and_its_likely_swing(opened, monkeypatch):
    monkeypatch.setattr(films.navigation, "link", lambda *_, **__: None)
    monkeypatch.setattr(films, "stops", lambda *_: "")
    visit, _ = brought(29)
    at = AppTest.from_function(films_page, args=(opened, visit, with_films("b.mov", "a.mov"))).run()
    assert not at.exception
    assert [box.label.replace("\u00a0", " ") for box in at.selectbox[:2]] == [
        "b.mov: 1.6 s and 60 pictures a second", "a.mov: 1.6 s and 60 pictures a second",
    ]  # fmt: skip
    assert at.session_state["chosen"] == content.KeptFilms({"b.mov": 1, "a.mov": 2}, 60.0, "face_on")
    at.selectbox[1].set_value(films.LATER).run()
    assert at.session_state["chosen"].swings == {"b.mov": 1}
    at.selectbox[1].set_value(1).run()
    assert "same swing" in at.info[0].value


def test_no_film_is_kept_without_a_consent_and_a_minors_needs_a_guardian(opened):
    visit, _ = brought(28)
    with writer(opened.home) as w:
        w.execute("DELETE FROM academy.consent")
        w.publish()
    assert not people.keeps_film(opened.anew(), "s01", opened.today)  # that takes a line of its own
    assert people.keeps_film(opened.anew(), "s02", opened.today)
    settings = opened.home.settings_file
    settings.write_text(settings.read_text("utf-8").replace('consents = "kept elsewhere"\n', ""), "utf-8")
    now = opened.anew()
    assert "a guardian has to give it" in films.stops(now, visit)  # born 2012
    assert "a guardian" not in films.stops(now, replace(visit, student="s02"))
    assert films.stops(now, replace(visit, student="s02"))
    with writer(opened.home) as w:
        w.execute(
            "INSERT INTO academy.consent BY NAME SELECT 's01' AS student, 'g01' AS given_by, 'film' AS purpose, "
            "DATE '2026-01-01' AS \"from\""
        )
        w.publish()
    assert films.stops(opened.anew(), visit) == ""
    assert not people.keeps_film(opened.anew(), "s01", opened.today)
    assert films.stops(opened.anew(), replace(visit, started_at=datetime(2025, 1, 1, tzinfo=UTC)))


def test_where_nothing_is_corrected_no_note_is_written(opened):
    visit, files = brought(26)
    found = saving.save(opened, [(visit, files, {1: saving.MarkedSwing("swing")})])
    assert not list(found.folder.rglob("notes.jsonl"))


def test_a_moment_goes_no_further_than_those_that_a_coach_or_the_file_placed():
    assert moments.reach(SWING, {}, "top") == (0.0, 2.29)
    assert moments.reach(SWING, {"takeaway": 1.5}, "top") == (1.51, 2.29)
    assert moments.reach(SWING, {"takeaway": 1.5}, "finish") == (2.31, 4.0)


def test_an_estimate_out_of_order_with_what_a_coach_placed_is_no_longer_shown():
    assert list(moments.times(SWING, {})) == ["takeaway", "top", "mid_down", "impact"]
    moved = {"top": 2.25}
    assert moments.times(SWING, moved) == {"takeaway": 1.0, "top": 2.25, "impact": 2.3}
    assert "placed by you" in moments.said(SWING, moved, "top")
    assert "as the file says" in moments.said(SWING, moved, "impact")
    assert "does not show it" in moments.said(SWING, moved, "finish")
    assert "give or take" in moments.said(SWING, moved, "takeaway")


def test_a_moved_moment_goes_back_only_to_where_it_is_in_order_with_those_moved_since():
    moved = {"top": 1.5}
    assert moments.goes_back(SWING, moved, "top")
    assert not moments.goes_back(SWING, moved, "takeaway")  # it was not moved
    moved["mid_down"] = 1.9  # where the plate shows the top at 2.0
    assert not moments.goes_back(SWING, moved, "top")
    assert "Back at 2.00 s, it would be out of order with" in plain(moments.said(SWING, moved, "top"))
    assert moments.goes_back(SWING, moved, "mid_down")
    moved["impact"] = 1.95  # the file has it at 2.30 s
    assert moments.goes_back(SWING, moved, "impact")
    moved["finish"] = 2.1
    assert not moments.goes_back(SWING, moved, "impact")
    assert moments.goes_back(SWING, moved, "finish")  # the plate shows none, so it is taken out again


def test_a_moment_hidden_by_another_says_so_and_not_that_the_plate_has_none():
    said = plain(moments.said(SWING, {"top": 2.25}, "mid_down"))
    assert "the plate shows it at 2.20 s, which is out of order with top" in said


@given(
    strategies.lists(
        strategies.tuples(
            strategies.sampled_from(EVENTS), strategies.floats(0.0, 1.0), strategies.booleans()
        ),
        max_size=12,
    )
)
def test_no_way_of_moving_moments_and_putting_them_back_leaves_two_out_of_order(steps):
    moved = {}
    for event, where, back in steps:
        low, high = moments.reach(SWING, moved, event)
        if back and moments.goes_back(SWING, moved, event):
            del moved[event]
        elif low < high:
            moved[event] = round(low + where * (high - low), 2)
        shown = list(moments.times(SWING, moved).values())
        assert shown == sorted(set(shown))
        placed = {e: at for e, (at, error) in SWING.events.items() if error == 0.0} | moved
        delivered = [placed[e] for e in EVENTS if e in placed]  # which a load holds against one another
        assert delivered == sorted(set(delivered))


def test_swings_are_shared_out_as_a_coach_says():
    shares = (Share((1, 2, 5), 74.0), Share((3, 4), 35.0), Share((6,), 60.0))
    assert parts_of(shares, ["a", "b", None], {}) == {"a": (1, 2, 5), "b": (3, 4)}
    assert parts_of(shares, ["a", "a", None], {}) == {"a": (1, 2, 3, 4, 5)}
    assert parts_of(shares, ["a", "b", None], {5: "b", 6: "a"}) == {"a": (1, 2), "b": (3, 4, 5)}


def test_the_same_files_are_saved_once(opened):
    visit, files = brought(20)
    session, folder = saved(opened, visit, files)
    assert (folder / session / "plate.csv").read_bytes() == b"swing_no"
    landing(opened, session)
    with pytest.raises(CallError, match="nothing was saved twice"):
        saved(opened, visit, files)


def test_a_second_press_before_the_load_delivers_the_very_same_and_another_file_is_another_session(opened):
    """What is byte for byte the same loads once: tests/ingest/test_rights.py."""
    pressed = [saved(opened, *brought(21)) for _ in range(2)]
    hashes = {content_hash(folder / session) for session, folder in pressed}
    assert len({folder for _, folder in pressed}) == 2
    assert len(hashes) == 1
    session, folder = saved(opened, *brought(21, b"t_s"))
    assert session != pressed[0][0]
    assert content_hash(folder / session) not in hashes


def test_what_was_saved_is_noted_also_when_a_second_tap_ends_the_run_at_its_next_use_of_streamlit(
    opened, monkeypatch
):
    class Ended(Exception):
        pass

    class State(dict):
        saved = False

        def __getitem__(self, key):
            if self.saved:
                raise Ended
            return super().__getitem__(key)

    kept, state = {}, State()
    state["session-saved"] = kept

    def save(*_):
        state.saved = True
        return "what was saved"

    monkeypatch.setattr(saving, "save", save)
    monkeypatch.setattr(screen.st, "session_state", state)
    monkeypatch.setattr(screen.st, "rerun", lambda: None)
    with suppress(Ended):
        screen._save(opened, "s001", [])
    assert kept == {"s001": "what was saved"}


def test_a_disk_that_takes_no_more_keeps_nothing_of_a_visit_and_a_later_save_all_of_it(opened):
    home, data = opened.home, b"0" * (1 << 20)

    def there():
        return {path for folder in (home.path, home.inbox) for path in folder.iterdir()}

    home.make_folders()
    before = there()
    with builders.no_large_files(), pytest.raises(OSError, match="large"):
        saved(opened, *brought(22, data))
    assert there() == before
    session, folder = saved(opened, *brought(22, data))
    assert (folder / session / "plate.csv").read_bytes() == data
