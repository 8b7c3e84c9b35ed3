"""The academy home: where everything of one academy stands, its settings, and the one writer's lock."""

import hashlib
import os
import re
import tomllib
from collections.abc import Callable, Mapping
from contextlib import AbstractContextManager
from dataclasses import dataclass, field, replace
from pathlib import Path
from types import MappingProxyType
from typing import Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from warehouse import lock
from warehouse.devices import DeviceSettings, read_devices
from warehouse.errors import CallError, UnderfootError
from warehouse.vocabulary import CLUB_FAMILIES


@dataclass(frozen=True)
class Settings:
    """academy.toml, read once. `version` is the hash of its bytes and stands in the ledger."""

    name: str
    time_zone: str
    demo: bool = False
    language: str = "en"  # of the pages, on screen, on paper and in the terminal
    consents_kept_elsewhere: bool = False
    minor_until_age: int = 18
    young_practice_minutes_a_week: float | None = None  # home practice of a player under age
    devices: Mapping[str, DeviceSettings] = field(default_factory=dict)
    bands: tuple[Mapping[str, Any], ...] = ()
    faults: tuple[Mapping[str, Any], ...] = ()
    club_families: Mapping[str, str] = field(default_factory=dict)
    version: str = ""

    @property
    def zone(self) -> ZoneInfo:
        """The academy's time zone, in which days and weeks are counted."""
        return ZoneInfo(self.time_zone)

    def club_family(self, club: str) -> str:
        """Family of a club by its name: the academy's own table first, then the usual names.

        "7-iron" → iron, "pitching wedge" → wedge, "3-wood" → wood. A bare loft such as "56" is a wedge.

        Raises
            UnderfootError: the name fits no family.
        """
        name = club.strip().lower()
        if name in self.club_families:
            return self.club_families[name]
        for family in CLUB_FAMILIES:
            if family in name:
                return family
        if name.rstrip("°").isdigit() and 44 <= int(name.rstrip("°")) <= 64:
            return "wedge"
        raise UnderfootError(
            f'The club "{club}" fits no club family ({", ".join(CLUB_FAMILIES)}); '
            f'name it so, or add it under [club_families] in academy.toml, as in "{name}" = "iron".'
        )


def parse_settings(data: bytes, where: str = "academy.toml", *, past: bool = False) -> Settings:
    """Read academy.toml from its bytes.

    Settings of the `past`, which were in force once and can't be mended, are read as leniently as they were
    then: what is unknown in a device's table is passed over.

    Raises
        UnderfootError: not TOML, a missing name or time zone, an unknown device kind or club family, an
            unknown key or column of a device, or a value of another type.
    """
    try:
        table = tomllib.loads(data.decode("utf-8-sig"))
    except (UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise UnderfootError(
            f"{where} is not readable TOML: {error}; mend that line and try again."
        ) from error
    name, zone = table.get("name"), table.get("time_zone")
    if not isinstance(name, str) or not name.strip():
        raise UnderfootError(f'{where} has no academy name; add a line such as name = "Our academy".')
    if not isinstance(zone, str):
        raise UnderfootError(f'{where} has no time_zone; add a line such as time_zone = "Europe/Berlin".')
    try:
        ZoneInfo(zone)
    except (ZoneInfoNotFoundError, ValueError) as error:
        raise UnderfootError(
            f'{where}: time_zone = "{zone}" is not a known time zone; use a name such as "Europe/Berlin".'
        ) from error
    given = _table(table.get("club_families", {}), "club_families", where)
    families = {str(club).lower(): str(family) for club, family in given.items()}
    for club, family in families.items():
        if family not in CLUB_FAMILIES:
            raise UnderfootError(
                f'{where}: [club_families] "{club}" = "{family}" is not one of {", ".join(CLUB_FAMILIES)}.'
            )
    return Settings(
        name=name,
        time_zone=zone,
        demo=table.get("demo") is True,
        language=_language(table.get("language", "en"), where),
        consents_kept_elsewhere=table.get("consents") == "kept elsewhere",
        minor_until_age=_age(table.get("minor_until_age", 18), where, past=past),
        young_practice_minutes_a_week=_minutes(table.get("young_practice_minutes_a_week"), where),
        devices=read_devices(table.get("device", {}), where, past=past),
        bands=_tables(table.get("band", []), "band", where),
        faults=_tables(table.get("fault", []), "fault", where),
        club_families=MappingProxyType(families),
        version=hashlib.sha256(data).hexdigest()[:16],
    )


def _language(value: Any, where: str) -> str:
    """A language by its code; which ones there are, the dashboard's catalogue knows."""
    if not isinstance(value, str) or not re.fullmatch("[a-z]{2,3}(_[A-Z]{2})?", value):
        raise UnderfootError(
            f'{where}: language = {value!r} is not the code of a language; write one such as language = "de".'
        )
    return value


def _minutes(value: Any, where: str) -> float | None:
    """A number of minutes a week, or none."""
    if value is None:
        return None
    if isinstance(value, bool) or not isinstance(value, int | float) or not 0 < value <= 10_080:
        raise UnderfootError(
            f"{where}: young_practice_minutes_a_week = {value!r} is not a number of minutes; "
            "write one such as young_practice_minutes_a_week = 120."
        )
    return float(value)


def _table(value: Any, key: str, where: str) -> dict[str, Any]:
    if not isinstance(value, dict):
        raise UnderfootError(
            f"{where}: {key} = {value!r} is no table; write it as [{key}] with its lines below."
        )
    return value


def _tables(value: Any, key: str, where: str) -> tuple[dict[str, Any], ...]:
    if not isinstance(value, list) or not all(isinstance(row, dict) for row in value):
        raise UnderfootError(
            f"{where}: {key} is no list of tables; write each as [[{key}]] with its lines below."
        )
    return tuple(value)


def _age(value: Any, where: str, *, past: bool) -> int:
    """A whole number of years."""
    if past:
        return int(value)
    if isinstance(value, bool) or not isinstance(value, int) or not 0 <= value <= 150:
        raise UnderfootError(
            f"{where}: minor_until_age = {value!r} is not a whole number of years; "
            "write one such as minor_until_age = 18."
        )
    return value


@dataclass(frozen=True)
class Home:
    """The folder of one academy. Paths only; nothing is opened or made until asked.

    `beside` is the same home while its warehouse and traces are rebuilt beside the standing ones.
    """

    path: Path
    beside: bool = False

    @classmethod
    def find(cls, given: str | Path | None = None) -> "Home":
        """`--home DIR`, else the environment's UNDERFOOT_HOME, else ./academy."""
        return cls(Path(given or os.environ.get("UNDERFOOT_HOME") or "academy").resolve())

    @property
    def settings_file(self) -> Path:
        """academy.toml."""
        return self.path / "academy.toml"

    @property
    def inbox(self) -> Path:
        """Where deliveries are dropped."""
        return self.path / "inbox"

    @property
    def filed(self) -> Path:
        """Every accepted delivery, byte for byte."""
        return self.path / "filed"

    @property
    def ledger(self) -> Path:
        """What came, in which order; append-only."""
        return self.filed / "ledger.jsonl"

    @property
    def refused(self) -> Path:
        """Refused deliveries, each with its why.json."""
        return self.path / "refused"

    @property
    def traces(self) -> Path:
        """Sample Parquet, one file a session."""
        return self.path / ("traces.new" if self.beside else "traces")

    @property
    def published(self) -> Path:
        """Numbered snapshots and the pointer readers follow."""
        return self.path / "published"

    @property
    def pages(self) -> Path:
        """Progress pages, lesson sheets, weekly reviews."""
        return self.path / "pages"

    @property
    def warehouse_file(self) -> Path:
        """The writer's database."""
        return self.path / ("warehouse.new.duckdb" if self.beside else "warehouse.duckdb")

    @property
    def access_log(self) -> Path:
        """Who opened what."""
        return self.path / "access.jsonl"

    @property
    def events(self) -> Path:
        """What was done: loads, builds, refusals, publishes."""
        return self.path / "events.jsonl"

    def made_beside(self) -> "Home":
        """The same home with a warehouse and traces of its own, for a rebuild."""
        return replace(self, beside=True)

    def settings(self) -> Settings:
        """Read academy.toml.

        Raises
            CallError: there is no academy here.
            UnderfootError: academy.toml is not right.
        """
        try:
            data = self.settings_file.read_bytes()
        except OSError as error:
            raise CallError(
                f"There is no academy at {self.path} (academy.toml is missing); "
                "name one with --home DIR, or make the demo academy with: underfoot demo."
            ) from error
        return parse_settings(data)

    def make_folders(self) -> None:
        """Make the folders of the home that are missing."""
        for folder in (self.inbox, self.filed, self.refused, self.traces, self.published, self.pages):
            folder.mkdir(parents=True, exist_ok=True)

    def lock(
        self, on_wait: Callable[[], None] | None = None, wait_s: float = 600.0
    ) -> AbstractContextManager[None]:
        """Hold the one writer's lock (see `warehouse.lock.held`)."""
        return lock.held(self.path, on_wait, wait_s)


def sync(path: Path) -> None:
    """Flush a file or folder to the disk, so that a crash of the machine can't lose it."""
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
