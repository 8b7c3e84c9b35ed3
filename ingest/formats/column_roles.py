"""Which of our plate columns an unknown file's columns are: by their headers, then by how values add up.

What follows from neither is a question with its choices: two columns that could both be the load, LF and LH.
"""

import re
from collections.abc import Sequence

import numpy as np

from ingest.formats.explanation import Array, Explanation, Knowing, Question, Sheet
from ingest.formats.header_words import CLOCK_UNITS, LENGTH_UNITS, LOAD_UNITS, Header, read_header, words_of
from warehouse.devices import FOOT, TOTAL
from warehouse.units import STANDARD_GRAVITY_M_S2
from warehouse.vocabulary import written_names

Pair = tuple[str, str]

LIGHTEST_KG, HEAVIEST_KG = 25.0, 160.0
NEAR = 0.12  # of body weight: a unit fits within it
UNUSED = "unused"
PAIRS: tuple[Pair, ...] = (("left", "right"), ("lead", "trail"), (FOOT, FOOT))
PARTS = ("n", "heel_n", "fore_n")
SHARES = ("share_pct", "heel_of_foot_pct", "heel_of_both_pct", "fore_of_both_pct")
N_PER_UNIT = {"N": 1.0, "kN": 1000.0, "kgf": STANDARD_GRAVITY_M_S2, "lbf": 4.4482216152605, "gf": 0.00980665}
_ADDS_UP_WITHIN = 0.6  # of 100
_SLOWEST_STEP_S, _QUICKEST_STEP_S = 1 / 50, 1 / 2000
_CLOCK_FACTORS = {"s": 1.0, "ms": 1e-3, "us": 1e-6, "d": 86_400.0}
NAMELESS = re.compile(r"\(column \d+\)")
FORCE = frozenset(unit for unit in LOAD_UNITS if unit not in ("g", "bw"))


class Roles:
    """What each column is (`roles`, "" while open) and how that was decided; questions go to `found`."""

    def __init__(self, sheet: Sheet, knowing: Knowing, found: Explanation) -> None:
        self.sheet, self.answers, self.mass = sheet, knowing.answers, knowing.body_mass_kg
        self.headers = {name: read_header(name, sheet.units.get(name)) for name in sheet.numbers}
        self.roles: dict[str, str] = {}
        self.how: dict[str, str] = {}
        self.found = found
        self.entries: dict[str, dict[str, object]] = {}  # of the recipe

    def _ask(
        self, key: str, asks: str, columns: Sequence[str], choices: Sequence[str], sentence: str,
        value: float | None = None,
    ) -> None:  # fmt: skip
        if key not in self.answers and all(question.key != key for question in self.found.questions):
            self.found.questions.append(Question(key, asks, tuple(columns), tuple(choices), sentence, value))

    def _role(self, name: str, h: Header) -> tuple[str, str]:
        """What a header alone says; "" where it leaves that open."""
        if name in self.answers:
            return self.answers[name], "as answered"
        if NAMELESS.fullmatch(name):
            return "", "it has no name"
        if name == self.sheet.foot_column:
            return FOOT, "it names the foot"
        if name in written_names():
            return name, "it has our own name and unit"
        side = h.side or (FOOT if self.sheet.feet is not None else None)
        if not h.side:
            if h.says("clock") and not h.says("swing"):
                return "t_s", "by its name"
            if h.says("swing"):
                return "swing_no", "by its name"
        if side is None or h.says("both", "body"):
            force = (h.says("load", "vertical", "both") and not h.says("shear", "place")) or h.unit in FORCE
            return (TOTAL, "by its name") if force else (UNUSED, "it names no foot")
        if h.says("across") and not h.origin:
            return UNUSED, "across the foot: nothing shows which way it counts"
        length = h.unit in LENGTH_UNITS or not h.unit
        if h.origin or h.letter == "p" or (length and (h.says("place") or {"heel", "fore"} <= h.kinds)):
            return f"{side}_along_pct", "by its name"
        if h.says("shear"):
            return UNUSED, "a force along the ground, not the load"
        if h.letter is not None:
            return "", "its letters may mean several things"
        if h.says("share") or h.unit in ("%", "pct", "percent"):
            part = "heel" if h.says("heel") else "fore" if h.says("fore") else ""
            return "", f"a percentage {part}".strip()
        part = "heel_n" if h.says("heel") else "fore_n" if h.says("fore") else "n"
        known = h.says("load", "vertical", "heel", "fore", "foot") or h.unit in FORCE
        if known or not _other_words(name, h):
            return f"{side}_{part}", "by its name"
        return "", "its name does not say what it holds"

    def _of(self, *roles: str) -> list[str]:
        return [name for name, role in self.roles.items() if role in roles]

    def _sides(self) -> Pair:
        """The pair of feet the file has; the same twice where each row is of one foot."""
        sides = {h.side for h in self.headers.values()} | {r.partition("_")[0] for r in self.roles.values()}
        return next((pair for pair in PAIRS if set(pair) & sides), PAIRS[0])

    def _feet(self) -> list[str]:
        """The feet whose columns the file has."""
        return list(dict.fromkeys(self._sides()))

    def _shares(self) -> None:
        """Percentages: shares of both feet where they add up to 100 throughout, else a question."""
        open_ = [
            name
            for name, role in self.roles.items()
            if not role and self.how[name].startswith("a percentage")
        ]
        parts = {name: self.how[name].rpartition(" ")[2] for name in open_}
        total = self._added(open_)
        scale = 1.0 if open_ and max(np.nanmax(self.sheet.numbers[n]) for n in open_) <= 1.5 else 100.0
        adds_up = len(open_) > 1 and bool(np.nanmax(np.abs(total / scale * 100 - 100)) < _ADDS_UP_WITHIN)
        sides = {name: self.headers[name].side or FOOT for name in open_}
        kinds = sorted((sides[n], parts[n]) for n in open_)
        pair = self._sides()
        for name in open_:
            side = sides[name]
            if adds_up and kinds == sorted((s, "percentage") for s in pair):
                self.roles[name] = f"{side}_share_pct"
                self.how[name] = "the two feet add up to 100 in every row"
            elif adds_up and kinds == sorted((s, p) for s in pair for p in ("heel", "fore")):
                self.roles[name] = f"{side}_{parts[name]}_of_both_pct"
                self.how[name] = "the four parts add up to 100 in every row"
            else:
                heel, whole = ("heel_of_foot_pct", "heel_of_both_pct"), ("share_pct", "n")
                could_be = (*(heel if parts[name] == "heel" else whole), "along_pct")
                choices = [*(f"{side}_{one}" for one in could_be), UNUSED]
                self._ask(name, "share", [name], choices, f'what is "{name}" a percentage of')

    def _letters(self) -> None:
        """LF and RF alone are whole feet where they carry body weight; else letters are asked for."""
        lettered = [
            name for name, h in self.headers.items() if h.letter not in (None, "p") and not self.roles[name]
        ]
        if not lettered:
            return
        letters = {self.headers[name].letter for name in lettered}
        if letters == {"f"} and len(lettered) == 2 and self.mass is not None and self._weighs(lettered):
            for name in lettered:
                self.roles[name] = f"{self.headers[name].side}_n"
                self.how[name] = "the two together carry body weight"
            return
        for name in lettered:
            self._ask_role(
                name, str(self.headers[name].side), "its letters may mean a foot's force, forefoot or heel"
            )

    def _ask_role(self, name: str, side: str, why: str) -> None:
        sides = (side,) if side in ("left", "right", "lead", "trail", FOOT) else ("left", "right")
        parts = (
            PARTS
            if self.headers[name].kinds & {"load", "vertical"} or side in sides
            else (*PARTS, "along_pct")
        )
        choices = [f"{s}_{part}" for s in sides for part in parts]
        if NAMELESS.fullmatch(name):
            choices = ["swing_no", "t_s", *choices]
        self._ask(name, "column", [name], [*choices, UNUSED], f'what is "{name}" ({why})')
        self.roles[name] = self.answers.get(name, "")

    def _weighs(self, names: Sequence[str]) -> bool:
        """Whether columns together carry the body weight that is known, in the unit stated or in any."""
        total = abs(middle(self._added(names)))
        stated = {LOAD_UNITS.get(self.headers[name].unit) for name in names} - {None}
        units = [u for u in stated if u in N_PER_UNIT] if stated else list(N_PER_UNIT)
        return any(self._is_body(total * N_PER_UNIT[str(unit)]) for unit in units)

    def _added(self, names: Sequence[str]) -> Array:
        """Columns added up, row by row."""
        return summed([self.sheet.numbers[name] for name in names])

    def _is_body(self, newtons: float) -> bool:
        kilograms = newtons / STANDARD_GRAVITY_M_S2
        if self.mass is not None:
            return abs(kilograms / self.mass - 1) <= NEAR
        return LIGHTEST_KG <= kilograms <= HEAVIEST_KG

    def _loads(self) -> None:
        """Several columns that could be one foot's load, or a foot's load that the header hides."""
        feet = self._feet()
        for side in feet:
            rivals = self._of(f"{side}_n")
            if len(rivals) > 1:
                for name in rivals:
                    self._ask_role(name, side, "several columns could be this foot's load")
        if not any(self._of(f"{s}_n", f"{s}_heel_n", *(f"{s}_{x}" for x in SHARES)) for s in feet):
            asked = {question.key for question in self.found.questions}
            for name, role in self.roles.items():
                if not role and name not in asked:
                    self._ask_role(name, str(self.headers[name].side), self.how[name])
            if not any(role for role in self.roles.values() if role.endswith("_n")) and not asked:
                for name, role in self.roles.items():
                    if (
                        role == UNUSED
                        and self.how[name] == "it names no foot"
                        and not self.headers[name].kinds
                    ):
                        self._ask_role(name, "", "its name does not say what it holds")
        vertical = [name for side in feet for name in self._of(f"{side}_n")]
        axes_named = [n for n, h in self.headers.items() if h.side and {"fx", "fy"} & set(words_of(n))]
        if axes_named and len(vertical) == 2 and not self._weighs(vertical):
            for name in (*vertical, *axes_named):
                why = "which axis is vertical is not clear, as what is named z does not carry a body's weight"
                self._ask_role(name, str(self.headers[name].side), why)

    def _singles(self) -> None:
        """At most one column for the clock, the swing, the total and each foot's position."""
        singles = ["t_s", "swing_no", TOTAL, *(f"{side}_along_pct" for pair in PAIRS for side in pair)]
        for role in dict.fromkeys(singles):
            if len(self._of(role)) < 2:
                continue
            names = [name for name in self._of(role) if self.how[name] != "as answered"]
            if role == TOTAL:
                self._totals(names)
                continue
            for name in names:
                self._ask(name, "column", [name], [role, UNUSED], f'is "{name}" {role}, or another column')
                self.roles[name] = self.answers.get(name, "")

    def _totals(self, names: Sequence[str]) -> None:
        """Of several loads that name no foot, the one of both feet is kept; else each may be one foot's."""
        named = [name for name in names if self.headers[name].says("both")]
        unneeded: Sequence[str] = ()
        if len(named) == 1:
            unneeded = [name for name in names if name not in named]
        elif all(self._of(f"{side}_n", f"{side}_heel_n", f"{side}_share_pct") for side in self._sides()):
            unneeded = names[1:]
        elif not named:
            for name, h in self.headers.items():
                if name in names or (h.side is None and h.says("place", "heel", "fore")):
                    self._ask_role(name, "", "the header does not say which foot it is of")
        for name in unneeded:
            self.roles[name], self.how[name] = UNUSED, "not needed"

    def _answered(self) -> None:
        for name, role in self.roles.items():
            if not role and name in self.answers:
                self.roles[name] = self.answers[name]
            elif not role and all(question.key != name for question in self.found.questions):
                self.roles[name] = UNUSED

    def _clock(self) -> None:
        entry = self.entries.get("t_s")
        if entry is None:
            if not self.sheet.has_clock:
                self._rate("the file has no clock")
            return
        name = str(entry["column"])
        if name in self.sheet.clocks:
            entry["unit"] = self.sheet.clocks[name]
            return
        unit = self.answers.get("clock") or (
            "s" if name == "t_s" else CLOCK_UNITS.get(self.headers[name].unit)
        )
        if unit is None:
            unit = self._clock_unit(name)
        if unit is None:
            return
        if unit != "s":
            entry["unit"] = unit
        if unit == "frames":
            self._rate("the clock counts frames")

    def _rate(self, why: str) -> None:
        if self.sheet.rate_hz is None and "rate" not in self.answers:
            self._ask("rate", "rate", [], (), f"how many samples a second the device takes ({why})")

    def _clock_unit(self, name: str) -> str | None:
        steps = np.diff(self.sheet.numbers[name])
        steps = np.abs(steps[np.isfinite(steps) & (steps != 0)])
        step = float(np.median(steps)) if steps.size else 0.0
        if abs(step - 1.0) < 1e-9:
            if {"frame", "frames", "sample", "samples"} & set(words_of(name)):
                return "frames"
            self._ask("clock", "clock", [name], ("frames", "ms"), f'what "{name}" counts, as it goes up by 1')
            return None
        for unit, factor in _CLOCK_FACTORS.items():
            if _QUICKEST_STEP_S * 0.99 <= step * factor <= _SLOWEST_STEP_S * 1.01:
                self.found.facts["unit of the clock"] = (
                    f"{unit}: a step of {step:.4g} is {1 / (step * factor):.4g} Hz"
                )
                return unit
        self._ask(
            "clock",
            "clock",
            [name],
            ("s", "ms", "us", "frames"),
            f'the unit of "{name}" (it steps by {step:g})',
        )
        return None

    def _decide(self) -> None:
        """Every column's role, as far as headers, sums and answers say."""
        for name, header in self.headers.items():
            self.roles[name], self.how[name] = self._role(name, header)
        self._shares()
        self._letters()
        self._loads()
        self._singles()
        self._answered()


def _other_words(name: str, h: Header) -> bool:
    """Whether a header says more than its foot and unit, in words that are not known."""
    words = [w for w in words_of(name) if w != "%" and w not in LOAD_UNITS and w not in LENGTH_UNITS]
    return len(words) > 1 and not h.kinds


def middle(values: Array) -> float:
    """Median of what is known, 0 without any."""
    return float(np.nanmedian(values)) if np.isfinite(values).any() else 0.0


def summed(values: Sequence[Array]) -> Array:
    """Columns added up, row by row."""
    return np.asarray(sum(values[1:], start=values[0]) if values else np.zeros(0), dtype=np.float64)
