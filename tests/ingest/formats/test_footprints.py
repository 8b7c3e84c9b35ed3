"""Feet found in single prints: edges to a fraction of a sensor, dividing lines, bad sensors."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import made_grids
from ingest.formats import footprints
from ingest.formats.footprints import Foot, Plane
from made_grids import LEFT, RIGHT, Sole


def prints(*soles, pitch=10.0, rows=44, cols=62, load_n=400.0):
    """Even-loaded soles on a plane: the print and its plane."""
    scale = 10.0 / pitch
    rows, cols = round(rows * scale), round(cols * scale)
    total = sum(sole.pads(rows, cols, pitch)[0].mean(axis=0) for sole in soles)
    return load_n * total, Plane(rows, cols, pitch)


def measured(sole, **kw):
    print_kpa, plane = prints(sole, **kw)
    marks = footprints.loaded(print_kpa, plane)
    foot = footprints.measure(print_kpa, marks, plane, footprints.noise_floor(print_kpa))
    middle = plane.x.shape[1] * plane.pitch_mm / 2
    return foot, (sole.heel_x - middle, sole.heel_y), (sole.toe[0] - middle, sole.toe[1])


@given(
    st.floats(0.05, 1.0), st.floats(0.0, 200.0), st.floats(0.0, 60.0)
)  # fmt: skip
def test_the_part_of_the_edge_sensor_that_is_covered_comes_out_exactly_on_a_straight_slope(f, a, b):
    if a + b < 1.0:
        a += 1.0
    outer, second, third = a * f + b * f * f / 2, a + b * (f + 0.5), a + b * (f + 1.5)
    got = footprints.covered_part(*(np.array([v]) for v in (outer, second, third)))[0]
    assert got == pytest.approx(f, abs=1e-6)


@pytest.mark.parametrize("turn", [-30, -15, 0, 8, 22, 30])
@pytest.mark.parametrize(("pitch", "edge"), [(10.0, 0.2), (10.0, 1.0), (5.0, 0.2), (5.0, 1.0)])
def test_heel_back_and_toe_tip_are_found_within_half_a_coarse_sensor(turn, pitch, edge):
    foot, heel, toe = measured(Sole(303.3, 71.7, turn, edge=edge), pitch=pitch)
    assert foot.length_mm == pytest.approx(275, abs=5.0)
    assert np.degrees(foot.angle) == pytest.approx(turn, abs=2.5)
    assert np.hypot(foot.heel[0] - heel[0], foot.heel[1] - heel[1]) < 5.0
    assert np.hypot(foot.toe[0] - toe[0], foot.toe[1] - toe[1]) < 12.0  # the tip's side lies on a round toe


def test_the_rear_third_of_a_straight_foot_is_weighted_to_a_fraction_of_a_sensor():
    plane = Plane(40, 20, 10.0)
    weights = plane.heel_weights(Foot((0.0, 43.0), (0.0, 313.0)))  # rear third ends at y = 133
    column = weights[:, 10]
    assert column[:13].tolist() == [1.0] * 13
    assert column[13] == pytest.approx(0.3)
    assert column[14:].tolist() == [0.0] * 26


@pytest.mark.parametrize("slant", [(-14, 17), (0, 0), (-30, 30), (12, -10), (20, 20)])
def test_two_feet_come_apart_with_no_sensor_on_the_wrong_side(slant):
    left, right = Sole(210, 100, slant[0]), Sole(420, 110, slant[1])
    print_kpa, plane = prints(left, right)
    alone = [prints(sole)[0] > 0 for sole in (left, right)]
    side = footprints.split(print_kpa, footprints.loaded(print_kpa, plane), plane)
    assert side is not None
    assert not side[alone[0]].any()
    assert side[alone[1]].all()


@pytest.mark.parametrize(
    ("left", "right"),
    [
        (Sole(250, 90), Sole(350, 95)),  # side by side, soles a few millimetres apart
        (Sole(270, 90, -22), Sole(309, 90, 22)),  # heels together
        (Sole(210, 90, 14), Sole(407, 90, -14)),  # toes together
    ],
)
def test_touching_feet_are_cut_where_they_touch(left, right):
    print_kpa, plane = prints(left, right)
    own, other = prints(left)[0], prints(right)[0]
    assert ((own > 0) & (other > 0)).any() or _touch(own > 0, other > 0)
    side = footprints.split(print_kpa, footprints.loaded(print_kpa, plane), plane)
    assert side is not None
    assert own[side].sum() / own.sum() < 0.02
    assert other[~side].sum() / other.sum() < 0.02


def _touch(a, b):
    grown = np.zeros_like(a)
    for i in (-1, 0, 1):
        for j in (-1, 0, 1):
            grown |= np.roll(np.roll(a, i, axis=0), j, axis=1)
    return bool((grown & b).any())


@pytest.mark.parametrize("sole", [LEFT, RIGHT, Sole(300, 60, 30), Sole(300, 60, 0, 200, 78)])
def test_one_foot_alone_is_not_cut_in_two(sole):
    print_kpa, plane = prints(sole)
    assert footprints.split(print_kpa, footprints.loaded(print_kpa, plane), plane) is None


def test_an_empty_grid_has_no_feet():
    plane = Plane(44, 62, 10.0)
    nothing = np.zeros((44, 62))
    assert footprints.split(nothing, footprints.loaded(nothing, plane), plane) is None


def test_a_club_set_down_before_the_feet_is_no_part_of_them():
    print_kpa, plane = prints(LEFT, RIGHT)
    with_club = print_kpa.copy()
    with_club[2:4, 30:32] = 0.4 * print_kpa.max()
    assert np.array_equal(footprints.loaded(with_club, plane), footprints.loaded(print_kpa, plane))


def test_a_heel_and_a_forefoot_that_do_not_join_are_one_foot():
    print_kpa, plane = prints(LEFT, RIGHT)
    arch = (plane.y > 230) & (plane.y < 260)
    print_kpa[arch] = 0.0
    marks = footprints.loaded(print_kpa, plane)
    side = footprints.split(print_kpa, marks, plane)
    foot = footprints.measure(print_kpa, marks & ~side, plane, footprints.noise_floor(print_kpa))
    assert foot.length_mm == pytest.approx(275, abs=5)


@settings(max_examples=25, deadline=None)
@given(st.floats(-30, 30), st.floats(190, 320), st.floats(150, 230))
def test_a_mirrored_print_measures_as_the_mirrored_foot(turn, length, place):
    print_kpa, plane = prints(Sole(place + 80, 60, turn, length, 0.37 * length))
    floor = footprints.noise_floor(print_kpa)
    there = footprints.measure(print_kpa, footprints.loaded(print_kpa, plane), plane, floor)
    turned = print_kpa[:, ::-1]
    mirrored = footprints.measure(turned, footprints.loaded(turned, plane), plane, floor)
    assert mirrored.heel == pytest.approx(
        (-there.heel[0], there.heel[1]), abs=0.5
    )  # points at the same reach may count or not
    assert mirrored.toe == pytest.approx((-there.toe[0], there.toe[1]), abs=0.5)


def test_dead_sensors_inside_a_print_are_found_alone_in_lines_and_in_blocks():
    print_kpa, plane = prints(LEFT)
    whole = print_kpa > 0
    inner = whole.copy()
    for axis in (0, 1):
        for step in (-2, -1, 1, 2):
            inner &= np.roll(whole, step, axis=axis)
    rows, cols = np.nonzero(inner)
    dead = np.zeros_like(whole)
    dead[rows[3], cols[3]] = True  # alone
    dead[rows[len(rows) // 2] : rows[len(rows) // 2] + 2, cols[len(rows) // 2] : cols[len(rows) // 2] + 2] = (
        True
    )
    line = rows.max() - 4
    dead[line] = True
    held = np.where(dead, 0.0, print_kpa)
    found = footprints.dead_inside(held == 0, footprints.loaded(held, plane))
    assert found[rows[3], cols[3]]
    assert found[dead & inner].all()
    assert not found[~dead].any()


@pytest.mark.parametrize("pitch", [10.0, 5.0])
@pytest.mark.parametrize("turn", [0, 17, 30])
def test_no_sensor_of_a_sound_print_is_called_dead(pitch, turn):
    print_kpa, plane = prints(Sole(300, 80, turn), pitch=pitch)
    assert not footprints.dead_inside(print_kpa == 0, footprints.loaded(print_kpa, plane)).any()


def test_filling_restores_an_even_pressure_and_spreads_nothing_over_the_edge():
    print_kpa = np.zeros((1, 12, 12), dtype=np.float32)
    print_kpa[:, 3:9, 3:9] = 80.0
    bad = np.zeros((12, 12), dtype=bool)
    bad[5, 5] = bad[5, 6] = bad[3, 6] = bad[2, 4] = bad[8, 9] = True
    held = print_kpa.copy()
    held[:, bad] = 55.0
    footprints.fill(held, bad)
    assert held == pytest.approx(print_kpa, abs=1e-4)


def test_a_sensor_with_no_sound_neighbour_reads_nothing():
    held = np.full((2, 5, 5), 9.0, dtype=np.float32)
    bad = np.zeros((5, 5), dtype=bool)
    bad[:3, :3] = True
    footprints.fill(held, bad)
    assert held[:, 1, 1].tolist() == [0.0, 0.0]


def test_made_soles_tell_the_centre_they_were_made_with():
    """The builder's own check: loads and centre read straight off fine sensors."""
    sole = Sole(200, 80, 20)
    sensors, truths = sole.pads(440, 500, 1.0)
    y, x = np.meshgrid(np.arange(440) + 0.5, np.arange(500) + 0.5, indexing="ij")
    for pad, (along, across, _, load) in zip(sensors, truths, strict=True):
        newtons = pad * 1e-3
        s, u = sole.places((newtons * x).sum() / newtons.sum(), (newtons * y).sum() / newtons.sum())
        assert newtons.sum() == pytest.approx(load)
        assert (100 * s, u) == pytest.approx((along, across), abs=1e-6)
    assert made_grids.FINE_MM == 1.0
