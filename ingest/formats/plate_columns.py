"""Which of a plate file's columns is which of ours: device column maps, left and right feet, units."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from ingest.formats.format import SessionContext
from ingest.plate_rows import Source
from ingest.refusals import refuse
from ingest.session_file import foot_of
from warehouse import units
from warehouse.contracts.base import columns_of, required_of
from warehouse.contracts.deliveries import PlateSample
from warehouse.errors import Refused, UnderfootError
from warehouse.settings import DeviceSettings
from warehouse.vocabulary import written_names

_SIDES = ("left", "right")
_AGAIN = "correct it and deliver the session again"


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
        found: dict[str, Source] = {}
        used: set[str] = set()
        for name in [*mapped, *(n for n in written_names() if n not in mapped)]:
            theirs, unit = (mapped[name].column, mapped[name].unit) if name in mapped else (name, None)
            if theirs not in names:
                continue
            ours = self._ours(name)
            used.add(theirs)
            if ours is None:
                continue
            if ours in found:
                what = f"{found[ours].theirs} and {theirs} both give {ours}"
                raise self._refuse("column_twice", what, _AGAIN, theirs)
            found[ours] = Source(ours, theirs, self._factor(ours, unit, theirs), unit)
        unknown = next((name for name in names if name and name not in used), None)
        self._check(names, found, None if mapped else unknown)
        return found

    def _ours(self, name: str) -> str | None:
        side, _, rest = name.partition("_")
        if side in _SIDES:
            if self.handed is None:
                what = "the file has left and right feet but people.csv does not say which hand "
                todo = "fill in handed for them and deliver people.csv and the session again"
                raise self._refuse("no_handedness", f"{what}{self.student} plays with", todo, name)
            name = f"{foot_of(side, self.handed)}_{rest}"
        return name if name in columns_of(PlateSample) else None

    def _factor(self, ours: str, unit: str | None, theirs: str) -> float:
        rate = self.device.raw.get("rate_hz") if self.device is not None else None
        try:
            if ours.endswith("_n"):
                return units.load_factor(unit, body_mass_kg=self.body_mass_kg)
            if ours.endswith("_along_pct"):
                return units.along_factor(unit, foot_length_mm=self.foot_length_mm)
            if ours == "t_s":
                return units.time_factor(unit, rate_hz=float(rate) if isinstance(rate, int | float) else None)
            return units.length_factor(unit) if ours.endswith("_mm") else 1.0
        except UnderfootError as error:
            what, _, todo = str(error).partition("; ")
            todo = todo or "correct the unit in academy.toml and deliver again"
            raise self._refuse("unit", f"{self._table} is not right, {what}", todo, theirs) from error

    def _check(self, names: Iterable[str], found: dict[str, Source], unknown: str | None) -> None:
        needed = [n for n in required_of(PlateSample) if not (self.one_swing and n == "swing_no")]
        missing = next((name for name in needed if name not in found), None)
        if missing is not None:
            has = ", ".join(name for name in names if name) or "none"
            what = f"there is no column for {missing} (the file has {has})"
            todo = f"name it so, or map it under {self._table} in academy.toml, and deliver again"
            raise self._refuse("missing_column", what, todo, missing)
        if unknown is not None:
            what = f'"{unknown}" is not a column of a plate file'
            todo = f"rename or remove it, or map the columns under {self._table} in academy.toml"
            raise self._refuse("unknown_column", what, f"{todo}, and deliver again", unknown)
