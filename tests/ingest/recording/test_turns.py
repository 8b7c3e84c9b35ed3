"""A recording of several people cut into each one's own: their swings, whole, and nobody else's samples."""

import io

import numpy as np
import polars as pl
import pytest

from ingest.preview import preview
from made_spreadsheets import xlsx
from planted_recordings import CHILD, HEELS, LEFT_HANDED, QUIET, recording
from warehouse.preview import Brought, Player
from warehouse.settings import parse_settings

SETTINGS = b"""name = "Foot first"
time_zone = "UTC"
[device.run]
kind = "force_plates"
[device.run.layout]
swings = "found"
[device.run.columns]
t_s = "t_s"
left_n = "left_n"
right_n = "right_n"
"""
PLAYERS = {"big": Player(74.0, "right"), "small": Player(35.0, "right"), "none": Player()}


@pytest.fixture(scope="module")
def lesson():
    return recording(QUIET, CHILD, seed=41, minutes=9.0, turn=3)


def frame(made):
    return pl.DataFrame({name: getattr(made, name) for name in ("t_s", "left_n", "right_n")})


def look(folder, files, **more):
    folder.mkdir()
    for name, data in files.items():
        (folder / name).write_bytes(data)
    known = {"handed": "right", "players": PLAYERS, **more}
    return preview(Brought(folder, parse_settings(SETTINGS), "big", "run", "force_plates", **known))


def written(made, how):
    rows = frame(made)
    if how == "parquet":
        out = io.BytesIO()
        rows.write_parquet(out)
        return "Lesson.parquet", out.getvalue()
    if how == "xlsx":
        return "Lesson.xlsx", xlsx([rows.columns, *rows.rows()])
    text = rows.write_csv(separator=";" if how == "semicolons" else ",")
    if how == "utf-16":
        return "Lesson.csv", text.encode("utf-16")
    return "Lesson.csv", (f"Überschrift\r\nGerät: Matte\r\n{text}" if how == "head" else text).encode()


def own_samples(folder):
    [path] = folder.iterdir()
    if path.suffix == ".parquet":
        return pl.read_parquet(path)
    text = path.read_bytes()
    text = text.decode("utf-16") if text[:2] == b"\xff\xfe" else text.decode()
    body = text[text.index("t_s") :].encode()
    return pl.read_csv(body, separator=";" if b";" in body else ",")


def test_the_shares_are_the_peoples_and_each_has_its_likely_owner(tmp_path, lesson):
    found = look(tmp_path / "a", dict([written(lesson, "plain")]))
    assert [(share.owner, share.likely[0]) for share in found.shares] == [("big", "big"), ("small", "small")]
    assert [share.mass_kg for share in found.shares] == pytest.approx([74.0, 35.0], abs=1.0)
    assert {one for share in found.shares for one in share.likely} == set(PLAYERS)
    numbers = sorted(no for share in found.shares for no in share.swings)
    assert numbers == [swing.no for swing in found.swings]


@pytest.mark.parametrize("how", ["plain", "head", "semicolons", "utf-16", "parquet", "xlsx"])
def test_each_one_keeps_their_swings_as_they_were_found_and_nothing_of_the_other(tmp_path, lesson, how):
    files = dict([written(lesson, how)])
    whole = look(tmp_path / "whole", files)
    assert len(whole.shares) == 2
    of = {swing.no: swing for swing in whole.swings}
    for k, share in enumerate(whole.shares):
        own = look(tmp_path / f"{k}", files, only=share.swings)
        assert own.problems == ()
        assert [swing.kind for swing in own.swings] == [of[no].kind for no in share.swings]
        for swing, no in zip(own.swings, share.swings, strict=True):
            assert swing.seconds == pytest.approx(of[no].seconds, abs=0.1)
            assert max(swing.lead_n) == pytest.approx(max(of[no].lead_n), rel=0.05)
        assert own.shares == ()
        samples = own_samples(tmp_path / f"{k}")
        total = (samples["left_n"] + samples["right_n"]).to_numpy()
        other = whole.shares[1 - k].mass_kg * 9.81
        standing = np.abs(total[total > 100.0] - other) < 0.1 * other
        assert np.mean(standing) < 0.05
        assert list(own.names.values()) == [path.name for path in (tmp_path / f"{k}").iterdir()]


def test_a_swing_moved_to_another_person_goes_with_them(tmp_path, lesson):
    files = dict([written(lesson, "plain")])
    first, second = look(tmp_path / "a", files).shares
    moved = look(tmp_path / "b", files, only=tuple(sorted((*first.swings, second.swings[0]))))
    assert len(moved.swings) == len(first.swings) + 1


def test_alike_people_are_not_told_apart_by_a_guess(tmp_path):
    made = recording(QUIET, LEFT_HANDED, seed=43, minutes=8.0, turn=3)
    players = {"a": Player(74.0, "right"), "b": Player(76.0, "right"), "left": Player(79.0, "left")}
    found = look(tmp_path / "a", dict([written(made, "plain")]), players=players)
    by_hand = {share.likely[0]: share.owner for share in found.shares}
    assert by_hand == {"a": None, "left": "left"}


def test_one_person_is_no_share(tmp_path):
    made = recording(HEELS, seed=44, minutes=4.0)
    found = look(tmp_path / "a", dict([written(made, "plain")]))
    assert found.swings
    assert found.shares == ()


def test_what_is_in_two_files_is_not_cut(tmp_path, lesson):
    name, data = written(lesson, "plain")
    found = look(tmp_path / "a", {name: data, "Another.csv": data}, only=(1, 2))
    [(reason, sentence)] = found.problems
    assert (reason, "can't be shared out" in sentence) == ("unreadable", True)
    assert sorted(path.read_bytes() for path in (tmp_path / "a").iterdir()) == [data, data]
