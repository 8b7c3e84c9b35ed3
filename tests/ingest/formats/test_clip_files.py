"""Which files of a session are its clips."""

import json

import pytest

from ingest.session_file import session_of_nobody
from ingest.swing_files import clip_files

FEET = [90, 410, 2, 110, 430, 2, 20, 400, 2, 290, 411, 2, 310, 431, 2, 220, 401, 2]
CLIP = '\n[clip]\nfps = 120\nshoe_length_mm = 290\nview = "down_line"\n'


def test_clips_are_recognised_however_their_names_are_written():
    named = ["clip.csv", "CLIP.JSON", "Clip-2.Json", "clip-3.MP4", "notes.csv", "plate.csv", "session.toml"]
    assert clip_files(named, session_of_nobody((), None)) == [
        "clip.csv",
        "CLIP.JSON",
        "Clip-2.Json",
        "clip-3.MP4",
    ]


@pytest.mark.parametrize("name", ["clip.json", "CLIP.JSON", "Clip-1.Json"])
def test_a_keypoint_file_is_read_however_its_name_is_written(academy, made, name):
    feet = json.dumps([{"image_id": 0, "keypoints": [0] * 51, "foot_kpts": FEET}])
    sheet = made.toml(device=None, swings=[], more="\n[[swing]]\nno = 1\n" + CLIP)
    folder = made.deliver(academy.inbox / "v1", sheet)
    (folder / name).write_text(feet)
    assert academy.load().refused == []
    assert academy.sql("SELECT count(*) FROM academy.clip_point").item() == 4


def test_a_keypoint_file_of_no_swing_is_refused_however_its_name_is_written(academy, made):
    sheet = made.toml(device=None, swings=[], more="\n[[swing]]\nno = 1\n" + CLIP)
    folder = made.deliver(academy.inbox / "v1", sheet)
    (folder / "CLIP-9.JSON").write_text("[]")
    assert "CLIP-9.JSON is not the clip of any swing; name it after its swing, as in clip-1.JSON" in (
        academy.load().refused[0].sentence
    )


def keypoints():
    return json.dumps([{"image_id": 0, "keypoints": [0] * 51, "foot_kpts": FEET}])


def named(made, clip, *, more=CLIP):
    return made.toml(device=None, swings=[], more=f'\n[[swing]]\nno = 1\nclip = "{clip}"\n' + more)


def test_a_keypoint_file_is_read_by_the_name_its_swing_gives_it_alone(academy, made):
    made.deliver(academy.inbox / "v1", named(made, "poses-1.json"), **{"poses-1__json": keypoints()})
    report = academy.load()
    assert (report.refused, report.notices) == ([], [])
    assert academy.sql("SELECT count(*) FROM academy.clip_point").item() == 4


def test_a_keypoint_file_of_any_name_needs_the_consent_to_film(academy, made):
    sheet = named(made, "poses-1.json").replace('student = "s1"', 'student = "s3"')
    made.deliver(academy.inbox / "v1", sheet, **{"poses-1__json": keypoints()})
    assert [r.reason for r in academy.load().refused] == ["no_consent"]


@pytest.mark.parametrize("more", [CLIP, ""])
@pytest.mark.parametrize("clip", ["poses-1.json", "swing.mp4"])
def test_a_named_clip_that_did_not_come_refuses_its_own_swing(academy, made, clip, more):
    sheet = made.toml(more=more).replace("no = 1\n", f'no = 1\nclip = "{clip}"\n')
    made.deliver(academy.inbox / "v1", sheet, made.plate())
    (told,) = academy.load().refused
    assert (told.reason, told.swing_no) == ("no_samples", 1)
    assert f"{clip} is not in the session's folder" in told.sentence
    assert academy.sql("SELECT swing_no FROM academy.swing").to_series().to_list() == [2]
