"""Two swings every coach knows, and what the rules say to them. All of it: common practice, no source."""

import polars as pl
import pytest

from models.swing import faults

CLIPLESS = {"lead_heel_high"}  # needs a clip
NO_COP = {"unsteady_at_address"}  # needs a whole-body centre of pressure


@pytest.fixture
def poor_plan(build):
    """The commonest poor pattern: heels, heels, toes, push.

    In both heels at set-up (along 28); both feet to the heels together going back; both to the toes together
    coming down; the trail foot presses harder after the top instead of lightening.
    """
    p = build.posts
    return build.Plan(
        share=p(50, mid_back=38, top=37, top_ms60=28, mid_down=46, impact=66, finish=86),
        lead_along=p(28, mid_back=18, top=14, mid_down=52, impact=60, finish=55),
        trail_along=p(28, mid_back=19, top=15, mid_down=56, impact=70, finish=84),
        lead_heel=p(72, mid_back=84, top=88, mid_down=30, impact=20, finish=25),
        trail_heel=p(72, mid_back=84, top=88, mid_down=26, impact=12, finish=0),
        total=p(100, top=100, mid_down=125, impact=118, finish=100),
    )


def judged(reduced, build, plan, *, measured, noise=0.0, family="iron", rate=500.0):
    columns = plan.columns(rate, noise=noise)
    if not measured:
        columns = {k: v for k, v in columns.items() if "heel" not in k}
    got = reduced(columns, rate)
    swings = build.swing_rows(1, club_family=[family]).with_columns(
        flags=pl.lit([], dtype=pl.List(pl.String))
    )
    no_styles = pl.DataFrame(schema=dict.fromkeys(("session", "club_family", "style"), pl.String))
    rows = faults.judge(got.frame, swings, faults.load_rules(), no_styles)
    return got, {row["fault"]: row for row in rows.iter_rows(named=True)}


def flagged(rows):
    return {fault for fault, row in rows.items() if row["flagged"]}


@pytest.mark.parametrize("noise", [0.0, 0.003])
@pytest.mark.parametrize("measured", [True, False])
def test_a_swing_by_the_book_raises_no_fault(reduced, build, good_plan, measured, noise):
    got, rows = judged(reduced, build, good_plan, measured=measured, noise=noise)
    assert flagged(rows) == set()
    unjudged = {fault for fault, row in rows.items() if row["flagged"] is None}
    assert unjudged == CLIPLESS | NO_COP
    assert 45 <= got.address_lead_share_pct <= 55
    assert got.mid_back_trail_share_pct == pytest.approx(70, abs=1.5)
    assert got.lead_heel_unload_pct_bw > 8
    assert got.recentre_pts >= 5
    assert got.mid_down_lead_share_pct == pytest.approx(70, abs=1.5)
    assert got.trail_heel_unload_pct_bw > 8
    assert 0 <= got.impact_gain_pts <= 8
    assert got.impact_trail_heel_pct_bw <= 3


@pytest.mark.parametrize("noise", [0.0, 0.003])
@pytest.mark.parametrize("measured", [True, False])
def test_the_commonest_poor_pattern_raises_its_four_faults(reduced, build, poor_plan, measured, noise):
    _, rows = judged(reduced, build, poor_plan, measured=measured, noise=noise)
    wanted = {"heels_at_address", "heels_together_back", "toes_together_down", "trail_push"}
    consequences = {
        "lead_heel_heavy": "both heels load together, so the lead heel can't lighten",
        "no_recentre": "the load is still held on the trail foot to push from",
        "little_lead_load": "pushing off the trail foot keeps load on it halfway down",
        "late_crossing": "the same push, a moment later",
        "trail_heel_down": "a heel that was never lightened is still down at impact",
        "trail_heel_sink": "the trail foot's part of both feet going to the heels",
        "feet_alike_back": "both feet to the heels is both heels doing the same",
        "feet_alike_down": "both feet to the toes likewise",
        "late_back": "no re-centring, on the clock",
        "target_drift": "what crosses late gains all of it in the end",
    }
    assert wanted <= flagged(rows)
    assert flagged(rows) - wanted <= set(consequences)


def test_the_poor_pattern_is_clear_not_borderline(reduced, build, poor_plan):
    _, rows = judged(reduced, build, poor_plan, measured=True)
    for fault in ("heels_at_address", "toes_together_down", "trail_push"):
        assert rows[fault]["severity"] >= 0.5, fault


@pytest.mark.parametrize("family", ["hybrid", "wood", "driver"])
def test_only_the_small_gain_and_the_late_crossing_are_not_judged_for_the_long_clubs(
    reduced, build, poor_plan, family
):
    _, rows = judged(reduced, build, poor_plan, measured=True, family=family)
    assert {rows[fault]["flagged"] for fault in ("late_crossing", "target_drift")} == {None}
    for fault in ("heels_at_address", "trail_push", "little_lead_load", "toes_together_down"):
        assert rows[fault]["flagged"] is True, fault
    assert rows["trail_heel_down"]["flagged"] is not None


def test_a_putt_is_not_judged(reduced, build, poor_plan):
    _, rows = judged(reduced, build, poor_plan, measured=True, family="putter")
    assert {row["flagged"] for row in rows.values()} == {None}


@pytest.mark.parametrize(
    ("fault", "changes"),
    [
        ("toes_at_address", {"lead_along": ("level", 74), "trail_along": ("level", 60)}),
        ("uneven_at_address", {"share": ("posts", 62, {"mid_back": 30, "top__90": 26, "top": 36, "mid_down": 70, "impact": 74, "finish": 92})}),
        ("stays_centred", {"share": ("posts", 50, {"mid_back": 45, "top__90": 40, "top": 46, "mid_down": 70, "impact": 74, "finish": 92})}),
        ("trail_heel_sink", {"trail_along": ("posts", 50, {"top": 30, "mid_down": 66, "impact": 76})}),
        ("lead_heel_heavy", {"lead_heel": ("posts", 40, {"mid_back": 66, "top": 62, "impact": 40})}),
        ("no_recentre", {"share": ("posts", 50, {"mid_back": 32, "top": 25, "mid_down": 70, "impact": 74, "finish": 92})}),
        ("reverse_load", {"share": ("posts", 50, {"mid_back": 35, "top": 66, "mid_down": 72, "impact": 74, "finish": 92})}),
        ("late_crossing", {"share": ("posts", 50, {"mid_back": 30, "top__90": 26, "top": 36, "mid_down": 46, "impact": 74, "finish": 92})}),
        ("little_lead_load", {"share": ("posts", 50, {"mid_back": 30, "top__90": 26, "top": 36, "mid_down": 52, "impact": 58, "finish": 92})}),
        ("target_drift", {"share": ("posts", 50, {"mid_back": 30, "top__90": 26, "top": 36, "mid_down": 72, "impact": 93, "finish": 96})}),
        ("trail_heel_down", {"trail_heel": ("posts", 40, {"mid_back": 42, "top": 46, "mid_down": 40, "impact": 40, "finish": 0})}),
        ("rocking_start", {"lead_along": ("lines", [(0.0, 50), (1.0, 50), (1.15, 66), (1.4, 50)])}),
    ],
)  # fmt: skip
def test_each_fault_is_raised_by_the_change_it_is_named_for(reduced, build, good_plan, fault, changes):
    """One thing of the good swing is changed; its own fault must be among those raised."""
    made = {}
    for name, (kind, *rest) in changes.items():
        made[name] = {
            "level": build.level, "posts": lambda start, at: build.posts(start, **at), "lines": build.Lines,
        }[kind](*rest)  # fmt: skip
    plan = build.Plan(**(vars(good_plan) | made))
    _, rows = judged(reduced, build, plan, measured=True)
    assert fault in flagged(rows)
