"""Which files of a session are its clips."""

import json

import pytest

from ingest.readers.clip_files import clip_files

FEET = [90, 410, 2, 110, 430, 2, 20, 400, 2, 290, 411, 2, 310, 431, 2, 220, 401, 2]
CLIP = '\n[clip]\nfps = 120\nshoe_length_mm = 290\nview = "down_line"\n'


def test_clips_are_told_by_their_names_however_these_are_written():
    named = ["clip.csv", "CLIP.JSON", "Clip-2.Json", "clip-3.MP4", "notes.csv", "plate.csv", "session.toml"]
    assert clip_files(named) == ["clip.csv", "CLIP.JSON", "Clip-2.Json", "clip-3.MP4"]


@pytest.mark.parametrize("name", ["clip.json", "CLIP.JSON", "Clip-1.Json"])
def test_a_keypoint_file_is_read_however_its_name_is_written(academy, made, name):
    feet = json.dumps([{"image_id": 0, "keypoints": [0] * 51, "foot_kpts": FEET}])
    sheet = made.toml(device=None, swings=[], more="\n[[swing]]\nno = 1\n" + CLIP)
    folder = made.deliver(academy.inbox / "v1", sheet)
    (folder / name).write_text(feet)
    assert academy.load().refused == []
    assert academy.sql("SELECT count(*) FROM academy.clip_point").item() == 4


def test_a_keypoint_file_of_no_swing_is_told_however_its_name_is_written(academy, made):
    sheet = made.toml(device=None, swings=[], more="\n[[swing]]\nno = 1\n" + CLIP)
    folder = made.deliver(academy.inbox / "v1", sheet)
    (folder / "CLIP-9.JSON").write_text("[]")
    assert "CLIP-9.JSON is no swing's clip; name it after its swing, as in clip-1.JSON" in (
        academy.load().refused[0].sentence
    )
