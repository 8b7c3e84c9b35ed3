"""What a metric and a fault are: the tables of warehouse/rules and the faults an academy adds, checked.

Every wing reads its codes from here. What is computed from a definition (the formula of a metric, the
severity of a fault) is the models' work.
"""

import re
import tomllib
from collections.abc import Collection, Mapping, Sequence
from dataclasses import MISSING, dataclass, fields
from functools import cache
from pathlib import Path
from typing import Any

from warehouse.errors import UnderfootError
from warehouse.settings import Settings
from warehouse.toml import is_number
from warehouse.vocabulary import CLUB_FAMILIES

RULES_FOLDER = Path(__file__).parent / "rules"
STYLES = ("stays_forward", "mixed", "falls_back")
ADVICE = ("costs", "feel", "on_film", "drill")  # what a coach says of a fault
PHASES = ("address", "start", "back", "top", "down", "impact", "finish")
SENSES = ("up", "down", "band", "none")
WHENS = (
    "below", "above", "outside", "mean_below", "mean_above", "any_below", "any_above", "both_above",
    "above_or_below",
)  # fmt: skip
CODE = re.compile(r"[a-z][a-z0-9_]*")
METRICS_OF = {"outside": 1, "below": 1, "above": 1, "both_above": 2, "above_or_below": 2}  # else any number
LIMITS_OF = {"outside": 2, "both_above": 2, "above_or_below": 2}  # else one
FAULT_EXAMPLE = (
    'code = "slow_back", name = "Slow going back", phase = "top", looks_like = "The club takes its time.", '
    'metrics = ["backswing_s"], when = "above", limit = 1.2, clear = 0.3, club_families = ["iron"], '
    'in_words = "Backswing longer than {limit} s"'
)


@dataclass(frozen=True)
class Band:
    """Where a metric should lie for one club family; None is an open end.

    `style` stays_forward is for that style and for students without one yet; `own` is the academy's.
    """

    metric: str
    club_family: str
    lo: float | None
    hi: float | None
    level: str | None = None
    style: str | None = None
    own: bool = False


@dataclass(frozen=True)
class Metric:
    """One table of metrics.toml; the file's head says what each key means."""

    code: str
    label: str
    explain: str
    formula: str
    unit: str
    decimals: int
    better: str
    phase: str
    source: str
    example: str
    usual_spread: float
    null: str = ""
    core: bool = False
    followed: bool = True
    needs_heel: bool = False
    band: tuple[Band, ...] = ()


@dataclass(frozen=True)
class Fault:
    """One table of faults.toml, or a fault of the academy's own; the file's head says what each key means."""

    code: str
    name: str
    phase: str
    looks_like: str
    metrics: tuple[str, ...]
    when: str
    limit: tuple[float, ...]
    clear: float
    club_families: tuple[str, ...]
    in_words: str
    needs: tuple[str, ...] = ()
    instead: str | None = None
    style: str | None = None
    never_crossed_flags: bool = False
    costs: str | None = None  # this and the next three: what a coach says of a fault of the academy's own
    feel: str | None = None
    on_film: str | None = None
    drill: str | None = None


def bands_of(metric: str, table: Mapping[str, Any], families: Sequence[str], *, own: bool) -> list[Band]:
    """One table of a band as one band a club family."""
    lo, hi = (None if table.get(end) is None else float(table[end]) for end in ("lo", "hi"))
    return [Band(metric, f, lo, hi, table.get("level"), table.get("style"), own) for f in families]


@cache
def read_metrics() -> tuple[Metric, ...]:
    """Every metric in screen order.

    Raises
        UnderfootError: a table lacks a key, has an unknown one or a value that is not allowed.
    """
    metrics: list[Metric] = []
    for table in rule_tables("metrics.toml")["metric"]:
        code, known = table.get("code"), {metric.code for metric in metrics}
        wrong = _wrong_keys(Metric, table) or wrong_code(code, known)
        wrong = wrong or _not_one_of(table, "better", SENSES) or _not_one_of(table, "phase", PHASES)
        if wrong:
            raise UnderfootError(f"metrics.toml: [[metric]] {code}: {wrong}.")
        bands = [
            band
            for part in table.get("band", [])
            for band in bands_of(code, part, part["club_families"], own=False)
        ]
        metrics.append(Metric(**table | {"band": tuple(bands)}))
    return tuple(metrics)


RETIRED_METRICS = frozenset({"tempo_ratio"})
"""Codes that older deliveries may name as a drill's aim or a target; nothing is measured by them any more."""


@cache
def metric_codes() -> tuple[str, ...]:
    """Codes of all metrics in screen order: the columns of academy.swing_metric after its keys."""
    return tuple(metric.code for metric in read_metrics())


def sided_metrics() -> frozenset[str]:
    """Codes of the metrics of which more, or less, is better: those that an aim may be agreed in."""
    return frozenset(metric.code for metric in read_metrics() if metric.better in ("up", "down"))


@cache
def usual_faults() -> tuple[Fault, ...]:
    """The faults of faults.toml in swing order.

    Raises
        UnderfootError: a table is not right.
    """
    faults: list[Fault] = []
    for table in rule_tables("faults.toml")["fault"]:
        wrong = _wrong_fault(table, {fault.code for fault in faults})
        if wrong:
            raise UnderfootError(f"faults.toml: [[fault]] {table.get('code')}: {wrong}.")
        faults.append(_fault(table))
    return tuple(faults)


def read_faults(settings: Settings | None = None) -> tuple[Fault, ...]:
    """The usual faults and those the academy adds, in swing order.

    A `[[fault]]` of academy.toml whose code is not known yet adds one. Another changes a limit, which is not
    looked at here.

    Raises
        UnderfootError: a new fault is not right; the sentence says what is wrong and shows a whole one.
    """
    faults = list(usual_faults())
    for table in settings.faults if settings else ():
        known = {fault.code for fault in faults}
        if table.get("code") not in known:
            wrong = _wrong_fault(table, {*metric_codes()})
            if wrong:
                raise UnderfootError(
                    f"academy.toml: [[fault]] {table.get('code')} is no fault of this warehouse "
                    f"({', '.join(sorted(known))}), and not a whole new one: {wrong}; "
                    f"a whole one has {FAULT_EXAMPLE}."
                )
            faults.append(_fault(table))
    return tuple(sorted(faults, key=lambda fault: PHASES.index(fault.phase)))


def fault_codes(settings: Settings) -> frozenset[str]:
    """Codes a note may name; those of the academy's own tables even while one of them is not right."""
    own = {str(table["code"]) for table in settings.faults if "code" in table}
    return frozenset(own.union(fault.code for fault in usual_faults()))


def version() -> str:
    """Versions of the two files, which every judgement made by them keeps."""
    return ".".join(rule_tables(name)["version"] for name in ("faults.toml", "metrics.toml"))


def words_of(in_words: str, limits: Sequence[float]) -> str:
    """The rule of a fault as a sentence, with its limits filled in.

    Example:
        >>> words_of("Lead share at address outside {lo}–{hi} %", [42.0, 58.0])
        'Lead share at address outside 42–58 %'
    """
    first, last = f"{limits[0]:g}", f"{limits[-1]:g}"
    return in_words.format(limit=first, lo=first, first=first, hi=last, second=last)


def listed(value: Any) -> tuple[Any, ...]:
    """A value of a TOML file that may be one or a list of several."""
    return tuple(value) if isinstance(value, list) else (value,)


@cache
def rule_tables(name: str) -> dict[str, Any]:
    """A file of warehouse/rules."""
    return tomllib.loads((RULES_FOLDER / name).read_text(encoding="utf-8"))


def _fault(table: Mapping[str, Any]) -> Fault:
    """A table without anything wrong as a fault."""
    lists = {key: listed(table.get(key, [])) for key in ("metrics", "club_families", "needs")}
    limit = tuple(float(value) for value in listed(table["limit"]))
    return Fault(**{**table, **lists, "limit": limit, "clear": float(table["clear"])})


def _wrong_fault(table: Mapping[str, Any], taken: Collection[str]) -> str | None:
    """What is wrong with the table of a fault, as a clause; None when nothing is."""
    wrong = _wrong_keys(Fault, table) or wrong_code(table["code"], taken)
    for key in ("name", "looks_like", "in_words", "instead", *ADVICE):
        if not wrong and key in table and not (isinstance(table[key], str) and table[key].strip()):
            wrong = f'{key} = {table[key]!r} must be words, as in {key} = "Set up on the heels"'
    wrong = wrong or _not_one_of(table, "phase", PHASES) or _not_one_of(table, "when", WHENS)
    wrong = wrong or _not_one_of(table, "style", STYLES) or _not_one_of(table, "metrics", metric_codes())
    wrong = wrong or _not_one_of(table, "club_families", CLUB_FAMILIES)
    if wrong:
        return wrong
    limits, metrics = listed(table["limit"]), listed(table["metrics"])
    if not all(map(is_number, limits)):
        return f"limit = {table['limit']!r} must be a number, or two where when = {table['when']!r} takes two"
    if not is_number(table["clear"]) or table["clear"] <= 0:
        return f"clear = {table['clear']!r} must be a number over 0"
    if len(limits) != LIMITS_OF.get(table["when"], 1):
        return f'when = "{table["when"]}" takes {LIMITS_OF.get(table["when"], 1)} limit(s), not {len(limits)}'
    if len(metrics) != METRICS_OF.get(table["when"], len(metrics)) or not metrics:
        return (
            f'when = "{table["when"]}" takes {METRICS_OF.get(table["when"], 1)} metric(s), not {len(metrics)}'
        )
    try:
        words_of(table["in_words"], limits)
    except (KeyError, IndexError, ValueError):
        return "in_words may hold {limit}, {lo}, {hi}, {first} and {second} in braces and nothing else"
    return None


def _wrong_keys(kind: type[Metric | Fault], table: Mapping[str, Any]) -> str | None:
    """Which keys a table lacks, or has that nobody reads."""
    needed = {f.name for f in fields(kind) if f.default is MISSING}
    lacking, unknown = sorted(needed - {*table}), sorted({*table} - {f.name for f in fields(kind)})
    if lacking:
        return f"it lacks {', '.join(lacking)}"
    return f"{', '.join(unknown)} is no key of it" if unknown else None


def wrong_code(code: Any, taken: Collection[str] = ()) -> str | None:
    """What is wrong with the code of a table, as a clause; None when nothing is."""
    if not isinstance(code, str) or not CODE.fullmatch(code):
        return f"code = {code!r} must be small letters, digits and underscores"
    return f"code = {code!r} is taken already" if code in taken else None


def _not_one_of(table: Mapping[str, Any], key: str, allowed: Collection[str]) -> str | None:
    """Which value of a key is not among those allowed; a key that may be left out may be."""
    for value in listed(table.get(key, [])):
        if value not in allowed:
            return f"{key} = {value!r} is not one of {', '.join(allowed)}"
    return None
