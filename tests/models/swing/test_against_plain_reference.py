"""The kernel against the plain NumPy and SciPy reference, to 1e-6, on swings of every kind."""

import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from models.swing.formulas import plate_codes

STANCE = [220.0, 0.0, 250.0, 265.0, -215.0, 5.0, -240.0, 268.0]


def agree(kernel, reference, columns, rate, events):
    wanted = reference(columns, rate, events)
    assert kernel.crossing == wanted.pop("crossing")
    for name, value in wanted.items():
        got = getattr(kernel, name)
        assert (got is None) == math.isnan(value), name
        if got is not None:
            assert got == pytest.approx(value, rel=1e-6, abs=1e-6), name


@pytest.mark.parametrize("rate", [50.0, 60.0, 100.0, 125.0, 240.0, 500.0, 999.5, 2000.0])
@pytest.mark.parametrize("heels", ["measured", "estimated"])
def test_kernel_and_reference_agree_at_every_rate(build, plain, reduced, good_plan, rate, heels):
    columns = good_plan.columns(rate, noise=0.004, seed=int(rate))
    if heels == "estimated":
        columns = {k: v for k, v in columns.items() if "heel" not in k}
    got = reduced(columns, rate)
    assert got.heel_source == heels
    agree(got, plain.plain_metrics, columns, rate, build.TIMES)


def test_kernel_and_reference_agree_on_delivered_whole_body_pressure(build, plain, reduced, good_plan):
    columns = good_plan.columns(500.0, noise=0.004)
    rng = np.random.default_rng(3)
    for name in ("cop_x_mm", "cop_y_mm"):
        columns[name] = (rng.normal(0, 0.4, columns["lead_n"].size).cumsum() * 0.2).astype(np.float32)
    columns["cop_x_mm"][150:160] = np.nan
    got = reduced(columns)
    assert got.address_sway_speed_mm_s > 0
    agree(got, plain.plain_metrics, columns, 500.0, build.TIMES)


def test_kernel_and_reference_agree_on_pressure_from_the_two_feet(build, plain, reduced, good_plan):
    columns = good_plan.columns(250.0, noise=0.004)
    rng = np.random.default_rng(4)
    for name in ("lead_across_mm", "trail_across_mm"):
        columns[name] = rng.normal(0, 1.0, columns["lead_n"].size).astype(np.float32)
    got = reduced(columns, 250.0, stance_mm=STANCE)
    assert got.address_sway_speed_mm_s > 0

    def reference(columns, rate, events):
        return plain.plain_metrics(columns, rate, events, stance=STANCE)

    agree(got, reference, columns, 250.0, build.TIMES)


@settings(max_examples=30, deadline=None)
@given(
    rate=st.sampled_from([50.0, 100.0, 200.0, 333.0, 500.0, 1000.0]),
    seed=st.integers(0, 10_000),
    missing=st.sets(
        st.sampled_from(["address", "takeaway", "mid_back", "top", "mid_down", "impact", "finish"])
    ),
    shifts=st.lists(st.floats(-0.3, 0.3), min_size=7, max_size=7),
    gaps=st.lists(st.tuples(st.integers(0, 5), st.floats(0, 1), st.floats(0, 0.08)), max_size=6),
    levels=st.lists(st.floats(2, 98), min_size=6, max_size=6),
    dropped=st.sets(st.sampled_from(["lead_heel_n", "lead_along_pct"])),
)
@example(
    rate=50.0,
    seed=0,
    missing=set(),
    shifts=[0.0] * 7,
    gaps=[(1, 0.125, 0.0625)],
    levels=[2.0, 2.0, 2.0, 2.0, 17.0, 2.0],
    dropped=set(),
)  # under half of the quiet stand known: no noise, so no opposition
@example(
    rate=50.0,
    seed=0,
    missing={"address"},
    shifts=[0.0] * 7,
    gaps=[],
    levels=[2.0, 2.0, 23.0, 51.0, 2.0, 2.0],
    dropped=set(),
)  # no body weight, and yet the trail foot lightens: no push
def test_kernel_and_reference_agree_whatever_is_missing(
    build, plain, reduced, rate, seed, missing, shifts, gaps, levels, dropped
):
    """Events lost or out of order, samples lost, feet off the ground, columns not delivered."""
    times = dict(zip(("mid_back", "top", "mid_down", "impact", "finish"), levels[1:], strict=True))
    plan = build.Plan(
        share=build.posts(levels[0], **times),
        lead_along=build.posts(50, mid_back=20, top=60, impact=levels[2], finish=levels[3]),
        trail_along=build.posts(45, mid_back=70, top=30, impact=levels[4], finish=levels[5]),
        lead_heel=build.posts(40, mid_back=60, top=10, impact=50),
        trail_heel=build.posts(40, mid_back=20, top=60, impact=5),
        total=build.posts(100, top=90, mid_down=150, impact=110, finish=100),
    )
    columns = plan.columns(rate, noise=0.003, seed=seed)
    names = sorted(columns)
    for place, at, width in gaps:
        first = int(at * columns["lead_n"].size)
        columns[names[place]][first : first + int(width * columns["lead_n"].size)] = np.nan
    columns = {k: v for k, v in columns.items() if k not in dropped}
    events = {
        e: t + shift for (e, t), shift in zip(build.TIMES.items(), shifts, strict=True) if e not in missing
    }
    agree(reduced(columns, rate, events), plain.plain_metrics, columns, rate, events)


def test_what_the_reference_does_not_compute_is_worked_by_hand(build, plain, good_plan):
    computed = plain.plain_metrics(good_plan.columns(500.0), 500.0, build.TIMES)
    by_hand = (Path(__file__).parent / "test_metrics_by_hand.py").read_text(encoding="utf-8")
    assert [name for name in plate_codes() if name not in computed and name not in by_hand] == []
