"""The academy as a whole: seeded, scalable, complete, and independent of what reads it."""

import ast
import hashlib
from pathlib import Path

import numpy as np
import polars as pl
import pytest

import demo_academy
from demo_academy import films
from demo_academy.clips import ClipShot
from demo_academy.faults import PLATE_FAULTS
from demo_academy.people import NO_CONSENT, invent_students
from demo_academy.write import invent_people, write_academy

SCALE = 0.2  # of the academy of conftest.py
WINGS = {"models", "ingest", "dashboard", "underfoot"}


def _bytes(target: Path) -> dict[str, str]:
    files = sorted(file for file in target.rglob("*") if file.is_file())
    return {str(f.relative_to(target)): hashlib.sha256(f.read_bytes()).hexdigest() for f in files}


def test_the_same_seed_writes_the_same_bytes_and_progress_counts_to_the_last_student(academy, tmp_path):
    said = []
    write_academy(tmp_path, scale=SCALE, progress=lambda done, total: said.append((done, total)))
    assert _bytes(tmp_path) == _bytes(academy)
    assert said == [(k, 10) for k in range(1, 11)]


def test_another_seed_invents_other_people_and_seasons(tmp_path):
    ours, others = (invent_people(tmp_path / str(seed), seed, SCALE) for seed in (20260401, 7))
    for mine, other in zip(ours, others, strict=True):
        assert (repr(mine.profile), repr(mine.plan)) != (repr(other.profile), repr(other.plan))
    assert {p.student.name for p in ours} != {p.student.name for p in others}


def test_a_larger_scale_has_more_students(academy, tmp_path):
    invent_people(tmp_path, 20260401, 0.3)  # the rosters alone
    small, large = (
        pl.read_csv(home / "inbox/rosters/people.csv").filter(pl.col("role") == "student").height
        for home in (academy, tmp_path)
    )
    assert (small, large) == (11, 15)


def test_nothing_here_imports_another_wing():
    files = sorted(Path(demo_academy.__file__).parent.glob("*.py"))
    assert len(files) > 10
    for file in files:
        for node in ast.walk(ast.parse(file.read_text())):
            names = [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
            names += [node.module or ""] if isinstance(node, ast.ImportFrom) else []
            assert not WINGS & {name.split(".")[0] for name in names}, file.name


@pytest.mark.parametrize("fault", [*PLATE_FAULTS, "lead_heel_high"])
def test_every_fault_is_planted_even_in_a_small_academy(truth, fault):
    assert truth.filter(pl.col("planted_faults").list.contains(fault)).height >= 2


def test_every_special_kind_is_there(academy, truth, planted):
    folders = {f.name for f in (academy / "inbox").iterdir()}
    assert {"rosters", "range-2026"} <= folders
    assert any(name.startswith("practice-") for name in folders)
    assert planted["holds"]
    assert {place is None for place in planted["steady_places"].values()} == {True, False}
    assert planted["clips_beside_plates"]
    assert len(planted["notes_only"]) == 6
    assert truth["device"].drop_nulls().unique().len() == 6
    assert set(truth["rate_hz"].drop_nulls().unique()) == {125, 200, 250, 500, 1000}
    assert set(truth["heel_source"]) == {"measured", "estimated", "none"}
    assert set(truth["pace"]) == {"full", "half", "slow"}
    assert set(truth["part"]) == {"baseline", "after_drill", "retention"}
    assert set(truth["club_family"]) == {"iron", "wedge", "driver"}
    assert set(truth["crossing"].drop_nulls()) == {"crossed", "before_top", "never"}


def test_both_hands_and_all_ages_are_there(academy):
    people = pl.read_csv(academy / "inbox/rosters/people.csv", try_parse_dates=True)
    students = people.filter(pl.col("role") == "student", pl.col("person") != "s900")
    assert set(students["handed"]) == {"left", "right"}
    ages = 2026 - students["born"].dt.year()
    assert ages.min() <= 12
    assert ages.max() >= 69
    assert students["display_name"].n_unique() == students.height
    assert people.filter(pl.col("role") == "coach").height == 5
    assert people.filter(pl.col("role") == "head_coach").height == 1


def test_every_minor_has_a_guardian_who_consents(academy):
    people = pl.read_csv(academy / "inbox/rosters/people.csv", try_parse_dates=True)
    consents = pl.read_csv(academy / "inbox/rosters/consents.csv")
    minors = people.filter(pl.col("role") == "student", pl.col("born") > pl.date(2008, 10, 8))["person"]
    assert len(minors) > 0
    for minor in minors:
        guardian = people.filter(pl.col("guardian_of") == minor)["person"].item()
        assert set(consents.filter(pl.col("student") == minor)["given_by"]) == {guardian}


def test_any_number_of_students_have_names_and_codes_of_their_own():
    students = invent_students(np.random.default_rng(5), 5000)
    assert len({student.name for student in students}) == len({student.code for student in students}) == 5000
    assert NO_CONSENT not in {student.code for student in students}
    few = invent_students(np.random.default_rng(5), 10)
    assert all(len(student.name.split()) == 2 for student in few)


@pytest.mark.parametrize("toes_right", [True, False])
@pytest.mark.parametrize("view", ["down_line", "face_on"])
@pytest.mark.parametrize(
    "look",
    [{}, {"body": True}, {"shoe_width_mm": 115.0}, {"hidden": ("lead_toe", 0.0, 1.0)}],
    ids=["feet", "legs", "solid shoes", "a mark hidden"],
)
def test_all_of_a_picture_that_changes_is_drawn_anew_for_each_moment(monkeypatch, view, toes_right, look):
    how, shot = films.Look(width=320, height=180, **look), ClipShot(60.0, 300.0, view, 0.95, toes_right)
    places = films.mark_places(np.linspace(0, 150, 10).reshape(2, 5), shot, 440.0, 320)
    ground = films._backdrop(how, np.random.default_rng(1))
    drawn = films._exposed(ground, 0.5, places, shot, how, np.zeros(2))
    monkeypatch.setattr(films, "_box", lambda *_: (slice(None), slice(None)))
    assert np.array_equal(drawn, films._exposed(ground, 0.5, places, shot, how, np.zeros(2)))
