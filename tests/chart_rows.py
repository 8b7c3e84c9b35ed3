"""Rows of every kind of picture: small invented ones, for whoever looks at how they are drawn."""

from datetime import date, timedelta

import polars as pl

from dashboard.charts import coach_funnel, heel_lanes, load_curve, season_line
from dashboard.charts.foot_lines import LEAD_FOOT, TRAIL_FOOT
from dashboard.text.numbers import Measure

SHARE = Measure("mid_back_trail_share_pct", "Trail share going back", "%", "Halfway back.", "band", 0)

START = date(2026, 1, 12)

EVENTS = ("address", "takeaway", "top", "impact", "finish")


def sessions(n=4, swings=8):
    return pl.DataFrame(
        {
            "day": [START + timedelta(days=14 * k) for k in range(n)],
            "mean": [60.0 + k for k in range(n)],
            "lo": [58.0 + k for k in range(n)],
            "hi": [62.0 + k for k in range(n)],
            "n": [swings] * n,
        }
    )


LINE = sessions().drop("n").clear()

TICKS = pl.DataFrame({"day": [START, START], "kind": ["lesson", "drill"], "what": ["Lesson", "A drill"]})

CHANGES = pl.DataFrame({"day": [START + timedelta(days=20)], "device": ["plates-west"]})


def season_of(**more):
    given = {
        "measure": SHARE,
        "sessions": sessions(),
        "line": LINE,
        "band": (65.0, 75.0),
        "ticks": TICKS,
        "changes": CHANGES,
    } | more
    return season_line.SeasonLine(**given)


def course():
    rows = []
    for which, shift in ((load_curve.THIS, 0.0), (load_curve.FIRST, 10.0)):
        rows += [
            {"which": which, "position": k / 2, "mean": 50 + k + shift, "lo": 48.0 + k, "hi": 52.0 + k}
            for k in range(9)
        ]
    return pl.DataFrame(rows)


def lanes():
    values = {heel_lanes.LEAD: 30.0, heel_lanes.TRAIL: 12.0, LEAD_FOOT: 60.0, TRAIL_FOOT: 40.0}
    rows = [
        {"which": which, "foot": foot, "position": float(k), "mean": values[foot] + k}
        for which, feet in ((heel_lanes.THIS, values), (heel_lanes.FIRST, heel_lanes.HEELS))
        for foot in feet
        for k in range(5)
    ]
    return pl.DataFrame(rows).with_columns(lo=pl.col("mean") - 2, hi=pl.col("mean") + 3)


def rates():
    rows = []
    for position, name in enumerate(
        ("Crosses late", "Both feet go to the heels going back", "Both feet go to the toes coming down")
    ):
        for span, rate in (("before", 0.6), ("now", 0.2)):
            rows.append(
                {"fault": name, "position": position, "span": span, "rate": rate, "rate_lo": rate - 0.1, "rate_hi": rate + 0.1,
                 "flagged": 2, "usable": 10, "label": "better" if position else "not_clear"}
            )  # fmt: skip
    return pl.DataFrame(rows)


def several():
    return pl.concat(
        [
            sessions().with_columns(
                student=pl.lit(name),
                label=pl.lit(label, pl.String),
                mean=pl.col("mean") - shift,
                lo=pl.col("lo") - shift,
            )
            for name, label, shift in (
                ("Zora", "improving", 0),
                ("Anna", None, 30),
                ("Mila", "not_clear", 10),
            )
        ],
        how="diagonal",
    )


def places():
    """Lead 52 → 66 → 45, trail 52 → 42 → 80; the trail foot is off the ground at the last event."""
    rows = [("lead foot", k, v) for k, v in enumerate((52.0, 62.0, 66.0, 45.0, 48.0))]
    rows += [("trail foot", k, v) for k, v in enumerate((52.0, 44.0, 42.0, 80.0))]
    rows = [(foot, float(k), v) for foot, k, v in rows]
    drawn = pl.DataFrame(rows, schema=["foot", "position", "mean"], orient="row")
    return drawn.with_columns(lo=pl.col("mean") - 2, hi=pl.col("mean") + 3)


def effect(row, kept, label="helps", **more):
    return {
        "row": row, "kept": kept, "kept_lo": None if kept is None else kept - 4, "kept_hi": None if kept is None else kept + 4,
        "same_day": 6.0, "same_day_lo": 2.0, "same_day_hi": 10.0, "swc": 2.0, "unit": "points", "places": 0,
        "label": label, "n_students": 12, "n_doses": 30,
    } | more  # fmt: skip


EFFECTS = pl.DataFrame([effect("Early bump", 5.0), effect("Slow count", -1.0, "no_clear_effect")])


def gain(name, raw, se, **more):
    limits = {
        "lo80": 0.2 - 1.282 * se,
        "hi80": 0.2 + 1.282 * se,
        "lo95": 0.2 - 1.96 * se,
        "hi95": 0.2 + 1.96 * se,
    }
    return {"name": name, "own": False, "raw": raw, "raw_se": se, "overall": 0.2, "n_students": 10,
            "gain": raw, "gain_lo": raw - se, "gain_hi": raw + se} | limits | more  # fmt: skip


GAINS = pl.DataFrame(
    [
        gain("Caro", 0.9, 0.2, own=True),
        gain(coach_funnel.OTHER, 0.1, 0.3),
        gain(coach_funnel.OTHER, 0.52, 0.2),
    ]
)

RELIABLE = pl.DataFrame(
    [
        {"label": "Lead share", "icc_session": 0.82, "sem": 1.4, "sdc95": 3.9, "swings_wanted": 8, "unit": "%", "decimals": 0, "n_students": 12, "n_sessions": 60},
        {"label": "Crossing", "icc_session": None, "sem": 0.02, "sdc95": 0.06, "swings_wanted": None, "unit": "s", "decimals": 2, "n_students": 3, "n_sessions": 9},
        {"label": "Heel", "icc_session": 0.44, "sem": 2.0, "sdc95": 5.5, "swings_wanted": 12, "unit": "%", "decimals": 0, "n_students": 12, "n_sessions": 60},
    ]
)  # fmt: skip

CLAIM = pl.DataFrame(
    [
        {"claim": "Intervals hold the truth", "truth": truth, "students": n, "figure": f, "goal": goal, "goal_lo": lo, "goal_hi": hi, "met": met, "n_academies": 60, "unit": "share"}
        for truth, n, f, goal, lo, hi, met in (
            ("slopes differ", 20, 0.91, "88 to 92 %", 0.88, 0.92, True),
            ("slopes differ", 40, 0.86, "88 to 92 %", 0.88, 0.92, False),
            ("improve, then flat", 20, 0.79, None, None, None, None),
        )
    ],
    infer_schema_length=None,
)  # fmt: skip

SEEN = pl.DataFrame(
    [
        {"name": "Crosses late", "position": 1, "n": 30, "agree_pct": 80.0, "kappa": 0.31, "kappa_lo": 0.1, "kappa_hi": 0.5, "seen_only": 2, "measured_only": 4},
        {"name": "No re-centring", "position": 0, "n": 30, "agree_pct": 95.0, "kappa": 0.7, "kappa_lo": 0.5, "kappa_hi": 0.9, "seen_only": 1, "measured_only": 1},
        {"name": "Trail heel sinks", "position": 2, "n": 4, "agree_pct": 100.0, "kappa": None, "kappa_lo": None, "kappa_hi": None, "seen_only": 0, "measured_only": 0},
    ]
)  # fmt: skip

OUT = pl.DataFrame(
    {
        "week": [date(2026, 1, 12), date(2026, 1, 19), date(2026, 1, 19)],
        "group": ["Samples missing", "Samples missing", "No consent"],
        "n": [3, 2, 1],
    }
)
