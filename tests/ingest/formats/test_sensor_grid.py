"""A sensor grid's frames against the truth they were made from, mirrored, scaled and turned."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import made_grids
from made_grids import LEFT, RIGHT, Made, Sole, read_frames
from warehouse.errors import Refused
from warehouse.vocabulary import SAMPLE_COLUMNS

ALONG_WITHIN_PTS = 2.0  # of foot length
SHARE_WITHIN_PTS = 1.0
HEEL_THIRD_WITHIN_PTS = 2.5  # of the foot's load: a third ends between two sensors
CARRIES_N = 36.0  # 5 % of the made golfer's weight
SLOW = settings(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])


def read(made: Made, folder: Path, *, handed="right", **options):
    return read_frames(made.write(folder / "frames.npz"), device_options=options, handed=handed)


def quiet(values, frames=5):
    """Mean over neighbouring frames: what is left of random noise is the reader's own error."""
    return np.convolve(values, np.ones(frames) / frames, mode="valid")


def check(grid, lead, trail, *, frames=1, total_within=0.01):
    """Loads, share, along, heel third and centre of one swing against truth (T, 4)."""
    s = grid.samples
    total = s["lead_n"] + s["trail_n"]
    true_total = lead[:, 0] + trail[:, 0]
    share = 100 * (s["lead_n"] / total).to_numpy()
    assert np.abs(quiet(share - 100 * lead[:, 0] / true_total, frames)).max() < SHARE_WITHIN_PTS
    assert np.abs(quiet(total.to_numpy() / true_total - 1, frames)).max() < total_within
    for foot, truth in (("lead", lead), ("trail", trail)):
        carries = quiet(truth[:, 0] > CARRIES_N, frames) > 0.999
        along = quiet(s[f"{foot}_along_pct"].fill_null(50.0).to_numpy() - truth[:, 1], frames)
        assert np.abs(along[carries]).max() < ALONG_WITHIN_PTS, foot
        third = 100 * (s[f"{foot}_heel_n"] / s[f"{foot}_n"]).to_numpy()
        error = quiet(third - 100 * truth[:, 3] / truth[:, 0], frames)
        assert np.abs(error[carries]).max() < HEEL_THIRD_WITHIN_PTS, foot


@pytest.mark.parametrize("pitch", [10.0, 5.0])
@pytest.mark.parametrize("slant", [(0, 0), (-14, 17), (-30, 30), (5, 25)])
@pytest.mark.parametrize("edge", [0.2, 1.0])
def test_loads_along_and_heel_thirds_come_back_as_made(tmp_path, pitch, slant, edge):
    left, right = Sole(206.3, 121.4, slant[0], edge=edge), Sole(412.8, 133.9, slant[1], edge=edge)
    made = made_grids.make(left, right, pitch=pitch, rate=50)
    check(read(made, tmp_path), made.left, made.right)


@pytest.mark.parametrize("pitch", [10.0, 5.0])
@pytest.mark.parametrize("slant", [(0, 0), (-14, 17), (-30, 30)])
def test_noise_and_one_in_a_hundred_dead_sensors_leave_them_right(tmp_path, pitch, slant):
    made = made_grids.make(
        Sole(206, 121, slant[0]), Sole(413, 134, slant[1]), pitch=pitch, rate=100, noise=0.5, seed=11
    )
    dead = np.random.default_rng(3).random(made.pressure.shape[1:]) < 0.01
    made = replace(made, pressure=np.where(dead, np.float32(0), made.pressure))
    grid = read(made, tmp_path)
    check(grid, made.left, made.right, frames=7, total_within=0.02)
    assert grid.dead
    assert all(dead[place] for place in grid.dead)
    assert grid.stuck == []
    assert grid.flags == {1: {"sensors_filled": len(grid.dead)}}


@pytest.mark.parametrize("pitch", [10.0, 5.0])
def test_turning_feet_that_touch_are_read_with_one_in_a_hundred_sensors_dead(tmp_path, pitch):
    t = np.arange(150) / 50
    total, share, left_heel, right_heel = made_grids.courses(t)
    angles = -np.round(10 / (1 + np.exp(-(t - 2.0) / 0.12)))
    size = (round(440 / pitch), round(620 / pitch), pitch)
    lead = Sole(252, 120, -4)
    a, left = made_grids.turning(lead, angles, total * share, np.clip(left_heel, 0.3, 0.9), *size)
    b, right = made_grids.foot_frames(Sole(356, 124, 6), total * (1 - share), right_heel, *size)
    dead = np.random.default_rng(8).random(size[:2]) < 0.01
    frames = np.where(dead, 0.0, a + b)
    grid = read(Made(frames, t, np.ones(150, dtype=int), pitch, left, right), tmp_path)
    check(grid, left, right, total_within=0.02)
    assert grid.flags[1]["sensors_filled"] == len(grid.dead) > 0


def test_noise_that_can_not_go_under_zero_adds_no_load(tmp_path):
    made = made_grids.make(rate=100, noise=1.0)
    s = read(made, tmp_path).samples
    for foot, truth in (("lead", made.left), ("trail", made.right)):
        assert (s[f"{foot}_n"] - pl.Series(truth[:, 0])).mean() == pytest.approx(0.0, abs=1.5)
        assert (s[f"{foot}_heel_n"] - pl.Series(truth[:, 3])).mean() == pytest.approx(0.0, abs=2.0)


@pytest.mark.parametrize(
    ("left", "right"),
    [
        (Sole(250, 120), Sole(350, 125)),
        (Sole(270, 120, -22), Sole(311, 120, 22)),
        (Sole(210, 120, 14), Sole(408, 120, -14)),
    ],
)
def test_touching_feet_are_told_apart(tmp_path, left, right):
    made = made_grids.make(left, right, rate=50)
    check(read(made, tmp_path), made.left, made.right)


@pytest.mark.parametrize("length", [190, 230, 320])
def test_small_and_large_feet_are_read_alike(tmp_path, length):
    width = 0.37 * length
    made = made_grids.make(Sole(206, 101, -12, length, width), Sole(420, 111, 18, length, width), rate=50)
    check(read(made, tmp_path), made.left, made.right)


def test_a_left_handers_lead_foot_is_the_right_one(tmp_path):
    made = made_grids.make(rate=50)
    check(read(made, tmp_path, handed="left"), made.right, made.left)


def test_across_is_positive_toward_the_target_for_both_hands(tmp_path):
    made = made_grids.make(rate=50)
    right_hander = read(made, tmp_path).samples
    left_hander = read(made, tmp_path, handed="left").samples
    for name, other in (("lead", "trail"), ("trail", "lead")):
        told = right_hander[f"{name}_across_mm"].drop_nulls()
        assert np.allclose(told, -left_hander[f"{other}_across_mm"].drop_nulls(), atol=1e-3)
    assert np.abs(right_hander["lead_across_mm"].to_numpy() + made.left[:, 2]).max() < 3.0


def test_the_stance_and_the_bodys_centre_stand_on_the_floor_where_the_feet_do(tmp_path):
    made = made_grids.make(rate=50)
    grid = read(made, tmp_path)
    middle = 310.0
    wanted = [middle - LEFT.heel_x, LEFT.heel_y, middle - LEFT.toe[0], LEFT.toe[1]]
    wanted += [middle - RIGHT.heel_x, RIGHT.heel_y, middle - RIGHT.toe[0], RIGHT.toe[1]]
    assert grid.stance_mm[1] == pytest.approx(wanted, abs=8.0)
    assert list(grid.session_stance_mm) == grid.stance_mm[1]
    s = grid.samples
    feet = []
    for k, name in enumerate(("lead", "trail")):
        heel, toe = (
            np.array(grid.stance_mm[1][4 * k : 4 * k + 2]),
            np.array(grid.stance_mm[1][4 * k + 2 : 4 * k + 4]),
        )
        way = toe - heel
        side = np.array([way[1], -way[0]]) / np.hypot(*way)
        along, across = (
            s[f"{name}_{part}"].fill_null(0).to_numpy()[:, None] for part in ("along_pct", "across_mm")
        )
        feet.append(s[f"{name}_n"].to_numpy()[:, None] * (heel + along / 100 * way + across * side))
    body = (feet[0] + feet[1]) / (s["lead_n"] + s["trail_n"]).to_numpy()[:, None]
    both = s["trail_along_pct"].is_not_null().to_numpy()
    assert np.abs(body[both] - s.select("cop_x_mm", "cop_y_mm").to_numpy()[both]).max() < 0.5


def test_a_foot_off_the_grid_has_a_load_and_no_place(tmp_path):
    t = np.arange(150) / 50
    total, share, left_heel, right_heel = made_grids.courses(t)
    off = t > 2.2
    a, left = made_grids.foot_frames(LEFT, total * np.where(off, 1.0, share), left_heel, 44, 62, 10.0)
    b, right = made_grids.foot_frames(RIGHT, total * np.where(off, 0.0, 1 - share), right_heel, 44, 62, 10.0)
    s = read(Made(a + b, t, np.ones(150, dtype=int), 10.0, left, right), tmp_path).samples
    assert s["trail_n"].to_numpy()[off].max() < 0.5
    assert s["trail_along_pct"].is_null().to_numpy()[off].all()
    assert s["lead_along_pct"].null_count() == 0
    assert s["cop_x_mm"].null_count() == 0


@pytest.mark.parametrize("turn", [12, 25, 40])
@pytest.mark.parametrize("about", [0.15, 0.72])
def test_a_foot_that_turns_as_a_whole_is_followed(tmp_path, turn, about):
    t = np.arange(200) / 50
    total, share, left_heel, right_heel = made_grids.courses(t)
    angles = -np.round(turn / (1 + np.exp(-(t - 2.2) / 0.12)))
    a, left = made_grids.turning(
        LEFT, angles, total * share, np.clip(left_heel, 0.3, 0.9), 88, 124, 5.0, about=about
    )
    b, right = made_grids.foot_frames(RIGHT, total * (1 - share), right_heel, 88, 124, 5.0)
    check(read(Made(a + b, t, np.ones(200, dtype=int), 5.0, left, right), tmp_path), left, right)


def test_a_trail_foot_that_rolls_onto_its_toes_keeps_its_address_print(tmp_path):
    t = np.arange(200) / 50
    total, share, left_heel, right_heel = made_grids.courses(t)
    angles = -np.round(15 / (1 + np.exp(-(t - 2.2) / 0.12)))  # turned in a little, heel up by then
    a, left = made_grids.foot_frames(LEFT, total * share, left_heel, 44, 62, 10.0)
    b, right = made_grids.turning(RIGHT, angles, total * (1 - share), right_heel, 44, 62, 10.0, even=0.03)
    check(read(Made(a + b, t, np.ones(200, dtype=int), 10.0, left, right), tmp_path), left, right)


def test_stuck_sensors_are_named_and_do_no_harm(tmp_path):
    made = made_grids.make(rate=50)
    pressure = made.pressure.copy()
    for place, kpa in {(15, 20): 180.0, (3, 3): 90.0, (35, 44): 12.0, (40, 30): 250.0}.items():
        pressure[:, *place] = kpa
    grid = read(replace(made, pressure=pressure), tmp_path)
    assert grid.stuck == [(3, 3), (15, 20), (35, 44), (40, 30)]
    check(grid, made.left, made.right)


def test_a_dead_line_across_both_feet_is_found_and_filled(tmp_path):
    made = made_grids.make(pitch=5.0, rate=50)
    pressure = made.pressure.copy()
    pressure[:, 40, :] = 0.0
    grid = read(replace(made, pressure=pressure), tmp_path)
    assert {row for row, _ in grid.dead} == {40}
    assert len(grid.dead) > 20
    check(grid, made.left, made.right)


def test_a_sensor_without_numbers_is_dead_and_a_broken_frame_is_left_out(tmp_path):
    made = made_grids.make(rate=50)
    pressure = made.pressure.copy()
    pressure[:, 15, 20] = np.nan
    pressure[70, 8, 9] = np.nan
    grid = read(replace(made, pressure=pressure), tmp_path)
    assert grid.dead == [(15, 20)]
    assert grid.samples["t_s"].to_list() == np.delete(made.t_s, 70).tolist()
    keep = np.delete(np.arange(150), 70)
    check(grid, made.left[keep], made.right[keep])


def test_swings_are_read_apart_and_rows_keep_the_files_order(tmp_path):
    one, two = (
        made_grids.make(rate=50),
        made_grids.make(Sole(190, 90, -5), Sole(430, 88, 9), rate=50, swing_no=2),
    )
    parts = [
        np.concatenate([getattr(one, n), getattr(two, n)])
        for n in ("pressure", "t_s", "swing_no", "left", "right")
    ]
    mixed = np.random.default_rng(0).permutation(300)
    mixed = np.concatenate(
        [np.sort(mixed[:150]), np.sort(mixed[150:])]
    )  # both swings' rows run through each other
    mixed = mixed[np.argsort(parts[1][mixed], kind="stable")]
    both = Made(parts[0][mixed], parts[1][mixed], parts[2][mixed], 10.0, parts[3][mixed], parts[4][mixed])
    grid = read(both, tmp_path)
    assert grid.samples["swing_no"].to_list() == both.swing_no.tolist()
    assert grid.samples["t_s"].to_list() == both.t_s.tolist()
    assert grid.samples.columns == ["swing_no", "t_s", *SAMPLE_COLUMNS]
    assert sorted(grid.stance_mm) == [1, 2]
    check(grid, both.left, both.right)


def test_a_swing_with_one_foot_is_flagged_and_the_others_are_read(tmp_path):
    good, lone = made_grids.make(rate=50), made_grids.make(rate=50, swing_no=2)
    lone.pressure[:, :, 31:] = 0.0
    both = [
        np.concatenate([getattr(good, n), getattr(lone, n)])
        for n in ("pressure", "t_s", "swing_no", "left", "right")
    ]
    grid = read(Made(both[0], both[1], both[2], 10.0, both[3], both[4]), tmp_path)
    assert grid.flags == {2: {"feet_not_found": 1}}
    assert grid.samples["swing_no"].unique().to_list() == [1]
    assert list(grid.stance_mm) == [1]


@pytest.mark.parametrize(
    "right",
    [Sole(412, -12, 10), Sole(412, 190, 10), Sole(585, 60, 0), Sole(605, 60, 0), Sole(575, 60, 12)],
)
def test_a_foot_over_the_edge_of_the_grid_is_not_taken_for_a_whole_one(tmp_path, right):
    with pytest.raises(Refused) as told:
        read(made_grids.make(Sole(206, 60, -5), right, rate=50, seconds=2), tmp_path)
    assert told.value.refusal.reason == "feet_not_found"


@pytest.mark.parametrize("right", [Sole(412, 6, 10), Sole(412, 157, 5), Sole(569, 60, 0)])
def test_a_foot_that_ends_in_the_outermost_sensors_is_read(tmp_path, right):
    made = made_grids.make(Sole(206, 60, -5), right, rate=50)
    check(read(made, tmp_path), made.left, made.right)


def test_sensors_at_their_limit_flag_the_swing(tmp_path):
    made = made_grids.make(rate=50)
    cut = replace(made, pressure=np.minimum(made.pressure, 0.6 * made.pressure.max()))
    assert read(cut, tmp_path).flags == {1: {"saturated": 1}}
    assert read(made, tmp_path).flags == {}


def test_a_standing_golfers_heel_third_agrees_with_standing_loads_of_the_literature(tmp_path):
    """Cavanagh 1987, Foot Ankle 7 (from memory): heel 60.5, midfoot 7.8, forefoot and toes 31.7 % standing.

    The centre of pressure then lies near 36 % of foot length, where two-point statics (heel at 15, ball at 70 %)
    put 61.8 % on the heel.
    """
    n = 100
    load, heel = np.full(n, 360.0) * (1 + 0.01 * np.sin(np.arange(n))), np.full(n, 0.605 / 0.922)
    a, left = made_grids.foot_frames(LEFT, load, heel, 44, 62, 10.0, even=0.078)
    b, right = made_grids.foot_frames(RIGHT, load[::-1], heel, 44, 62, 10.0, even=0.078)
    s = read(Made(a + b, np.arange(n) / 50, np.ones(n, dtype=int), 10.0, left, right), tmp_path).samples
    assert s["lead_along_pct"].mean() == pytest.approx(36, abs=3)
    statics = 100 * (70 - s["lead_along_pct"].mean()) / 55
    assert 100 * (s["lead_heel_n"] / s["lead_n"]).mean() == pytest.approx(statics, abs=5)
    assert 100 * (s["lead_heel_n"] / s["lead_n"]).mean() == pytest.approx(61.8, abs=5)


places = st.tuples(st.floats(185, 225), st.floats(60, 140), st.floats(-30, 5))


@SLOW
@given(places, places, st.sampled_from([0.0, 0.7]))
def test_a_left_handers_grid_equals_its_mirror_image(tmp_path, left, right, noise):
    made = made_grids.make(
        Sole(*left), Sole(right[0] + 210, right[1], -right[2]), rate=50, seconds=2.4, noise=noise
    )
    there = read(made, tmp_path)
    mirrored = read(replace(made, pressure=made.pressure[:, :, ::-1]), tmp_path, handed="left")
    assert mirrored.samples.equals(there.samples)
    assert mirrored.stance_mm == there.stance_mm


@SLOW
@given(places, st.floats(0.5, 2.0))
def test_scaled_pressures_scale_loads_and_leave_places_and_shares(tmp_path, place, factor):
    made = made_grids.make(Sole(*place), rate=50, seconds=2.4, noise=0.3)
    there = read(made, tmp_path).samples
    scaled = read(replace(made, pressure=made.pressure * np.float32(factor)), tmp_path).samples
    for name in SAMPLE_COLUMNS:
        wanted = there[name] * (factor if name.endswith("_n") else 1.0)
        assert np.allclose(scaled[name].drop_nulls(), wanted.drop_nulls(), rtol=1e-3, atol=0.05), name


@SLOW
@given(places, st.booleans(), st.booleans())
def test_turning_the_options_equals_turning_the_arrays(tmp_path, place, rows, columns):
    made = made_grids.make(Sole(*place), rate=50, seconds=2.4)
    made.pressure[:, 16, 20] = 0.0
    made.pressure[:, 4, 50] = 33.0
    there = read(made, tmp_path)
    turned = made.pressure[:, :: -1 if rows else 1, :: -1 if columns else 1]
    options = ({"rows": "toes_first"} if rows else {}) | ({"columns": "right_first"} if columns else {})
    grid = read(replace(made, pressure=turned), tmp_path, **options)
    assert grid.samples.equals(there.samples)
    row, col = there.stuck[0]
    assert grid.stuck == [(43 - row if rows else row, 61 - col if columns else col)]
