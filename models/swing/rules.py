"""The rules in force: each metric's bands and each fault's limits, the usual ones under the academy's own.

What a metric and a fault are is read by warehouse/definitions.py; academy.toml may set its own bands and
limits, and add faults. A limit never lies inside its band.
"""

import hashlib
import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from warehouse.definitions import (
    STYLES,
    Band,
    Fault,
    Metric,
    bands_of,
    listed,
    metric_codes,
    read_faults,
    read_metrics,
    version,
)
from warehouse.errors import UnderfootError
from warehouse.settings import Settings
from warehouse.toml import is_number
from warehouse.vocabulary import CLUB_FAMILIES

UNSTYLED = "none"  # a student without a style yet


@dataclass(frozen=True)
class Limit:
    """From where on a fault is flagged, for one club family and style (`UNSTYLED`: none yet)."""

    fault: str
    club_family: str
    style: str
    limits: tuple[float, ...]
    clear: float


@dataclass(frozen=True)
class Rules:
    """Everything a judgement needs; every row judged by it carries its `version`."""

    metrics: tuple[Metric, ...]
    bands: tuple[Band, ...]
    faults: tuple[Fault, ...]
    limits: tuple[Limit, ...]
    version: str

    @property
    def usual_spreads(self) -> dict[str, float]:
        """Starting figure for each metric's session-to-session spread, until the academy's own is fitted."""
        return {metric.code: metric.usual_spread for metric in self.metrics}


def load_rules(settings: Settings | None = None) -> Rules:
    """The rules in force: the definitions with the academy's own bands, limits and faults over them.

    Raises
        UnderfootError: an own table names something unknown or lacks something, a value is not a number, or a
            limit lies inside its band.
    """
    own_bands, own_faults = (settings.bands, settings.faults) if settings else ((), ())
    metrics, faults = read_metrics(), read_faults(settings)
    bands = _with_own_bands([band for metric in metrics for band in metric.band], own_bands)
    by_code = {fault.code: fault for fault in faults}
    limits = _limits(by_code, own_faults, bands)
    measured: dict[str, list[Band]] = {}
    for band in bands:
        measured.setdefault(band.metric, []).append(band)
    for limit in limits:
        _check(limit, by_code[limit.fault], measured)
    in_force = version()
    if own_bands or own_faults:
        text = json.dumps(
            [list(map(dict, own_bands)), list(map(dict, own_faults))], sort_keys=True, default=str
        )
        in_force += "+" + hashlib.sha256(text.encode()).hexdigest()[:8]
    return Rules(metrics, tuple(bands), faults, tuple(limits), in_force)


def _number(value: Any, what: str) -> float:
    """A finite number, or one sentence that says which entry is not."""
    if not is_number(value):
        raise UnderfootError(f"academy.toml: {what} is {value!r}; write a plain number there.")
    return float(value)


def _chosen(table: Mapping[str, Any], key: str, allowed: Sequence[str], what: str) -> tuple[str, ...]:
    """The values an own entry gives for a key, one or several; none when it has no such key."""
    for value in listed(table.get(key, [])):
        if value not in allowed:
            raise UnderfootError(
                f'academy.toml: {what} has {key} = "{value}"; use one of {", ".join(allowed)}.'
            )
    return listed(table.get(key, []))


def _with_own_bands(defaults: list[Band], own: Sequence[Mapping[str, Any]]) -> list[Band]:
    """Defaults with the academy's own; one without level and style takes the default's place."""
    bands = list(defaults)
    for table in own:
        metric = table.get("metric")
        what = f"[[band]] {metric}"
        if metric not in metric_codes():
            raise UnderfootError(
                f"academy.toml: {what} names no metric of this warehouse; see the metric table for names."
            )
        if table.get("lo") is None and table.get("hi") is None:
            raise UnderfootError(f"academy.toml: {what} has neither lo nor hi; write at least one of them.")
        lo, hi = (
            None if table.get(end) is None else _number(table[end], f"{end} of {what}")
            for end in ("lo", "hi")
        )
        if lo is not None and hi is not None and lo >= hi:
            raise UnderfootError(
                f"academy.toml: {what} has lo = {lo:g} and hi = {hi:g}; lo must be under hi."
            )
        style = next(iter(_chosen(table, "style", STYLES, what)), None)
        usual = [b.club_family for b in defaults if b.metric == metric] or [
            f for f in CLUB_FAMILIES if f != "putter"
        ]
        families = _chosen(table, "club_family", CLUB_FAMILIES, what) or usual
        if table.get("level") is None and style is None:
            bands = [
                b for b in bands if b.metric != metric or b.club_family not in families or b.level is not None
            ]
        bands += bands_of(str(metric), table, families, own=True)
    return bands


def _limits(
    faults: Mapping[str, Fault], own: Sequence[Mapping[str, Any]], bands: Sequence[Band]
) -> list[Limit]:
    """Each fault's limit for every club family and style it is judged for.

    A family or style outside a fault's usual scope is judged once the academy sets its own band or limit for
    it.
    """
    found: dict[tuple[str, str, str], Limit] = {}
    for code, fault in faults.items():
        scope = {(family, style) for family in fault.club_families for style in _styles_of(fault)}
        for band in bands:
            if band.own and band.metric in fault.metrics:
                styles = (band.style,) if band.style else _styles_of(fault)
                scope |= {(band.club_family, style) for style in styles}
        for family, style in scope:
            found[code, family, style] = Limit(code, family, style, fault.limit, fault.clear)
    for table in own:
        for limit in _own_limits(table, faults[str(table.get("code"))]):
            found[limit.fault, limit.club_family, limit.style] = limit
    place = {code: number for number, code in enumerate(faults)}
    return sorted(found.values(), key=lambda x: (place[x.fault], x.club_family, x.style))


def _styles_of(fault: Fault) -> tuple[str, ...]:
    """The styles a fault is judged for when nothing else is said."""
    return (fault.style, UNSTYLED) if fault.style else (*STYLES, UNSTYLED)


def _own_limits(table: Mapping[str, Any], fault: Fault) -> list[Limit]:
    """One `[[fault]]` of academy.toml, be it new or a change, as limits."""
    what = f"[[fault]] {fault.code}"
    given = listed(table["limit"]) if "limit" in table else fault.limit
    values = tuple(_number(value, f"limit of {what}") for value in given)
    if len(values) != len(fault.limit):
        example = [f"{value:g}" for value in fault.limit]
        raise UnderfootError(
            f"academy.toml: {what} has {len(values)} limit(s), needs {len(fault.limit)}, "
            f"as in limit = {example[0] if len(example) == 1 else '[' + ', '.join(example) + ']'}."
        )
    clear = _number(table.get("clear", fault.clear), f"clear of {what}")
    if clear <= 0:
        raise UnderfootError(
            f"academy.toml: {what} has clear = {clear:g}; it is a margin and must be over 0."
        )
    style = next(iter(_chosen(table, "style", STYLES, what)), None)
    styles = (
        _styles_of(fault) if style is None else (style, UNSTYLED) if style == "stays_forward" else (style,)
    )
    return [
        Limit(fault.code, family, s, values, clear)
        for family in _chosen(table, "club_family", CLUB_FAMILIES, what) or fault.club_families
        for s in styles
    ]


def _check(limit: Limit, fault: Fault, bands: Mapping[str, Sequence[Band]]) -> None:
    """A limit lies outside the band, on the bad side of it; `bands` by metric.

    Raises
        UnderfootError: it does not.
    """
    if fault.when == "outside":
        sides = [(fault.metrics[0], "below", limit.limits[0]), (fault.metrics[0], "above", limit.limits[1])]
    elif fault.when == "both_above":
        sides = [(m, "above", v) for m, v in zip(fault.metrics, limit.limits, strict=True)]
    elif fault.when == "above_or_below":
        sides = list(zip(fault.metrics, ("above", "below"), limit.limits, strict=True))
    else:
        side = fault.when.removeprefix("mean_").removeprefix("any_")
        sides = [(m, side, limit.limits[0]) for m in fault.metrics]
    for metric, side, value in sides:
        for band in bands.get(metric, ()):
            if band.club_family != limit.club_family or band.style not in (None, limit.style):
                continue
            edge = (
                (band.lo if band.lo is not None else -math.inf)
                if side == "below"
                else (band.hi if band.hi is not None else math.inf)
            )
            if value > edge if side == "below" else value < edge:
                lo, hi = ("" if end is None else f"{end:g}" for end in (band.lo, band.hi))
                way_out = f"set the limit to {edge:g} or beyond it, or move the band."
                if math.isinf(edge):
                    end, way = ("lo", "more") if side == "below" else ("hi", "less")
                    way_out = f"give the band a {end} of {value:g} or {way}."
                raise UnderfootError(
                    f"academy.toml: the limit {value:g} of fault {fault.code} lies inside the band {lo}–{hi} "
                    f"of {metric} for the {limit.club_family}; {way_out}"
                )
