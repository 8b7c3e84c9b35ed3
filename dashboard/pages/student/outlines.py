"""What films without tape say roughly: how far each heel came up, by the outline of its shoe."""

from typing import Any

import polars as pl

from dashboard.queries import by_eye
from dashboard.section import Section
from dashboard.text.catalogue import _, mark
from dashboard.text.labels import PACES
from dashboard.text.numbers import number, on
from warehouse.access import Reader

ROUGH = mark("rough, from film")
REFUSED = {
    "from_front": mark(
        "From the front a heel is hidden behind its toes; film from behind, along the target line."
    ),
    "heel_hidden": mark("This heel stands behind the other leg; move the camera a step toward the toes."),
    "no_contrast": mark(
        "This shoe hardly stands out from the floor; film on another floor or in better light."
    ),
    "out_of_picture": mark("This foot leaves the picture; film from farther away."),
    "moved": mark("The camera or this foot moved too far; put the phone on something firm."),
    "cut": mark("The film was cut, or its light changed at once; film the swing in one go."),
    "shoe_lost": mark("The shoe was lost: something passed in front of it, or it looked too unlike itself."),
    "no_scale": mark("The shoe's length is not known; give it when marking, or the foot's in people.csv."),
}
HALF_WITHIN_MM, MOST_WITHIN_MM = 10, 20  # tests/FIGURES.md
HEELS = {"lead": mark("Lead heel"), "trail": mark("Trail heel")}


def part(reader: Reader, student: str) -> Section | None:
    """Heels of a student's films without tape, newest first; None without such a film."""
    found = by_eye.outline_rises(reader, student)
    if found.is_empty():
        return None
    rows = pl.DataFrame([_row(foot) for foot in found.iter_rows(named=True)])
    said = []
    for foot in found.filter(pl.col("refused").is_not_null()).iter_rows(named=True):
        why = _("{heel}, {day}: no height. {why}")
        said.append(
            why.format(day=on(foot["day"]), heel=_(HEELS[foot["foot"]]), why=_(REFUSED[foot["refused"]]))
        )
    note = _(
        "Rough, from film: the shoe's outline was followed from the picture in which heel and toe were "
        "tapped. On drawn films half of the heights are within {half} mm and nine in ten within {most} mm, "
        "and high heels read too low. So these heights are shown here only: no trend, fault or week's list "
        "uses them."
    )
    return Section(
        table=(rows, _("Heels, rough, from film")),
        sentences=tuple(said),
        notes=(note.format(half=HALF_WITHIN_MM, most=MOST_WITHIN_MM),),
    )


def _row(foot: dict[str, Any]) -> dict[str, Any]:
    rises, impact_s = foot["rises_mm"], foot["impact_s"]
    row = {
        _("Day"): foot["day"],
        _("Club"): foot["club"],
        _("Pace"): PACES.get(foot["pace"], foot["pace"]),
        _("Heel"): _(HEELS[foot["foot"]]),
        _("Highest"): "",
        _("At impact"): "",
    }
    if rises:
        row[_("Highest")] = _about(max(rises))
    if rises and impact_s is not None and foot["times_s"][0] <= impact_s <= foot["times_s"][-1]:
        nearest = min(range(len(rises)), key=lambda n: abs(foot["times_s"][n] - impact_s))
        row[_("At impact")] = _about(rises[nearest])
    return row


def _about(rise_mm: float) -> str:
    """A rough height, to 5 mm."""
    return _("about {height} ({rough})").format(
        height=number(max(5 * round(rise_mm / 5), 0), "mm"), rough=_(ROUGH)
    )
