"""Each metric on a swing made for it, against a value worked out by hand.

Body weight 700 N, 500 Hz. Events: address 0.60, takeaway 1.40, mid_back 1.95, top 2.25, mid_down 2.42,
impact 2.50, finish 3.10 s. Signals are straight lines, so the filters leave them alone but at the corners.
"""

import math

import numpy as np
import pytest

STANCE = [220.0, 0.0, 250.0, 265.0, -215.0, 5.0, -240.0, 268.0]


@pytest.fixture
def swing(build, reduced):
    def run(rate=500.0, events=None, stance_mm=None, extra=None, drop=(), **changes):
        columns = build.quiet_plan(
            **{k: build.Lines(v) if isinstance(v, list) else build.level(v) for k, v in changes.items()}
        )
        columns = columns.columns(rate)
        columns |= extra or {}
        return reduced({k: v for k, v in columns.items() if k not in drop}, rate, events, stance_mm=stance_mm)

    return run


def close(value, tolerance=0.02):
    return pytest.approx(value, abs=tolerance)


def test_a_quiet_stand_reads_as_it_stands(swing):
    got = swing(share=46, lead_along=48, trail_along=52, lead_heel=30, trail_heel=35)
    assert got.address_lead_share_pct == close(46)
    assert got.address_lead_along_pct == close(48)
    assert got.address_trail_along_pct == close(52)
    assert got.address_lead_heel_share_pct == close(30)
    assert got.address_trail_heel_share_pct == close(35)
    assert got.start_rock_pct == close(0)
    assert got.mid_back_trail_share_pct == close(54)
    assert got.peak_vertical_pct_bw == close(100)


def test_heel_share_without_heel_loads_comes_from_two_point_statics(swing):
    """(70 − 48)/55 = 40 %; at 15 and under the whole foot is on its heel, at 70 and over none of it."""
    got = swing(lead_along=48, trail_along=12, drop=("lead_heel_n", "trail_heel_n"))
    assert got.heel_source == "estimated"
    assert got.address_lead_heel_share_pct == close(40)
    assert got.address_trail_heel_share_pct == close(100)


def test_two_point_statics_agree_with_published_standing_loads(swing):
    """Cavanagh 1987, Foot & Ankle 7 (from memory): standing, 60.5 % on the heel, pressure at about 36 % of length."""
    got = swing(lead_along=36, trail_along=36, drop=("lead_heel_n", "trail_heel_n"))
    assert got.address_lead_heel_share_pct == close(61.8, 0.05)
    assert abs(got.address_lead_heel_share_pct - 60.5) < 2


def test_sway_speed_of_a_slow_circle_is_its_circumference_a_second(swing):
    """2 mm radius, one turn a second: 2π·2 = 12.57 mm/s; 5 Hz low-pass passes 1 Hz at gain 1/√(1 + (√2 − 1)(1/5)⁴) ≈ 1."""
    t = np.arange(1701) / 500
    circle = {"cop_x_mm": 2 * np.cos(2 * np.pi * t), "cop_y_mm": 2 * np.sin(2 * np.pi * t)}
    got = swing(extra={k: v.astype(np.float32) for k, v in circle.items()})
    assert got.address_sway_speed_mm_s == close(12.57, 0.1)


def test_sway_takes_the_quietest_second(swing):
    """Still for 1.02 s from 0.2 s on, shaken before: nearly 0."""
    t = np.arange(1701) / 500
    x = np.where(t < 0.15, 20 * np.sin(2 * np.pi * 3 * t), 0)
    got = swing(extra={"cop_x_mm": x.astype(np.float32), "cop_y_mm": np.zeros(1701, np.float32)})
    assert got.address_sway_speed_mm_s < 0.5


def test_sway_needs_a_whole_second_and_a_whole_body_pressure(swing, build):
    cop = {name: np.zeros(1701, np.float32) for name in ("cop_x_mm", "cop_y_mm")}
    assert swing(extra=cop).address_sway_speed_mm_s == close(0)
    assert swing(extra=cop, events=build.TIMES | {"takeaway": 0.99}).address_sway_speed_mm_s is None
    assert swing(stance_mm=STANCE).address_sway_speed_mm_s is None  # no across
    assert swing().address_sway_speed_mm_s is None


def test_sway_from_the_feet_moves_with_the_load_between_them(swing):
    """Feet 400 mm apart, lead share rising by 10 points a second: 10 % · 400 mm = 40 mm/s."""
    t = np.arange(1701) / 500
    share = 45 + 10 * t
    across = {"lead_across_mm": np.zeros(1701, np.float32), "trail_across_mm": np.zeros(1701, np.float32)}
    loads = {"lead_n": 7 * share, "trail_n": 7 * (100 - share)}
    straight = [200.0, 0.0, 200.0, 260.0, -200.0, 0.0, -200.0, 260.0]
    got = swing(extra=across | {k: v.astype(np.float32) for k, v in loads.items()}, stance_mm=straight)
    assert got.address_sway_speed_mm_s == close(40, 0.1)


def test_across_points_to_the_target_for_both_feet(swing):
    """Both feet's pressure moving to the target at 10 mm/s moves the body's as fast."""
    t = np.arange(1701) / 500
    across = (10 * t).astype(np.float32)
    straight = [200.0, 0.0, 200.0, 260.0, -200.0, 0.0, -200.0, 260.0]
    got = swing(extra={"lead_across_mm": across, "trail_across_mm": across}, stance_mm=straight)
    assert got.address_sway_speed_mm_s == close(10, 0.05)
    against = swing(extra={"lead_across_mm": across, "trail_across_mm": -across}, stance_mm=straight)
    assert against.address_sway_speed_mm_s == close(0, 0.1)  # the two cancel


def test_stance_width_is_heel_to_heel(swing):
    """√(435² + 5²) = 435.03 mm."""
    assert swing(stance_mm=STANCE).stance_width_mm == close(435.029, 0.001)
    assert swing().stance_width_mm is None


def test_start_rock_is_the_larger_feet_range_of_the_last_half_second(swing):
    got = swing(
        lead_along=[(0.0, 50), (1.0, 50), (1.15, 57), (1.3, 48), (1.4, 50)],
        trail_along=[(0.0, 20), (0.8, 20), (0.85, 50), (1.4, 52)],
    )
    assert got.start_rock_pct == close(
        9, 0.8
    )  # 48…57; 20 Hz rounds the corners; the rise before 0.9 s does not count


def test_trail_share_halfway_back(swing):
    assert swing(share=[(1.4, 50), (1.9, 30)]).mid_back_trail_share_pct == close(70, 0.1)


def test_trail_peak_is_a_forty_millisecond_mean_and_recentring_counts_from_it(swing):
    """Trail 75 from 1.90 to 2.00, down to 64 at 2.20 and on: peak 75 at 1.95, top at 2.25: 0.30 s, 11 points."""
    got = swing(share=[(1.4, 50), (1.9, 25), (2.0, 25), (2.2, 36)])
    assert got.trail_peak_share_pct == close(75, 0.1)
    assert got.trail_peak_before_top_s == close(0.30, 0.004)
    assert got.recentre_pts == close(11, 0.1)
    assert got.top_lead_share_pct == close(36, 0.05)


def test_a_short_spike_is_not_the_trail_peak(swing):
    """10 ms of 95 in a trail share of 70 raises a 40 ms mean by a quarter of it at most, not by 25."""
    got = swing(share=[(1.4, 50), (1.8, 30), (2.0, 30), (2.005, 5), (2.01, 30), (2.25, 36)])
    assert got.trail_peak_share_pct < 74


def test_a_peak_at_the_top_has_no_recentring(swing):
    """Still rising at the top: the peak is the top, so 0 and not a negative number."""
    got = swing(share=[(1.4, 50), (2.25, 30), (2.42, 70)])
    assert got.trail_peak_before_top_s == close(0, 0.006)
    assert got.recentre_pts == 0.0


def test_nothing_to_come_back_from_is_null(swing):
    got = swing(share=[(1.4, 50), (1.9, 43), (2.0, 43), (2.1, 48)])
    assert got.trail_peak_share_pct == close(57, 0.1)
    assert got.recentre_pts is None


def test_lead_heel_unload_is_in_body_weight(swing):
    """Lead 350 N · 40 % = 140 N; at its least 30 % · 700 · 20 % = 42 N; (140 − 42)/700 = 14 %."""
    got = swing(share=[(1.4, 50), (1.9, 30)], lead_heel=[(1.4, 40), (1.9, 20)])
    assert got.lead_heel_unload_pct_bw == close(14, 0.1)


def test_trail_heel_sink_and_both_feet_heelward_count_from_address(swing):
    """Trail 50 → 41, lead 50 → 35, both after mid_back: sink 9, together 9."""
    got = swing(lead_along=[(1.4, 50), (2.1, 35)], trail_along=[(1.4, 50), (2.1, 41)])
    assert got.trail_heel_sink_pct == close(9, 0.1)
    assert got.back_both_heelward_pct == close(9, 0.1)


def test_one_foot_toward_its_heel_is_not_both(swing):
    got = swing(lead_along=[(1.4, 50), (2.1, 60)], trail_along=[(1.4, 50), (2.1, 41)])
    assert got.back_both_heelward_pct == close(
        -7.86, 0.05
    )  # lead at mid_back, its least since: 50 + 10·0.55/0.7


def test_heels_working_against_each_other_oppose_fully(swing):
    """Share level, lead heel 60 → 20 % as trail heel 20 → 60 %: u = −v, so 1."""
    got = swing(lead_heel=[(1.4, 60), (2.25, 20)], trail_heel=[(1.4, 20), (2.25, 60)])
    assert got.back_opposition == close(1.0, 1e-6)


def test_heels_doing_the_same_oppose_not_at_all(swing):
    got = swing(lead_heel=[(2.25, 60), (2.5, 20)], trail_heel=[(2.25, 60), (2.5, 20)])
    assert got.down_opposition == close(-1.0, 1e-6)


def test_heels_that_hardly_move_say_nothing_about_opposition(swing):
    """Each moves by 15 % of its foot's load, 7.5 % of total: under the 8 it needs."""
    got = swing(lead_heel=[(1.4, 45), (2.25, 30)], trail_heel=[(1.4, 30), (2.25, 45)])
    assert got.back_opposition is None
    more = swing(lead_heel=[(1.4, 48), (2.25, 30)], trail_heel=[(1.4, 30), (2.25, 48)])
    assert more.back_opposition == close(1.0, 1e-6)


def test_a_surge_of_the_whole_body_is_no_heel_opposition(swing):
    """Total load up by half with both heel shares level: no heel moves as a share of the total."""
    got = swing(total=[(1.4, 100), (2.0, 150), (2.25, 100)])
    assert got.back_opposition is None


def test_pushing_off_the_trail_foot_is_a_rise_of_its_share_after_the_top(swing):
    """Trail 64 at top, 71 at 2.33, then down: 7 points; 7 % W with the total level."""
    got = swing(share=[(1.4, 50), (2.0, 36), (2.27, 36), (2.33, 29), (2.36, 29), (2.42, 60)])
    assert got.trail_push_pts == close(7, 0.2)  # the filter rounds the corners
    assert got.trail_push_pct_bw == close(7, 0.2)


def test_a_surge_in_transition_is_a_push_in_load_but_not_in_share(swing):
    """64 % of 100 → 130 % W: 19.2 % W more on the trail foot, its share unchanged."""
    got = swing(share=[(1.4, 50), (2.0, 36)], total=[(2.26, 100), (2.34, 130), (2.42, 130)])
    assert got.trail_push_pts == close(0, 0.01)
    assert got.trail_push_pct_bw == close(19.2, 0.1)


def test_crossing_is_the_last_rise_through_fifty(swing):
    """40 at 2.30 rising 30 in 0.18 s: 50 at 2.36, impact 2.50: 0.14 s."""
    got = swing(share=[(1.4, 50), (1.9, 40), (2.30, 40), (2.48, 70)])
    assert got.crossing == "crossed"
    assert got.crossing_before_impact_s == close(0.14, 0.001)


def test_a_crossing_that_is_lost_again_does_not_count(swing):
    """Up to 60, back to 40, up again through 50 at 2.44: 0.06 s."""
    got = swing(share=[(1.9, 40), (2.26, 40), (2.31, 60), (2.38, 40), (2.42, 40), (2.46, 60)])
    assert got.crossing_before_impact_s == close(0.06, 0.002)


def test_hovering_about_fifty_is_no_loss(swing):
    """Up to 56 through 50 at 2.32, down to 48 and up again: never under 47, so the first crossing stands."""
    got = swing(share=[(1.9, 40), (2.28, 40), (2.344, 56), (2.39, 48), (2.46, 70)])
    assert got.crossing_before_impact_s == close(0.18, 0.002)


def test_reaching_fifty_two_only_is_never(swing):
    got = swing(share=[(1.9, 40), (2.30, 40), (2.40, 52)])
    assert got.crossing == "never"
    assert got.crossing_before_impact_s is None


def test_over_fifty_at_the_top_is_before_top(swing):
    got = swing(share=[(1.4, 50), (2.0, 55), (2.5, 80)])
    assert got.crossing == "before_top"
    assert got.crossing_before_impact_s is None


def test_transfer_rate_is_the_steepest_sixty_milliseconds(swing):
    """34 points in 0.17 s in a straight line: 200 %/s."""
    got = swing(share=[(1.4, 50), (1.9, 30), (2.25, 36), (2.42, 70)])
    assert got.transfer_rate_pct_s == close(200, 0.5)


def test_lead_share_at_each_event_and_what_lies_between(swing):
    got = swing(share=[(2.38, 70), (2.44, 70), (2.48, 74), (2.55, 74), (3.0, 92)])
    assert got.mid_down_lead_share_pct == close(70, 0.1)
    assert got.impact_lead_share_pct == close(74, 0.1)
    assert got.impact_gain_pts == close(4, 0.15)
    assert got.finish_lead_share_pct == close(92, 0.05)


def test_trail_heel_unload_and_what_is_left_of_it_at_impact(swing):
    """Top: 350 · 40 % = 140 N; mid_down 350 · 8 % = 28 N: 16 % W; impact 350 · 4 % = 14 N: 2 % W."""
    got = swing(trail_heel=[(2.28, 40), (2.38, 8), (2.45, 8), (2.47, 4)])
    assert got.trail_heel_unload_pct_bw == close(16, 0.1)
    assert got.impact_trail_heel_pct_bw == close(2, 0.05)


def test_both_feet_toeward_is_the_smaller_move_from_top_to_halfway_down(swing):
    got = swing(lead_along=[(2.28, 40), (2.37, 55)], trail_along=[(2.28, 45), (2.37, 70)])
    assert got.down_both_toeward_pct == close(15, 0.2)
    one = swing(lead_along=[(2.28, 55), (2.37, 50)], trail_along=[(2.28, 45), (2.37, 70)])
    assert one.down_both_toeward_pct == close(-5, 0.2)


def test_lead_foot_toward_its_heel_before_impact(swing):
    got = swing(lead_along=[(2.2, 54), (2.45, 54), (2.455, 44)])
    assert got.lead_heelward_pct == close(10, 0.5)


def test_highest_load_and_when(swing):
    """A flat 128 % from 2.40 to 2.44: its middle, 2.42, is 0.08 s before impact."""
    got = swing(total=[(2.3, 100), (2.40, 128), (2.44, 128), (2.55, 100)])
    assert got.peak_vertical_pct_bw == close(128, 0.4)
    assert got.peak_vertical_before_impact_s == close(0.08, 0.003)


def test_a_step_off_the_plate_after_the_finish_is_not_the_highest_load(swing):
    got = swing(total=[(3.2, 100), (3.25, 190), (3.3, 100)])
    assert got.peak_vertical_pct_bw == close(100, 0.1)


def test_times_back_and_down_are_the_times_between_the_events(swing):
    """Start at 1.40 s, top at 2.25, impact at 2.50: 0.85 s back and 0.25 s down."""
    got = swing()
    assert got.backswing_s == close(0.85, 1e-9)
    assert got.downswing_s == close(0.25, 1e-9)


def test_event_values_are_means_of_ten_milliseconds_either_side(swing):
    """A lone 50 N on one sample of eleven, unfiltered, would move a mean by 1/11; half-even windows at 50 Hz hold one."""
    t = np.arange(171) / 50
    lead = np.where(np.isclose(t, 2.5), 385, 350).astype(np.float32)
    trail = np.where(np.isclose(t, 2.5), 315, 350).astype(np.float32)
    got = swing(rate=50.0, extra={"lead_n": lead, "trail_n": trail})
    assert 51 < got.impact_lead_share_pct < 55  # one sample, smoothed only by the filter
    assert math.isclose(got.mid_down_lead_share_pct, 50, abs_tol=1.0)


def test_the_place_of_each_foot_at_every_moment(swing):
    """Straight from 50 at takeaway: the lead foot to 72 at the top and 44 at impact, the trail foot 40, 80."""
    got = swing(
        lead_along=[(1.4, 50), (2.25, 72), (2.5, 44), (3.1, 50)],
        trail_along=[(1.4, 50), (2.25, 40), (2.5, 80), (3.1, 88)],
        lead_heel=[(2.25, 10), (2.42, 44), (3.1, 44)],
        trail_heel=[(1.4, 40), (2.25, 48), (2.5, 0)],
    )
    assert got.mid_back_lead_along_pct == close(50 + 22 * 0.55 / 0.85, 0.1)
    assert got.mid_back_trail_along_pct == close(50 - 10 * 0.55 / 0.85, 0.1)
    assert (got.top_lead_along_pct, got.top_trail_along_pct) == (close(72, 1), close(40, 1))  # corners
    assert got.mid_down_lead_along_pct == close(72 - 28 * 0.17 / 0.25, 0.3)
    assert got.mid_down_trail_along_pct == close(40 + 40 * 0.17 / 0.25, 0.3)
    assert (got.impact_lead_along_pct, got.impact_trail_along_pct) == (close(44, 1.2), close(80, 1))
    assert (got.finish_lead_along_pct, got.finish_trail_along_pct) == (close(50, 0.2), close(88, 0.2))
    assert got.top_trail_heel_share_pct == close(48, 1)
    assert got.mid_down_lead_heel_share_pct == close(44, 1)


def test_a_heel_lightens_within_its_own_foot_whatever_the_foot_carries(swing):
    """Lead heel 40 → 15 % of its foot: 25 points; the share leaving that foot changes nothing."""
    lighter = swing(lead_heel=[(1.4, 40), (2.0, 15), (2.3, 15)], trail_heel=[(2.25, 45), (2.4, 10), (3, 10)])
    moved = swing(
        share=[(1.4, 50), (1.9, 26), (2.3, 26), (2.42, 70)],
        lead_heel=[(1.4, 40), (2.0, 15), (2.3, 15)],
        trail_heel=[(2.25, 45), (2.4, 10), (3, 10)],
    )
    for got in (lighter, moved):
        assert got.lead_heel_lightens_pts == close(25, 0.2)
        assert got.trail_heel_lightens_pts == close(35, 0.8)  # the corner at the top
    still = swing(share=[(1.4, 50), (1.9, 26), (2.3, 26)], lead_heel=40)
    assert still.lead_heel_lightens_pts == close(0, 0.1)
    assert still.lead_heel_unload_pct_bw > 8


def test_a_heel_that_carries_nothing_has_nothing_to_give_up(swing):
    got = swing(lead_heel=5, trail_heel=5)
    assert (got.lead_heel_lightens_pts, got.trail_heel_lightens_pts) == (None, None)


def test_both_feet_toward_the_toes_back_and_toward_the_heels_down(swing):
    """Back: lead 50 → 66, trail 46 → 60: 14. Down, from the top on: lead 66 → 49, trail 60 → 46: 14."""
    got = swing(
        lead_along=[(1.4, 50), (2.1, 66), (2.25, 66), (2.40, 49), (3, 49)],
        trail_along=[(1.4, 46), (2.1, 60), (2.25, 60), (2.40, 46), (3, 46)],
    )
    assert got.back_both_toeward_pct == close(14, 0.3)
    assert got.down_both_heelward_pct == close(14, 0.5)


def test_where_the_trail_pressure_ends_going_back(swing):
    assert swing(trail_along=[(1.4, 28), (2.1, 14)]).back_trail_least_along_pct == close(14, 0.1)


def test_heels_moving_within_their_feet_are_opposite_or_alike(swing):
    """The load that goes from foot to foot has no say in it."""
    share = [(1.4, 50), (2.0, 28), (2.25, 36), (2.42, 70), (2.5, 74)]
    opposite = swing(share=share, lead_heel=[(1.4, 40), (2.25, 15)], trail_heel=[(1.4, 40), (2.25, 60)])
    alike = swing(share=share, lead_heel=[(1.4, 40), (2.25, 15)], trail_heel=[(1.4, 40), (2.25, 20)])
    assert opposite.back_heel_opposition == close(1, 0.02)
    assert alike.back_heel_opposition == close(-1, 0.02)
    one_still = swing(lead_heel=[(1.4, 40), (2.25, 33)], trail_heel=[(1.4, 40), (2.25, 60)])
    assert one_still.back_heel_opposition == 0
    unknown = swing(drop=("lead_heel_n", "trail_heel_n", "lead_along_pct", "trail_along_pct"))
    assert unknown.back_heel_opposition is None


def test_coming_down_the_same_is_measured_from_the_top_to_impact(swing):
    down = {"lead_heel": [(2.25, 15), (2.5, 45)], "trail_heel": [(2.25, 50), (2.5, 10)]}
    assert swing(**down).down_heel_opposition == close(1, 0.02)
    assert swing(**down | {"trail_heel": [(2.25, 20), (2.5, 60)]}).down_heel_opposition == close(-1, 0.02)


def test_the_first_five_points_back_are_timed_from_the_top(swing):
    """Trail share 74 from 1.9 to 2.0 s, then 24 points in 0.6 s: 5 of them take 0.125 s, at 2.125; top at 2.25."""
    early = swing(share=[(1.4, 50), (1.9, 26), (2.0, 26), (2.6, 50)])
    assert early.return_after_top_s == close(-0.125, 0.01)
    late = swing(share=[(1.4, 50), (2.3, 26), (2.42, 50)])  # 5 points take 0.025 s
    assert late.return_after_top_s == close(0.075, 0.006)
    never = swing(share=[(1.4, 50), (2.3, 26)])  # at mid_down it still has not
    assert never.return_after_top_s == close(0.17, 0.005)
    assert swing().return_after_top_s is None


def test_a_push_raises_the_whole_load_and_a_load_that_only_moves_does_not(swing):
    """At top 62 % of 82 = 50.8; 0.06 s later 60 % of 106 = 63.6: 12.8, and the whole load by 24."""
    push = swing(
        share=[(2.25, 38), (2.31, 40), (2.42, 70)], total=[(1.4, 100), (2.2, 82), (2.25, 82), (2.31, 106)]
    )
    assert push.trail_push_pct_bw == close(12.8, 1.5)
    assert push.trail_push_total_pct_bw == close(24, 2.5)
    assert push.trail_push_share_pts == close(-2, 0.5)
    assert push.trail_push_off_pct_bw == push.trail_push_pct_bw
    moved = swing(share=[(2.25, 38), (2.31, 28), (2.42, 70)])
    assert moved.trail_push_pct_bw > 6
    assert moved.trail_push_total_pct_bw == close(0, 0.5)
    assert moved.trail_push_off_pct_bw == 0
    lighter = swing(share=[(2.25, 46), (2.42, 56)], total=[(1.4, 100), (2.25, 90), (2.42, 125)])
    assert lighter.trail_push_pct_bw > 6  # the whole load surges; the foot itself gives up 10 points of share
    assert lighter.trail_push_off_pct_bw == 0
    centred = swing(share=[(2.25, 66), (2.42, 68)], total=[(1.4, 100), (2.25, 90), (2.42, 125)])
    assert centred.trail_push_pct_bw > 6  # what presses is not the trail foot
    assert centred.trail_push_off_pct_bw == 0


def test_the_order_of_the_heels_by_hand(swing):
    """Trail heel 50 %, half gone 0.05 s after the top; lead heel from 10 to 40, at 32 after 22/30 of 0.15 s: 0.11."""
    lead = [(1.4, 40), (2.0, 10), (2.25, 10), (2.40, 40), (3, 40)]
    got = swing(lead_heel=lead, trail_heel=[(2.25, 50), (2.35, 0), (3, 0)])
    assert got.heel_order_ms == close(60, 8)
    assert got.heel_order_error_ms == close(0, 0.5)
    planted_first = swing(lead_heel=lead, trail_heel=[(2.40, 50), (2.48, 0), (3, 0)])
    assert planted_first.heel_order_ms == close(-80, 8)
    assert (
        swing(lead_heel=40, trail_heel=[(2.25, 50), (2.35, 0)]).heel_order_ms is None
    )  # nothing to put down
    held = swing(lead_heel=[(1.4, 40), (2.0, 10)], trail_heel=[(2.25, 50), (2.35, 0), (3, 0)])
    assert held.heel_order_ms == close(200, 8)  # counted as down at impact


def test_a_starting_move_and_the_lead_foot_after_the_strike(swing):
    """50 at address, 56 for 50 ms after takeaway; 4 % of 100 left on the lead foot at 2.7 s."""
    got = swing(share=[(1.35, 50), (1.4, 56), (1.5, 56), (1.6, 50), (2.5, 80), (2.6, 4), (2.8, 4), (3.1, 90)])
    assert got.starting_move_pts == close(6, 0.3)
    assert got.lead_least_after_impact_pct_bw == close(4, 0.3)
