"""Keypoint files of the open COCO-WholeBody format, made by hand from its published description."""

import json

import pytest

from ingest.formats.keypoints import read_keypoints
from warehouse.errors import Refused

# x, y of left big toe, left small toe, left heel, right big toe, right small toe, right heel (17–22 of 133).
FEET = [(90, 410), (110, 430), (20, 400), (290, 411), (310, 431), (220, 401)]


def feet(score=2, shift=0):
    return [v for x, y in FEET for v in (x + shift, y, score)]


def whole_body(image, name=None, **feet_of):
    return {"image_id": image, "keypoints": [0] * 51 + feet(**feet_of) + [0] * 330}


def file_of(notes, names=None):
    if names is None:
        return json.dumps(notes).encode()
    images = [{"id": k, "file_name": name} for k, name in names.items()]
    return json.dumps({"images": images, "annotations": notes}).encode()


def test_the_six_foot_points_become_heels_and_toes():
    rows = read_keypoints(file_of([whole_body(7)], {7: "a/img_0001.jpg"}), "clip.json")
    assert rows.rows() == [
        (0, "left_heel", 20.0, 400.0, 1.0), (0, "left_toe", 100.0, 420.0, 1.0),
        (0, "right_heel", 220.0, 401.0, 1.0), (0, "right_toe", 300.0, 421.0, 1.0),
    ]  # fmt: skip


def test_foot_kpts_beside_the_body_say_the_same():
    beside = [{"image_id": 7, "keypoints": [0] * 51, "foot_kpts": feet()}]
    names = {7: "img_0001.jpg"}
    assert read_keypoints(file_of(beside, names), "clip.json").equals(
        read_keypoints(file_of([whole_body(7)], names), "clip.json")
    )


def test_frames_follow_the_numbers_in_the_file_names():
    names = {1: "img_0012.jpg", 2: "img_0010.jpg", 3: "img_0015.jpg"}
    rows = read_keypoints(file_of([whole_body(k) for k in names], names), "clip.json")
    assert rows["frame"].unique().sort().to_list() == [0, 2, 5]


def test_without_numbers_the_image_ids_give_the_order_and_in_bare_results_the_frame():
    named = file_of([whole_body(k) for k in (4, 9)], {4: "a.jpg", 9: "b.jpg"})
    assert read_keypoints(named, "clip.json")["frame"].unique().sort().to_list() == [0, 1]
    bare = file_of([whole_body(k) for k in (4, 9)])
    assert read_keypoints(bare, "clip.json")["frame"].unique().sort().to_list() == [0, 5]


def test_scores_stay_scores_and_flags_become_scores():
    scores = read_keypoints(file_of([whole_body(0, score=0.73)]), "clip.json")
    assert scores["score"].unique().to_list() == [0.73]
    hidden = [whole_body(0), whole_body(1, score=1)]
    assert read_keypoints(file_of(hidden), "clip.json")["score"].unique().sort().to_list() == [0.5, 1.0]
    assert read_keypoints(file_of([whole_body(0), whole_body(1, score=0)]), "clip.json").height == 4


def test_one_person_is_followed_through_the_frames():
    notes = [whole_body(0), whole_body(0, shift=900), whole_body(1, shift=905), whole_body(1, shift=3)]
    small = {"image_id": 0, "keypoints": [], "foot_kpts": [v / 3 for v in feet(score=6)]}
    rows = read_keypoints(file_of([small, notes[0], notes[2], notes[3]]), "clip.json")
    assert rows["x_px"].max() == 303


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (
            file_of([{"image_id": 1, "keypoints": [1, 2, 2] * 17}]),
            "17 points of the body but none of the feet",
        ),
        (b"{", "not readable JSON"),
        (b"{}", "no list of annotations"),
        (b"[[1]]", "no list of annotations"),
        (file_of([{"image_id": 1, "keypoints": ["a"] * 69}]), "not numbers in threes"),
        (file_of([{"image_id": 1, "foot_kpts": [1, 2, 2]}]), "not six foot points"),
        (file_of([whole_body(1, score=0)]), "no foot point is seen"),
        (b'[{"image_id": 1, "foot_kpts": [1e999' + b", 1, 1" * 6 + b"]}]", "clip.json"),
    ],
)
def test_another_file_is_refused_in_one_sentence(data, said):
    with pytest.raises(Refused) as refused:
        read_keypoints(data, "clip.json")
    assert said in str(refused.value)
    assert "\n" not in str(refused.value)


CLIP = '[clip]\nfps = 120\nshoe_length_mm = 290\nview = "down_line"\n'


def deliver(academy, made, name, data, swings=1, more="", student="s1"):
    tables = "".join(f"\n[[swing]]\nno = {no}\n{more if no == 1 else ''}" for no in range(1, swings + 1))
    folder = made.deliver(
        academy.inbox / "v1", made.toml(student=student, device=None, swings=[], more=tables + "\n" + CLIP)
    )
    (academy.inbox / "v1" / name).write_bytes(data)
    return folder


@pytest.mark.parametrize(("student", "lead"), [("s1", "left"), ("s2", "right")])
def test_a_session_of_keypoint_files_lands_as_lead_and_trail(academy, made, student, lead):
    (academy.inbox / "consents.csv").write_text("student,given_by,purpose,from,to\ns2,g2,film,2026-01-01,\n")
    deliver(academy, made, "clip.json", file_of([whole_body(0)]), student=student)
    academy.load()
    found = dict(academy.sql("SELECT point, x_px FROM academy.clip_point").rows())
    assert found["lead_heel"] == (20.0 if lead == "left" else 220.0)
    assert academy.sql("SELECT has_clip FROM academy.session").item()


def test_files_belong_to_swings_by_number_or_by_name(academy, made):
    deliver(
        academy, made, "clip-2.json", file_of([whole_body(0)]), swings=2, more='clip = "clip-first.json"\n'
    )
    (academy.inbox / "v1" / "clip-first.json").write_bytes(file_of([whole_body(0, shift=5)]))
    academy.load()
    rows = academy.sql("SELECT swing_no, min(x_px) FROM academy.clip_point GROUP BY 1 ORDER BY 1").rows()
    assert rows == [(1, 25.0), (2, 20.0)]


def test_a_bad_file_refuses_its_own_swing_and_one_of_no_swing_the_session(academy, made):
    deliver(academy, made, "clip-1.json", file_of([whole_body(0)]), swings=2)
    (academy.inbox / "v1" / "clip-2.json").write_bytes(b"{")
    report = academy.load()
    assert [r.swing_no for r in report.refused] == [2]
    deliver(academy, made, "clip-x.json", file_of([whole_body(0)]), swings=2)
    assert "clip-x.json is not the clip of any swing" in academy.load().refused[0].sentence
