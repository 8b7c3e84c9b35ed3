"""Heel rise from marked points, on clips drawn by hand: 120 frames a second, shoes of 280 mm."""

import math

import numpy as np
import polars as pl
import pytest

from models.swing.clip import Clip, heel_rise
from models.swing.clip_metrics import clip_metrics, heels_up
from models.swing.reduce import reduce_session
from warehouse.definitions import metric_codes

FPS = 120.0
TIMES = {"address": 0.3, "top": 1.3, "mid_down": 1.5, "impact": 1.6}


def frames_of(lead_rise, trail_rise, *, px_per_mm=0.5, tilt=0.0, far=1.0, count=240, score=1.0):
    """Points of a down-line clip; rises are functions of time in mm; `far` shrinks the trail foot."""
    t = np.arange(count) / FPS
    up = np.array([math.sin(tilt), -math.cos(tilt)])
    along = np.array([math.cos(tilt), math.sin(tilt)])
    places = {}
    for foot, rise, size, x in (("lead", lead_rise, 1.0, 400), ("trail", trail_rise, far, 700)):
        scale = px_per_mm * size
        heel = np.array([0.0, 600.0]) + x * along
        places[f"{foot}_heel"] = heel[:, None] + scale * up[:, None] * np.array([rise(v) for v in t])
        places[f"{foot}_toe"] = np.repeat((heel + scale * 280 * along)[:, None], count, axis=1)
    return pl.concat(
        pl.DataFrame(
            {"session": "s1", "swing_no": pl.Series([1] * count, dtype=pl.Int32), "frame": np.arange(count),
             "point": [name] * count, "x_px": xy[0], "y_px": xy[1], "score": [score] * count}
        )
        for name, xy in places.items()
    )  # fmt: skip


def still(_):
    return 0.0


def ramp(start, end, height):
    return lambda t: height * min(max((t - start) / (end - start), 0.0), 1.0)


def rises(points, view="down_line", stance=None, events=TIMES):
    rise = heel_rise(points, Clip(points, FPS, 280.0, view), events.get("address"), stance)
    return rise, dict(zip(metric_codes(), clip_metrics(rise, events, FPS), strict=True))


def test_heel_rise_is_in_millimetres_by_the_shoe():
    """Lead heel 40 mm up by 1.0 s and 30 mm at top; trail heel 12 at mid_down, 25 at impact."""
    lead = lambda t: 40 * min(max((t - 0.6) / 0.4, 0), 1) - 10 * min(max((t - 1.1) / 0.2, 0), 1)  # noqa: E731
    _, got = rises(frames_of(lead, ramp(1.4, 1.6083333333, 25)))
    assert got["lead_heel_rise_mm"] == pytest.approx(40, abs=0.1)
    assert got["lead_heel_rise_at_top_mm"] == pytest.approx(30, abs=0.1)
    assert got["trail_heel_rise_at_mid_down_mm"] == pytest.approx(12, abs=0.1)
    assert got["trail_heel_rise_at_impact_mm"] == pytest.approx(24, abs=0.1)


@pytest.mark.parametrize("tilt", [-0.15, 0.08])
def test_a_tilted_camera_changes_nothing(tilt):
    lead = ramp(0.6, 1.0, 40)
    _, level = rises(frames_of(lead, still))
    _, tilted = rises(frames_of(lead, still, tilt=tilt))
    assert tilted["lead_heel_rise_mm"] == pytest.approx(level["lead_heel_rise_mm"], abs=0.2)


def test_each_foot_has_its_own_scale_as_the_far_one_is_smaller():
    _, got = rises(frames_of(ramp(0.6, 1.0, 40), ramp(1.0, 1.4, 40), far=0.8))
    assert got["lead_heel_rise_mm"] == pytest.approx(40, abs=0.3)
    assert got["trail_heel_rise_at_impact_mm"] == pytest.approx(40, abs=0.3)


def test_from_the_front_the_stance_is_the_scale():
    """Heels 300 px apart on the clip, 600 mm on the floor: 2 mm a pixel, whatever the shoes look like."""
    points = frames_of(ramp(0.6, 1.0, 40), still)
    shrunk = points.with_columns(
        x_px=pl.when(pl.col("point").str.ends_with("toe")).then(pl.col("x_px") - 80).otherwise(pl.col("x_px"))
    )
    stance = [300.0, 0.0, 310.0, 280.0, -300.0, 0.0, -310.0, 280.0]
    rise, got = rises(shrunk, "face_on", stance)
    assert rise.scale == "stance"
    assert got["lead_heel_rise_mm"] == pytest.approx(40, abs=0.2)
    rise, got = rises(shrunk, "face_on")
    assert rise.scale == "shoe_end_on"
    assert np.isnan(got["lead_heel_rise_mm"])  # it would be over 60


def test_a_stated_scale_counts_before_stance_and_shoe():
    points = frames_of(ramp(0.6, 1.0, 40), still)  # 2 mm a pixel
    stance = [300.0, 0.0, 310.0, 280.0, -300.0, 0.0, -310.0, 280.0]
    for view in ("face_on", "down_line"):
        rise = heel_rise(points, Clip(points, FPS, 280.0, view, mm_per_px=3.0), 0.3, stance)
        assert rise.scale == "stated"
        assert np.nanmax(rise.lead_mm) == pytest.approx(60, abs=0.1)


def test_a_shoes_width_is_a_scale_only_where_a_film_shows_it():
    points = frames_of(ramp(0.6, 1.0, 40), still)
    known = Clip(points, FPS, 280.0, "face_on", shoe_width_mm=100.0)
    assert heel_rise(points, known, 0.3, None).scale == "shoe_end_on"
    shown = Clip(points, FPS, 280.0, "face_on", shoe_width_mm=100.0, shoe_width_px={1: 50.0})
    rise = heel_rise(points, shown, 0.3, None)
    assert rise.scale == "shoe_width"
    assert np.nanmax(rise.lead_mm) == pytest.approx(40, abs=0.1)


def test_each_swings_film_shows_its_own_width_of_the_shoes():
    points = frames_of(ramp(0.6, 1.0, 40), still)
    clip = Clip(points, FPS, 280.0, "face_on", shoe_width_mm=100.0, shoe_width_px={1: 50.0, 2: 80.0})
    second = points.with_columns(swing_no=pl.lit(2, pl.Int32))
    third = points.with_columns(swing_no=pl.lit(3, pl.Int32))
    assert np.nanmax(heel_rise(points, clip, 0.3, None).lead_mm) == pytest.approx(40, abs=0.1)
    assert np.nanmax(heel_rise(second, clip, 0.3, None).lead_mm) == pytest.approx(25, abs=0.1)
    assert heel_rise(third, clip, 0.3, None).scale == "shoe_end_on"


def test_where_the_scale_is_from_and_its_error_stand_with_the_swing(build):
    points = frames_of(ramp(0.6, 1.0, 40), ramp(1.0, 1.4, 60))
    events = build.event_rows([TIMES]).with_columns(clock=pl.lit("clip"))
    found = {}
    for view in ("down_line", "face_on"):
        clip = Clip(points, FPS, 280.0, view, mm_per_px=None)
        made = reduce_session(
            None, build.swing_rows(2), events, stance_mm=None, body_mass_kg=None, clip=clip
        ).swings
        found[view] = made.select("clip_scale_source", "clip_scale_se_pct").rows()
    assert found["down_line"] == [("shoe", 4.0), (None, None)]
    assert found["face_on"] == [("shoe_end_on", 100.0), (None, None)]


def test_poor_points_and_short_gaps_are_bridged():
    points = frames_of(ramp(0.6, 1.0, 40), still)
    poor = (pl.col("point") == "lead_heel") & pl.col("frame").is_between(84, 88)
    points = points.with_columns(
        score=pl.when(poor).then(0.3).otherwise(pl.col("score")),
        y_px=pl.when(poor).then(0.0).otherwise(pl.col("y_px")),
    )
    rise, got = rises(points)
    assert np.isfinite(rise.lead_mm).all()
    assert got["lead_heel_rise_mm"] == pytest.approx(40, abs=0.1)
    assert rise.at("lead", 86 / FPS, FPS) == pytest.approx(40 * (86 / FPS - 0.6) / 0.4, abs=0.1)


def test_points_that_nobody_scored_count_as_seen():
    points = frames_of(ramp(0.6, 1.0, 40), still).with_columns(score=pl.lit(None, pl.Float64))
    _, got = rises(points)
    assert got["lead_heel_rise_mm"] == pytest.approx(40, abs=0.1)


def test_a_gap_over_five_frames_stays_open():
    points = frames_of(ramp(0.6, 1.0, 40), ramp(1.0, 1.4, 20)).filter(
        ~((pl.col("point") == "trail_heel") & pl.col("frame").is_between(188, 194))
    )
    rise, got = rises(points)
    assert np.isnan(rise.trail_mm).sum() == 7
    assert math.isnan(got["trail_heel_rise_at_impact_mm"])  # frame 192
    assert got["trail_heel_rise_at_mid_down_mm"] == pytest.approx(20, abs=0.1)


@pytest.mark.parametrize("frame", [0, 130, 239])
def test_a_point_that_jumps_for_a_frame_is_dropped(frame):
    points = frames_of(ramp(0.6, 1.0, 40), still)
    jump = (pl.col("point") == "lead_heel") & (pl.col("frame") == frame)
    rise, got = rises(
        points.with_columns(y_px=pl.when(jump).then(pl.col("y_px") - 90).otherwise(pl.col("y_px")))
    )
    assert math.isnan(rise.lead_mm[frame]) == (frame != 130)  # at an end there is nothing to bridge to
    assert got["lead_heel_rise_mm"] == pytest.approx(40, abs=0.1)


def test_without_address_or_points_there_is_nothing():
    points = frames_of(still, still)
    assert rises(points, events={"top": 1.0})[0] is None
    assert rises(points.clear())[0] is None
    assert rises(points.filter(pl.col("point") != "trail_toe"))[0] is None
    assert all(math.isnan(v) for v in rises(points.clear())[1].values())


def test_heels_are_up_over_fifteen_millimetres():
    rise, _ = rises(frames_of(ramp(0.5, 1.0, 30), still))
    lead, trail = heels_up(rise, FPS, np.array([0.2, 0.7, 0.8, 1.5, 99.0]))
    assert lead.tolist() == [0, 0, 1, 1, 0]
    assert trail.tolist() == [0, 0, 0, 0, 0]


def test_a_session_seen_only_on_a_clip_has_its_clip_metrics(build):
    points = frames_of(ramp(0.6, 1.0, 40), ramp(1.0, 1.4, 20))
    events = build.event_rows([TIMES]).with_columns(clock=pl.lit("clip"))
    result = reduce_session(
        None,
        build.swing_rows(1),
        events,
        stance_mm=None,
        body_mass_kg=None,
        clip=Clip(points, FPS, 280.0, "down_line"),
    )
    row = result.metrics.row(0, named=True)
    assert row["lead_heel_rise_mm"] == pytest.approx(40, abs=0.1)
    assert row["impact_lead_share_pct"] is None
    assert result.swings.row(0, named=True)["usable"]


def test_a_heel_seen_up_carries_nothing_whatever_the_estimate_says(build, good_plan, reduced):
    """The clip sees the trail heel 20 mm up from 2.3 s of the plate's clock (offset 1.0 s) on."""
    plan = build.Plan(**(vars(good_plan) | {"trail_along": build.posts(50, top=30)}))
    columns = {k: v for k, v in plan.columns(500.0).items() if "heel" not in k}
    points = frames_of(still, ramp(1.25, 1.3, 20), count=260)
    clip = Clip(points, FPS, 280.0, "down_line")
    events = build.event_rows([build.TIMES | {"address": 1.1}])
    run = {"stance_mm": None, "body_mass_kg": None, "clip": clip}
    synced = reduce_session(
        build.trace_of([columns], [500.0]), build.swing_rows(1, clip_offset_s=[1.0]), events, **run
    )
    alone = reduce_session(build.trace_of([columns], [500.0]), build.swing_rows(1), events, **run)
    assert alone.metrics["impact_trail_heel_pct_bw"][0] > 10
    assert synced.metrics["impact_trail_heel_pct_bw"][0] == 0.0
    assert synced.metrics["trail_heel_rise_at_impact_mm"][0] == pytest.approx(20, abs=0.1)


def tapped(points, *times):
    """The points of a few pictures, as a hand taps them."""
    return points.filter(pl.col("frame").is_in([round(t * FPS) for t in times]))


@pytest.mark.parametrize(("foot_mm", "scale", "known"), [(255.0, "foot", True), (None, "unknown", False)])
def test_a_foots_length_gives_a_scale_and_nothing_gives_none(foot_mm, scale, known):
    points = tapped(frames_of(ramp(0.6, 1.0, 40), ramp(1.4, 1.55, 25), px_per_mm=1.0), *TIMES.values())
    clip = Clip(points, FPS, None, "down_line", foot_length_mm=foot_mm)
    rise = heel_rise(points, clip, 0.3, None)
    got = dict(zip(metric_codes(), clip_metrics(rise, TIMES, FPS), strict=True))
    assert rise.scale == scale
    assert math.isfinite(got["lead_heel_rise_at_top_mm"]) is known
    assert math.isnan(got["lead_heel_rise_mm"])  # between the taps nobody looked
    seen = {(row["event"], row["foot"]): row for row in rise.heel_rows(TIMES, FPS)}
    assert [seen[event, "lead"]["up"] for event in TIMES] == [False, True, True, True]
    assert {row["rise_mm"] is not None for row in seen.values()} == {known}
    assert not any(marks.any() for marks in heels_up(rise, FPS, np.arange(0.3, 1.6, 0.01))) or known


@pytest.mark.parametrize(("height", "up"), [(4.0, [False]), (15.0, []), (30.0, [True])])
def test_a_heel_near_the_height_at_which_it_is_up_is_said_to_be_neither(height, up):
    points = tapped(frames_of(ramp(0.6, 1.0, height), still, px_per_mm=1.0), 0.3, 1.3)
    rise = heel_rise(points, Clip(points, FPS, 280.0, "down_line"), 0.3, None)
    rows = rise.heel_rows({"top": 1.3}, FPS)
    assert [row["up"] for row in rows if row["foot"] == "lead"] == up
    assert all(row["rise_se_mm"] > 6 for row in rows)


def test_a_hand_that_shakes_over_still_heels_never_says_that_one_is_up():
    rng = np.random.default_rng(5)
    clean = tapped(frames_of(still, still), *TIMES.values())
    for _ in range(50):
        points = clean.with_columns(y_px=pl.col("y_px") + rng.normal(0, 1.5, len(clean)))
        rise = heel_rise(points, Clip(points, FPS, 280.0, "down_line"), 0.3, None)
        assert not any(row["up"] for row in rise.heel_rows(TIMES, FPS))
