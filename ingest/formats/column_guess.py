"""The recipe's columns of an unknown plate file: their units, where positions count from, and the clock.

Both feet carry body weight, a clock steps by 1/2,000 to 1/50 s: what only one unit makes so is decided.
What several do is a question with its choices. Ranges are common practice, no source.
"""

from collections.abc import Mapping, Sequence

import numpy as np

from ingest.formats.column_roles import (
    FORCE,
    HEAVIEST_KG,
    LIGHTEST_KG,
    N_PER_UNIT,
    NEAR,
    PARTS,
    UNUSED,
    Roles,
    middle,
    summed,
)  # fmt: skip
from ingest.formats.explanation import ColumnGuess
from ingest.formats.header_words import LENGTH_UNITS, LOAD_UNITS
from ingest.samples import WEIGHT_WITHIN
from warehouse.devices import FOOT, ORIGINS, TOTAL
from warehouse.units import STANDARD_GRAVITY_M_S2
from warehouse.vocabulary import written_names

FIRST = 3  # values of a column that are shown
_QUESTIONS = ("unit", "origin", "position unit", "clock", "rate", "decimal")  # beside the columns' own
Entries = dict[str, dict[str, object]]  # of a recipe, by our names of its columns


class ColumnGuesses(Roles):
    """The recipe's entries, made of the roles."""

    def guess(self) -> Entries:
        """Say in `found` what the columns are, as far as they and what is known say; their entries."""
        known_keys = {*self.sheet.numbers, *_QUESTIONS}
        self.found.doubts += [
            f'"{key}" is no column or question of this file' for key in self.answers if key not in known_keys
        ]
        self._decide()
        self._make_entries()
        for name, values in self.sheet.numbers.items():
            known = values[np.isfinite(values)]
            low, high = (float(known.min()), float(known.max())) if known.size else (None, None)
            role = self.roles[name]
            ours = None if role in (UNUSED, "") else role
            unit = next(
                (str(e["unit"]) for e in self.entries.values() if name in _names(e) and "unit" in e),
                None,
            )
            first = tuple(float(v) if np.isfinite(v) else None for v in values[:FIRST])
            self.found.columns.append(ColumnGuess(name, ours, unit, self.how[name], low, high, first))
        return self.entries

    def _make_entries(self) -> None:
        """The recipe's lines: clock, swing, loads, heels and positions."""
        entries = self.entries
        for role in ("swing_no", "t_s", FOOT):
            for name in self._of(role)[:1]:
                entries[role] = {"column": name}
        self._clock()
        if not self._of("swing_no") and not self.sheet.has_swings:
            self.found.facts["swings"] = "one, as no column numbers them"
        first, second = self._sides()
        for side, other in {first: second, second: first}.items():
            self._load_entry(side, other)
        self._total_entry()
        for side in self._feet():
            self._heel_entry(side)
            for name in self._of(f"{side}_along_pct")[:1]:
                entries[f"{side}_along_pct"] = {"column": name}
        self._load_unit()
        self._positions()
        self._missing()

    def _load_entry(self, side: str, other: str) -> None:
        entries = self.entries
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
        elif other_share:
            entries[f"{side}_n"] = self._share(other_share[0]) | {"rest_of": "both"}
        elif other_whole and self._of(TOTAL):
            entries[f"{side}_n"] = {"column": other_whole[0], "rest_of": TOTAL}

    def _share(self, name: str) -> dict[str, object]:
        fraction = float(np.nanmax(np.abs(self.sheet.numbers[name]))) <= 1.5
        entry: dict[str, object] = {"column": name, "share_of": "both"}
        return entry | ({"unit": "fraction"} if fraction else {})

    def _total_entry(self) -> None:
        uses = any({"share_of", "rest_of"} & e.keys() for e in self.entries.values())
        for name in self._of(TOTAL):
            if uses and TOTAL not in self.entries:
                self.entries[TOTAL] = {"column": name}
            else:
                self.roles[name], self.how[name] = UNUSED, "not needed beside the feet"

    def _heel_entry(self, side: str) -> None:
        heel, of_foot = self._of(f"{side}_heel_n"), self._of(f"{side}_heel_of_foot_pct")
        of_both = self._of(f"{side}_heel_of_both_pct")
        ours = f"{side}_heel_n"
        if heel:
            self.entries[ours] = {"column": heel if len(heel) > 1 else heel[0]}
        elif of_foot:
            self.entries[ours] = {"column": of_foot[0], "share_of": f"{side}_n"}
        elif of_both:
            self.entries[ours] = {"column": of_both[0], "share_of": "both"}

    def _load_unit(self) -> None:
        """The unit of all loads, as stated or as only one makes a standing person of them."""
        names = [TOTAL] if TOTAL in self.entries else []
        loads = {k: e for k, e in self.entries.items() if k.endswith("_n") and "share_of" not in e}
        if not loads:
            return
        stated = {LOAD_UNITS.get(self.headers[n].unit) for e in loads.values() for n in _names(e)} - {None}
        if all(k in written_names() and _names(e) == [k] for k, e in loads.items()):
            stated = {"N"}  # our own names
        total = self._sum(names or [f"{side}_n" for side in self._feet()])
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
                    "or how many N one step is", abs(total),
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
        found = [self.entries[name] for name in wanted if name in self.entries]
        if len(found) < len(wanted):
            return None
        if self.sheet.feet is not None:
            values = self._added(_names(found[0]))
            return sum(middle(values[self.sheet.feet == foot]) for foot in np.unique(self.sheet.feet))
        if any("rest_of" in entry for entry in found):
            return middle(self.sheet.numbers[self._of(TOTAL)[0]]) if self._of(TOTAL) else None
        sums = [self._added(_names(entry)) for entry in found]
        return middle(summed(sums))

    def _check_weight(self, total: float, unit: str) -> None:
        newtons = N_PER_UNIT.get(unit)
        if newtons is None:
            per = 100.0 if unit.startswith("%") else 1.0
            kilograms, off = None, abs(total / per - 1) > WEIGHT_WITHIN
        else:
            kilograms = total * newtons / STANDARD_GRAVITY_M_S2
            off = (
                abs(kilograms / self.mass - 1) > WEIGHT_WITHIN
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
        places = {k: e for k, e in self.entries.items() if k.endswith("_along_pct")}
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
                          f"the unit of {_listed(names)} (up to {high:.4g})", high)  # fmt: skip
        for ours in theirs:
            entry = places[ours]
            if unit not in (None, "%"):
                entry["unit"] = unit
            if origin not in (None, "heel"):
                entry["origin"] = number if (number := _number(str(origin))) is not None else origin

    def _missing(self) -> None:
        """What the file lacks: loads of a foot stop it, positions and heel loads are left null."""
        entries, asked = self.entries, {q.asks for q in self.found.questions}
        lacking = [side for side in self._feet() if f"{side}_n" not in entries]
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
        without = [side for side in self._feet() if f"{side}_along_pct" not in entries]
        if without and not lacking:
            self.found.facts["not in the file"] = (
                "where along the foot the pressure is: metrics that need it stay empty"
            )
        shares = any(e.get("share_of") == "both" and k.endswith("_n") for k, e in entries.items())
        if shares and TOTAL not in entries:
            self.found.facts["only shares"] = "no load in N: metrics that need the size of a load stay empty"

    def _has_both_only(self) -> bool:
        return any(
            h.side is None and (h.says("load", "vertical", "both") or h.unit in FORCE)
            for h in self.headers.values()
        )


def _names(entry: Mapping[str, object]) -> list[str]:
    column = entry["column"]
    return list(map(str, column)) if isinstance(column, list) else [str(column)]


def _number(text: str) -> float | None:
    try:
        return float(text)
    except ValueError:
        return None


def _listed(names: Sequence[str]) -> str:
    return " and ".join(f'"{name}"' for name in names)
