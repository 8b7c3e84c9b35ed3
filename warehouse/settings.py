"""academy.toml, read once: the academy's name, zone and ages, and its `[device.NAME]` tables."""

import hashlib
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from functools import lru_cache, partial
from types import MappingProxyType
from typing import Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from warehouse import toml
from warehouse.devices import DeviceSettings, read_devices
from warehouse.errors import UnderfootError
from warehouse.sign_in_settings import SignInSettings, read_sign_in
from warehouse.vocabulary import (
    CLUB_FAMILIES,
    EYES_CLOSED_FROM_AGE,
    PAPERS,
    YOUNG_FULL_SWINGS_A_DAY,
    YOUNG_FULL_SWINGS_A_WEEK,
)

FILE = "academy.toml"
SETUP_ROOM_PCT = 5.0  # of foot length; common practice, no source
ADDRESSES = ("https://", "webcal://")  # of calendars: what is in them is of people, so not in the open
RETENTION = ("sessions_days", "films_days", "notes_days", "refused_days", "access_log_days")


@dataclass(frozen=True)
class Settings:
    """academy.toml, read once. `version` is the hash of its bytes, as the ledger names it."""

    name: str
    time_zone: str
    demo: bool = False
    language: str = "en"  # of the pages, on screen, on paper and in the terminal
    paper: str = PAPERS[0]  # size of a PDF's sheets
    consents_kept_elsewhere: bool = False
    minor_until_age: int = 18
    young_practice_minutes_a_week: float | None = None  # home practice of a player under age
    young_full_swings_a_day: int = YOUNG_FULL_SWINGS_A_DAY  # of a player who is still growing
    young_full_swings_a_week: int = YOUNG_FULL_SWINGS_A_WEEK
    eyes_closed_from_age: int = EYES_CLOSED_FROM_AGE
    retention: Mapping[str, int] = field(default_factory=dict)  # days by key of RETENTION, else for good
    setup_room_pct: float = SETUP_ROOM_PCT  # how far beyond their own steady place a player may set up
    devices: Mapping[str, DeviceSettings] = field(default_factory=dict)
    bands: tuple[Mapping[str, Any], ...] = ()
    faults: tuple[Mapping[str, Any], ...] = ()
    chains: tuple[Mapping[str, Any], ...] = ()
    club_families: Mapping[str, str] = field(default_factory=dict)
    sign_in: SignInSettings = field(default_factory=SignInSettings)
    calendar: str = ""  # of lessons: a file, by its path from the home's folder, or an address
    demo_people: str = ""  # of the demo: the digest of everyone in it
    version: str = ""

    @property
    def access_log_days(self) -> int | None:
        """How long lines of the access log are kept; None: for good."""
        return self.retention.get("access_log_days")

    @property
    def zone(self) -> ZoneInfo:
        """The academy's time zone, in which days and weeks are counted."""
        return ZoneInfo(self.time_zone)

    @property
    def today(self) -> date:
        """The day that it is in the academy's time zone."""
        return datetime.now(self.zone).date()

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


@lru_cache(maxsize=8)  # every click asks, and the bytes seldom change
def parse_settings(data: bytes, *, past: bool = False) -> Settings:
    """Read academy.toml from its bytes.

    Settings of the `past`, which were in force once and can't be changed, are read as leniently as they were
    then: what is unknown in a device's table is passed over.

    Raises
        UnderfootError: not TOML, a missing name or time zone, an unknown device kind or club family, an
            unknown key or column of a device, or a value of another type.
    """
    try:
        table = toml.tables(data)
    except (UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise UnderfootError(f"{FILE} is not readable TOML: {error}; fix that line and try again.") from error
    name, zone = table.get("name"), table.get("time_zone")
    if not isinstance(name, str) or not name.strip():
        raise UnderfootError(f'{FILE} has no academy name; add a line such as name = "Our academy".')
    if not isinstance(zone, str):
        raise UnderfootError(f'{FILE} has no time_zone; add a line such as time_zone = "Europe/Berlin".')
    try:
        ZoneInfo(zone)
    except (ZoneInfoNotFoundError, ValueError) as error:
        raise UnderfootError(
            f'{FILE}: time_zone = "{zone}" is not a known time zone; use a name such as "Europe/Berlin".'
        ) from error
    written = _table(table.get("club_families", {}), "club_families")
    families = {str(club).lower(): str(family) for club, family in written.items()}
    for club, family in families.items():
        if family not in CLUB_FAMILIES:
            raise UnderfootError(
                f'{FILE}: [club_families] "{club}" = "{family}" is not one of {", ".join(CLUB_FAMILIES)}.'
            )
    minutes = "young_practice_minutes_a_week"
    swings = partial(_whole, table, what="full swings", least=1, most=10_000, past=past)
    years = partial(_whole, table, what="years", least=0, most=150, past=past)
    return Settings(
        name=name,
        time_zone=zone,
        demo=table.get("demo") is True,
        language=_language(table.get("language", "en")),
        paper=_paper(table.get("paper", PAPERS[0])),
        consents_kept_elsewhere=table.get("consents") == "kept elsewhere",
        minor_until_age=years("minor_until_age", 18),
        young_practice_minutes_a_week=_amount(table, minutes, "minutes", 10_080, 120)
        if minutes in table
        else None,
        young_full_swings_a_day=swings("young_full_swings_a_day", YOUNG_FULL_SWINGS_A_DAY),
        young_full_swings_a_week=swings("young_full_swings_a_week", YOUNG_FULL_SWINGS_A_WEEK),
        eyes_closed_from_age=years("eyes_closed_from_age", EYES_CLOSED_FROM_AGE),
        retention={} if past else _retention(table.get("retention", {})),
        setup_room_pct=_amount(table, "setup_room_pct", "% of foot length", 50, SETUP_ROOM_PCT),
        devices=read_devices(table.get("device", {}), FILE, past=past),
        bands=_tables(table.get("band", []), "band"),
        faults=_tables(table.get("fault", []), "fault"),
        chains=_tables(table.get("chain", []), "chain"),
        club_families=MappingProxyType(families),
        sign_in=SignInSettings() if past else _sign_in(table.get("sign_in", {}), ZoneInfo(zone)),
        calendar=_calendar(table.get("calendar", "")),
        demo_people=str(table.get("demo_people", "")),
        version=hashlib.sha256(data).hexdigest()[:16],
    )


def _language(value: Any) -> str:
    """A language by its code; which ones there are, the dashboard's catalogue knows."""
    if not isinstance(value, str) or not re.fullmatch("[a-z]{2,3}(_[A-Z]{2})?", value):
        raise UnderfootError(
            f'{FILE}: language = {value!r} is not the code of a language; write one such as language = "de".'
        )
    return value


def _paper(value: Any) -> str:
    if value not in PAPERS:
        raise UnderfootError(
            f'{FILE}: paper = {value!r} is not a paper size; write paper = "{PAPERS[0]}" or "{PAPERS[1]}".'
        )
    return str(value)


def _calendar(value: Any) -> str:
    plain = isinstance(value, str) and "://" in value and not value.lower().startswith(ADDRESSES)
    if not isinstance(value, str) or plain:
        raise UnderfootError(
            f"{FILE}: calendar = {value!r} is no file or https address; write one such as "
            'calendar = "lessons.ics".'
        )
    return value


def _sign_in(table: Any, zone: ZoneInfo) -> SignInSettings:
    try:
        return read_sign_in(table, zone)
    except (ValueError, OverflowError) as error:
        raise UnderfootError(f"{FILE}: {error}") from error


def _amount(table: Mapping[str, Any], key: str, what: str, most: float, example: float) -> float:
    """A number over 0 and up to `most`; the example where there is none. `what` it is a number of."""
    value = table.get(key, example)
    if not toml.is_number(value) or not 0 < value <= most:
        raise UnderfootError(
            f"{FILE}: {key} = {value!r} is not a number of {what}; write one such as {key} = {example:g}."
        )
    return float(value)


def _retention(table: Any) -> Mapping[str, int]:
    """How many days each purpose keeps what it needs, as far as [retention] says."""
    days = _table(table, "retention")
    for key, value in days.items():
        if key not in RETENTION:
            raise UnderfootError(
                f'{FILE}: [retention] has the unknown line "{key}"; correct or remove it, its lines are '
                f"{', '.join(RETENTION)}."
            )
        if not toml.is_whole(value) or not 1 <= value <= 36_500:
            raise UnderfootError(
                f"{FILE}: [retention] {key} = {value!r} is not a number of days; "
                f"write one such as {key} = 730."
            )
    return MappingProxyType(days)


def _table(value: Any, key: str) -> dict[str, Any]:
    if not isinstance(value, dict):
        raise UnderfootError(
            f"{FILE}: {key} = {value!r} is no table; write it as [{key}] with its lines below."
        )
    return value


def _tables(value: Any, key: str) -> tuple[dict[str, Any], ...]:
    if not isinstance(value, list) or not all(isinstance(row, dict) for row in value):
        raise UnderfootError(
            f"{FILE}: {key} is no list of tables; write each as [[{key}]] with its lines below."
        )
    return tuple(value)


def _whole(
    table: Mapping[str, Any],
    key: str,
    usual: int,
    *,
    what: str,
    least: int,
    most: int,
    past: bool,
) -> int:
    """A whole number; the usual one where there is none. `what` it is a number of."""
    value = table.get(key, usual)
    if past:
        return int(value)
    if not toml.is_whole(value) or not least <= value <= most:
        raise UnderfootError(
            f"{FILE}: {key} = {value!r} is not a whole number of {what}; write one such as {key} = {usual}."
        )
    return value
