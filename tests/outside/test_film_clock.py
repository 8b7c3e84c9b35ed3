"""When heels move against when a plate feels it, in walking feet: what checks a film's mark, on a real recording.

gaitalytics 0.2.2 (source archive; MIT licence by the pages of its 0.1 releases): tests/treadmill_events.c3d, twelve seconds
of walking, heel markers at 100 Hz and a force platform under each foot at 1000 Hz, on one clock. Two steps of
forty lie elsewhere: there a foot is on both platforms.
"""

import numpy as np
import pytest

from ingest.formats.c3d_file import open_c3d
from ingest.formats.c3d_platforms import read_platforms
from models.swing.clip import HeelRise
from models.swing.clip_feet import LEAD_DOWN, OWN_SE_S, TRAIL_UP, heel_moves
from models.swing.clip_marks import landings_s, stamp_offset, stamps_s

FEET = ("LHEE", "RHEE")


@pytest.fixture(scope="module")
def walking(outside_file):
    """Rise of each heel over its standing height, mm, and load of each foot, N, with their rates."""
    file = open_c3d(outside_file("treadmill_events.c3d"))
    heights = [file.points[2, file.point_labels.index(name)] for name in FEET]
    rises = [heel - np.quantile(heel, 0.25) for heel in heights]
    return rises, file.point_rate_hz, [one.load_n for one in read_platforms(file)], file.analog_rate_hz


def film_of(rise_mm, fps, begin_s, end_s, *, trail):
    """A heel as one step's film would show it: one that lifts is the trail heel, one that comes down the lead."""
    first, last = int(begin_s * fps), int(end_s * fps)
    seen, none = rise_mm[first:last], np.full(last - first, np.nan)
    return HeelRise(first, none if trail else seen, seen if trail else none, "stated", 1.0)


def after_the_load(walking, foot, name):
    """How long after the load passes half of its highest each step's heel passes half of its own, s."""
    rises, fps, loads, rate = walking
    trail, load, found = name == TRAIL_UP, loads[foot], []
    on = load > 0.5 * np.nanmax(load)
    passes = np.flatnonzero((on[:-1] & ~on[1:]) if trail else (~on[:-1] & on[1:])) / rate
    for at in passes:
        if at > 0.45 and at + 0.25 < len(rises[foot]) / fps:
            film = film_of(rises[foot], fps, at - (0.45 if trail else 0.35), at + 0.25, trail=trail)
            moves = heel_moves(film, fps)
            found += [moves[name].t_s - at] if name in moves else []
    return np.array(found)


def test_a_heel_keeps_its_time_against_the_load_from_step_to_step(walking):
    """So closely that a session's own feet may say when their heels move: three standard errors hold 19 of 20."""
    off = []
    for foot in range(2):
        for name in (TRAIL_UP, LEAD_DOWN):
            times = after_the_load(walking, foot, name)
            assert times.size >= 9
            off += list(np.abs(times - np.median(times)))
    assert np.mean(np.array(off) <= 3 * OWN_SE_S) >= 0.94
    assert np.median(off) <= OWN_SE_S / 3


def test_a_heel_that_glides_in_as_in_walking_is_no_stamp(walking):
    """It is at its standing height a tenth of a second before the load comes, by no constant time."""
    rises, fps, loads, rate = walking
    rise = HeelRise(0, rises[0], np.full(len(rises[0]), np.nan), "stated", 1.0)
    landings = landings_s(rise, "lead", fps, 12.0)
    stamps = stamps_s(np.stack([loads[0], np.zeros_like(loads[0])]), rate, 12.0)
    early = [min(at - heel for at in stamps if at > heel) for heel in landings if heel < stamps[-1]]
    assert 0.08 < np.median(early) < 0.14
    count = min(len(landings), len(stamps))
    assert stamp_offset(stamps[:count], landings[:count], fps) is None
