"""Which of a plate file's columns is which of ours: device column maps, left and right feet, units."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from ingest.formats.format import SessionContext
from ingest.plate_rows import Source
from ingest.refusals import AGAIN, refuse
from ingest.session_file import foot_of
from warehouse import units
from warehouse.contracts.base import columns_of, required_of
from warehouse.contracts.deliveries import PlateSample
from warehouse.devices import BOTH_FEET, HELPERS, TOTAL, ColumnMap, DeviceSettings, Layout
from warehouse.errors import Refused, UnderfootError
from warehouse.vocabulary import written_names

_SIDES = ("left", "right")
RECIPE_TODO = (
    "run underfoot load --explain on this file, add the recipe it prints to academy.toml, and deliver again"
)


@dataclass(frozen=True)
class Recipe:
    """How a plate file's columns become ours: the device's table, and what its sides and units rest on.

    A load takes it from the session; `load --explain` from the table it proposes. A file of `one_swing`
    needs no swing_no.
    """

    file: str
    device: DeviceSettings | None
    handed: str | None
    foot_length_mm: float | None
    body_mass_kg: float | None
    one_swing: bool = False
    session: str | None = None
    student: str | None = None

    @classmethod
    def of_session(cls, file: str, context: SessionContext, *, one_swing: bool) -> "Recipe":
        """The recipe by which a load reads a file."""
        header, person = context.header, context.person
        return cls(
            file, context.device, person.handed, person.foot_length_mm, header.body_mass_kg, one_swing,
            header.session, header.student,
        )  # fmt: skip

    @property
    def _table(self) -> str:
        return f"[device.{self.device.name if self.device else None}.columns]"

    def _refuse(self, reason: str, what: str, todo: str, column: str) -> Refused:
        return refuse(reason, what, todo, session=self.session, file=self.file, line=1, column=column)

    def sources(self, names: Sequence[str]) -> dict[str, Source]:
        """Find every column of ours among the file's columns.

        A device map names what it reads and ignores other columns; without one an unknown column is refused.

        Raises
            Refused: a missing, duplicate or unknown column, an unknown unit, or a handedness, foot length or
                body mass that is needed and not given.
        """
        mapped = dict(self.device.columns) if self.device is not None else {}
        plain = {name: ColumnMap((name,)) for name in written_names()}
        found: dict[str, Source] = {}
        used: set[str] = set()
        for name, one in {**mapped, **{n: c for n, c in plain.items() if n not in mapped}}.items():
            if not set(one.columns) <= set(names):
                if name in mapped and self.layout is not None:
                    raise self._departs(name, one, names)
                continue
            ours = self._ours(name)
            used |= set(one.columns)
            if ours is None:
                continue
            theirs = " + ".join(one.columns)
            if ours in found:
                what = f"{found[ours].theirs} and {theirs} both give {ours}"
                raise self._refuse("column_twice", what, AGAIN, theirs)
            found[ours] = self._source(ours, one, theirs)
        unknown = next((name for name in names if name and name not in used), None)
        self._check(names, found, None if mapped else unknown)
        return found

    @property
    def layout(self) -> Layout | None:
        """How the device's files are laid out; None for plain text."""
        return self.device.layout if self.device is not None else None

    def _departs(self, ours: str, one: ColumnMap, names: Sequence[str]) -> Refused:
        missing = next(column for column in one.columns if column not in names)
        what = f'its device\'s recipe takes {ours} from "{missing}", which the file does not have'
        todo = f"name the device it came from, export as before, or {RECIPE_TODO}"
        return self._refuse("departs", what, todo, missing)

    def _source(self, ours: str, one: ColumnMap, theirs: str) -> Source:
        """A column of ours by the device's arithmetic, brought to our unit."""
        if one.share_of is not None:
            factor = {None: 0.01, "%": 0.01, "fraction": 1.0}.get(one.unit, 0.01)
        else:
            factor = self._factor(ours, one.unit, theirs)
        add, factor = one.offset * factor, one.scale * factor
        if ours.endswith("_along_pct"):
            if one.origin == "toe":
                add, factor = 100.0 - add, -factor
            elif one.origin == "middle":
                add += 50.0
            elif one.origin != "heel":
                add += float(one.origin) * self._factor(ours, "mm", theirs)
        share_of, rest_of = self._of(one.share_of), self._of(one.rest_of)
        return Source(ours, theirs, factor, one.unit, one.columns, add, share_of, rest_of)

    def _of(self, name: str | None) -> str | None:
        """Our name of a load that another one is a share or the rest of."""
        return name if name is None or name in (BOTH_FEET, TOTAL) else self._ours(name)

    def hand(self, column: str) -> str:
        """The hand the student plays with; refused where people.csv does not say."""
        if self.handed is None:
            what = "the file has left and right feet but people.csv does not say which hand "
            todo = "fill in handed for them and deliver people.csv and the session again"
            raise self._refuse("no_handedness", f"{what}{self.student} plays with", todo, column)
        return self.handed

    def _ours(self, name: str) -> str | None:
        side, _, rest = name.partition("_")
        if side in _SIDES:
            name = f"{foot_of(side, self.hand(name))}_{rest}"
        return name if name in (*columns_of(PlateSample), *HELPERS) else None

    def _factor(self, ours: str, unit: str | None, theirs: str) -> float:
        rate = self.device.rate_hz if self.device is not None else None
        try:
            if ours.endswith("_n"):
                return units.load_factor(unit, body_mass_kg=self.body_mass_kg)
            if ours.endswith("_along_pct"):
                return units.along_factor(unit, foot_length_mm=self.foot_length_mm)
            if ours == "t_s":
                return units.time_factor(unit, rate_hz=rate)
            return units.length_factor(unit) if ours.endswith("_mm") else 1.0
        except UnderfootError as error:
            what, _, todo = str(error).partition("; ")
            todo = todo or "correct the unit in academy.toml and deliver again"
            raise self._refuse("unit", f"{self._table} is not right, {what}", todo, theirs) from error

    def _supplied(self) -> set[str]:
        """Columns that none of the file need give: the layout does, or a recipe leaves positions out."""
        layout, supplied = self.layout, {"swing_no"} if self.one_swing else set()
        if layout is not None:
            supplied |= {"lead_along_pct", "trail_along_pct"}
            supplied |= {"swing_no"} if layout.swings != "column" else set()
            supplied |= {"t_s"} if layout.clock == "order" else set()
            supplied |= {"lead_n", "trail_n"} if layout.feet != "columns" else set()
        return supplied

    def _check(self, names: Iterable[str], found: dict[str, Source], unknown: str | None) -> None:
        needed = [name for name in required_of(PlateSample) if name not in self._supplied()]
        missing = next((name for name in needed if name not in found), None)
        mapped = self.device.columns if self.device is not None else {}
        if missing is not None and missing in mapped:
            raise self._departs(missing, mapped[missing], tuple(names))
        if missing is not None:
            has = ", ".join(name for name in names if name)[:300] or "none"
            what = f"there is no column for {missing} (the file has {has})"
            raise self._refuse("missing_column", what, RECIPE_TODO, missing)
        if unknown is not None:
            what = f'"{unknown}" is not a column of a plate file'
            raise self._refuse("unknown_column", what, f"rename or remove it, or {RECIPE_TODO}", unknown)
