"""What is already known when a delivery is read: settings, people, drills, seasons, consents."""

from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

from warehouse import consent
from warehouse.body import Exercise
from warehouse.definitions import RETIRED_METRICS, fault_codes, metric_codes
from warehouse.settings import Settings
from warehouse.store import Writer


@dataclass(frozen=True)
class Person:
    """One person of the roster, as far as reading a session needs them."""

    person: str
    role: str
    handed: str | None = None
    foot_length_mm: float | None = None
    born: date | None = None


@dataclass(frozen=True)
class Academy:
    """The roster and settings in force. Read from the warehouse; never changed in place."""

    settings: Settings
    people: dict[str, Person] = field(default_factory=dict)
    drills: dict[str, Exercise] = field(default_factory=dict)
    faults: frozenset[str] = frozenset()
    metrics: frozenset[str] = frozenset()
    seasons: tuple[tuple[str, date, date], ...] = ()
    consents: dict[tuple[str, str], list[tuple[date, date | None]]] = field(default_factory=dict)

    def season_of(self, day: date) -> str | None:
        """The season a day belongs to, None outside every season."""
        return next((name for name, first, last in self.seasons if first <= day <= last), None)

    def has_consent(self, student: str, purpose: str, day: date) -> bool:
        """Whether a consent lets something new of a student in on that day."""
        return consent.is_given(self.consents.get((student, purpose), ()), day, self.settings)

    def keeps_film(self, student: str, day: date) -> bool:
        """Whether a student's film is kept as delivered: a minor's only where consents.csv says so."""
        spans = self.consents.get((student, "keep_film"), ())
        return consent.keeps_film(self.people[student].born, spans, day, self.settings)


def read_academy(writer: Writer, settings: Settings) -> Academy:
    """Read the roster that is in the warehouse."""
    people = writer.sql("SELECT person, role, handed, foot_length_mm, born FROM academy.person")
    seasons = writer.sql('SELECT season, "from", "to" FROM academy.season ORDER BY "from", season')
    drills = writer.sql("SELECT * FROM academy.drill ORDER BY drill")
    return Academy(
        settings=settings,
        people={row[0]: Person(*row) for row in people.iter_rows()},
        drills={row["drill"]: Exercise.of(row) for row in drills.iter_rows(named=True)},
        faults=fault_codes(settings),
        metrics=RETIRED_METRICS.union(metric_codes()),
        seasons=tuple(seasons.iter_rows()),
        consents=consent.recorded(writer),
    )


def day_of(at: datetime, zone: ZoneInfo) -> date:
    """The academy's own date of a naive UTC time."""
    return at.replace(tzinfo=UTC).astimezone(zone).date()
