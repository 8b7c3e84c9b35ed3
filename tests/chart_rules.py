"""Rules that hold for every picture, read from its Vega-Lite: a sentence for each one broken."""

import re
from collections.abc import Iterator
from typing import Any

Spec = dict[str, Any]
COLUMN = re.compile(r"[a-z0-9]+(_[a-z0-9]+)+|lo|hi|mean|n|[a-z_]+_(lo|hi)")
NOUN = re.compile(r"[^\W\d_]{3,}")
WITH_A_NUMBER = ("quantitative", "temporal")


def broken(spec: Spec, *, narrow: bool) -> list[str]:
    """Every rule that a picture breaks; `narrow`: as drawn on a phone."""
    found = [*_tooltips(spec), *(said for view in views(spec) for said in _axes(view))]
    return found + (_slanted(spec) if narrow else [])


def views(spec: Spec) -> Iterator[list[Spec]]:
    """The layers that share their axes, of every picture in `spec`."""
    if "spec" in spec:
        yield from views(spec["spec"])
    elif "layer" in spec:
        yield [unit for layer in spec["layer"] for view in views(layer) for unit in view]
    elif "mark" in spec:
        yield [spec]


def _units(spec: Spec) -> list[Spec]:
    return [unit for view in views(spec) for unit in view]


def _tooltips(spec: Spec) -> list[str]:
    found = []
    if spec.get("config", {}).get("mark", {}).get("tooltip", True) is not False:
        found.append("marks without a tooltip of their own show their columns")
    for unit in _units(spec):
        tips = unit.get("encoding", {}).get("tooltip", [])
        for tip in tips if isinstance(tips, list) else [tips]:
            title = tip.get("title")
            if not title or title == tip.get("field") or COLUMN.fullmatch(title):
                found.append(f"the tooltip of {tip.get('field')} is called {title}")
            if tip["type"] in WITH_A_NUMBER and not tip.get("format"):
                found.append(f"the tooltip of {tip['field']} shows the number as it is")
    return found


def _axes(layers: list[Spec]) -> Iterator[str]:
    for channel in ("x", "y"):
        encoded = [unit.get("encoding", {}).get(channel, {}) for unit in layers]
        measured = [one for one in encoded if one.get("type") == "quantitative" and "field" in one]
        drawn = [one for one in measured if one.get("axis", True) is not None]
        titles = {" ".join(_lines(one["title"])) for one in drawn if one.get("title")}
        if drawn and not any(NOUN.search(title) for title in titles):
            yield f"the {channel} axis is called {sorted(titles) or 'nothing'}"


def _lines(title: str | list[str]) -> list[str]:
    return [title] if isinstance(title, str) else title


def _slanted(spec: Spec) -> list[str]:
    found = []
    for unit in _units(spec):
        for channel in ("x", "y"):
            encoded = unit.get("encoding", {}).get(channel, {})
            axis = encoded.get("axis") or {}
            # Vega-Lite turns the names along the bottom upright unless an axis says otherwise.
            usual = 270 if channel == "x" and encoded.get("type") in {"nominal", "ordinal"} else 0
            if axis.get("labelAngle", usual) != 0:
                found.append(f"the labels of {channel} are turned by {axis.get('labelAngle', usual)}°")
    return found
