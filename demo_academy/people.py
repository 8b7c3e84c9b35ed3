"""Who belongs to the demo academy, all of it invented: students, coaches, guardians and devices."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

SEASON = ("2026-summer", date(2026, 4, 6), date(2026, 10, 4))
DEVICE_CHANGE = date(2026, 7, 6)
DEVICE_OFFSET_PCT = 2.5
"""The west bay's new plates read every centre of pressure this much closer to the toes."""

_FIRST = [
    "Amrik", "Bettina", "Calder", "Delphine", "Edvin", "Fenna", "Gorran", "Hesper", "Ilja", "Jorunn",
    "Kelda", "Lorcan", "Maribel", "Nilo", "Oriel", "Petra", "Quill", "Rasmus", "Sabela", "Torvald",
    "Ulla", "Vesna", "Wystan", "Xanthe", "Yorick", "Zelda", "Ansel", "Briony", "Corin", "Dagny", "Emeric",
    "Freya", "Garrick", "Hedda", "Isolde", "Jarek", "Kirsi", "Leander", "Merrin", "Nadja", "Osric", "Pia",
    "Ragna", "Silvan", "Tamsin", "Ursel", "Viggo", "Wenna", "Ximena", "Ynez", "Zoran", "Aldis", "Bram",
    "Cosima", "Dorian", "Elin", "Fabian", "Greer", "Hanno", "Imke", "Joss", "Katrin", "Ludo", "Mathilde",
]  # fmt: skip
_LAST = [
    "Ashgrove", "Brackley", "Corvane", "Dunmarsh", "Ellerick", "Farrowby", "Gillimore", "Harkwell",
    "Ivenhall", "Jessamy", "Kettlestone", "Larkhurst", "Mossender", "Nettlefold", "Oakhanger",
    "Penhallick", "Quarrendon", "Rushmede", "Selwick", "Thornable", "Underlea", "Vantongeren", "Wexcombe",
    "Yarrowdale", "Zandstra", "Applegarth", "Birkenfell", "Coldbrook", "Dwyerstone", "Eastmoor",
    "Fennelow", "Grantley", "Holmquist", "Inchbald", "Juniper", "Kestrelman", "Lowmere", "Merriden",
    "Northwell", "Ottermole", "Pellinore", "Questen", "Ravensby", "Sallowfield", "Tillermans", "Upcott",
    "Verrinder", "Waterleaf", "Yewdall", "Zellweg", "Arkenstall", "Bellweather", "Crosskey", "Dappler",
    "Emberlin", "Foxdenton", "Greyling", "Hollinsed", "Isbister", "Jorvane", "Kingcup", "Lindqvane",
    "Marlpit", "Nightingate",
]  # fmt: skip


_BAYS = (
    "mat-east", "mat-east", "plates-north", "insoles-a", "plates-west", "plates-south", "mat-east",
    "plates-west", "plates-north", "mat-east", "insoles-a", "mat-east", "plates-west", "plates-north",
    "mat-east", "plates-west",
)  # fmt: skip


@dataclass(frozen=True)
class Student:
    """One student; `style` is the style by impact (stays_forward or falls_back)."""

    code: str
    name: str
    born: date
    handed: str
    foot_mm: float
    stance_mm: float
    mass_kg: float
    level: str
    joined: date
    coach: str
    bay: str
    guardian: str | None
    style: str

    def age_on(self, day: date) -> int:
        """Whole years on a day."""
        return day.year - self.born.year - ((day.month, day.day) < (self.born.month, self.born.day))


@dataclass(frozen=True)
class Device:
    """One bay's device: how fast it samples, how its files are written, and its halves under a known weight.

    Checks scatter by `check_noise_pct`; what a half reads off is planted in them alone, not in the samples.
    """

    name: str
    kind: str
    rate_hz: float
    layout: str
    heels: bool = False
    load_noise_n: float = 1.2
    along_noise_pct: float = 0.2
    sides: tuple[str, ...] = ("left", "right")
    check_noise_pct: float = 0.4


DEVICES = {
    "mat-east": Device("mat-east", "pressure_mat", 125.0, "mat", along_noise_pct=0.16, sides=("whole",)),
    "plates-north": Device("plates-north", "force_plates", 200.0, "imperial"),
    "insoles-a": Device("insoles-a", "insoles", 200.0, "insoles", heels=True, check_noise_pct=4.0),
    "plates-west": Device("plates-west", "force_plates", 250.0, "metric"),
    "plates-west-2": Device("plates-west-2", "force_plates", 250.0, "metric"),
    "plates-south": Device(
        "plates-south", "force_plates", 500.0, "parquet", load_noise_n=1.8, along_noise_pct=0.3
    ),
}


@dataclass(frozen=True)
class PlateDrift:
    """The half of a device that drifts in its weekly checks: by how much, and from which of them on."""

    device: str
    side: str
    pct_a_month: float
    from_check: int


PLATE_DRIFT = PlateDrift("plates-north", "right", 0.8, 8)


@dataclass(frozen=True)
class Coach:
    """One coach and the gain per 90 days planted in their students, in between-day spreads of each habit."""

    code: str
    name: str
    gain: float
    head: bool = False


COACHES = (
    Coach("c01", "Bertil Osgrave", 0.8),
    Coach("c02", "Marise Tolvane", 0.0),
    Coach("c03", "Keir Dunwarren", 0.3),
    Coach("c04", "Sunniva Achterby", 0.0),
    Coach("c05", "Jonquil Perrimede", -0.4),
    Coach("c00", "Adelheid Morrowin", 0.3, head=True),
)


NO_CONSENT = "s900"
"""An adult on the roster who never gave consent to be measured."""


def full_names(count: int, firsts: Sequence[str], lasts: Sequence[str]) -> list[str]:
    """`count` different names: every first name with every last name, then double-barrelled ones."""
    names = []
    for i in range(count):
        last, rest = lasts[(i + i // len(firsts)) % len(lasts)], i // (len(firsts) * len(lasts))
        while rest:
            rest, k = divmod(rest - 1, len(lasts))
            last += f"-{lasts[k]}"
        names.append(f"{firsts[i % len(firsts)]} {last}")
    return names


def invent_students(rng: np.random.Generator, count: int) -> list[Student]:
    """Invent `count` students: both hands, ages 11 to 70, four levels, every bay and coach."""
    names = full_names(count, rng.permutation(_FIRST), rng.permutation(_LAST))
    ages = np.linspace(11, 70, count).round().astype(int) if count > 1 else np.array([30])
    ages = rng.permutation(ages)
    students = []
    for i in range(count):
        age = int(ages[i])
        young = max(0, 18 - age)
        mass = float(np.round(np.clip(rng.normal(76, 12), 52, 108) - 4.0 * young, 1))
        foot = float(np.round(np.clip(rng.normal(262, 14), 228, 300) - 3.5 * young))
        born = date(2026 - age - 1, int(rng.integers(10, 13)), int(rng.integers(5, 28)))
        number = i + 1 + (i + 1 >= int(NO_CONSENT[1:]))  # that code is taken
        code = f"s{number:03d}"
        students.append(
            Student(
                code=code,
                name=names[i],
                born=born,
                handed="left" if i % 6 == 2 else "right",
                foot_mm=foot,
                stance_mm=float(np.round(rng.normal(405, 22) - 9 * young)),
                mass_kg=max(mass, 33.0),
                level=("beginner", "improver", "club", "competitor")[int(rng.integers(0, 4))],
                joined=date(
                    2024 + int(rng.integers(0, 3)), int(rng.integers(1, 4)), int(rng.integers(1, 28))
                ),
                coach="c00" if i % 16 == 15 else f"c{i % 5 + 1:02d}",
                bay=_BAYS[i % len(_BAYS)],
                guardian=f"g{number:03d}" if age < 18 else None,
                style="falls_back" if i in {9, 30} else "stays_forward",
            )
        )
    return students


def guardian_name(student: Student, rng: np.random.Generator) -> str:
    """A guardian of the same family name."""
    return f"{_FIRST[int(rng.integers(0, len(_FIRST)))]} {student.name.split()[-1]}"
