"""Which of our plate columns an unknown column is, and in what unit, for a device table to propose.

Idea: words of the trade in its name say what it is (a side, and load, place or clock); its unit is the one
the file states, in the name or in a line of units, else the only one whose usual range holds its values
(both feet together carry 300 to 1,700 N; a clock steps by 1/2,000 to 1/50 s; a foot is up to 340 mm long).
Every decision that is not stated is a guess and says so; where two units fit alike, none is chosen and a
question is asked instead. Ranges are common practice, no source.
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from warehouse.contracts.base import columns_of
from warehouse.contracts.deliveries import PlateSample

Array = NDArray[np.float64]

_LOADS = ("lead_n", "trail_n", "left_n", "right_n")
_LOAD_UNITS = '"N", "kN", "kgf", "lbf" or "% of body weight"'
BODY_N = (300.0, 1700.0)  # what both feet of a golfer carry, N
_NEEDED = {
    "the clock": (("t_s",),),
    "the load under each foot": (("lead_n", "trail_n"), ("left_n", "right_n")),
    "the centre of pressure along each foot": (
        ("lead_along_pct", "trail_along_pct"), ("left_along_pct", "right_along_pct"),
    ),
}  # fmt: skip
_BY_NAME = "by its name"
UNDECIDED = "?"  # no unit at all: a load refuses it until the right one is written
_SIDES = {
    "left": ("left", "l", "lft", "lf"), "right": ("right", "r", "rgt", "rf"),
    "lead": ("lead", "leading", "front", "target"), "trail": ("trail", "trailing", "rear", "back"),
}  # fmt: skip
_WORDS = {
    "clock": ("time", "t", "clock", "timestamp", "frame", "frames", "sample", "samples"),
    "number": ("swing", "rep", "trial", "stroke", "attempt"),
    "load": ("force", "load", "fz", "weight", "vertical", "grf", "vgrf", "pressure"),
    "heel": ("heel", "rearfoot", "hindfoot"),
    "place": ("along", "pos", "position", "cop", "place", "y", "ap", "long", "lengthwise"),
    "across": ("across", "x", "ml", "lateral", "crosswise"),
    "both": ("total", "sum", "both", "body", "combined"),
}
_UNITS = {
    "load": {"n": "N", "newton": "N", "newtons": "N", "kn": "kN", "lbf": "lbf", "lb": "lbf", "lbs": "lbf",
             "pounds": "lbf", "kgf": "kgf", "kg": "kgf", "kp": "kgf", "bw": "% of body weight"},
    "length": {"mm": "mm", "cm": "cm", "in": "in", "inch": "in", "inches": "in", "pct": "%", "percent": "%"},
    "clock": {"s": "s", "sec": "s", "secs": "s", "seconds": "s", "ms": "ms", "msec": "ms", "us": "us",
              "µs": "us", "frame": "frames", "frames": "frames", "sample": "frames", "samples": "frames"},
}  # fmt: skip
_BARE = {"N", "s", "%"}  # our own units, which a table need not name
_SLOWEST_STEP_S, _QUICKEST_STEP_S = 1 / 50, 1 / 2000


@dataclass(frozen=True)
class ColumnGuess:
    """What one column of a file is taken for: our name (None: not taken), its unit, and how that was decided.

    low and high: of its values. doubt: one sentence, where it can't be decided.
    """

    theirs: str
    ours: str | None
    unit: str | None
    how: str
    low: float | None = None
    high: float | None = None
    doubt: str | None = None


def words_of(name: str) -> list[str]:
    """Words of a column's name: split at signs, digits and capitals; L and R before a word are words."""
    parted = re.sub(r"(?<=[a-zµ])(?=[A-Z])|(?<=[A-Z])(?=[A-Z][a-z])", " ", name.replace("CoP", "cop"))
    return re.findall(r"[^\W\d_]+|%", parted.lower().replace("μ", "µ"))


def place_of(name: str) -> str | None:
    """Our column that a name is like: left_n for "Force L (lbf)"; None when it names none, or several."""
    words = set(words_of(name))
    if name in columns_of(PlateSample) or re.sub("^(left|right)_", "lead_", name) in columns_of(PlateSample):
        return name
    sides = [side for side, known in _SIDES.items() if words & set(known)]
    kinds = {kind for kind, known in _WORDS.items() if words & set(known)}
    if len(sides) == 1 and "both" not in kinds:
        if "load" in kinds or ("place" not in kinds and _stated(name, "load") not in (None, UNDECIDED)):
            return f"{sides[0]}_heel_n" if "heel" in kinds else f"{sides[0]}_n"
        if "across" in kinds and "along" not in words:
            return f"{sides[0]}_across_mm"
        return f"{sides[0]}_along_pct" if "place" in kinds else None
    if not sides and "clock" in kinds and "number" not in kinds:
        return "t_s"
    return "swing_no" if not sides and "number" in kinds and "clock" not in kinds else None


def _stated(name: str, sort: str) -> str | None:
    """The unit a name states: in brackets, or as its last word."""
    inside = re.search(r"[(\[]([^)\]]*)[)\]]", name)
    text = (inside.group(1) if inside else re.split(r"[\s_/,;.-]+", name.strip())[-1]).strip().lower()
    if "%" in text or text in ("pct", "percent"):
        body = "b" in text.replace("pct", "") or "body" in name.lower() or "bw" in words_of(name)
        return "%" if sort == "length" else "% of body weight" if body else UNDECIDED
    unit = _UNITS[sort].get(text)
    if unit == "% of body weight" and not (set(words_of(name)) & {"pct", "percent"} or "%" in name):
        return UNDECIDED  # multiples of body weight, or per cent of it
    return unit


def guess_column(name: str, values: Array, unit_line: str | None = None) -> ColumnGuess:
    """What one column is, by its name, the file's line of units, and its values; loads wait for `_loads`."""
    ours, known = place_of(name), values[np.isfinite(values)]
    low, high = (float(known.min()), float(known.max())) if known.size else (None, None)
    found = ColumnGuess(name, ours, None, _BY_NAME, low, high)
    if ours is None:
        return replace(found, how="its name is not one we know")
    if ours == name:
        return replace(found, how="it has our own name and unit")
    if ours.endswith("_across_mm"):
        doubt = f'"{name}" is not taken, since nothing shows which way it counts; map it yourself when it '
        doubt += "grows toward the target"
        return replace(found, ours=None, how="across the foot", doubt=doubt)
    sorts = {"_n": "load", "_pct": "length", "_mm": "length", "t_s": "clock"}
    sort = next((sorts[ending] for ending in sorts if ours.endswith(ending)), None)
    if sort is None or low is None or high is None:
        return found
    for text, where in ((unit_line, "stated under its name"), (name, "stated in its name")):
        unit = _stated(f"({text})" if where == "stated under its name" else text, sort) if text else None
        if unit is not None and unit != UNDECIDED:
            return replace(found, unit=unit, how=f"{unit}, {where}")
    if sort == "clock":
        return _clock(found, values)
    return found if sort == "load" else _length(found, low, high)


def _guessed(found: ColumnGuess, unit: str, why: str) -> ColumnGuess:
    """The column with a unit that its values make likely."""
    return replace(found, unit=unit, how=f"{unit}, guessed: {why}")


def _undecided(found: ColumnGuess, why: str, units: str) -> ColumnGuess:
    """The column with its unit left open, and the sentence that asks for it."""
    doubt = f'the unit of "{found.theirs}" is not clear ({why}); write {units} for the ? in the table'
    return replace(found, unit=UNDECIDED, how="not decided", doubt=doubt)


def _clock(found: ColumnGuess, values: Array) -> ColumnGuess:
    steps = np.diff(values)
    steps = steps[steps > 0]
    step = float(np.median(steps)) if steps.size else 0.0
    if step == 1.0:
        return _undecided(found, "it counts by 1", '"frames" or "ms"')
    for unit, factor in (("s", 1.0), ("ms", 1e-3), ("us", 1e-6)):
        if _QUICKEST_STEP_S * 0.99 <= step * factor <= _SLOWEST_STEP_S * 1.01:
            return _guessed(found, unit, f"a step of {step:g} {unit} is {1 / (step * factor):.4g} Hz")
    return _undecided(found, f"it steps by {step:g}", '"s", "ms", "us" or "frames"')


def _length(found: ColumnGuess, low: float, high: float) -> ColumnGuess:
    span = f"it goes from {low:.4g} to {high:.4g}"
    for limit, unit in ((1.5, ""), (11.0, "in"), (13.0, ""), (33.0, "cm"), (110.0, "%"), (340.0, "mm")):
        if high <= limit:
            if unit and low >= -0.1 * limit:
                return _guessed(found, unit, span)
            break
    return _undecided(found, span, '"%" or "mm", "cm", "in" from the back of the heel')


def guess_load_unit(left: Array, right: Array) -> tuple[str, str] | None:
    """Unit of loads for which none is stated, from what both feet carry together, and why; None: undecided.

    It is "share" when the two add up to 100 throughout: parts of the load on both, not loads.
    """
    total = left + right
    total = total[np.isfinite(total)]
    if not total.size:
        return None
    middle, spread = float(np.median(total)), float(np.ptp(total))
    if abs(middle - 100.0) < 0.5 and spread < 1.0:
        return "share", "the two feet add up to 100 in every row"
    why = f"both feet carry {middle:.4g} together"
    for low, high, unit in ((0.18, 1.7, "kN"), (18, 45, "kgf"), (145, 300, "lbf"), (*BODY_N, "N")):
        if low <= middle <= high:
            return unit, why
    return None


def guess_columns(numbers: Mapping[str, Array], units: Mapping[str, str]) -> list[ColumnGuess]:
    """What each column of a file is; of two that are alike the first is taken."""
    found: list[ColumnGuess] = []
    for theirs, values in numbers.items():
        one = guess_column(theirs, values, units.get(theirs))
        if one.ours is not None and one.ours in {other.ours for other in found}:
            doubt = f'"{theirs}" looks like {one.ours} as well as an earlier column; map the right one'
            one = replace(one, ours=None, unit=None, how="a second column of the kind", doubt=doubt)
        found.append(one)
    return _loads(found, numbers)


def _loads(found: list[ColumnGuess], numbers: Mapping[str, Array]) -> list[ColumnGuess]:
    """Loads whose unit is not stated are judged by what both feet carry together."""
    loads = [one for one in found if one.ours in _LOADS and one.how == _BY_NAME]
    if len(loads) != 2:
        return found
    unit = guess_load_unit(*(numbers[one.theirs] for one in loads))
    if unit is None or unit[0] == "share":
        why = unit[1] if unit else "both feet together fit several units"
        decided = {one.theirs: _undecided(one, why, _LOAD_UNITS) for one in loads}
    else:
        decided = {one.theirs: _guessed(one, *unit) for one in loads}
    return [decided.get(one.theirs, one) for one in found]


def doubts(found: Sequence[ColumnGuess]) -> list[str]:
    """What is open about the columns, and what is needed and not there."""
    has = {one.ours for one in found}
    missing = [need for need, sides in _NEEDED.items() if not any(set(pair) <= has for pair in sides)]
    return [one.doubt for one in found if one.doubt] + [
        f"no column was found for {need}; map it yourself under the table below" for need in missing
    ]


def device_table(found: Sequence[ColumnGuess], name: str, rate_hz: float | None) -> str | None:
    """The `[device.NAME]` table by which the file loads; None when every column already has our own name."""
    mapped = [one for one in found if one.ours is not None]
    if len(mapped) == len(found) and all(one.ours == one.theirs for one in mapped):
        return None
    head = [f"[device.{name}]", 'kind = "force_plates"  # or pressure_mat, insoles']
    if any(one.unit == "frames" for one in mapped):
        head.append(f"rate_hz = {rate_hz:g}" if rate_hz else 'rate_hz = "?"')
    return "\n".join([*head, f"[device.{name}.columns]", *map(_toml_line, mapped), ""])


def _toml_line(found: ColumnGuess) -> str:
    """The column's line of a `[device.NAME.columns]` table."""
    name = '"' + found.theirs.replace("\\", "\\\\").replace('"', '\\"').replace("\t", "\\t") + '"'
    unit = f', unit = "{found.unit}"' if found.unit is not None and found.unit not in _BARE else ""
    note = "  # a guess" if "guessed" in found.how else ""
    return f"{found.ours} = {{ column = {name}{unit} }}{note}"
