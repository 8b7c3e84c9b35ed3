"""Films on their plates' clocks, by makers of feet that know nothing of how it is done (filmed_feet.py).

Every world's promise is one figure over its makers; tests/FIGURES.md has the table.
"""

from dataclasses import replace

import numpy as np
import polars as pl
import pytest

import filmed_feet as feet_of
from models.swing.reduce import reduce_session
from placed_films import (
    LIFTING,
    MAKERS,
    RATES,
    by_sound,
    clip_of,
    events_of,
    heard,
    one_film,
    picture,
    placed,
    points_of,
    slowed,
    trace_of,
    within,
)


@pytest.mark.parametrize("maker", MAKERS)
def test_an_impact_marked_on_both_clocks_places_a_film(build, maker):
    """Whatever the foot does, at 25 to 240 pictures a second, with points lost and the camera panned."""
    good, sure = [], []
    for seed in range(20):
        swing, film = one_film(maker, seed)
        rng = np.random.default_rng(seed)
        plate = {"impact": swing.impact_s + rng.normal(0, 0.002), "top": swing.top_s + rng.normal(0, 0.01)}
        seen = {"impact": picture(film, swing.impact_s, rng)}
        found = placed(build, [swing], [film], events_of(build, [plate], [seen]))
        assert found[0][2] == "marked"
        good += within([film], found)
        sure.append(abs(found[0][0] - film.offset_s) / found[0][1])
    assert np.mean(good) >= 0.95
    assert 0.5 < np.sqrt(np.mean(np.square(sure))) < 1.6


def test_several_marks_are_weighed_by_how_well_each_can_be_seen(build):
    swing, film = one_film("hinge", 4, fps=60.0)
    plate = {"top": 1.70, "impact": 2.00}
    seen = {"top": 1.70 - 0.5 + 0.03, "impact": 1.5}
    offset, error, *_ = placed(build, [swing], [film], events_of(build, [plate], [seen]))[0]
    assert offset == pytest.approx(0.5, abs=0.002)
    assert error < np.hypot(0.003, 1 / 60 / np.sqrt(12))


def test_marks_that_disagree_place_nothing_and_say_so(build):
    """A film recorded at 240 pictures a second that plays at 30: its clock runs eight times too slowly."""
    swing, film = one_film("hinge", 5, fps=60.0)
    plate = {"top": swing.top_s, "impact": swing.impact_s}
    seen = {event: 8 * (t - film.offset_s) for event, t in plate.items()}
    found = placed(build, [swing], [film], events_of(build, [plate], [seen]))[0]
    assert found[0] is None
    assert found[3] == ["clip_marks_disagree"]


def test_a_mark_on_one_clock_alone_is_none(build):
    swing, film = one_film("hinge", 6, fps=60.0)
    found = placed(build, [swing], [film], events_of(build, [{"impact": swing.impact_s}], [{"top": 0.9}]))[0]
    assert found[2] != "marked"


def test_one_mark_serves_a_camera_that_ran_through_and_its_doubt_grows_with_time(build):
    """Six swings a minute apart, the camera's clock 40 parts in a million fast; the first one is marked."""
    swings = [feet_of.hinge(3, k) for k in range(6)]
    films = [feet_of.camera(one, k, fps=60.0) for k, one in enumerate(swings)]
    begun = [film.offset_s + 60.0 * k for k, film in enumerate(films)]  # on the plate's clock
    first_frame = [round((at - begun[0]) * (1 + 40e-6) * 60.0) for at in begun]
    true = [at - frame / 60.0 for at, frame in zip(begun, first_frame, strict=True)]
    swings = [replace(one, t_s=one.t_s + 60.0 * k) for k, one in enumerate(swings)]
    clip = replace(clip_of(films, runs_through=True), points=points_of(films, first_frame))
    impact = swings[0].impact_s
    events = events_of(build, [{"impact": impact}] + [{}] * 5, [{"impact": impact - true[0]}] + [{}] * 5)
    found = placed(build, swings, films, events, clip=clip)
    assert all(one[2] == "marked" for one in found)
    errors = [one[1] for one in found]
    assert errors == sorted(errors)
    assert errors[-1] > 0.012
    assert all(abs(one[0] - at) < 3 * one[1] for one, at in zip(found, true, strict=True))
    alone = placed(build, swings, films, events, clip=replace(clip, runs_through=False))
    assert [one[2] for one in alone][1:] != ["marked"] * 5


def test_an_offset_that_came_with_the_delivery_or_by_hand_stays_and_has_an_error(build):
    swing, film = one_film("hinge", 7, fps=60.0)
    events = events_of(build, [{"impact": swing.impact_s}], [{"impact": 1.0}])
    for source in ("stated", "by_hand"):
        found = placed(build, [swing], [film], events, clip_offset_s=[0.25], clip_offset_source=[source])[0]
        assert found[:3] == (0.25, pytest.approx(0.5 / 60), source)


@pytest.mark.parametrize("maker", MAKERS)
def test_a_stamped_heel_places_a_film(build, maker):
    """By one stamp or two, of either heel, at 25 to 240 pictures a second."""
    good = []
    for seed in range(20):
        swing = feet_of.stamped(feet_of.MAKERS[maker](seed, seed + 1), seed, 1 + seed % 2)
        film = feet_of.camera(swing, seed, fps=RATES[seed % len(RATES)], from_start=True)
        plate = build.event_rows([{"takeaway": swing.impact_s - 1.1, "impact": swing.impact_s}])
        found = placed(build, [swing], [film], plate, clip=clip_of([film], stamped=True))
        good += [one and found[0][2] == "stamp" for one in within([film], found)]
    assert np.mean(good) >= 0.95


def test_a_stamp_that_was_announced_and_is_not_there_is_asked_for(build):
    swing, film = one_film("rolling foot", 5, fps=60.0)
    found = placed(build, [swing], [film], clip=clip_of([film], stamped=True))[0]
    assert "clip_stamp_unclear" in found[3]
    assert found[2] != "stamp"


SOUNDS = {
    "plain": {}, "echoes": {"echoes": 3}, "wind": {"wind": 0.25}, "phone 3.5 m away": {"distance_m": 3.5},
    "phone on the mat": {"distance_m": 0.5},
}  # fmt: skip


@pytest.mark.parametrize("world", SOUNDS)
def test_the_sound_of_the_strike_places_a_film(build, world):
    """Whatever the foot does; the impact is marked on the plate and on no film."""
    good, sure = [], []
    for seed in range(40):
        swing, film = one_film(MAKERS[seed % len(MAKERS)], seed)
        strikes, error = heard(film, swing, seed, **SOUNDS[world])
        columns = {"clip_strikes_s": [strikes], "clip_strike_se_s": [error]}
        found = placed(build, [swing], [film], build.event_rows([{"impact": swing.impact_s}]), **columns)
        good += within([film], found)
        sure.append(found[0][1])
        assert found[0][2] == "heard"
    assert np.mean(good) >= 0.95
    assert np.mean(sure) < 0.006


def test_an_impact_that_is_estimated_lends_its_own_error(build):
    swing, film = one_film("hinge", 8, fps=60.0)
    strikes, error = heard(film, swing, 8)
    columns = {"clip_strikes_s": [strikes], "clip_strike_se_s": [error]}
    estimate = np.array([swing.impact_s + 0.02]), np.array([0.03])
    offset, wide, source, *_ = placed(build, [swing], [film], impacts=lambda: estimate, **columns)[0]
    assert source == "heard"
    assert abs(offset - film.offset_s) < wide
    assert 0.03 < wide < 0.032


def test_impacts_are_estimated_once_for_all_films_of_a_session(build):
    swings, films = zip(*(one_film("hinge", seed, fps=60.0) for seed in (8, 9)), strict=True)
    strikes, errors = zip(
        *(heard(film, swing, 8) for swing, film in zip(swings, films, strict=True)), strict=True
    )
    estimate = np.array([swing.impact_s for swing in swings]), np.full(2, 0.002)
    asked = []

    def impacts():
        asked.append(len(films))
        return estimate

    columns = {"clip_strikes_s": list(strikes), "clip_strike_se_s": list(errors)}
    found = placed(build, swings, films, impacts=impacts, **columns)
    assert [one[2] for one in found] == ["heard", "heard"]
    assert asked == [2]


def test_of_several_clicks_the_one_that_agrees_with_another_mark_counts_and_without_one_it_is_asked(build):
    swing, film = one_film("rolling foot", 9, fps=30.0)
    true = swing.impact_s - film.offset_s
    columns = {"clip_strikes_s": [[true - 0.6, true + 0.004, true + 0.08]], "clip_strike_se_s": [0.004]}
    plate = {"top": swing.top_s, "impact": swing.impact_s}
    found = placed(
        build, [swing], [film], events_of(build, [plate], [{"top": swing.top_s - film.offset_s}]), **columns
    )
    assert found[0].offset_s == pytest.approx(film.offset_s, abs=0.006)
    assert found[0].se_s < 0.006
    asked = placed(build, [swing], [film], build.event_rows([plate]), **columns)[0]
    assert (asked.offset_s, asked.flags) == (None, ["clip_strikes_unclear"])
    assert asked.candidates == pytest.approx([film.offset_s - 0.004, film.offset_s - 0.08], abs=0.001)


def test_a_height_at_a_moment_is_null_where_the_offset_is_too_unsure_and_the_highest_rise_stays(build):
    """The heel rises by 0.3 mm a ms about impact: 20 ms of doubt are 6 mm, over half the usual spread of 6."""
    swing = feet_of.hinge(1, 1)
    film = feet_of.camera(swing, 1, fps=120.0)
    plate = {"address": 0.6, "top": swing.top_s, "mid_down": swing.impact_s - 0.08, "impact": swing.impact_s}
    spreads = dict.fromkeys(("lead_heel_rise_mm", "trail_heel_rise_at_impact_mm"), 6.0)

    def reduced(rows, events):
        return reduce_session(trace_of([swing]), rows, events, clip=clip_of([film]), spreads=spreads).metrics

    known = build.swing_rows(1, clip_offset_s=[film.offset_s], clip_offset_source=["stated"])
    sure = reduced(known, build.event_rows([plate]))
    only_top = events_of(build, [plate], [{"top": swing.top_s - film.offset_s}])  # a top is seen to 20 ms
    unsure = reduced(build.swing_rows(1), only_top)
    assert sure["trail_heel_rise_at_impact_mm"][0] is not None
    assert unsure["trail_heel_rise_at_impact_mm"][0] is None
    assert unsure["lead_heel_rise_mm"][0] == pytest.approx(sure["lead_heel_rise_mm"][0], abs=1.0)


def upside_down(film):
    return replace(film, px=film.px * [1.0, -1.0] + [0.0, 720.0])


@pytest.mark.parametrize("maker", [name for name in MAKERS if name != "barely lifting heel"])
def test_a_film_upside_down_gives_no_number_and_a_true_one_is_not_doubted(build, maker):
    for seed in range(8):
        swing, film = one_film(maker, seed, pan_px_s=0.0)
        plate = {"address": swing.impact_s - 1.1, "top": swing.top_s, "impact": swing.impact_s}
        seen = {event: t - film.offset_s for event, t in plate.items()}
        for one, trusted in ((film, True), (upside_down(film), False)):
            found = reduce_session(
                trace_of([swing]), build.swing_rows(1), events_of(build, [plate], [seen]), clip=clip_of([one])
            )
            assert ("clip_heights_impossible" in found.swings["flags"][0]) != trusted
            if not trusted:
                assert found.metrics["trail_heel_rise_at_impact_mm"][0] is None


def without_ball(build, maker, seed):
    swing, film = one_film(maker, seed)
    neighbour = feet_of.neighbours_ball(film, seed)
    return film, by_sound(build, swing, film, seed, ball=False, neighbours=(neighbour,))


def practice_swing(build, maker, seed):
    swing, _ = one_film(maker, seed)
    film = feet_of.another_swing(swing, feet_of.unstruck(feet_of.MAKERS[maker](seed, seed + 2), seed), seed)
    neighbour = feet_of.neighbours_ball(film, seed)
    return film, by_sound(build, swing, film, seed, ball=False, neighbours=(neighbour,))


def wrong_picture(build, maker, seed):
    """The impact is marked on film 0.25 to 0.8 s from where it is."""
    swing, film = one_film(maker, seed)
    rng = np.random.default_rng(seed)
    seen = swing.impact_s - film.offset_s + rng.choice([-1.0, 1.0]) * rng.uniform(0.25, 0.8)
    events = events_of(build, [{"impact": swing.impact_s}], [{"impact": seen}])
    return film, placed(build, [swing], [film], events)[0]


def feet_exchanged(build, maker, seed):
    swing, film = one_film(maker, seed)
    return film, by_sound(build, swing, feet_of.swapped(film), seed)


@pytest.mark.parametrize(
    ("world", "caught"),
    [(without_ball, 0.7), (practice_swing, 0.7), (wrong_picture, 0.95), (feet_exchanged, 0.95)],
)
def test_a_mark_that_the_heels_speak_against_is_asked_and_a_click_places_nothing(build, world, caught):
    """A neighbour's click anywhere in a film may fall near the impact: then nothing speaks against it."""
    wrong = []
    for seed in range(35):
        film, found = world(build, LIFTING[seed % len(LIFTING)], seed)
        if found is None or (within([film], [found])[0] and world is not feet_exchanged):
            continue
        wrong.append("clip_feet_disagree" in found.flags)
        if wrong[-1]:
            assert (found.offset_s is None) == (world is not wrong_picture)
            assert len(found.candidates) == 2
    assert len(wrong) > 25
    assert np.mean(wrong) >= caught


@pytest.mark.parametrize("maker", LIFTING)
def test_a_trail_heel_that_rises_late_does_not_cost_a_film_its_true_mark(build, maker):
    """It is the fault to be seen: the trail heel is still down at impact."""
    flagged = []
    for seed in range(6):
        swing, _ = one_film(maker, seed)
        late = np.interp(swing.t_s - 0.4, swing.t_s, swing.rise_mm[1])
        film = feet_of.camera(replace(swing, rise_mm=np.stack([swing.rise_mm[0], late])), seed)
        seen = {"impact": swing.impact_s - film.offset_s}
        found = placed(build, [swing], [film], events_of(build, [{"impact": swing.impact_s}], [seen]))[0]
        assert found.source == "marked"
        assert within([film], [found]) == [True]
        flagged.append("clip_feet_disagree" in found.flags)
    assert any(flagged)


def test_a_mark_of_heels_that_hardly_lift_is_taken_and_said_to_be_unchecked_where_it_was_heard(build):
    swing, film = one_film("barely lifting heel", 4)
    found = by_sound(build, swing, film, 4)
    assert (found.source, found.flags) == ("heard", ["clip_heels_low"])


def in_a_session(build, maker, person, count=6, wrong=None):
    """Films of one person, each with its strike in its sound; `wrong` s later in the first one."""
    swings = [feet_of.MAKERS[maker](person, k) for k in range(count)]
    films = [feet_of.camera(one, 10 * person + k, fps=60.0) for k, one in enumerate(swings)]
    late = [wrong or 0.0] + [0.0] * (count - 1)
    strikes = [
        [one.impact_s - film.offset_s + more] for one, film, more in zip(swings, films, late, strict=True)
    ]
    columns = {"clip_strikes_s": strikes, "clip_strike_se_s": [0.004] * count}
    plate = build.event_rows([{"impact": one.impact_s} for one in swings])
    return placed(build, swings, films, plate, **columns)


def test_the_other_films_of_a_session_say_when_its_feet_move(build):
    """A click 0.14 s from the strike passes alone, and not beside five others of the same feet."""
    alone, beside, true = [], [], []
    for k, maker in enumerate(LIFTING):
        for wrong in (-0.14, 0.14):
            alone.append(in_a_session(build, maker, k, 1, wrong)[0].offset_s is None)
            first, *others = in_a_session(build, maker, k, 6, wrong)
            beside.append(first.offset_s is None)
            true += [one.offset_s is not None for one in others]
    assert np.mean(alone) < 0.5
    assert np.mean(beside) >= 0.9
    assert np.mean(true) >= 0.97


def test_a_film_without_a_mark_is_not_placed_and_a_coach_is_shown_roughly_where_impact_is(build):
    near = []
    for maker in LIFTING:
        for seed in range(5):
            swing, film = one_film(maker, seed)
            found = placed(build, [swing], [film], build.event_rows([{"impact": swing.impact_s}]))[0]
            assert (found.offset_s, found.flags) == (None, ["clip_unsynced"])
            near += [abs(one - film.offset_s) < 0.12 for one in found.candidates]
    assert len(near) > 25
    assert np.mean(near) >= 0.9


def test_of_a_film_without_a_mark_only_the_height_that_needs_no_clock_is_kept(build):
    highest, timed = [], []
    for maker in LIFTING:
        for seed in range(4):
            swing, film = one_film(maker, seed, fps=60.0, lost=0.0, pan_px_s=0.0)
            plate = {
                "address": swing.impact_s - 1.1, "top": swing.top_s, "mid_down": swing.impact_s - 0.08,
                "impact": swing.impact_s,
            }  # fmt: skip
            found = reduce_session(
                trace_of([swing]), build.swing_rows(1), build.event_rows([plate]), clip=clip_of([film])
            )
            values = found.metrics.row(0, named=True)
            assert found.swings["clip_offset_s"].to_list() == [None]
            true = np.interp(
                np.arange(swing.impact_s - 1.1, swing.top_s, 0.004), swing.t_s, swing.rise_mm[0]
            ).max()
            highest += [] if values["lead_heel_rise_mm"] is None else [values["lead_heel_rise_mm"] - true]
            timed.append(values["trail_heel_rise_at_impact_mm"])
    assert len(highest) > 14
    assert np.quantile(np.abs(highest), 0.9) < 6.0
    assert timed == [None] * len(timed)


@pytest.mark.parametrize(
    ("change", "flag", "least"),
    [
        (lambda film: film, None, 1.0),
        (lambda film: slowed(film, 8), "clip_pace", 1.0),
        (feet_of.swapped, "clip_feet_exchanged", 0.95),
    ],
    ids=["true", "slow motion", "feet exchanged"],
)
def test_a_film_alone_that_cannot_be_trusted_says_so_and_gives_no_number(build, change, flag, least):
    """Address and impact are marked at the pictures where they are seen; slow motion is found or nothing timed."""
    said = []
    for maker in LIFTING:
        for seed in range(6):
            swing, film = one_film(maker, seed, fps=240.0, pan_px_s=0.0, lost=0.0)
            seen = change(film)
            pace = film.fps / seen.fps
            marks = {"address": 0.1, "impact": swing.impact_s - film.offset_s}
            events = build.event_rows([{event: t * pace for event, t in marks.items()}])
            found = reduce_session(
                None, build.swing_rows(1), events.with_columns(clock=pl.lit("clip")), clip=clip_of([seen])
            )
            flags = found.swings["flags"][0].to_list()
            said.append(
                not {name for name in flags if name.startswith("clip_")}
                if flag is None
                else any(name.startswith(flag) for name in flags)
            )
            values = found.metrics.row(0, named=True)
            spoken = {name for name in flags if name.startswith("clip_")}
            assert (values["trail_heel_rise_at_impact_mm"] is not None) == (spoken <= {"clip_pace_unknown"})
            assert not spoken or values["trail_heel_up_after_impact_s"] is None
    assert np.mean(said) >= least


def test_a_film_alone_with_marked_events_gives_the_heights_order_and_timing_of_its_heels(build):
    """Whatever the foot does, against its heels as they truly are; nulls are counted too."""
    off, known = {"height": [], "order": [], "timing": []}, []
    for maker in LIFTING:
        for seed in range(5):
            swing, film = one_film(maker, seed, fps=120.0, lost=0.0, pan_px_s=0.0)
            at = {"address": swing.impact_s - 1.1, "top": swing.top_s, "impact": swing.impact_s}
            events = build.event_rows([{event: t - film.offset_s for event, t in at.items()}])
            found = reduce_session(
                None, build.swing_rows(1), events.with_columns(clock=pl.lit("clip")), clip=clip_of([film])
            )
            values = found.metrics.row(0, named=True)
            inside = (swing.t_s > film.offset_s) & (swing.t_s < film.offset_s + film.times_s[-1])
            t, (lead, trail) = swing.t_s[inside], swing.rise_mm[:, inside]
            up = t[np.flatnonzero(trail[: trail.argmax()] < 0.5 * trail.max())[-1]]
            down = t[np.flatnonzero(lead >= 0.5 * lead.max())[-1]]
            known.append(values["trail_heel_up_after_impact_s"] is not None)
            if known[-1]:
                off["timing"].append(values["trail_heel_up_after_impact_s"] - (up - swing.impact_s))
            if values["seen_heel_order_ms"] is not None:
                off["order"].append(values["seen_heel_order_ms"] / 1000 - (down - up))
            off["height"].append(values["lead_heel_rise_mm"] - lead[t < swing.top_s].max())
    assert np.mean(known) >= 0.95
    assert len(off["order"]) >= 20
    assert np.quantile(np.abs(off["timing"]), 0.9) < 0.02
    assert np.quantile(np.abs(off["order"]), 0.9) < 0.04
    assert np.quantile(np.abs(off["height"]), 0.9) < 6.0


def test_the_order_of_the_heels_needs_no_clock_and_when_they_move_does(build):
    swing, film = one_film("stepping start", 2, fps=60.0, lost=0.0, pan_px_s=0.0)
    plate = {"address": swing.impact_s - 1.1, "top": swing.top_s, "impact": swing.impact_s}
    found = reduce_session(
        trace_of([swing]), build.swing_rows(1), build.event_rows([plate]), clip=clip_of([film])
    ).metrics.row(0, named=True)
    assert found["seen_heel_order_ms"] == pytest.approx(-315, abs=40)
    assert found["trail_heel_up_after_impact_s"] is None
