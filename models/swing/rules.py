"""The rules of models/rules/*.toml and the academy's own, read once and checked.

metrics.toml says how each metric is called and shown, bands.toml where it should lie, faults.toml from where
on it is a fault; academy.toml may set its own bands and limits. A limit never lies inside its band.
"""

import hashlib
import json
import math
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from models.swing.columns import METRIC_COLUMNS
from warehouse.errors import UnderfootError
from warehouse.settings import Settings
from warehouse.vocabulary import CLUB_FAMILIES

RULES_FOLDER = Path(__file__).resolve().parent.parent / "rules"
STYLES = ("front_foot", "mixed", "reverse")
UNSTYLED = "none"  # a student without a style yet
WHENS = ("below", "above", "outside", "mean_below", "mean_above", "both_above")


@dataclass(frozen=True)
class Metric:
    """How one metric is called, explained and shown; one table of metrics.toml."""

    code: str
    label: str
    unit: str
    explain: str
    better: str
    decimals: int
    phase: str
    needs_heel: bool
    core: bool
    usual_spread: float


@dataclass(frozen=True)
class Band:
    """Where a metric should lie for one club family; None is an open end.

    `style` front_foot is for that style and for students without one yet.
    """

    metric: str
    club_family: str
    lo: float | None
    hi: float | None
    level: str | None = None
    style: str | None = None
    own: bool = False


@dataclass(frozen=True)
class Fault:
    """One rule of faults.toml without its limit."""

    code: str
    name: str
    phase: str
    looks_like: str
    metrics: tuple[str, ...]
    when: str
    needs: tuple[str, ...]
    in_words: str
    never_crossed_flags: bool


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
    """Everything a judgement needs; `version` stands in every row judged by it."""

    metrics: tuple[Metric, ...]
    bands: tuple[Band, ...]
    faults: tuple[Fault, ...]
    limits: tuple[Limit, ...]
    version: str

    @property
    def usual_spreads(self) -> dict[str, float]:
        """Starting figure for each metric's session-to-session spread, until the academy's own is fitted."""
        return {metric.code: metric.usual_spread for metric in self.metrics}


def read_rules(settings: Settings | None = None, folder: Path = RULES_FOLDER) -> Rules:
    """Read the three files, put the academy's own bands and limits over them, and check the whole.

    Raises
        UnderfootError: an own band or limit names something unknown, is not a number, or a limit lies inside
            its band.
    """
    tables = {
        name: tomllib.loads((folder / f"{name}.toml").read_text("utf-8"))
        for name in ("metrics", "bands", "faults")
    }
    own_bands, own_faults = (settings.bands, settings.faults) if settings else ((), ())
    metrics = tuple(Metric(**table) for table in tables["metrics"]["metric"])
    defaults = [band for table in tables["bands"]["band"] for band in _bands(table, None)]
    bands = _with_own_bands(defaults, own_bands)
    faults = tuple(_fault(table) for table in tables["faults"]["fault"])
    limits = _limits(tables["faults"]["fault"], own_faults, bands)
    for limit in limits:
        _check(limit, next(f for f in faults if f.code == limit.fault), bands)
    version = f"{tables['faults']['version']}.{tables['bands']['version']}"
    if own_bands or own_faults:
        text = json.dumps(
            [list(map(dict, own_bands)), list(map(dict, own_faults))], sort_keys=True, default=str
        )
        version += "+" + hashlib.sha256(text.encode()).hexdigest()[:8]
    return Rules(metrics, tuple(bands), faults, tuple(limits), version)


def _fault(table: Mapping[str, Any]) -> Fault:
    """One rule's words."""
    return Fault(
        table["code"], table["name"], table["phase"], table["looks_like"], tuple(table["metrics"]),
        table["when"], tuple(table["needs"]), table["in_words"], table.get("never_crossed_flags", False),
    )  # fmt: skip


def _number(value: Any, what: str) -> float:
    """A finite number, or one sentence that says which entry is not."""
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise UnderfootError(f"academy.toml: {what} is {value!r}; write a plain number there.")
    return float(value)


def _families(table: Mapping[str, Any], fallback: Sequence[str], what: str) -> tuple[str, ...]:
    """Club families an own entry is for; `fallback` when it names none."""
    given = table.get("club_family")
    if given is None:
        return tuple(fallback)
    named = (given,) if isinstance(given, str) else tuple(given)
    for family in named:
        if family not in CLUB_FAMILIES:
            raise UnderfootError(
                f'academy.toml: {what} has club_family = "{family}"; use one of {", ".join(CLUB_FAMILIES)}.'
            )
    return named


def _style(table: Mapping[str, Any], what: str) -> str | None:
    """The style an own entry is for, if it names one."""
    style = table.get("style")
    if style is not None and style not in STYLES:
        raise UnderfootError(f'academy.toml: {what} has style = "{style}"; use one of {", ".join(STYLES)}.')
    return style


def _bands(table: Mapping[str, Any], families: Sequence[str] | None) -> list[Band]:
    """One table of bands as one band a club family; `families` None: a default, which lists its own."""
    ends = {end: None if table.get(end) is None else float(table[end]) for end in ("lo", "hi")}
    return [
        Band(
            table["metric"],
            family,
            ends["lo"],
            ends["hi"],
            table.get("level"),
            table.get("style"),
            families is not None,
        )
        for family in families or table["club_families"]
    ]


def _with_own_bands(defaults: list[Band], own: Sequence[Mapping[str, Any]]) -> list[Band]:
    """Defaults with the academy's own; one without level and style takes the default's place."""
    bands = list(defaults)
    for table in own:
        metric = table.get("metric")
        what = f"[[band]] {metric}"
        if metric not in METRIC_COLUMNS:
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
        style = _style(table, what)
        usual = [b.club_family for b in defaults if b.metric == metric] or [
            f for f in CLUB_FAMILIES if f != "putter"
        ]
        families = _families(table, usual, what)
        if table.get("level") is None and style is None:
            bands = [
                b for b in bands if b.metric != metric or b.club_family not in families or b.level is not None
            ]
        bands += _bands(table, families)
    return bands


def _limits(
    defaults: Sequence[Mapping[str, Any]], own: Sequence[Mapping[str, Any]], bands: Sequence[Band]
) -> list[Limit]:
    """Each rule's limit for every club family and style it is judged for.

    A family or style outside a rule's default scope is judged once the academy sets its own band or limit
    for it.
    """
    found: dict[tuple[str, str, str], Limit] = {}
    for table in defaults:
        code, limits = table["code"], table["limit"]
        values = tuple(float(v) for v in (limits if isinstance(limits, list) else [limits]))
        usual = (table["style"], UNSTYLED) if "style" in table else (*STYLES, UNSTYLED)
        scope = {(family, style) for family in table["club_families"] for style in usual}
        for band in bands:
            if band.own and band.metric in table["metrics"]:
                scope |= {(band.club_family, s) for s in ((band.style,) if band.style else usual)}
        for family, style in scope:
            found[code, family, style] = Limit(code, family, style, values, float(table["clear"]))
    by_code = {table["code"]: table for table in defaults}
    for table in own:
        for limit in _own_limits(table, by_code):
            found[limit.fault, limit.club_family, limit.style] = limit
    return sorted(found.values(), key=lambda x: (list(by_code).index(x.fault), x.club_family, x.style))


def _own_limits(table: Mapping[str, Any], by_code: Mapping[str, Mapping[str, Any]]) -> list[Limit]:
    """One `[[fault]]` of academy.toml as limits."""
    code = str(table.get("code"))
    what = f"[[fault]] {code}"
    if code not in by_code:
        raise UnderfootError(
            f"academy.toml: {what} is no fault of this warehouse; use one of {', '.join(by_code)}."
        )
    base = by_code[code]
    given = table.get("limit", base["limit"])
    values = tuple(_number(v, f"limit of {what}") for v in (given if isinstance(given, list) else [given]))
    wanted = len(base["limit"]) if isinstance(base["limit"], list) else 1
    if len(values) != wanted:
        raise UnderfootError(
            f"academy.toml: {what} has {len(values)} limit(s), needs {wanted}, as in limit = {base['limit']}."
        )
    clear = _number(table.get("clear", base["clear"]), f"clear of {what}")
    if clear <= 0:
        raise UnderfootError(
            f"academy.toml: {what} has clear = {clear:g}; it is a margin and must be over 0."
        )
    style = _style(table, what)
    usual = (base["style"], UNSTYLED) if "style" in base else (*STYLES, UNSTYLED)
    styles = usual if style is None else (style, UNSTYLED) if style == "front_foot" else (style,)
    return [
        Limit(code, f, s, values, clear)
        for f in _families(table, base["club_families"], what)
        for s in styles
    ]


def _check(limit: Limit, fault: Fault, bands: Sequence[Band]) -> None:
    """A limit stands outside the band, on the bad side of it.

    Raises
        UnderfootError: it does not.
    """
    if fault.when == "outside":
        sides = [(fault.metrics[0], "below", limit.limits[0]), (fault.metrics[0], "above", limit.limits[1])]
    elif fault.when == "both_above":
        sides = [(m, "above", v) for m, v in zip(fault.metrics, limit.limits, strict=True)]
    else:
        sides = [(m, fault.when.removeprefix("mean_"), limit.limits[0]) for m in fault.metrics]
    for metric, side, value in sides:
        for band in bands:
            same = band.metric == metric and band.club_family == limit.club_family
            if not same or band.style not in (None, limit.style):
                continue
            edge = (
                (band.lo if band.lo is not None else -math.inf)
                if side == "below"
                else (band.hi if band.hi is not None else math.inf)
            )
            if value > edge if side == "below" else value < edge:
                lo, hi = ("" if end is None else f"{end:g}" for end in (band.lo, band.hi))
                raise UnderfootError(
                    f"academy.toml: the limit {value:g} of fault {fault.code} lies inside the band {lo}–{hi} "
                    f"of {metric} for the {limit.club_family}; set the limit to {edge:g} or beyond it, "
                    "or move the band."
                )
