"""Shared by the swing tests: invented swings, the plain reference, and a one-swing reduction."""

import importlib.util
import sys
from pathlib import Path
from types import SimpleNamespace

import pytest

from models.swing.reduce import reduce_session
from warehouse.definitions import metric_codes


def _load(name):
    spec = importlib.util.spec_from_file_location(f"swing_{name}", Path(__file__).with_name(f"{name}.py"))
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module  # dataclasses look their module up
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="session")
def build():
    """The builders of swing_builders.py."""
    return _load("swing_builders")


@pytest.fixture(scope="session")
def plain():
    """The plain NumPy and SciPy reference."""
    return _load("plain_reference")


@pytest.fixture(scope="session")
def reduced(build):
    """Reduce one swing: metrics by name (None for null), with crossing, heel_source, flags and usable."""

    def run(
        columns, rate=500.0, events=None, *, t0_s=0.0, error_s=0.0, stance_mm=None, body_mass_kg=None, **more
    ):
        marked = build.TIMES if events is None else events
        result = reduce_session(
            build.trace_of([columns], [rate], t0_s=t0_s),
            build.swing_rows(1),
            build.event_rows([marked], t0_s=t0_s, error_s=error_s),
            stance_mm=stance_mm,
            body_mass_kg=body_mass_kg,
            **more,
        )
        row, swing = result.metrics.row(0, named=True), result.swings.row(0, named=True)
        return SimpleNamespace(
            **{name: row[name] for name in (*metric_codes(), "crossing")},
            heel_source=swing["heel_source"],
            flags=dict(zip(swing["flags"], swing["flag_counts"], strict=True)),
            usable=swing["usable"],
            frame=result.metrics,
        )

    return run


@pytest.fixture(scope="session")
def good_plan(build):
    """A swing by the book (common practice, no source); each test that uses it says what it checks."""
    p = build.posts
    return build.Plan(
        share=p(50, mid_back=30, top__90=26, top=36, mid_down=70, impact=74, finish=92),
        lead_along=p(50, mid_back=55, top=58, mid_down=54, impact=44, finish=40),
        trail_along=p(50, mid_back=47, top=46, mid_down=66, impact=76, finish=84),
        lead_heel=p(40, mid_back=26, top=24, mid_down=36, impact=50, finish=55),
        trail_heel=p(40, mid_back=42, top=42, mid_down=6, impact=1, finish=0),
        total=p(100, mid_back=100, top=98, mid_down=128, impact=120, finish=100),
    )
