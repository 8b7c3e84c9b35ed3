"""Which of our plate columns an unknown file's columns are, in what unit, and what has to be asked.

Idea: words of the header say what a column is, and its unit; its values must then be what a standing person
gives (both feet together carry body weight; a clock steps by 1/2,000 to 1/50 s; shares add up to 100). What
follows from these is decided. What does not is a question with its choices, and is never filled in: where a
position counts from, two columns that could both be the load, letters such as LF that mean several things.
Ranges are common practice, no source.
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from ingest.formats.header_words import CLOCK_UNITS, LENGTH_UNITS, LOAD_UNITS, Header, read_header, words_of
from warehouse.devices import FOOT, ORIGINS, TOTAL
from warehouse.units import STANDARD_GRAVITY_M_S2
from warehouse.vocabulary import written_names

Array = NDArray[np.float64]
Pair = tuple[str, str]

BODY_N = (300.0, 1700.0)  # what both feet of a golfer carry, N
LIGHTEST_KG, HEAVIEST_KG = 25.0, 160.0
NEAR, TOO_FAR = 0.12, 0.25  # of body weight: a unit fits within the one, and can't be right beyond the other
UNUSED = "unused"
PAIRS: tuple[Pair, ...] = (("left", "right"), ("lead", "trail"), (FOOT, FOOT))
PARTS = ("n", "heel_n", "fore_n")
SHARES = ("share_pct", "heel_of_foot_pct", "heel_of_both_pct", "fore_of_both_pct")
N_PER_UNIT = {"N": 1.0, "kN": 1000.0, "kgf": STANDARD_GRAVITY_M_S2, "lbf": 4.4482216152605, "gf": 0.00980665}
_ADDS_UP_WITHIN = 0.6  # of 100
_SLOWEST_STEP_S, _QUICKEST_STEP_S = 1 / 50, 1 / 2000
_CLOCK_FACTORS = {"s": 1.0, "ms": 1e-3, "us": 1e-6, "d": 86_400.0}


@dataclass(frozen=True)
class ColumnGuess:
    """What one column of a file is taken for: our name (None: not taken), its unit, and how that was decided.

    low and high: of its values. A file's parts, shares and totals have the names of ROLES.
    """

    theirs: str
    ours: str | None
    unit: str | None
    how: str
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True)
class Question:
    """Something only the owner of the device knows: what is asked, about which columns, with its choices.

    key: what is answered: a column's name, or "unit", "origin", "position unit", "clock" or "rate".
    No choices: a number is asked for.
    """

    key: str
    asks: str
    columns: tuple[str, ...]
    choices: tuple[str, ...]
    sentence: str


@dataclass
class Guess:
    """All columns of a file: what each is, what is asked, what speaks against it, the recipe's entries."""

    columns: list[ColumnGuess] = field(default_factory=list)
    questions: list[Question] = field(default_factory=list)
    doubts: list[str] = field(default_factory=list)
    facts: dict[str, str] = field(default_factory=dict)
    entries: dict[str, dict[str, object]] = field(default_factory=dict)
    counts_frames: bool = False


@dataclass(frozen=True)
class Sheet:
    """A file's columns as the guess needs them.

    numbers: (rows,) NaN where not a number. clocks: columns of times written out, and how. feet: each
    row's foot where a row holds one foot, else None. has_swings: the layout tells swings apart by itself.
    """

    numbers: Mapping[str, Array]
    units: Mapping[str, str]
    clocks: Mapping[str, str]
    feet: NDArray[np.str_] | None = None
    foot_column: str | None = None
    has_swings: bool = False
    has_clock: bool = True
    rate_hz: float | None = None


def guess_columns(sheet: Sheet, answers: Mapping[str, str], body_mass_kg: float | None) -> Guess:
    """What the columns of a file are, as far as they and the answers given say."""
    return _Guessing(sheet, answers, body_mass_kg).guess()


class _Guessing:
    """The steps of one guess: roles by header, then by arithmetic, then units, origins and the clock."""

    def __init__(self, sheet: Sheet, answers: Mapping[str, str], body_mass_kg: float | None) -> None:
        self.sheet, self.answers, self.mass = sheet, answers, body_mass_kg
        self.headers = {name: read_header(name, sheet.units.get(name)) for name in sheet.numbers}
        self.roles: dict[str, str] = {}
        self.how: dict[str, str] = {}
        self.found = Guess()

    def guess(self) -> Guess:
        for name, header in self.headers.items():
            self.roles[name], self.how[name] = self._role(name, header)
        self._shares()
        self._letters()
        self._loads()
        self._singles()
        self._answered()
        self._entries()
        for name, values in self.sheet.numbers.items():
            known = values[np.isfinite(values)]
            low, high = (float(known.min()), float(known.max())) if known.size else (None, None)
            role = self.roles[name]
            ours = None if role in (UNUSED, "") else role
            unit = next(
                (str(e["unit"]) for e in self.found.entries.values() if name in _names(e) and "unit" in e),
                None,
            )
            self.found.columns.append(ColumnGuess(name, ours, unit, self.how[name], low, high))
        return self.found

    def _ask(
        self, key: str, asks: str, columns: Sequence[str], choices: Sequence[str], sentence: str
    ) -> None:
        if key not in self.answers and all(question.key != key for question in self.found.questions):
            self.found.questions.append(Question(key, asks, tuple(columns), tuple(choices), sentence))

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
            force = (h.says("load", "vertical", "both") and not h.says("shear", "place")) or h.unit in _FORCE
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
        known = h.says("load", "vertical", "heel", "fore", "foot") or h.unit in _FORCE
        if known or not _other_words(name, h):
            return f"{side}_{part}", "by its name"
        return "", "its name does not say what it holds"

    def _of(self, *roles: str) -> list[str]:
        return [name for name, role in self.roles.items() if role in roles]

    def _sides(self) -> Pair:
        """The pair of feet the file has."""
        sides = {h.side for h in self.headers.values()} | {r.partition("_")[0] for r in self.roles.values()}
        return next((pair for pair in PAIRS if set(pair) & sides), PAIRS[0])

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
                self.roles[name], self.how[name] = (
                    f"{side}_share_pct",
                    "the two feet add up to 100 in every row",
                )
            elif adds_up and kinds == sorted((s, p) for s in pair for p in ("heel", "fore")):
                self.roles[name] = f"{side}_{parts[name]}_of_both_pct"
                self.how[name] = "the four parts add up to 100 in every row"
            elif parts[name] == "heel":
                choices = (
                    f"{side}_heel_of_foot_pct",
                    f"{side}_heel_of_both_pct",
                    f"{side}_along_pct",
                    UNUSED,
                )
                self._ask(name, "share", [name], choices, f'what is "{name}" a percentage of')
            else:
                choices = (f"{side}_share_pct", f"{side}_n", f"{side}_along_pct", UNUSED)
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
            side = self.headers[name].side
            self._ask_role(name, f"{side}", "its letters may mean a foot's force, forefoot or heel")

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
        total = abs(_middle(self._added(names)))
        stated = {LOAD_UNITS.get(self.headers[name].unit) for name in names} - {None}
        units = [u for u in stated if u in N_PER_UNIT] if stated else list(N_PER_UNIT)
        return any(self._is_body(total * N_PER_UNIT[str(unit)]) for unit in units)

    def _added(self, names: Sequence[str]) -> Array:
        """Columns added up, row by row."""
        return _summed([self.sheet.numbers[name] for name in names])

    def _is_body(self, newtons: float) -> bool:
        kilograms = newtons / STANDARD_GRAVITY_M_S2
        if self.mass is not None:
            return abs(kilograms / self.mass - 1) <= NEAR
        return LIGHTEST_KG <= kilograms <= HEAVIEST_KG

    def _loads(self) -> None:
        """Several columns that could be one foot's load, or a foot's load that the header hides."""
        pair = self._sides()
        for side in dict.fromkeys(pair):
            rivals = self._of(f"{side}_n")
            if len(rivals) > 1:
                for name in rivals:
                    self._ask_role(name, side, "several columns could be this foot's load")
        if not any(self._of(f"{s}_n", f"{s}_heel_n", *(f"{s}_{x}" for x in SHARES)) for s in pair):
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
        axes = [n for n, h in self.headers.items() if h.says("shear") and words_of(n)[-1:] and h.side]
        vertical = [name for side in dict.fromkeys(pair) for name in self._of(f"{side}_n")]
        axes_named = [n for n in axes if {"fx", "fy"} & set(words_of(n))]
        if axes_named and len(vertical) == 2 and not self._weighs(vertical):
            for name in (*vertical, *axes_named):
                side = str(self.headers[name].side)
                why = "which axis is vertical is not clear, as what is named z does not carry a body's weight"
                self._ask_role(name, side, why)

    def _singles(self) -> None:
        """One column at most for the clock, the swing, the total and each foot's position."""
        singles = ["t_s", "swing_no", TOTAL, *(f"{side}_along_pct" for pair in PAIRS for side in pair)]
        for role in dict.fromkeys(singles):
            names = [name for name in self._of(role) if self.how[name] != "as answered"]
            if len(self._of(role)) < 2:
                continue
            if (
                role == TOTAL
                and not self._feet_known()
                and not any(self.headers[n].says("both") for n in names)
            ):
                for name in self.headers:
                    h = self.headers[name]
                    if name in names or (h.side is None and h.says("place", "heel", "fore")):
                        self._ask_role(name, "", "the header does not say which foot it is of")
                continue
            if role == TOTAL:
                named = [n for n in names if self.headers[n].says("both")]
                names = names if len(named) != 1 else [n for n in names if n not in named]
                for name in names if len(named) == 1 else names[1:] if self._feet_known() else []:
                    self.roles[name], self.how[name] = UNUSED, "not needed"
                continue
            for name in names:
                self._ask(name, "column", [name], [role, UNUSED], f'is "{name}" {role}, or another column')
                self.roles[name] = self.answers.get(name, "")

    def _feet_known(self) -> bool:
        return all(self._of(f"{side}_n", f"{side}_heel_n", f"{side}_share_pct") for side in self._sides())

    def _answered(self) -> None:
        for name, role in self.roles.items():
            if not role and name in self.answers:
                self.roles[name] = self.answers[name]
            elif not role and all(question.key != name for question in self.found.questions):
                self.roles[name] = UNUSED

    def _entries(self) -> None:
        """The recipe's lines: clock, swing, loads, heels and positions."""
        entries, pair = self.found.entries, self._sides()
        for role in ("swing_no", "t_s", FOOT):
            for name in self._of(role)[:1]:
                entries[role] = {"column": name}
        self._clock()
        if not self._of("swing_no") and not self.sheet.has_swings:
            self.found.facts["swings"] = "one, as no column numbers them"
        for side in dict.fromkeys(pair):
            self._load_entry(side, next((other for other in pair if other != side), side))
        self._total_entry()
        for side in dict.fromkeys(pair):
            self._heel_entry(side)
            for name in self._of(f"{side}_along_pct")[:1]:
                entries[f"{side}_along_pct"] = {"column": name}
        self._load_unit()
        self._positions()
        self._missing(pair)

    def _load_entry(self, side: str, other: str) -> None:
        entries = self.found.entries
        whole, heel, fore = (self._of(f"{side}_{part}") for part in PARTS)
        shares = self._of(f"{side}_share_pct")
        quarters = self._of(f"{side}_heel_of_both_pct", f"{side}_fore_of_both_pct")
        other_whole, other_share = self._of(f"{other}_n"), self._of(f"{other}_share_pct")
        if whole:
            entries[f"{side}_n"] = {"column": whole[0]}
        elif heel and fore:
            entries[f"{side}_n"] = {"column": [*heel, *fore]}
        elif shares:
            entries[f"{side}_n"] = self._share(shares[0])
        elif len(quarters) > 1:
            entries[f"{side}_n"] = {"column": quarters, "share_of": "both"}
        elif other_share and other != side:
            entries[f"{side}_n"] = self._share(other_share[0]) | {"rest_of": "both"}
        elif other_whole and self._of(TOTAL) and other != side:
            entries[f"{side}_n"] = {"column": other_whole[0], "rest_of": TOTAL}

    def _share(self, name: str) -> dict[str, object]:
        fraction = float(np.nanmax(np.abs(self.sheet.numbers[name]))) <= 1.5
        entry: dict[str, object] = {"column": name, "share_of": "both"}
        return entry | ({"unit": "fraction"} if fraction else {})

    def _total_entry(self) -> None:
        uses = any({"share_of", "rest_of"} & e.keys() for e in self.found.entries.values())
        for name in self._of(TOTAL):
            if uses and TOTAL not in self.found.entries:
                self.found.entries[TOTAL] = {"column": name}
            else:
                self.roles[name], self.how[name] = UNUSED, "not needed beside the feet"

    def _heel_entry(self, side: str) -> None:
        heel, of_foot = self._of(f"{side}_heel_n"), self._of(f"{side}_heel_of_foot_pct")
        of_both = self._of(f"{side}_heel_of_both_pct")
        ours = f"{side}_heel_n"
        if heel:
            self.found.entries[ours] = {"column": heel if len(heel) > 1 else heel[0]}
        elif of_foot:
            self.found.entries[ours] = {"column": of_foot[0], "share_of": f"{side}_n"}
        elif of_both:
            self.found.entries[ours] = {"column": of_both[0], "share_of": "both"}

    def _load_unit(self) -> None:
        """The unit of all loads, as stated or as only one makes a standing person of them."""
        names = [TOTAL] if TOTAL in self.found.entries else []
        loads = {k: e for k, e in self.found.entries.items() if k.endswith("_n") and "share_of" not in e}
        if not loads:
            return
        stated = {LOAD_UNITS.get(self.headers[n].unit) for e in loads.values() for n in _names(e)} - {None}
        if all(k in written_names() and _names(e) == [k] for k, e in loads.items()):
            stated = {"N"}  # our own names
        total = self._sum(names or [f"{side}_n" for side in dict.fromkeys(self._sides())])
        if total is None:
            return
        sign = {"scale": -1.0} if total < 0 else {}
        answer = self.answers.get("unit")
        if answer is not None and (number := _number(answer)) is not None:
            unit, sign = "N", {"scale": number * (-1.0 if total < 0 else 1.0)}
        elif answer is not None or len(stated) == 1:
            unit = answer or str(next(iter(stated)))
            self._check_weight(abs(total), unit)
        else:
            fits = self._units_that_fit(abs(total))
            if len(fits) != 1 or len(stated) > 1:
                both = f"both feet carry {abs(total):.4g} together"
                hint = f", {', '.join(fits)} would fit" if fits else ", which no unit makes a person's weight"
                self._ask(
                    "unit", "unit", [n for e in loads.values() for n in _names(e)],
                    (*N_PER_UNIT, "% of body weight", "body weights"),
                    f"the unit of the loads ({both}{hint}; body_mass_kg in session.toml decides it), "
                    "or how many N one step is",
                )  # fmt: skip
                return
            unit = fits[0]
            if unit != "N" or self.mass is not None or total:
                self.found.facts["unit of the loads"] = (
                    f"{unit}: both feet carry {abs(total):.4g}, as a person does"
                )
        for entry in loads.values():
            entry.update({"unit": unit} if unit != "N" else {})
            entry.update(sign)

    def _units_that_fit(self, total: float) -> list[str]:
        fits = [unit for unit, newtons in N_PER_UNIT.items() if self._is_body(total * newtons)]
        return [*fits, *(unit for unit, one in (("% of body weight", 100.0), ("body weights", 1.0))
                         if abs(total / one - 1) < NEAR / 2)]  # fmt: skip

    def _sum(self, wanted: Sequence[str]) -> float | None:
        """What the feet carry together in the middle of the file, in the file's own unit."""
        found = [self.found.entries[name] for name in wanted if name in self.found.entries]
        if len(found) < len(wanted):
            return None
        if self.sheet.feet is not None:
            values = self._added(_names(found[0]))
            return sum(_middle(values[self.sheet.feet == foot]) for foot in np.unique(self.sheet.feet))
        if any("rest_of" in entry for entry in found):
            return _middle(self.sheet.numbers[self._of(TOTAL)[0]]) if self._of(TOTAL) else None
        sums = [self._added(_names(entry)) for entry in found]
        return _middle(_summed(sums))

    def _check_weight(self, total: float, unit: str) -> None:
        newtons = N_PER_UNIT.get(unit)
        if newtons is None:
            per = 100.0 if unit.startswith("%") else 1.0
            kilograms, off = None, abs(total / per - 1) > TOO_FAR
        else:
            kilograms = total * newtons / STANDARD_GRAVITY_M_S2
            off = (
                abs(kilograms / self.mass - 1) > TOO_FAR
                if self.mass is not None
                else not LIGHTEST_KG * 0.8 <= kilograms <= HEAVIEST_KG * 1.25
            )
        if off:
            weigh = f" ({kilograms:.3g} kg)" if kilograms is not None else ""
            mass = f"; the session says {self.mass:g} kg" if self.mass is not None else ""
            self.found.doubts.append(
                f"both feet carry {total:.4g} {unit} together{weigh}, which is not a person standing{mass}; "
                "zero the plates and export again, or say the right unit with --answer unit=…"
            )

    def _positions(self) -> None:
        places = {k: e for k, e in self.found.entries.items() if k.endswith("_along_pct")}
        theirs = {k: str(e["column"]) for k, e in places.items() if e["column"] != k}
        if not theirs:
            return
        names = list(theirs.values())
        origins = {self.headers[name].origin for name in names}
        origin = self.answers.get("origin") or (next(iter(origins)) if len(origins) == 1 else None)
        if origin is None:
            self._ask("origin", "origin", names, ORIGINS,
                      f"which end is 0 in {_listed(names)}, or how many mm from the heel 0 is")  # fmt: skip
        units = {LENGTH_UNITS.get(self.headers[name].unit) for name in names}
        unit = self.answers.get("position unit") or (next(iter(units)) if len(units) == 1 else None)
        if unit is None:
            values = np.concatenate([self.sheet.numbers[name] for name in names])
            high = float(np.nanmax(np.abs(values)))
            if 110 < high <= 340:
                unit = "mm"
            elif high <= 1.2:
                unit = "fraction"
            else:
                self._ask("position unit", "position unit", names, ("%", "mm", "cm", "in"),
                          f"the unit of {_listed(names)} (up to {high:.4g})")  # fmt: skip
        for ours in theirs:
            entry = places[ours]
            if unit not in (None, "%"):
                entry["unit"] = unit
            if origin not in (None, "heel"):
                entry["origin"] = number if (number := _number(str(origin))) is not None else origin

    def _clock(self) -> None:
        entry = self.found.entries.get("t_s")
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
            self.found.counts_frames = True
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

    def _missing(self, pair: Pair) -> None:
        """What the file lacks: loads of a foot stop it, positions and heel loads are left null."""
        entries, asked = self.found.entries, {q.asks for q in self.found.questions}
        lacking = [side for side in dict.fromkeys(pair) if f"{side}_n" not in entries]
        if lacking and not asked & {"column", "share"}:
            if self._has_both_only():
                what = "the load is that of both feet together, which does not say what each foot carries"
            else:
                what = f"no column was found for the load under the {' and the '.join(lacking)} foot"
            self.found.doubts.append(f"{what}; export each foot's load, and load that")
        if "t_s" not in entries and self.sheet.has_clock and not asked & {"column"}:
            self.found.doubts.append(
                "no column was found for the clock; export it with its times, and load that"
            )
        without = [side for side in dict.fromkeys(pair) if f"{side}_along_pct" not in entries]
        if without and not lacking:
            self.found.facts["not in the file"] = (
                "where along the foot the pressure is: metrics that need it stay empty"
            )
        shares = any(e.get("share_of") == "both" and k.endswith("_n") for k, e in entries.items())
        if shares and TOTAL not in entries:
            self.found.facts["only shares"] = "no load in N: metrics that need the size of a load stay empty"

    def _has_both_only(self) -> bool:
        return any(
            h.side is None and (h.says("load", "vertical", "both") or h.unit in _FORCE)
            for h in self.headers.values()
        )


NAMELESS = re.compile(r"\(column \d+\)")
_FORCE = frozenset(unit for unit in LOAD_UNITS if unit not in ("g", "bw"))


def _other_words(name: str, h: Header) -> bool:
    """Whether a header says more than its foot and unit, in words that are not known."""
    words = [w for w in words_of(name) if w != "%" and w not in LOAD_UNITS and w not in LENGTH_UNITS]
    return len(words) > 1 and not h.kinds


def _names(entry: Mapping[str, object]) -> list[str]:
    column = entry["column"]
    return list(map(str, column)) if isinstance(column, list) else [str(column)]


def _number(text: str) -> float | None:
    try:
        return float(text)
    except ValueError:
        return None


def _middle(values: Array) -> float:
    known = values[np.isfinite(values)]
    return float(np.median(known)) if known.size else 0.0


def _summed(values: Sequence[Array]) -> Array:
    return np.asarray(sum(values[1:], start=values[0]) if values else np.zeros(0), dtype=np.float64)


def _listed(names: Sequence[str]) -> str:
    return " and ".join(f'"{name}"' for name in names)


def unanswered(answers: Mapping[str, str], sheet: Sheet) -> list[str]:
    """Answers that are about nothing in the file, to be named."""
    known = {*sheet.numbers, "unit", "origin", "position unit", "clock", "rate", "decimal"}
    return [key for key in answers if key not in known]
