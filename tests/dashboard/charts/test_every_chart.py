"""What holds for every picture, whatever it draws: its tooltips, its axes, its labels and its target's strip."""

import pkgutil
import re
from datetime import date
from importlib import import_module

import polars as pl
import pytest
import vl_convert
from hypothesis import given
from hypothesis import strategies as some

import chart_rows
import chart_rules
from dashboard import charts, theme
from dashboard.charts import (
    ball_links,
    calibration_goals,
    coach_funnel,
    drill_forest,
    eye_and_plate,
    fault_ladder,
    foot_lines,
    heel_lanes,
    left_out,
    load_curve,
    look,
    practice_weeks,
    reliability,
    season_line,
    small_multiples,
    spark,
    ten_swings,
)
from dashboard.charts.load_curve import SwingCurves
from dashboard.charts.small_multiples import Comparison

POSTS = pl.DataFrame({"event": ["top", "mid_down"], "lo": [25.0, 65.0], "hi": [50.0, None]})
TIMES = {event: 0.4 * k for k, event in enumerate(chart_rows.EVENTS)}
LINKS = pl.DataFrame(
    {
        "name": ["Weight on the front foot, at impact", "Backswing time"], "position": [0, 1],
        "per_sd": [3.14159, -0.5], "lo": [1.23456, -2.0], "hi": [5.0, 1.0], "n_sessions": [8, 8],
        "label": ["goes_together", "not_clear"],
    }
)  # fmt: skip
PRACTICE = pl.DataFrame({"day": [date(2026, 3, 2)], "dose": [10.5], "unit": ["minutes"]})


def curves(**more):
    return SwingCurves(
        chart_rows.EVENTS,
        chart_rows.course(),
        chart_rows.lanes(),
        chart_rows.places(),
        POSTS,
        times=TIMES,
        **more,
    )


# Every module with a picture, by its name: that picture, at a desk or on a phone.
DRAW = {
    "ball_links": lambda narrow: ball_links.picture(LINKS, "carry_m", "x", narrow=narrow),
    "calibration_goals": lambda narrow: calibration_goals.picture(chart_rows.CLAIM, "x", narrow=narrow),
    "coach_funnel": lambda narrow: coach_funnel.picture(chart_rows.GAINS, "x", narrow=narrow),
    "drill_forest": lambda narrow: drill_forest.picture(chart_rows.EFFECTS, "x", narrow=narrow),
    "eye_and_plate": lambda narrow: eye_and_plate.picture(chart_rows.SEEN, "x", narrow=narrow),
    "fault_ladder": lambda narrow: fault_ladder.picture(chart_rows.rates(), "x", narrow=narrow),
    "foot_lines": lambda narrow: foot_lines.picture(curves(), "x", narrow=narrow),
    "heel_lanes": lambda narrow: heel_lanes.picture(curves(), "x", narrow=narrow),
    "left_out": lambda narrow: left_out.picture(chart_rows.OUT, "Reason", "x", narrow=narrow),
    "load_curve": lambda narrow: load_curve.picture(curves(), "x", narrow=narrow),
    "practice_weeks": lambda narrow: practice_weeks.picture(
        practice_weeks.weeks(PRACTICE, date(2026, 3, 17)), "x", narrow=narrow
    ),
    "reliability": lambda narrow: reliability.picture(chart_rows.RELIABLE, "x", narrow=narrow),
    "season_line": lambda narrow: season_line.picture(
        chart_rows.season_of(line=chart_rows.sessions().drop("n")), "x", narrow=narrow
    ),
    "small_multiples": lambda narrow: small_multiples.picture(
        Comparison(chart_rows.several(), chart_rows.SHARE, (65.0, 75.0)), "x", narrow=narrow
    ),
    "ten_swings": lambda narrow: ten_swings.picture(
        pl.DataFrame({"when": ["lately", "before"], "good": [0.8, 0.3]}), "x", narrow=narrow
    ),
}  # fmt: skip


def test_every_module_with_a_picture_is_among_them():
    modules = {found.name for found in pkgutil.iter_modules(charts.__path__)}
    assert {name for name in modules if hasattr(import_module(f"dashboard.charts.{name}"), "picture")} == set(
        DRAW
    )


@pytest.mark.parametrize("narrow", [False, True], ids=["desk", "phone"])
@pytest.mark.parametrize("name", DRAW)
def test_tooltips_have_names_and_written_numbers_axes_a_noun_and_no_label_on_a_phone_is_slanted(name, narrow):
    assert chart_rules.broken(DRAW[name](narrow).to_dict(), narrow=narrow) == []


@pytest.mark.parametrize("name", DRAW)
def test_every_picture_can_be_drawn_without_a_browser(name):
    svg = vl_convert.vegalite_to_svg(DRAW[name](narrow=False).to_dict())
    assert svg.startswith("<svg")
    assert "NaN" not in svg


def test_the_rules_find_what_breaks_them():
    raw = {
        "mark": "point",
        "encoding": {
            "x": {"field": "name", "type": "nominal"},
            "y": {"field": "mean", "type": "quantitative", "title": "%"},
            "tooltip": [{"field": "band_lo", "type": "quantitative", "title": "band_lo"}],
        },
    }
    assert chart_rules.broken(raw, narrow=True) == [
        "marks without a tooltip of their own show their columns",
        "the tooltip of band_lo is called band_lo",
        "the tooltip of band_lo shows the number as it is",
        "the y axis is called ['%']",
        "the labels of x are turned by 270°",
    ]


def taken(spec, layer, channel):
    """Which part of a frame's height, or width, the strip of a layer takes at most."""
    unit = spec["layer"][layer] if "layer" in spec else spec["spec"]["layer"][layer]
    data = unit.get("data", spec.get("data", {}))["name"]
    scales = [
        one["encoding"].get(channel, {}).get("scale", {}) for view in chart_rules.views(spec) for one in view
    ]
    low, high = next(scale["domain"] for scale in scales if "domain" in scale)
    ends = [re.sub(r".*\(|\)", "", unit["encoding"][end]["field"]) for end in (channel, f"{channel}2")]
    return max(abs(row[ends[1]] - row[ends[0]]) / (high - low) for row in spec["datasets"][data])


BANDS = [(60.0, 64.0), (40.0, 90.0), (None, 75.0), (58.0, None), (61.0, 61.0)]


@pytest.mark.parametrize("band", BANDS)
def test_a_target_takes_two_thirds_of_a_season_at_most(band):
    bare = {"ticks": chart_rows.TICKS.clear(), "changes": chart_rows.CHANGES.clear()}
    spec = season_line.picture(chart_rows.season_of(band=band, line=chart_rows.LINE, **bare), "x").to_dict()
    assert 0 <= taken(spec, 0, "y") <= 2 / 3


@pytest.mark.parametrize("band", BANDS)
def test_a_target_takes_two_thirds_of_a_small_panel_at_most(band):
    spec = small_multiples.picture(
        Comparison(chart_rows.several().filter(student="Zora"), chart_rows.SHARE, band), "x"
    ).to_dict()
    assert 0 <= taken(spec, 0, "y") <= 2 / 3


def test_a_goal_takes_two_thirds_of_its_picture_at_most_and_so_does_what_is_too_small_to_matter():
    near = chart_rows.CLAIM.filter(truth="slopes differ").with_columns(figure=pl.lit(0.9))
    assert 0 < taken(calibration_goals.picture(near, "x").to_dict(), 0, "x") <= 2 / 3
    small = chart_rows.EFFECTS.with_columns(pl.col("^(kept|same_day).*$") / 1000)
    assert 0 < taken(drill_forest.picture(small, "x").to_dict(), 0, "x") <= 2 / 3


@pytest.mark.parametrize("band", BANDS)
def test_a_target_takes_two_thirds_of_the_smallest_picture_at_most(band):
    svg = spark.spark([61.0, 62.0, 63.0], band)
    (height,) = re.findall(rf'height="([\d.]+)" fill="{theme.BAND}"', svg)
    assert float(height) <= spark.HEIGHT * 2 / 3 + spark.EDGE


def test_the_smallest_picture_without_a_target_uses_its_whole_height():
    (line,) = re.findall('points="(.*?)"', spark.spark([60.0, 62.5, 65.0], (None, None)))
    heights = [float(point.split(",")[1]) for point in line.split()]
    assert heights == [spark.HEIGHT - spark.EDGE, spark.HEIGHT / 2, spark.EDGE]


values = some.floats(-1e4, 1e4).map(lambda v: round(v, 3))


@given(some.lists(values | some.none(), max_size=6), some.none() | values, some.none() | values)
def test_a_scale_holds_every_value_and_its_target_and_leaves_room_beside_it(found, one, two):
    band = (one, two) if one is None or two is None else (min(one, two), max(one, two))
    low, high = look.reach(found, band)
    known = [v for v in (*found, *band) if v is not None]
    assert low < high
    assert all(low < v < high for v in known)
    lo, hi = look.strip(band, low, high)
    assert (lo is None) == (band == (None, None))
    if lo is not None:
        assert hi - lo <= look.BAND_ROOM * (high - low) * (1 + 1e-9)
