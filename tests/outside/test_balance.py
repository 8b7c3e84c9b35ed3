"""Holds against another maker's sway measures, and heel statics against a published stand.

Sources: openbalance 0.1.5, processing/kinematics.py (path length; 95 % prediction ellipse after Schubert &
Kirchner 2014, Gait & Posture 39, 518–522), fetched and run, never kept here; the ellipse of a normal sample,
π·5.991·√det Σ; standing load under the foot, Cavanagh, Rodgers & Iiboshi 1987, Foot & Ankle 7 (from memory).
"""

import importlib.util
import math
from types import SimpleNamespace

import numpy as np
import pytest

from models.swing.conditioning import heel_share_from_along
from models.swing.holds import ellipse_area, measures


@pytest.fixture(scope="module")
def kinematics(outside_file):
    """The other maker's module, by itself."""
    spec = importlib.util.spec_from_file_location("other_kinematics", outside_file("kinematics.py"))
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def sway():
    """Invented standing of 30 s at 100 Hz: slow waves, so that a 10 Hz filter leaves it as it is; mm."""
    t, rng = np.arange(3000) / 100, np.random.default_rng(3)
    waves = [a * np.sin(2 * np.pi * f * t + p) for f, a, p in zip(
        [0.11, 0.23, 0.41, 0.7], [2.0, 1.5, 0.8, 0.4], rng.uniform(0, 6, 4), strict=True
    )]  # fmt: skip
    x = sum(waves)
    return x, 0.5 * x + 3 * np.cos(2 * np.pi * 0.19 * t + 1)


def trial(x, y):
    return SimpleNamespace(parameters={"COP_x": x, "COP_y": y})


def test_the_ellipse_equals_the_other_makers(kinematics, sway):
    theirs = kinematics.calculate_sway_areas(trial(*sway)).parameters["Area_Ellipse"]
    assert ellipse_area(*sway) == pytest.approx(theirs, rel=1e-9)


def test_a_whole_hold_equals_the_other_makers_path_and_ellipse(kinematics, sway):
    ours = measures(np.stack(sway), 100.0, 0.0, 29.99)
    cut = trial(*(line[100:-100] for line in sway))
    cut = kinematics.calculate_path_length(kinematics.calculate_sway_areas(cut)).parameters
    assert ours["path_mm"] == pytest.approx(cut["Path_Length"], rel=1e-3)
    assert ours["ellipse_mm2"] == pytest.approx(cut["Area_Ellipse"], rel=1e-3)


def test_the_ellipse_of_a_normal_sample_is_pi_times_5_991_times_root_det():
    spread = np.array([[9.0, 2.0], [2.0, 4.0]])
    x, y = np.random.default_rng(1).multivariate_normal([0, 0], spread, 200_000).T
    assert ellipse_area(x, y) == pytest.approx(math.pi * 5.991 * math.sqrt(32), rel=0.01)


def test_the_ellipse_holds_95_in_100_of_a_normal_sample():
    x, y = np.random.default_rng(2).normal(0, [[3], [1]], (2, 100_000))
    inside = (x / 3) ** 2 + y**2 <= ellipse_area(x, y) / (math.pi * 3)
    assert inside.mean() == pytest.approx(0.95, abs=0.003)


def test_two_point_statics_put_as_much_on_the_heel_as_was_measured_standing():
    # 60.5 % heel, 7.8 % midfoot, 28.1 % forefoot, 3.6 % toes; their centre is at about 36 % of foot length
    assert 100 * heel_share_from_along(36.0) == pytest.approx(61.8, abs=0.05)
    assert 100 * heel_share_from_along(36.0) == pytest.approx(60.5, abs=2.0)
