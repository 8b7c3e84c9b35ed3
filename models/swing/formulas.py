"""Formulas of metrics.toml, turned into the compiled kernel's metric section.

A formula is one Python expression over the names and operations below: numbers, + − * /, a choice
`a if b >= c else d`, `null`, and the codes of other metrics. Nothing else of the language is let in: the
expression is parsed with `ast`, every node is checked, and a statement is written for each operation, so that
what several formulas ask for (the lead share at the top) is computed once a swing. Null is NaN all through:
it spreads through arithmetic, and a choice on null is null.

Two events that follow one another make a window, as in least(lead_share, takeaway, top). It may also start at
`before(event, seconds)` or at a moment found earlier in the swing, and end at `finish_or_end`. An event less
an event, or less a moment, is a time in s.

The section has three functions: `timed_metrics` for what needs no sample (durations, stance),
`sampled_metrics` for what does, and `clip_metrics` for heel heights on the clip. Each fills its own columns
of a row.
"""

import ast
from collections.abc import Iterable, Sequence
from functools import cache

from models.swing.formula_language import Formula, Section, wrong
from models.swing.formula_words import BODY, CROSSING, LOADS, OPERATIONS, POINT_NAMES, RISES, SIGNALS, WORDS
from warehouse.definitions import Metric, read_metrics

TIMED, SAMPLED, CLIP = "timed_metrics", "sampled_metrics", "clip_metrics"
HEAD = '''"""The metric section of the kernel, made from metrics.toml by models/swing/formulas.py."""

import math

import numpy as np

from models.swing import conditioning as c
from models.swing import heel_moves as heels
from models.swing import operations as ops
from models.swing.compiled import compiled
'''
HEADS = {
    TIMED: ["", "", "@compiled", f"def {TIMED}(row, event_s, stance_mm):"],
    SAMPLED: ["", "", "@compiled", f"def {SAMPLED}(row, swing, crossing):",
              "    r, at, event_s, stance_mm = swing.record, swing.at, swing.event_s, swing.stance_mm",
              "    n, fs, lines = r.n, r.fs, r.lines"],
    CLIP: ["", "", f"def {CLIP}(row, clip):"],
}  # fmt: skip


@cache
def section_text() -> str:
    """Python source of the metric section of the metrics in force.

    Raises
        UnderfootError: a formula names something unknown or is put together wrongly; says which and how.
    """
    return write_section(read_metrics())


def write_section(metrics: Sequence[Metric]) -> str:
    """Python source that fills a row of these metrics, in their order."""
    places = {metric.code: place for place, metric in enumerate(metrics)}
    parts = {metric.code: _parts(metric, metrics) for metric in metrics}
    text = HEAD
    for name, head in HEADS.items():
        section = Section(name)
        for code in _in_order(parts):
            metric = metrics[places[code]]
            if _function(metric.code, parts) == name:
                value = Formula(metric, section, places).number(parts[code])
                section.lines.append(f"    row[{places[code]}] = {value}")
        text += "\n".join([*head, *(section.lines or ["    pass"]), ""])
    return text


def plate_codes() -> tuple[str, ...]:
    """Codes of the metrics whose formula needs no clip, in screen order."""
    parts = {metric.code: _parts(metric, read_metrics()) for metric in read_metrics()}
    return tuple(code for code in parts if _function(code, parts) != CLIP)


def load_codes() -> tuple[str, ...]:
    """Codes of the metrics that need the size of a load, not only how it is shared, in screen order."""
    parts = {metric.code: _parts(metric, read_metrics()) for metric in read_metrics()}
    sizes = {name for name, (line, _) in SIGNALS.items() if line in LOADS} | {"of_weight"}
    return tuple(code for code in parts if sizes & set(_all_names(code, parts)))


def _parts(metric: Metric, metrics: Sequence[Metric]) -> ast.expr:
    """A formula as a tree whose names are all known."""
    try:
        tree = ast.parse(f"({metric.formula.strip()})", mode="eval").body
    except SyntaxError as error:
        raise wrong(metric.code, f"{metric.formula!r} is no expression ({error.msg})") from error
    known = {*WORDS, *OPERATIONS, *(other.code for other in metrics)}
    for name in _names(tree):
        if name not in known:
            names = ", ".join(sorted({*WORDS, *OPERATIONS}))
            raise wrong(metric.code, f"{name} is unknown; use {names}, or the code of a metric")
    return tree


def _names(tree: ast.expr) -> list[str]:
    return [node.id for node in ast.walk(tree) if isinstance(node, ast.Name)]


def _in_order(parts: dict[str, ast.expr]) -> list[str]:
    """Codes of metrics, each after those that its formula names."""
    order: list[str] = []

    def visit(code: str, asking: tuple[str, ...]) -> None:
        if code in asking:
            raise wrong(code, f"it comes back to itself by way of {', '.join(asking)}")
        for name in _names(parts[code]):
            if name in parts and name not in order:
                visit(name, (*asking, code))
        if code not in order:
            order.append(code)

    for code in parts:
        visit(code, ())
    return order


def _function(code: str, parts: dict[str, ast.expr]) -> str:
    """Which function of the section a metric belongs in, by all that its formula names."""
    names = set(_all_names(code, parts))
    on_clip = names & RISES.keys()
    sampled = names & {*SIGNALS, BODY, CROSSING, "of_weight"}
    if on_clip and (sampled or names & POINT_NAMES.keys()):
        raise wrong(code, f"{min(on_clip)} is seen on the clip, so nothing of the plate can go with it")
    return CLIP if on_clip else SAMPLED if sampled else TIMED


def _all_names(code: str, parts: dict[str, ast.expr]) -> Iterable[str]:
    for name in _names(parts[code]):
        yield name
        if name in parts:
            yield from _all_names(name, parts)
