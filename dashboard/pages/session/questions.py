"""What only the owner of a device knows about its exports, asked in words and with small drawings."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from dashboard import theme
from dashboard.text.catalogue import Words, _
from dashboard.text.labels import HANDS
from dashboard.text.numbers import listed, number, quoted
from warehouse import units
from warehouse.errors import UnderfootError
from warehouse.units import STANDARD_GRAVITY_M_S2

LIGHTEST_KG, HEAVIEST_KG = 15.0, 250.0  # a unit by which somebody weighs less or more is not offered
WIDTH, HEIGHT = 100, 44  # px of a drawing: three of them side by side on a phone
ROLES = Words({
    "swing_no": "the number of the swing", "t_s": "the clock", "total_n": "the load of both feet",
    "n": "load under the {foot} foot", "heel_n": "load under the {foot} heel",
    "fore_n": "load under the {foot} forefoot", "along_pct": "how far along the {foot} foot the pressure is",
    "share_pct": "the {foot} foot's share of both feet's load",
    "heel_of_foot_pct": "the {foot} heel's share of that foot's load",
    "heel_of_both_pct": "the {foot} heel's share of both feet's load",
    "fore_of_both_pct": "the {foot} forefoot's share of both feet's load", "unused": "none of these",
})  # fmt: skip
SIDES = Words({"left": "left", "right": "right", "lead": "lead", "trail": "trail", "foot": "one"})
ORIGINS = Words({"heel": "at the heel", "toe": "at the toes", "middle": "in the middle"})
CLOCKS = Words({"s": "seconds", "ms": "milliseconds", "us": "microseconds", "frames": "samples"})


@dataclass(frozen=True)
class Choice:
    """One answer: its code, what it says, and a drawing of it where there is one."""

    code: str
    label: str
    drawing: str = ""


@dataclass(frozen=True)
class Asked:
    """One question: its key, its words, the answers; without answers a number is asked for."""

    key: str
    words: str
    choices: Sequence[Choice]


HANDED = "handed"  # asked of the player, not of the device


def hand_question(name: str) -> Asked:
    """Which hand a player plays with, where the roster does not say."""
    return Asked(
        HANDED,
        _("Does {name} play right- or left-handed? Left and right columns can't be read otherwise.").format(
            name=name
        ),
        [Choice(code, HANDS[code]) for code in HANDS],
    )


def role_words(role: str | None) -> str:
    """What a column is taken for, in words."""
    if not role:
        return ROLES["unused"]
    side, _sep, part = role.partition("_")
    if side in SIDES and part in ROLES:
        return ROLES[part].format(foot=SIDES[side])
    return ROLES.get(role, role)


def asked(question: Mapping[str, Any]) -> Asked:
    """A question of the explainer as the page asks it."""
    asks, columns = question["asks"], listed([quoted(name) for name in question["columns"]])
    codes, value = question["choices"], question.get("value")
    if asks == "origin":
        choices = [Choice(code, ORIGINS[code], _shoe(code)) for code in codes]
        return Asked(question["key"], _("Where is 0 in {columns}?").format(columns=columns), choices)
    if asks == "unit":
        words = _("What is the load measured in? Choose what this player weighs.")
        return Asked(question["key"], words, _weights(codes, value or 0.0))
    if asks == "position unit":
        words = _("What is {columns} measured in? It goes up to {high}.").format(
            columns=columns, high=number(value)
        )
        return Asked(question["key"], words, [Choice(code, code) for code in codes])
    if asks == "clock":
        words = _("What does {columns} count?").format(columns=columns)
        return Asked(question["key"], words, [Choice(code, CLOCKS.get(code, code)) for code in codes])
    if asks == "rate":
        return Asked(question["key"], _("How many samples per second does the device take?"), [])
    words = _("What is {columns}?").format(columns=columns)
    return Asked(question["key"], words, [Choice(code, role_words(code)) for code in codes])


def _weights(codes: Sequence[str], value: float) -> list[Choice]:
    """The units by which what both feet carry is somebody's weight."""
    found = []
    for code in codes:
        try:
            kilograms = value * units.load_factor(code, body_mass_kg=None) / STANDARD_GRAVITY_M_S2
        except UnderfootError:  # shares of body weight say nothing of how much it is
            found.append(Choice(code, code))
            continue
        if LIGHTEST_KG <= kilograms <= HEAVIEST_KG:
            said = _("{kilograms} kg ({value} {unit})").format(
                kilograms=f"{kilograms:.0f}", value=f"{value:.4g}", unit=code
            )
            found.append(Choice(code, said, _scale(f"{kilograms:.0f} kg")))
    return found


def _shoe(zero: str) -> str:
    """A shoe from the side, with 0 where a position counts from."""
    at = {"heel": 32, "middle": 100, "toe": 168}[zero]
    return _svg(
        f'<path d="M32 60 V28 Q32 18 44 18 H70 Q78 34 100 38 L150 44 Q168 47 168 60 Z" fill="{theme.BAND}" '
        f'stroke="{theme.INK}" stroke-width="2"/>'
        f'<line x1="{at}" y1="52" x2="{at}" y2="70" stroke="{theme.ACCENT}" stroke-width="3"/>'
        f'<text x="{at}" y="85" text-anchor="middle" font-size="15" font-weight="600" '
        f'fill="{theme.ACCENT}">0</text>'
    )


def _scale(reading: str) -> str:
    """A bathroom scale and what it reads."""
    return _svg(
        f'<rect x="45" y="14" width="110" height="62" rx="10" fill="{theme.BAND}" stroke="{theme.INK}" '
        'stroke-width="2"/>'
        f'<rect x="68" y="24" width="64" height="22" rx="4" fill="{theme.GROUND}" stroke="{theme.QUIET}"/>'
        f'<text x="100" y="40" text-anchor="middle" font-size="14" font-weight="600" '
        f'fill="{theme.ACCENT}">{reading}</text>'
    )


def _svg(inside: str) -> str:
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{WIDTH}" height="{HEIGHT}" '
        f'viewBox="0 0 200 88" font-family="sans-serif">{inside}</svg>'
    )
