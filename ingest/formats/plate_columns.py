"""Which of a plate file's columns is which of ours: device column maps, left and right feet, units."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from ingest.academy import Person
from ingest.refusals import refuse
from ingest.session_file import SessionHeader
from warehouse import units
from warehouse.contracts.base import columns_of, required_of
from warehouse.contracts.deliveries import PlateSample
from warehouse.errors import UnderfootError
from warehouse.settings import DeviceSettings, written_names

_FEET = ("lead", "trail")
_SIDES = ("left", "right")
_ONCE_MORE = "mend it and deliver the session again"


@dataclass(frozen=True)
class Source:
    """Where one of our columns comes from: the file's own name, and the factor to our unit."""

    ours: str
    theirs: str
    factor: float
    unit: str | None

    def spoken(self, value: float) -> str:
        """A value of ours as the file gave it, with the file's own unit."""
        given = f"{value / self.factor:.6g}"
        return f"{given} {self.unit}" if self.unit else given


def foot_of(side: str, handed: str) -> str:
    """A right-handed golfer's lead foot is the left; a left-handed golfer's is the right."""
    return "lead" if (side == "left") == (handed == "right") else "trail"


def find_sources(
    names: Sequence[str],
    file: str,
    header: SessionHeader,
    device: DeviceSettings | None,
    person: Person,
    *,
    one_swing: bool = False,
) -> dict[str, Source]:
    """Find every column of ours among the file's columns.

    A device map names what it reads and lets other columns be; without one a strange column is refused. A
    file of `one_swing` needs no swing_no.

    Raises
        Refused: a missing, doubled or strange column, an unknown unit, or a handedness, foot length or body
            mass that is needed and not given.
    """
    mapped = dict(device.columns) if device is not None else {}
    found: dict[str, Source] = {}
    used: set[str] = set()
    for name in [*mapped, *(n for n in written_names() if n not in mapped)]:
        theirs, unit = (mapped[name].column, mapped[name].unit) if name in mapped else (name, None)
        if theirs not in names:
            continue
        ours = _ours(name, file, header, person)
        used.add(theirs)
        if ours is None:
            continue
        if ours in found:
            what = f"{found[ours].theirs} and {theirs} both give {ours}"
            raise refuse(
                "column_twice", what, _ONCE_MORE, session=header.session, file=file, line=1, column=theirs
            )
        factor = _factor(ours, unit, file, theirs, header, device, person)
        found[ours] = Source(ours, theirs, factor, unit)
    _check(names, file, header, mapped, found, used, one_swing=one_swing)
    return found


def _ours(name: str, file: str, header: SessionHeader, person: Person) -> str | None:
    side, _, rest = name.partition("_")
    if side in _SIDES:
        if person.handed is None:
            raise refuse(
                "no_handedness",
                f"the file has left and right feet but people.csv does not say which hand "
                f"{person.person} plays with",
                "fill in handed for them and deliver people.csv and the session again",
                session=header.session,
                file=file,
                line=1,
                column=name,
            )
        name = f"{foot_of(side, person.handed)}_{rest}"
    return name if name in columns_of(PlateSample) else None


def _factor(
    ours: str,
    unit: str | None,
    file: str,
    theirs: str,
    header: SessionHeader,
    device: DeviceSettings | None,
    person: Person,
) -> float:
    rate = device.raw.get("rate_hz") if device is not None else None
    try:
        if ours.endswith("_n"):
            return units.load_factor(unit, body_mass_kg=header.body_mass_kg)
        if ours.endswith("_along_pct"):
            return units.along_factor(unit, foot_length_mm=person.foot_length_mm)
        if ours == "t_s":
            return units.time_factor(unit, rate_hz=float(rate) if isinstance(rate, int | float) else None)
        return units.length_factor(unit) if ours.endswith("_mm") else 1.0
    except UnderfootError as error:
        what, _, todo = str(error).partition("; ")
        what = f"[device.{header.device}.columns] is not right, {what}"
        raise refuse(
            "unit",
            what,
            todo or "correct the unit in academy.toml and deliver again",
            session=header.session,
            file=file,
            line=1,
            column=theirs,
        ) from error


def _check(
    names: Sequence[str],
    file: str,
    header: SessionHeader,
    mapped: Mapping[str, object],
    found: dict[str, Source],
    used: set[str],
    *,
    one_swing: bool,
) -> None:
    needed = [name for name in required_of(PlateSample) if not (one_swing and name == "swing_no")]
    missing = next((name for name in needed if name not in found), None)
    strange = next((name for name in names if name and name not in used), None)
    place = {"session": header.session, "file": file, "line": 1}
    if missing is not None:
        has = ", ".join(name for name in names if name) or "none"
        what = f"there is no column for {missing} (the file has {has})"
        todo = (
            f"name it so, or map it under [device.{header.device}.columns] in academy.toml, and deliver again"
        )
        raise refuse("missing_column", what, todo, column=missing, **place)
    if strange is not None and not mapped:
        todo = (
            f"rename or remove it, or map the columns under [device.{header.device}.columns] in academy.toml"
        )
        what = f'"{strange}" is not a column of a plate file'
        raise refuse("unknown_column", what, f"{todo}, and deliver again", column=strange, **place)
