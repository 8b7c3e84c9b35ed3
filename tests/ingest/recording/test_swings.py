"""A recording that runs on is cut into its swings: what is found, told apart, left out and asked about."""

from collections import Counter
from itertools import pairwise

import numpy as np
import polars as pl
import pytest
from scipy.signal import find_peaks

from ingest.formats.proposal import explain_file
from ingest.load import replay
from ingest.plate_rows import FoundSwing
from ingest.recording.moves import steepest
from ingest.recording.swings import cut
from planted_recordings import NO_SWING, QUIET, SAME_PRACTICE, WORLDS, Planted, Recording, recording
from warehouse.store import writer

NEAR_S = 0.5  # from the planted impact to where the load passes fastest


def cut_of(made: Recording) -> list[FoundSwing]:
    return cut(made.t_s, made.left_n, made.right_n)


def whole(made: Recording, one: Planted) -> bool:
    """Whether all of a planted swing was recorded."""
    first, last = np.searchsorted(made.t_s, [one.start_s - 0.3, one.end_s])
    return bool(np.diff(made.t_s[first - 1 : last + 1]).max() < 0.2)


def kinds_of(made: Recording, found: list[FoundSwing]) -> tuple[Counter, Counter, Counter]:
    """What planted swings, practice swings, and nothing planted were taken for; "" where nothing was found."""
    taken: dict[str, Counter] = {"swing": Counter(), "practice": Counter(), "nothing": Counter()}
    rest = list(found)
    for one in made.of("swing", "practice"):
        at = [f for f in found if abs(f.strike_s - one.events["impact"]) < NEAR_S]
        rest = [f for f in rest if f not in at]
        if whole(made, one):
            taken[one.kind][at[0].kind if at else ""] += 1
    taken["nothing"].update(f.kind for f in rest)
    return taken["swing"], taken["practice"], taken["nothing"]


@pytest.fixture(scope="module")
def cuts() -> dict[str, tuple[Recording, list[FoundSwing]]]:
    made = {world.name: world.made() for world in WORLDS}
    return {name: (one, cut_of(one)) for name, one in made.items()}


@pytest.mark.parametrize("name", [world.name for world in WORLDS])
def test_every_swing_of_a_lesson_is_found_and_nothing_else_is_taken_for_one(cuts, name):
    swings, practice, nothing = kinds_of(*cuts[name])
    assert swings[""] == swings["practice_swing"] == 0
    assert swings["swing"] >= 0.9 * swings.total()
    assert nothing["swing"] == 0
    assert practice["swing"] == 0


def test_over_all_lessons_the_figures_are_those_promised(cuts):
    swings, practice, nothing = (
        sum(parts, Counter()) for parts in zip(*(kinds_of(*c) for c in cuts.values()), strict=True)
    )
    assert swings["swing"] + swings["uncertain_swing"] >= 0.98 * swings.total()
    assert nothing["swing"] <= 0.02 * swings.total()
    assert practice["practice_swing"] >= 0.9 * practice.total()


def test_practice_swings_that_are_like_the_others_are_asked_about_and_never_guessed():
    made = SAME_PRACTICE.made()
    swings, practice, _ = kinds_of(made, cut_of(made))
    assert practice["practice_swing"] == practice["swing"] == 0
    assert practice["uncertain_swing"] >= 0.9 * practice.total()
    assert swings["swing"] >= 0.9 * swings.total()


def test_where_nobody_swings_nothing_is_found():
    assert cut_of(NO_SWING.made()) == []


def test_each_swing_carries_its_players_standing_load_and_way_of_swinging(cuts):
    made, found = cuts["right and left in turn"]
    weights = {"heels": 88.0 * 9.80665, "left": 79.0 * 9.80665}
    for one in made.of("swing"):
        at = next(f for f in found if abs(f.strike_s - one.events["impact"]) < NEAR_S)
        assert at.standing_n == pytest.approx(weights[one.person], rel=0.015)
        assert at.toward == (-1 if one.person == "left" else 1)


def test_what_is_kept_around_a_swing_has_all_of_it_and_nothing_of_the_next(cuts):
    for made, found in cuts.values():
        for one in made.of("swing"):
            at = next((f for f in found if abs(f.strike_s - one.events["impact"]) < NEAR_S), None)
            if at is None:
                continue
            assert at.from_s < one.events["takeaway"] - 0.3
            assert at.to_s > one.events["impact"] + 0.3
        for a, b in pairwise(found):
            assert a.strike_s < b.from_s
            assert a.to_s <= b.strike_s


@pytest.mark.parametrize("seed", range(5))
def test_moves_of_the_load_are_those_that_a_reference_finds(seed):
    chance = np.random.default_rng(seed)
    turns = np.cumsum(chance.uniform(40, 200, 60))
    share = np.interp(np.arange(turns[-1]), turns, chance.uniform(0.1, 0.9, 60))
    share = np.convolve(share, np.hanning(31) / np.hanning(31).sum(), "same")
    step = np.zeros(share.size)
    step[12:-12] = share[24:] - share[:-24]
    peaks = np.sort(np.concatenate([find_peaks(step, height=0.05)[0], find_peaks(-step, height=0.05)[0]]))
    own = steepest(share)
    assert own.size > 20
    for at in own:  # one in each move that goes one way: the highest of the reference's peaks there
        nearest = peaks[np.abs(peaks - at).argmin()]
        assert abs(step[at]) == pytest.approx(abs(step[nearest]))


@pytest.mark.parametrize("scale", [0.5, 2.0])
def test_the_unit_of_the_load_changes_nothing(cuts, scale):
    made, found = cuts["a quiet player"]
    again = cut(made.t_s, made.left_n * scale, made.right_n * scale)
    assert [(f.kind, f.strike_s) for f in again] == [(f.kind, f.strike_s) for f in found]


def test_the_feet_the_other_way_round_are_a_player_of_the_other_hand(cuts):
    made, found = cuts["a quiet player"]
    again = cut(made.t_s, made.right_n, made.left_n)
    assert [f.toward for f in again] == [-f.toward for f in found]
    assert [f.kind for f in again] == [f.kind for f in found]


# ---------- loading ----------


def frame_of(made: Recording) -> pl.DataFrame:
    """As plate.csv of a file that runs on: sides, no swing numbers."""
    names = ("t_s", "left_n", "right_n", "left_along_pct", "right_along_pct")
    return pl.DataFrame({name: getattr(made, name) for name in names}).with_columns(
        pl.col("^.*along_pct$").fill_nan(None)
    )


@pytest.fixture(scope="module")
def lesson() -> Recording:
    return recording(QUIET, seed=11, minutes=4.0, rate_hz=100.0)


def loaded(academy, made, lesson, **more):
    folder = made.deliver(academy.inbox / "v1", made.toml(swings=0, **more), frame_of(lesson))
    return folder, academy.load()


def test_a_recording_without_swing_numbers_loads_as_the_swings_in_it(academy, made, lesson):
    _, report = loaded(academy, made, lesson)
    assert report.refused == []
    rows = academy.sql("SELECT swing_no, kind, sure, file_flags FROM academy.swing ORDER BY swing_no")
    kinds = Counter(rows["kind"])
    assert kinds["swing"] == len(lesson.of("swing"))
    assert kinds["practice_swing"] >= 0.9 * len(lesson.of("practice"))
    assert rows["swing_no"].to_list() == list(range(1, len(rows) + 1))
    assert rows["sure"].is_between(0.5, 1.0).all()
    flagged = rows.filter(pl.col("file_flags").list.contains("practice_swing"))
    assert flagged["kind"].unique().to_list() == ["practice_swing"]
    [notice] = report.notices
    assert notice == (
        f"Session v1, plate.csv: {kinds['swing']} swings found, {kinds['practice_swing']} practice swings left out."
    )


def test_a_recording_without_any_swing_is_refused_and_says_so(academy, made):
    still = recording(QUIET, seed=5, minutes=2.0, balls=False)
    _, report = loaded(academy, made, still)
    [refused] = report.refused
    assert refused.reason == "no_swing_found"
    assert "no swing was found in the recording, which lasts" in refused.sentence


def test_two_files_of_one_session_are_numbered_on(academy, made, lesson):
    half = lesson.t_s.size // 2
    first, second = (
        lesson.part(np.arange(lesson.t_s.size) < half),
        lesson.part(np.arange(lesson.t_s.size) >= half),
    )
    folder = made.deliver(academy.inbox / "v1", made.toml(swings=0))
    frame_of(first).write_csv(folder / "plate-1.csv")
    frame_of(second).write_csv(folder / "plate-2.csv")
    assert academy.load().refused == []
    rows = academy.sql("SELECT swing_no, t0_s FROM academy.swing ORDER BY swing_no")
    assert rows["swing_no"].to_list() == list(range(1, len(rows) + 1))
    assert rows["t0_s"].is_sorted()


def test_what_session_toml_says_of_a_found_swing_counts(academy, made, lesson):
    more = '\n[[swing]]\nno = 2\npart = "after_drill"\ndrill = "d1"\npace = "half"\n'
    made.deliver(academy.inbox / "v1", made.toml(swings=0, more=more, device="run"), frame_of(lesson))
    settings = academy.home.settings_file
    run = (
        '\n[device.run]\nkind = "force_plates"\n[device.run.layout]\nswings = "found"\n[device.run.columns]\n'
    )
    names = frame_of(lesson).columns
    settings.write_text(settings.read_text() + run + "".join(f'{n} = "{n}"\n' for n in names))
    assert academy.load().refused == []
    rows = academy.sql("SELECT swing_no, drill, pace FROM academy.swing ORDER BY swing_no").rows()
    assert rows[1] == (2, "d1", "half")
    assert {row[1:] for row in rows[:1] + rows[2:]} == {(None, "full")}


# ---------- explaining ----------


def test_a_recording_that_runs_on_is_proposed_to_be_cut_and_what_is_in_it_is_said(tmp_path, lesson):
    frame_of(lesson).rename({"t_s": "Time (s)"}).write_csv(tmp_path / "rec_12.csv")
    found = explain_file(tmp_path / "rec_12.csv", "run", []).to_json()
    assert found["doubts"] == found["questions"] == []
    assert 'swings = "found"' in found["device_table"]
    assert found["facts"]["swings"].startswith(f"{len(lesson.of('swing'))} swings found")
    kinds = Counter(one["kind"] for one in found["recording"])
    assert kinds["swing"] == len(lesson.of("swing"))
    [share] = found["shares"]
    assert share["mass_kg"] == pytest.approx(74.0, abs=0.7)
    assert len(share["swings"]) == len(found["recording"])


def test_an_export_of_one_swing_is_still_one_swing(tmp_path, lesson):
    one = lesson.of("swing")[0]
    part = lesson.part((lesson.t_s > one.start_s - 2.0) & (lesson.t_s < one.end_s + 1.0))
    frame_of(part).rename({"t_s": "Time (s)"}).write_csv(tmp_path / "a.csv")
    found = explain_file(tmp_path / "a.csv", "run", []).to_json()
    assert "found" not in found["device_table"]
    assert found["recording"] == []


def test_a_recording_without_a_swing_is_explained_as_one_that_would_be_refused(tmp_path):
    still = recording(QUIET, seed=5, minutes=2.0, balls=False)
    frame_of(still).rename({"t_s": "Time (s)"}).write_csv(tmp_path / "still.csv")
    found = explain_file(tmp_path / "still.csv", "run", []).to_json()
    assert any("no swing was found" in doubt for doubt in found["doubts"])


# ---------- corrections ----------

NOTES = "at,author,kind,session,swing_no,code,value\n"


def noted(academy, *lines: str):
    text = NOTES + "".join(f"2026-05-06T10:0{k}:00+01:00,c1,{line}\n" for k, line in enumerate(lines))
    (academy.inbox / "notes.csv").write_text(text)
    return academy.load()


def swings_of(academy, no: int) -> dict:
    query = "SELECT * FROM academy.swing WHERE swing_no = ?"
    return academy.sql(query, [no]).row(0, named=True)


@pytest.fixture
def corrected(academy, made, lesson):
    loaded(academy, made, lesson)
    t0_s = swings_of(academy, 3)["t0_s"]
    report = noted(
        academy,
        "swing_kind,v1,1,not_a_swing,",
        "swing_kind,v1,2,practice_swing,",
        "swing_kind,v1,2,swing,",
        "swing_drill,v1,3,d1,",
        f"swing_event,v1,3,top,{t0_s + 3.0:.3f}",
        "swing_film,v1,3,,-0.25",
    )
    assert report.refused == []
    assert report.notices == []
    return academy


def test_a_note_says_what_a_swing_is_and_the_latest_counts(corrected):
    struck, told = swings_of(corrected, 1), swings_of(corrected, 2)
    assert (struck["kind"], struck["sure"]) == ("not_a_swing", None)
    assert "not_a_swing" in struck["file_flags"]
    assert (told["kind"], told["sure"]) == ("swing", None)
    assert not {"practice_swing", "uncertain_swing"} & set(told["file_flags"])


def test_a_note_gives_a_swing_its_drill_and_moves_an_event(corrected):
    found = swings_of(corrected, 3)
    assert (found["drill"], found["part"]) == ("d1", "after_drill")
    events = corrected.sql(
        "SELECT event, t_s, source, expected_error_s FROM academy.swing_event WHERE swing_no = 3"
    ).rows()
    assert events == [("top", pytest.approx(found["t0_s"] + 3.0, abs=1e-3), "by_hand", 0.02)]
    waiting = corrected.sql("SELECT reduced FROM academy.session").to_series()
    assert not waiting.any()


def test_a_note_places_the_film_of_its_swing(corrected):
    found = swings_of(corrected, 3)
    assert (found["clip_offset_s"], found["clip_offset_source"]) == (-0.25, "by_hand")
    assert swings_of(corrected, 2)["clip_offset_source"] is None


def test_corrections_outlive_a_rebuild_and_a_corrected_delivery(corrected, made, lesson, tmp_path):
    before = corrected.tables()
    twin = corrected.twin(tmp_path / "twin")
    with writer(twin) as w:
        assert replay(twin, w).notices[1:] == []
        again = corrected._rows(w, (), times=False)
    assert {name: again[name] for name in ("academy.swing", "academy.swing_event")} == {
        name: before[name] for name in ("academy.swing", "academy.swing_event")
    }
    made.deliver(corrected.inbox / "v1", made.toml(swings=0, head="body_mass_kg = 74"), frame_of(lesson))
    assert corrected.load().refused == []
    assert swings_of(corrected, 1)["kind"] == "not_a_swing"
    assert swings_of(corrected, 3)["drill"] == "d1"


def test_events_that_are_moved_at_once_make_room_for_one_another(academy, made, lesson):
    loaded(academy, made, lesson)
    t0_s = swings_of(academy, 3)["t0_s"]
    turns = [(2.0, 2.3), (2.4, 2.6), (2.0, 2.3), (2.4, 2.6), (2.0, 2.3)]
    lines = [
        f"2026-05-06T10:0{k}:00+01:00,c1,swing_event,v1,3,{event},{t0_s + at:.3f}\n"
        for k, moved in enumerate(turns)
        for event, at in zip(("top", "impact"), moved, strict=True)
    ]
    (academy.inbox / "notes.csv").write_text(NOTES + "".join(lines))
    assert academy.load().notices == []


def test_an_event_that_does_not_fit_its_swing_changes_nothing_and_is_said(academy, made, lesson):
    loaded(academy, made, lesson)
    t0_s = swings_of(academy, 3)["t0_s"]
    report = noted(
        academy,
        f"swing_event,v1,3,top,{t0_s + 3.0:.3f}",
        f"swing_event,v1,3,impact,{t0_s + 2.5:.3f}",
        "swing_event,v1,3,finish,9999",
    )
    assert [notice.split(", as ")[1] for notice in report.notices] == [
        f"impact at {t0_s + 2.5:g} s is against the order of the events marked.",
        "finish at 9999 s is outside the swing's samples.",
    ]
    assert academy.sql("SELECT event FROM academy.swing_event").to_series().to_list() == ["top"]


@pytest.mark.parametrize(
    ("line", "reason"),
    [
        ("swing_kind,v1,1,uncertain_swing,", "unknown_value"),
        ("swing_kind,v1,,swing,", "empty_value"),
        ("swing_kind,v1,999,swing,", "unmatched_swing"),
        ("swing_drill,v1,1,d9,", "unknown_drill"),
        ("swing_event,v1,1,waggle,2", "event_name"),
        ("swing_event,v1,1,top,", "empty_value"),
        ("swing_film,v1,1,,", "empty_value"),
    ],
)
def test_a_correction_that_says_nothing_usable_is_refused(academy, made, lesson, line, reason):
    loaded(academy, made, lesson)
    assert [found.reason for found in noted(academy, line).refused] == [reason]
