"""Sessions: nulls, flags, irregular clocks, many at once."""

from concurrent.futures import ThreadPoolExecutor

import numpy as np
import polars as pl
import pytest

from models.swing.answers import gather
from models.swing.clock import clip_events, event_arrays, moved_from_clip, on_uniform_grid
from models.swing.formulas import plate_codes
from models.swing.reduce import SessionTask, answer_task, reduce_session
from warehouse.definitions import metric_codes
from warehouse.traces import SessionTrace, write_trace
from warehouse.vocabulary import EVENTS

NEEDS = {  # the events each metric hangs on
    "address": {
        "address_lead_share_pct", "address_lead_along_pct", "address_trail_along_pct", "address_lead_heel_share_pct",
        "address_trail_heel_share_pct", "lead_heel_unload_pct_bw", "trail_heel_sink_pct", "back_both_heelward_pct",
        "back_opposition", "down_opposition", "trail_push_pct_bw", "trail_heel_unload_pct_bw",
        "impact_trail_heel_pct_bw", "peak_vertical_pct_bw", "peak_vertical_before_impact_s",
        "starting_move_pts", "lead_heel_lightens_pts", "back_both_toeward_pct", "trail_push_total_pct_bw",
        "trail_push_off_pct_bw",
        "lead_least_after_impact_pct_bw", "heel_order_ms", "heel_order_error_ms",
    },
    "takeaway": {
        "start_rock_pct", "address_sway_speed_mm_s", "trail_peak_share_pct", "recentre_pts", "trail_peak_before_top_s",
        "lead_heel_unload_pct_bw", "trail_heel_sink_pct", "back_opposition", "transfer_rate_pct_s", "backswing_s",
        "starting_move_pts", "back_heel_opposition", "return_after_top_s",
    },
    "mid_back": {
        "mid_back_trail_share_pct", "back_both_heelward_pct",
        "mid_back_lead_along_pct", "mid_back_trail_along_pct", "lead_heel_lightens_pts",
        "back_trail_least_along_pct", "back_both_toeward_pct", "heel_order_ms", "heel_order_error_ms",
    },
    "top": {
        "trail_peak_share_pct", "recentre_pts", "trail_peak_before_top_s", "top_lead_share_pct",
        "lead_heel_unload_pct_bw", "trail_heel_sink_pct", "back_both_heelward_pct", "back_opposition",
        "trail_push_pts", "trail_push_pct_bw", "crossing_before_impact_s", "transfer_rate_pct_s",
        "trail_heel_unload_pct_bw", "down_both_toeward_pct", "down_opposition", "peak_vertical_pct_bw",
        "peak_vertical_before_impact_s", "backswing_s", "downswing_s",
        "top_lead_along_pct", "top_trail_along_pct", "top_trail_heel_share_pct", "lead_heel_lightens_pts",
        "back_trail_least_along_pct", "back_both_toeward_pct", "back_heel_opposition", "return_after_top_s",
        "trail_push_total_pct_bw", "trail_push_share_pts", "trail_push_off_pct_bw",
        "trail_heel_lightens_pts", "down_both_heelward_pct",
        "down_heel_opposition", "heel_order_ms", "heel_order_error_ms",
    },
    "mid_down": {
        "trail_push_pts", "trail_push_pct_bw", "mid_down_lead_share_pct", "trail_heel_unload_pct_bw",
        "down_both_toeward_pct", "impact_gain_pts", "lead_heelward_pct",
        "mid_down_lead_along_pct", "mid_down_trail_along_pct", "mid_down_lead_heel_share_pct",
        "return_after_top_s", "trail_push_total_pct_bw", "trail_push_share_pts", "trail_push_off_pct_bw",
        "trail_heel_lightens_pts",
        "down_both_heelward_pct",
    },
    "impact": {
        "crossing_before_impact_s", "transfer_rate_pct_s", "down_opposition", "impact_lead_share_pct",
        "impact_gain_pts", "impact_trail_heel_pct_bw", "lead_heelward_pct", "peak_vertical_before_impact_s",
        "downswing_s",
        "impact_lead_along_pct", "impact_trail_along_pct", "trail_heel_lightens_pts",
        "down_heel_opposition", "lead_least_after_impact_pct_bw", "heel_order_ms", "heel_order_error_ms",
    },
    "finish": {
        "finish_lead_share_pct",
        "finish_lead_along_pct", "finish_trail_along_pct",
    },
}  # fmt: skip
KNOWN = set.union(*NEEDS.values())


@pytest.fixture
def columns(good_plan):
    made = good_plan.columns(500.0, noise=0.002)
    rng = np.random.default_rng(0)
    for name in ("cop_x_mm", "cop_y_mm"):
        made[name] = (rng.normal(0, 0.2, made["lead_n"].size).cumsum() * 0.1).astype(np.float32)
    return made


def nulls(got):
    return {name for name in plate_codes() if getattr(got, name) is None} - {"stance_width_mm"}


def test_a_whole_swing_has_every_plate_metric_but_the_stance(reduced, columns):
    got = reduced(columns)
    assert nulls(got) <= {"back_opposition"}
    assert got.usable
    assert got.flags == {}
    assert got.heel_source == "measured"


@pytest.mark.parametrize("event", NEEDS)
def test_a_missing_event_takes_exactly_its_own_metrics_with_it(reduced, build, columns, event):
    before = nulls(reduced(columns))
    got = reduced(columns, events={e: t for e, t in build.TIMES.items() if e != event})
    assert (nulls(got) - before) & KNOWN == NEEDS[event] - before
    assert got.usable
    assert got.flags == {"unmarked": 1}


def test_body_mass_stands_in_for_a_missing_address(reduced, build, columns):
    events = {e: t for e, t in build.TIMES.items() if e != "address"}
    got = reduced(columns, events=events, body_mass_kg=700 / 9.80665)
    whole = reduced(columns)
    assert got.impact_trail_heel_pct_bw == pytest.approx(whole.impact_trail_heel_pct_bw, rel=1e-2)
    assert got.lead_heel_unload_pct_bw is None


def test_an_event_outside_the_record_is_a_missing_one(reduced, build, columns):
    got = reduced(columns, events=build.TIMES | {"finish": 9.0})
    assert got.finish_lead_share_pct is None
    assert got.impact_lead_share_pct is not None


def test_events_out_of_order_give_nulls_not_nonsense(reduced, build, columns):
    got = reduced(columns, events=build.TIMES | {"top": 1.2})
    assert got.trail_peak_share_pct is None
    assert got.backswing_s is None


def test_no_events_at_all_leave_the_swing_unusable(reduced, columns):
    got = reduced(columns, events={})
    assert not got.usable
    assert got.flags == {"unmarked": 7}


def test_a_dropout_over_an_event_is_null_there_and_nowhere_else(reduced, columns):
    broken = {k: v.copy() for k, v in columns.items()}
    for values in broken.values():
        values[1240:1262] = np.nan  # impact is sample 1250
    got, whole = reduced(broken), reduced(columns)
    gone = nulls(got) - nulls(whole)
    assert gone == {
        "impact_lead_share_pct",
        "impact_gain_pts",
        "impact_trail_heel_pct_bw",
        "impact_lead_along_pct",
        "impact_trail_along_pct",
        "lead_heelward_pct",
    }
    assert got.mid_down_lead_share_pct == pytest.approx(whole.mid_down_lead_share_pct, abs=0.5)


def test_a_foot_in_the_air_has_no_place_but_no_heel_load_either(reduced, build, good_plan):
    """Trail foot off from 2.45 s on: its along is null, its heel load 0, the shares stand."""
    share = build.posts(50, mid_back=30, top__90=26, top=36, mid_down=80, impact__20=100, finish=100)
    columns = build.Plan(**(vars(good_plan) | {"share": share})).columns(500.0)
    got = reduced(columns)
    assert got.impact_lead_share_pct == pytest.approx(100, abs=0.5)
    assert got.impact_trail_heel_pct_bw == pytest.approx(0, abs=0.2)
    estimated = reduced({k: v for k, v in columns.items() if "heel" not in k})
    assert estimated.impact_trail_heel_pct_bw == pytest.approx(0, abs=0.2)


def test_both_feet_in_the_air_have_no_share(reduced, columns):
    jumped = {k: v.copy() for k, v in columns.items()}
    for name in ("lead_n", "trail_n"):
        jumped[name][1200:1300] = 5.0
    assert reduced(jumped).impact_lead_share_pct is None


def test_loads_alone_give_the_shares_and_no_heels(reduced, columns):
    got = reduced({k: columns[k] for k in ("lead_n", "trail_n")})
    assert got.heel_source == "none"
    assert got.impact_lead_share_pct is not None
    assert got.impact_trail_heel_pct_bw is None
    assert got.address_lead_heel_share_pct is None
    assert got.down_both_toeward_pct is None


def test_one_measured_heel_is_not_mixed_with_an_estimated_one(reduced, columns):
    one = {k: v for k, v in columns.items() if k != "trail_heel_n"}
    neither = {k: v for k, v in columns.items() if "heel" not in k}
    got, wanted = reduced(one), reduced(neither)
    assert got.heel_source == "estimated"
    assert got.frame.equals(wanted.frame)


def test_an_empty_and_a_dead_record_are_unusable_not_an_error(reduced, build):
    for count in (0, 1, 500):
        nothing = {"lead_n": np.zeros(count, np.float32), "trail_n": np.full(count, np.nan, np.float32)}
        got = reduced(nothing, events={"address": 0.2})
        assert not got.usable


def test_short_quiet_counts_the_samples_the_address_window_lacks(reduced, build, columns):
    """Address 50 ms before takeaway: 100 ms of the window, 50 samples, come after it."""
    assert reduced(columns, events=build.TIMES | {"address": 1.35}).flags == {"short_quiet": 50}


def test_weight_mismatch_is_over_ten_percent(reduced, columns):
    """700 N is 71.4 kg; 78 kg is 8.5 % off, 80 kg is 10.8 % off."""
    assert reduced(columns, body_mass_kg=78.0).flags == {}
    assert reduced(columns, body_mass_kg=80.0).flags == {"weight_mismatch": 1}


def test_a_low_rate_is_flagged_under_100_hz(reduced, good_plan):
    assert reduced(good_plan.columns(100.0), 100.0).flags == {}
    assert reduced(good_plan.columns(99.0), 99.0).flags == {"low_rate": 99}


def test_file_flags_stay_and_no_flag_stands_twice(build, columns):
    swings = build.swing_rows(
        1,
        file_flags=pl.Series([["dropout", "unmarked"]], dtype=pl.List(pl.String)),
        file_flag_counts=pl.Series([[4, 1]], dtype=pl.List(pl.Int32)),
    )
    result = reduce_session(
        build.trace_of([columns], [500.0]), swings, build.event_rows([{}]), stance_mm=None, body_mass_kg=None
    )
    assert result.swings["flags"].to_list() == [["dropout", "unmarked"]]
    assert result.swings["flag_counts"].to_list() == [[4, 7]]


def session_of(build, plan, finishes, paces=None):
    times = {"mid_back": 30, "top": 36, "mid_down": 70, "impact": 74}
    swings = [
        build.Plan(**(vars(plan) | {"share": build.posts(50, **times, finish=f)})).columns(125.0)
        for f in finishes
    ]
    rows = build.swing_rows(len(swings), pace=paces or ["full"] * len(swings))
    return build.trace_of(swings, [125.0] * len(swings)), rows, build.event_rows([build.TIMES] * len(swings))


def test_feet_that_look_swapped_are_flagged_for_the_whole_session(build, good_plan):
    trace, rows, events = session_of(build, good_plan, [20, 30, 90])
    result = reduce_session(trace, rows, events, stance_mm=None, body_mass_kg=None)
    assert result.swings["flags"].to_list() == [["feet_swapped"]] * 3
    checked = reduce_session(trace, rows, events, stance_mm=None, body_mass_kg=None, feet_checked=True)
    assert checked.swings["flags"].to_list() == [[]] * 3


def test_only_full_swings_say_whether_feet_are_swapped(build, good_plan):
    trace, rows, events = session_of(build, good_plan, [20, 30, 90], ["slow", "half", "full"])
    result = reduce_session(trace, rows, events, stance_mm=None, body_mass_kg=None)
    assert result.swings["flags"].to_list() == [[]] * 3


@pytest.mark.parametrize(("club", "mirrored", "flagged"), [
    ("driver", False, False), ("wood", False, False), ("iron", False, True), ("driver", True, True)
])  # fmt: skip
def test_a_lead_foot_off_the_ground_after_a_long_clubs_strike_does_not_look_swapped(
    build, good_plan, club, mirrored, flagged
):
    """It carried the strike; feet truly swapped did not."""
    after = {"impact": 74, "impact_ms120": 2, "finish": 25}
    share = build.posts(50, mid_back=30, top=36, mid_down=70, **after)
    if mirrored:
        share = build.posts(50, mid_back=70, top=64, mid_down=30, impact=26, impact_ms120=3, finish=8)
    plan = build.Plan(**(vars(good_plan) | {"share": share}))
    result = reduce_session(
        build.trace_of([plan.columns(250.0)] * 2, [250.0] * 2),
        build.swing_rows(2, club_family=[club] * 2),
        build.event_rows([build.TIMES] * 2),
    )
    assert (result.swings["flags"].to_list() == [["feet_swapped"]] * 2) is flagged


def test_swings_without_samples_and_holds_keep_to_their_own(build, columns):
    """The trace holds swings 1 and 2; the session's swings are 2 and 5: 1 is a hold, 5 has no samples."""
    trace = build.trace_of([columns, columns], [500.0, 500.0])
    rows = build.swing_rows(2, swing_no=pl.Series([5, 2], dtype=pl.Int32))
    events = build.event_rows([{}, build.TIMES])
    result = reduce_session(trace, rows, events, stance_mm=None, body_mass_kg=None)
    assert result.metrics["swing_no"].to_list() == [5, 2]
    assert result.swings["usable"].to_list() == [False, True]
    assert result.swings["heel_source"].to_list() == ["none", "measured"]
    assert result.metrics.row(0, named=True)["impact_lead_share_pct"] is None


def test_rows_are_those_of_the_metric_table(reduced, columns):
    frame = reduced(columns).frame
    assert frame.columns == ["session", "swing_no", "crossing", *metric_codes()]
    assert set(frame.select(metric_codes()).dtypes) == {pl.Float64}


def test_a_clip_event_counts_through_the_clip_offset(build, columns):
    """Impact marked at 1.00 s on a clip that starts 1.50 s into the plate's clock."""
    marked = build.event_rows([{e: t for e, t in build.TIMES.items() if e != "impact"}])
    clip = build.event_rows([{"impact": 1.0}]).with_columns(clock=pl.lit("clip"))
    trace, both = build.trace_of([columns], [500.0]), pl.concat([marked, clip])
    whole = reduce_session(
        trace, build.swing_rows(1), build.event_rows([build.TIMES]), stance_mm=None, body_mass_kg=None
    )
    synced = build.swing_rows(1, clip_offset_s=[1.5])
    got = reduce_session(trace, synced, both, stance_mm=None, body_mass_kg=None)
    assert got.metrics.equals(whole.metrics)
    moved = got.estimated.row(0, named=True)
    assert got.estimated.height == 1
    assert (moved["event"], moved["t_s"], moved["source"], moved["clock"]) == ("impact", 2.5, "clip", "plate")
    lost = reduce_session(trace, build.swing_rows(1, clip_offset_s=pl.Series([None], dtype=pl.Float64)), both,
                          stance_mm=None, body_mass_kg=None)  # fmt: skip
    assert lost.metrics["impact_lead_share_pct"].to_list() == [None]
    assert lost.estimated.is_empty()


def test_events_move_across_clocks_both_ways_and_each_clock_keeps_its_own(build):
    """Marked on the plate: top at 2.25 s. On the clip, 1.5 s behind: top at 0.80 s, impact at 1.00 s."""
    plate = build.event_rows([{"top": 2.25, "finish": 3.1}])
    both = pl.concat(
        [plate, build.event_rows([{"top": 0.8, "impact": 1.0}]).with_columns(clock=pl.lit("clip"))]
    )
    swings = build.swing_rows(1, clip_offset_s=[1.5], clip_offset_se_s=[0.004])
    on_clip = clip_events(swings, both)[1]
    assert on_clip == pytest.approx({"top": 0.8, "finish": 1.6, "impact": 1.0})
    trace = build.trace_of([{"lead_n": np.zeros(1500)}], [500.0], t0_s=0.5)
    times, errors = event_arrays(trace, swings, both)
    top, impact, finish = (EVENTS.index(name) for name in ("top", "impact", "finish"))
    assert times[0, [top, impact, finish]] == pytest.approx([1.75, 2.0, 2.6])
    assert errors[0, [top, impact, finish]] == pytest.approx([0.0, 0.004, 0.0])
    assert moved_from_clip(trace, both, times)[0].nonzero()[0].tolist() == [impact]


def test_an_irregular_clock_is_laid_on_a_grid_and_its_gap_stays_open(build, plain, good_plan):
    """Jittered times with a 60 ms hole over impact: as the regular swing elsewhere, null at impact."""
    regular = good_plan.columns(500.0)
    rng = np.random.default_rng(2)
    t = np.arange(regular["lead_n"].size) / 500
    jittered = np.sort(t + rng.uniform(-0.0004, 0.0004, t.size))
    kept = (jittered < 2.47) | (jittered > 2.53)
    columns = {k: np.interp(jittered, t, v).astype(np.float32)[kept] for k, v in regular.items()}
    trace = build.trace_of([columns], [500.0])
    irregular = SessionTrace(
        trace.session,
        trace.swing_no,
        trace.offsets,
        trace.rate_hz,
        np.array([jittered[0]]),
        trace.columns,
        jittered[kept],
    )
    uniform = on_uniform_grid(irregular)
    assert uniform.t_s is None
    assert np.isnan(uniform.columns["lead_n"]).sum() == pytest.approx(30, abs=2)
    run = {"stance_mm": None, "body_mass_kg": None}
    got = reduce_session(irregular, build.swing_rows(1), build.event_rows([build.TIMES]), **run).metrics.row(
        0, named=True
    )
    whole = reduce_session(
        build.trace_of([regular], [500.0]), build.swing_rows(1), build.event_rows([build.TIMES]), **run
    )
    wanted = whole.metrics.row(0, named=True)
    assert got["impact_lead_share_pct"] is None
    for name in (
        "mid_back_trail_share_pct",
        "mid_down_lead_share_pct",
        "recentre_pts",
        "finish_lead_share_pct",
    ):
        assert got[name] == pytest.approx(wanted[name], abs=0.3), name


def test_metrics_that_hang_on_an_uncertain_event_are_withheld(reduced, columns):
    """Events known to 40 ms: what changes fast there is null; what stands still for 40 ms is kept."""
    spreads = dict.fromkeys(plate_codes(), 4.0)
    got = reduced(columns, error_s=0.040, spreads=spreads)
    assert got.mid_down_lead_share_pct is None
    assert got.address_lead_share_pct is not None
    assert got.finish_lead_share_pct is not None


def test_marked_events_withhold_nothing(reduced, columns):
    spreads = dict.fromkeys(plate_codes(), 1e-09)
    assert reduced(columns, spreads=spreads).frame.equals(reduced(columns).frame)


def test_many_sessions_side_by_side_equal_each_alone(build, good_plan, tmp_path):
    tasks, alone = [], []
    for number in range(12):
        swings = [good_plan.columns(250.0, noise=0.003, seed=10 * number + k) for k in range(3)]
        trace = build.trace_of(swings, [250.0] * 3, session=f"s{number:02d}")
        write_trace(tmp_path / f"{number}.parquet", trace)
        rows, events = build.swing_rows(3), build.event_rows([build.TIMES] * 3)
        tasks.append(SessionTask(tmp_path / f"{number}.parquet", rows, events))
        alone.append(reduce_session(trace, rows, events, stance_mm=None, body_mass_kg=None))
    with ThreadPoolExecutor(2) as threads:
        together = gather(list(threads.map(answer_task, tasks)))
    assert together.metrics.equals(pl.concat([each.metrics for each in alone]))
    assert together.swings.equals(pl.concat([each.swings for each in alone]))
