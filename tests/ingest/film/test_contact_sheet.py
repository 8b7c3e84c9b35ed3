"""The contact sheet that is looked at before a film is delivered."""

import cv2

import made_films
from command import underfoot_command


def test_the_command_follows_a_film_and_writes_its_sheet(tmp_path):
    made_films.film(tmp_path / "clip.mp4", seconds=0.8, view="face_on", handed="left")
    (tmp_path / "session.toml").write_text('[clip]\nview = "face_on"\n')
    ran = underfoot_command("film", tmp_path / "clip.mp4", "--preview", "--hand", "left")
    assert ran.returncode == 0, ran.stderr
    assert "marks seen in: lead heel 100 %, lead toe 100 %, trail heel 100 %, trail toe 100 %" in ran.stdout
    assert "Named for a left-hander filmed from the front" in ran.stdout
    sheet = cv2.imread(str(tmp_path / "clip.mp4.png"))
    rings = (cv2.inRange(sheet, (132, 82, 1), (152, 102, 21)) > 0).sum()
    assert sheet.shape[1] == 1280
    assert rings > 12 * 2 * 20  # two lead marks in a dozen pictures


def test_a_film_without_tape_is_reported_in_one_sentence(tmp_path):
    made_films.film(tmp_path / "clip.mp4", seconds=0.8, tape=None)
    ran = underfoot_command("film", tmp_path / "clip.mp4", "--preview")
    assert ran.returncode == 1
    assert "no four marks of one bright colour" in ran.stderr
    assert "Traceback" not in ran.stderr
    assert not (tmp_path / "clip.mp4.png").exists()
