"""What each word of a formula becomes: the Python of the metric section, statement by statement.

The words are in formula_words.py; formulas.py says how a formula is put together.
"""

import ast
from collections.abc import Sequence
from dataclasses import dataclass, field

from models.swing.formula_words import (
    ARITHMETIC,
    COMPARISONS,
    FITS,
    LOADS,
    NAMED,
    OPERATIONS,
    WORDS,
)
from warehouse.definitions import Metric
from warehouse.errors import UnderfootError
from warehouse.vocabulary import EVENTS


@dataclass(frozen=True)
class Term:
    """A part of a formula: its kind, the Python it becomes, and where the search for a moment ended."""

    kind: str
    code: str
    searched_to: str = ""


@dataclass
class Section:
    """One function of the metric section as it is written, statement by statement."""

    name: str
    lines: list[str] = field(default_factory=list)
    kept: dict[str, str] = field(default_factory=dict)

    def keep(self, expression: str) -> str:
        """The variable that holds an expression, computed once however many formulas ask for it."""
        if expression not in self.kept:
            self.kept[expression] = f"v{len(self.kept)}"
            self.lines.append(f"    {self.kept[expression]} = {expression}")
        return self.kept[expression]

    def once(self, statement: str) -> None:
        """Run a statement before what follows, once."""
        if statement not in self.kept:
            self.kept[statement] = ""
            self.lines.append(f"    {statement}")


def wrong(metric: str, what: str) -> UnderfootError:
    """The error of a formula, which names its metric."""
    return UnderfootError(f"metrics.toml: the formula of {metric} is not right: {what}.")


@dataclass(frozen=True)
class Formula:
    """One metric's formula being written into its section."""

    metric: Metric
    section: Section
    places: dict[str, int]

    def number(self, node: ast.expr) -> str:
        """Python of a part that must be a number."""
        term = self.term(node)
        if term.kind != "number":
            raise wrong(
                self.metric.code,
                f"{ast.unparse(node)} is no number; ask something of it, as in at(lead_share, top)",
            )
        return term.code

    def term(self, node: ast.expr) -> Term:
        """Python of any part."""
        match node:
            case ast.Constant(value=bool()):
                pass
            case ast.Constant(value=int() | float()):
                return Term("number", repr(float(node.value)))  # type: ignore[arg-type]
            case ast.Name(id=name) if name in WORDS:
                return Term(*WORDS[name])
            case ast.Name(id=name) if name in self.places:
                return Term("number", f"row[{self.places[name]}]")
            case ast.UnaryOp(op=ast.USub(), operand=operand):
                return Term("number", f"(-{self.number(operand)})")
            case ast.BinOp(op=op, left=left, right=right) if type(op) in ARITHMETIC:
                return self._calculated(left, op, right)
            case ast.IfExp(
                test=ast.Compare(left=left, ops=[op], comparators=[right]), body=body, orelse=other
            ):
                if type(op) in COMPARISONS:
                    a, b = self.section.keep(self.number(left)), self.section.keep(self.number(right))
                    choice = (
                        f"{self.number(body)} if {a} {COMPARISONS[type(op)]} {b} else {self.number(other)}"
                    )
                    return Term("number", f"(math.nan if math.isnan({a} + {b}) else ({choice}))")
            case ast.Call(func=ast.Name(id=name), args=args, keywords=[]) if name in OPERATIONS:
                return self._asked(name, args)
        raise wrong(self.metric.code, f"{ast.unparse(node)} is not one of the forms a formula may have")

    def _calculated(self, left: ast.expr, op: ast.operator, right: ast.expr) -> Term:
        """Arithmetic, and the time between two events or from a moment to an event."""
        a, b, minus = self.term(left), self.term(right), isinstance(op, ast.Sub)
        if minus and a.kind == "event" and b.kind == "event":
            return Term("number", f"(event_s[{a.code}] - event_s[{b.code}])")
        if minus and a.kind == "event" and b.kind == "moment":
            return Term("number", self.section.keep(f"ops.ahead_s(swing, {a.code}, {b.code})"))
        return Term("number", f"({ARITHMETIC[type(op)].format(self.number(left), self.number(right))})")

    def _asked(self, name: str, args: Sequence[ast.expr]) -> Term:
        """One operation, its arguments checked."""
        kinds, example, _ = OPERATIONS[name]
        if len(args) != len(kinds):
            raise wrong(
                self.metric.code,
                f"{name} takes {len(kinds)} argument(s), as in {example}, and here has {len(args)}",
            )
        terms = []
        for kind, node in zip(kinds, args, strict=True):
            term = self._over_0(kind, node) if kind in ("seconds", "points") else self.term(node)
            clip_too = term.kind != "rise" or name in ("at", "least", "highest", "heel_order", "moves_after")
            if term.kind not in FITS.get(kind, (kind,)) or not clip_too:
                raise wrong(
                    self.metric.code,
                    f"{name} needs {NAMED[kind]} in place of {ast.unparse(node)}, as in {example}",
                )
            terms.append(term)
        return getattr(self, f"_{name}")(*terms)  # type: ignore[no-any-return]

    def _over_0(self, kind: str, node: ast.expr) -> Term:
        value = node.value if isinstance(node, ast.Constant) else None
        fits = isinstance(value, int | float) and not isinstance(value, bool) and value > 0
        return Term(kind if fits else "other", repr(float(value)) if fits else "")  # type: ignore[arg-type]

    def _samples(self, seconds: float) -> str:
        return self.section.keep(f"int(np.rint({seconds!r} * fs))")

    def _event(self, event: Term) -> str:
        return self.section.keep(f"at[{event.code}]")

    def _line(self, signal: Term) -> str:
        """The row of a signal, made ready before it is first asked for."""
        line = signal.code
        if line.startswith("HEEL_SHARE"):
            foot = int(line == "HEEL_SHARE_T")
            self.section.once(f"c.prepare_heel_shares(r, {foot}, swing.source, swing.off)")
        if line.startswith("PART"):
            self.section.once("c.prepare_heel_parts(r, swing.source)")
        return self.section.keep(f"lines[c.{line}]")

    def _window(self, first: Term, last: Term) -> tuple[str, str]:
        """Sample numbers of a window's ends, the first one negative when there is no such window."""
        end = self._event(last) if last.kind == "event" else ""
        if first.kind == "moment":
            start = self.section.keep(f"ops.sample_of({first.code}, {first.searched_to}, {end or 'n'})")
        else:
            start = first.code if first.kind == "start" else self._event(first)
        if last.kind == "stop":
            end = last.code
        if last.kind == "end":
            finish = self.section.keep(f"at[{EVENTS.index('finish')}]")
            end = self.section.keep(f"{finish} if {finish} > {start} else n - 1")
        return start, end

    def _at(self, signal: Term, event: Term) -> Term:
        if signal.kind == "rise":
            return Term("number", self.section.keep(f"clip.at({signal.code!r}, {EVENTS[int(event.code)]!r})"))
        at_address = event.code == str(EVENTS.index("address"))
        half = self.section.keep(
            f"int(np.rint(ops.{'ADDRESS_HALF_S' if at_address else 'EVENT_HALF_S'} * fs))"
        )
        centre = self._event(event)
        line = self._line(signal)
        return Term("number", self.section.keep(f"ops.around({line}, n, {centre}, {half})"))

    def _between(self, signal: Term, first: Term, last: Term) -> str:
        if signal.kind == "rise":
            ends = [EVENTS[int(end.code)] if end.kind == "event" else "" for end in (first, last)]
            return self.section.keep(f"clip.between({signal.code!r}, {ends[0]!r}, {ends[1]!r})")
        return self._over("ops.between", first, last, signal)

    def _over(self, operation: str, first: Term, last: Term, *signals: Term, more: str = "") -> str:
        """The answer of an operation on a window of one signal or two; `more`: its arguments after those."""
        start, end = self._window(first, last)
        lines = ", ".join(map(self._line, signals))
        return self.section.keep(f"{operation}({lines}, n, {start}, {end}{more})")

    def _least(self, signal: Term, first: Term, last: Term) -> Term:
        return Term("number", f"{self._between(signal, first, last)}[0]")

    def _highest(self, signal: Term, first: Term, last: Term) -> Term:
        return Term("number", f"{self._between(signal, first, last)}[1]")

    def _reach(self, signal: Term, first: Term, last: Term) -> Term:
        pair = self._between(signal, first, last)
        return Term("number", f"({pair}[1] - {pair}[0])")

    def _rolled(self, signal: Term, seconds: Term, first: Term, last: Term) -> str:
        half = self._samples(float(seconds.code) / 2.0)
        return self._over("ops.rolling_peak", first, last, signal, more=f", {half}")

    def _peak(self, signal: Term, seconds: Term, first: Term, last: Term) -> Term:
        return Term("number", f"{self._rolled(signal, seconds, first, last)}[0]")

    def _time_of_peak(self, signal: Term, seconds: Term, first: Term, last: Term) -> Term:
        pair = self._rolled(signal, seconds, first, last)
        return Term("moment", f"{pair}[1]", self._window(first, last)[1])

    def _time_of_highest(self, signal: Term, first: Term, last: Term) -> Term:
        (start, end), pair = self._window(first, last), self._between(signal, first, last)
        within = "ops.PLATEAU / swing.percent" if signal.code in LOADS else "ops.PLATEAU"
        found = f"ops.plateau_centre({self._line(signal)}, {start}, {end}, {pair}[1], {within})"
        return Term("moment", self.section.keep(found), end)

    def _steepest(self, signal: Term, seconds: Term, first: Term, last: Term) -> Term:
        points = self.section.keep(f"max({self._samples(float(seconds.code))} + 1, 2)")
        return Term("number", self._over("ops.steepest_slope", first, last, signal, more=f", {points}, fs"))

    def _opposition(self, u: Term, v: Term, first: Term, last: Term) -> Term:
        start, end = self._window(first, last)
        lines = f"{self._line(u)}, {self._line(v)}"
        return Term("number", self.section.keep(f"ops.opposed(swing, {lines}, {start}, {end})"))

    def _trough(self, signal: Term, seconds: Term, first: Term, last: Term) -> Term:
        half = self._samples(float(seconds.code) / 2.0)
        return Term("number", self._over("heels.rolling_trough", first, last, signal, more=f", {half}"))

    def _at_highest(self, signal: Term, highest: Term, first: Term, last: Term) -> Term:
        return Term("number", self._over("ops.at_highest", first, last, signal, highest))

    def _time_back(self, signal: Term, points: Term, first: Term, last: Term) -> Term:
        found = self._over("ops.time_back", first, last, signal, more=f", {points.code}")
        return Term("moment", found, self._window(first, last)[1])

    def _opposition_of_moves(self, u: Term, v: Term, seconds: Term, first: Term, last: Term) -> Term:
        steps = self._samples(float(seconds.code))
        return Term("number", self._over("heels.opposed_moves", first, last, u, v, more=f", max({steps}, 1)"))

    def _ordered(self, lead: Term, trail: Term) -> str:
        return self.section.keep(f"heels.heel_order(swing, {self._line(lead)}, {self._line(trail)})")

    def _heel_order(self, lead: Term, trail: Term) -> Term:
        if lead.kind == "rise":
            return Term("number", self.section.keep("clip.order_ms()"))
        return Term("number", f"{self._ordered(lead, trail)}[0]")

    def _heel_order_error(self, lead: Term, trail: Term) -> Term:
        return Term("number", f"{self._ordered(lead, trail)}[1]")

    def _moves_after(self, heel: Term, event: Term) -> Term:
        found = f"clip.moves_after({heel.code!r}, {EVENTS[int(event.code)]!r})"
        return Term("number", self.section.keep(found))

    def _slowest(self, _: Term, seconds: Term, event: Term) -> Term:
        return Term("number", self.section.keep(f"ops.slowest(swing, {seconds.code}, {self._event(event)})"))

    def _before(self, event: Term, seconds: Term) -> Term:
        end, steps = self._event(event), self._samples(float(seconds.code))
        return Term("start", self.section.keep(f"{end} - {steps} if {end} >= {steps} else -1"))

    def _after(self, event: Term, seconds: Term) -> Term:
        start, steps = self._event(event), self._samples(float(seconds.code))
        return Term("stop", self.section.keep(f"{start} + {steps} if {start} >= 0 else -1"))

    def _distance(self, first: Term, second: Term) -> Term:
        return Term("number", self.section.keep(f"ops.distance(stance_mm, {first.code}, {second.code})"))

    def _of_weight(self, load: Term) -> Term:
        return Term("number", f"({load.code} * swing.percent)")

    def _smaller(self, a: Term, b: Term) -> Term:
        return Term("number", f"ops.lesser({a.code}, {b.code})")

    def _larger(self, a: Term, b: Term) -> Term:
        return Term("number", f"ops.greater({a.code}, {b.code})")

    def _positive(self, value: Term) -> Term:
        kept = self.section.keep(value.code)
        return Term("number", f"({kept} if {kept} > 0.0 else math.nan)")
