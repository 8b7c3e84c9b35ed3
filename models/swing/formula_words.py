"""The words of the formulas in metrics.toml: signals, events, points and operations, and what each gives.

formula_language.py turns them into Python; formulas.py says how a formula is put together.
"""

import ast

from warehouse.vocabulary import EVENTS, POINTS

SIGNALS = {  # name: row of `lines` in conditioning.py, what it is
    "lead_share": ("SHARE", "lead load, % of both; null where both carry under 10 % of body weight"),
    "trail_share": ("TRAIL", "100 − lead share"),
    "lead_load": ("LOAD_L", "N, filtered at min(50 Hz, rate/4)"),
    "trail_load": ("LOAD_T", "the same of the trail foot"),
    "total_load": ("TOTAL", "lead + trail load, N"),
    "lead_along": ("ALONG_L", "% of foot length from the heel, at 20 Hz; null where the foot is off (5 %)"),
    "trail_along": ("ALONG_T", "the same of the trail foot"),
    "lead_heel": ("HEEL_L", "heel load, N; unmeasured: load · clip((70 − along)/55, 0, 1)"),
    "trail_heel": ("HEEL_T", "the same of the trail foot"),
    "lead_heel_share": ("HEEL_SHARE_L", "heel load, % of that foot's load"),
    "trail_heel_share": ("HEEL_SHARE_T", "the same of the trail foot"),
    "lead_heel_part": ("PART_L", "heel load, % of the total load, at 15 Hz"),
    "trail_heel_part": ("PART_T", "the same of the trail foot"),
}
LOADS = ("LOAD_L", "LOAD_T", "TOTAL", "HEEL_L", "HEEL_T")
RISES = {"lead_heel_rise": "lead", "trail_heel_rise": "trail"}  # mm, on the clip, over the height at address
BODY = "body_pressure"  # whole-body centre of pressure, mm, at 5 Hz
CROSSING = "crossing"  # the moment lead share rises through 50 for good between top and impact
POINT_NAMES = {f"{point}_point": place for place, point in enumerate(POINTS)}  # on the floor, from the stance
OPERATIONS = {  # name: kinds of its arguments, an example, what it gives
    "at": (("signal", "event"), "at(lead_share, top)", "mean within ±10 ms of an event, ±150 ms of address"),
    "least": (("signal", "from", "to"), "least(lead_share, takeaway, top)", "least sample"),
    "highest": (("signal", "from", "to"), "highest(trail_load, top, mid_down)", "highest sample"),
    "reach": (("signal", "from", "to"), "reach(lead_along, takeaway, top)", "highest less least"),
    "peak": (
        ("signal", "seconds", "from", "to"), "peak(trail_share, 0.04, takeaway, top)",
        "highest mean over so many seconds; a mean at the border is cut there",
    ),
    "trough": (
        ("signal", "seconds", "from", "to"), "trough(lead_heel_share, 0.04, mid_back, top)",
        "least mean over so many seconds, cut at the border likewise",
    ),
    "at_highest": (
        ("signal", "signal", "from", "to"), "at_highest(total_load, trail_load, top, mid_down)",
        "the first signal where the second is highest",
    ),
    "time_back": (
        ("signal", "points", "from", "to"), "time_back(trail_share, 5, takeaway, mid_down)",
        "moment a signal has come so many points back from its highest; the window's end when it has not",
    ),
    "time_of_peak": (
        ("signal", "seconds", "from", "to"), "time_of_peak(trail_share, 0.04, takeaway, top)",
        "its moment: the weighted centre of all means within 0.1 of it",
    ),
    "time_of_highest": (
        ("signal", "from", "to"), "time_of_highest(total_load, top, finish_or_end)",
        "moment of the highest sample: the weighted centre of all within 0.1 (loads: 0.1 % of weight)",
    ),
    "steepest": (
        ("signal", "seconds", "from", "to"), "steepest(lead_share, 0.06, top, impact)",
        "highest least-squares slope over so many seconds, a second",
    ),
    "opposition": (
        ("signal", "signal", "from", "to"), "opposition(lead_heel_part, trail_heel_part, takeaway, top)",
        "−∫u·v dt/√(∫u²·∫v²) of their rates; null where one moves by under 8 or 15 × its sd at address",
    ),
    "opposition_of_moves": (
        ("signal", "signal", "seconds", "from", "to"),
        "opposition_of_moves(lead_heel_share, trail_heel_share, 0.06, takeaway, top)",
        "−ΣΔu·Δv/√(ΣΔu²·ΣΔv²) of their moves over so many seconds; 0 where one moves by under 8",
    ),
    "heel_order": (
        ("signal", "signal"), "heel_order(lead_heel_share, trail_heel_share)",
        "lead heel down (within 8 of its share) less trail heel up (half gone), ms; on film: half its height",
    ),
    "heel_order_error": (
        ("signal", "signal"), "heel_order_error(lead_heel_share, trail_heel_share)",
        "standard error of the same, ms: each heel's sd at address over its slope at its moment",
    ),
    "moves_after": (
        ("rise", "event"), "moves_after(trail_heel_rise, impact)",
        "s from an event to when a filmed heel moves: the trail heel is half way up, the lead heel half down",
    ),
    "slowest": (
        ("body", "seconds", "event"), "slowest(body_pressure, 1.0, takeaway)",
        "least path over exactly so many seconds before an event, over that time",
    ),
    "before": (("event", "seconds"), "before(takeaway, 0.5)", "start of a window so long before an event"),
    "after": (("event", "seconds"), "after(takeaway, 0.25)", "end of a window so long after an event"),
    "distance": (("point", "point"), "distance(lead_heel_point, trail_heel_point)", "on the floor, mm"),
    "of_weight": (("number",), "of_weight(at(trail_heel, impact))", "a load as % of body weight"),
    "smaller": (("number", "number"), "smaller(a, b)", "the smaller; null when either is"),
    "larger": (("number", "number"), "larger(a, b)", "the larger; null when either is"),
    "positive": (("number",), "positive(impact - top)", "null unless over 0"),
}  # fmt: skip
FITS = {"from": ("event", "start", "moment"), "to": ("event", "end", "stop"), "signal": ("signal", "rise")}
NAMED = {
    "signal": "a signal", "event": "an event", "from": "the event a window starts at",
    "to": "the event a window ends at",
    "seconds": "a length in seconds over 0", "points": "a number of points over 0",
    "rise": "a heel's rise on film", "body": BODY, "point": "a heel or toe point",
    "number": "a number",
}  # fmt: skip
ARITHMETIC = {ast.Add: "{} + {}", ast.Sub: "{} - {}", ast.Mult: "{} * {}", ast.Div: "ops.ratio({}, {})"}
COMPARISONS = {ast.Lt: "<", ast.LtE: "<=", ast.Gt: ">", ast.GtE: ">="}
WORDS = {  # every name that is no operation and no metric: its kind and code
    **{name: ("signal", line) for name, (line, _) in SIGNALS.items()},
    **{name: ("rise", foot) for name, foot in RISES.items()},
    **{name: ("event", str(place)) for place, name in enumerate(EVENTS)},
    **{name: ("point", str(place)) for name, place in POINT_NAMES.items()},
    BODY: ("body", ""), CROSSING: ("moment", "crossing", f"at[{EVENTS.index('impact')}]"),
    "finish_or_end": ("end", ""), "null": ("number", "math.nan"),
}  # fmt: skip
