"""The whole sheet: what hurts before everything else, then the parts in the order they are needed."""

from dataclasses import dataclass, field
from typing import Any

from dashboard.charts.picture import Picture
from dashboard.pages.lesson import answers, work
from dashboard.pages.lesson.about import About, Part
from dashboard.queries import lesson, people, season, sessions
from dashboard.text import sentences
from dashboard.text.cautions import (
    BANDS_ARE_CUSTOM,
    CLEAR_SPACE,
    DISCOMFORT,
    EYES_CLOSED,
    IF_IT_HURTS,
    MINORS,
)
from dashboard.text.labels import FAMILIES
from dashboard.text.numbers import count, on
from warehouse.access import Reader
from warehouse.vocabulary import age


@dataclass(frozen=True)
class Sheet:
    """The sheet, ready to be laid out. `hurts` comes before everything else."""

    name: str
    about: str
    hurts: tuple[str, ...]
    parts: tuple[Part, ...]
    picture: Picture | None = None
    cautions: tuple[str, ...] = field(default=())
    left_out: str | None = None


def sheet(
    reader: Reader, person: dict[str, Any], when: str | None, family: str | None, *, narrow: bool = True
) -> Sheet:
    """Put the sheet of one student together; `when` and `family` are null before the first measured swing."""
    hurting = sessions.open_discomfort(reader, person["student"])
    given = lesson.doses(reader, person["student"])
    named = work.named_drills(given)
    about = _whom(reader, person, when or "", family or "", tuple(hurting["area"]))
    aim = work.aim(about, given)
    parts: list[Part | None] = [work.works_on(about, given, aim), work.home(about, given)]
    picture = None
    if about.when and about.family:
        parts += [
            answers.changed(about, aim),
            answers.faults(about),
            answers.pace(about, aim),
            answers.helped(about, aim),
        ]
        named += answers.suggested(about, aim)
        picture = answers.picture(about, aim, narrow=narrow)
    else:
        parts.append(Part("What changed since last time", ("No swing is measured in a season yet.",)))
    if reader.is_minor(person["student"]):
        parts.append(work.young(reader, person))
    return Sheet(
        name=person["name"],
        about=_about(reader, person, when, family),
        hurts=tuple(_hurts(row) for row in hurting.iter_rows(named=True)),
        parts=tuple(part for part in parts if part is not None),
        picture=picture,
        cautions=_cautions(reader, person, named, hurts=not hurting.is_empty()),
        left_out=_left_out(reader, person["student"], when),
    )


def _whom(
    reader: Reader, person: dict[str, Any], when: str, family: str, areas: tuple[str | None, ...]
) -> About:
    style = season.style(reader, person["student"], family, when)
    bands = season.bands(reader, family, person, style)
    return About(reader, person, when, family, bands, people.measures(reader), areas)


def _about(reader: Reader, person: dict[str, Any], when: str | None, family: str | None) -> str:
    years = age(person["born"], reader.today)
    parts = [
        person["level"],
        f"{person['handed']}-handed" if person["handed"] else None,
        f"{years} years old" if years is not None and reader.is_minor(person["student"]) else None,
        f"coached by {person['coach_name']}" if person["coach_name"] else None,
        f"measured in {count(person['sessions'], 'session')}",
        f"last on {on(person['last_day'])}" if person["last_day"] else None,
        FAMILIES.get(family, family).lower() if family else None,
        f"season {when}" if when else None,
    ]
    return " · ".join(part for part in parts if part)


def _left_out(reader: Reader, student: str, when: str | None) -> str | None:
    if when is None:
        return None
    counts, flags = sessions.left_out(reader, student, when)
    return sentences.left_out(counts, flags.rows())


def _hurts(row: dict[str, Any]) -> str:
    words = f" “{row['text']}”" if row["text"] else ""
    return (
        f"Discomfort: {row['area'] or 'area not named'}, noted on {on(row['day'])}.{words} {DISCOMFORT} "
        f"{sentences.NO_DRILL_WHILE}"
    )


def _cautions(
    reader: Reader, person: dict[str, Any], named: list[dict[str, Any]], *, hurts: bool
) -> tuple[str, ...]:
    """What to take care of with the drills that the sheet names, set before or suggested."""
    said = [CLEAR_SPACE] if hurts else [IF_IT_HURTS, CLEAR_SPACE]
    text = " ".join(str(drill[name]) for drill in named for name in ("name", "how", "cautions"))
    if "eyes closed" in text.lower() or any(drill["aim"] == "unsteady_at_address" for drill in named):
        said.append(EYES_CLOSED)
    if reader.is_minor(person["student"]):
        said.append(MINORS)
    return (*said, BANDS_ARE_CUSTOM)
