"""What the words of a column's header say, in English, German, French, Spanish and Japanese.

A header may name a foot, a part of the foot, what is measured, its unit, and where a position counts from.
What it does not say is left open here; `column_guess` asks or finds out from the values.
"""

import re
import tomllib
import unicodedata
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

_GIVEN = tomllib.loads(Path(__file__).with_suffix(".toml").read_text(encoding="utf-8"))
FRONT, BACK = (set(_GIVEN["ends"][end].split()) for end in ("front", "back"))
LOAD_UNITS, LENGTH_UNITS, CLOCK_UNITS = (
    {written: unit for unit, ways in _GIVEN["units"][of].items() for written in ways}
    for of in ("load", "length", "clock")
)
# "from X", in so many words: what a position counts from.
_FROM = r"(?:from|ab|von|vom|depuis|a partir de|desde|behind)(?: the| der| dem| den| le| la| el| du)? "
_ORIGINS = (
    ("heel", rf"{_FROM}(?:back of (?:the )?)?(?:heel|ferse|talon)|(?:踵|かかと)から|\bheel to toes?\b"),
    (
        "toe",
        rf"{_FROM}(?:tip of (?:the )?)?(?:toes?|zehen?|orteils?|pointe|punta)|つま先から|\btoes? to heel\b",
    ),
    (
        "middle",
        rf"{_FROM}(?:foot )?(?:centre|center|middle|mid ?foot|mitte|milieu|centro|medio)|中[央心]から",
    ),
)
ANY_UNIT = {*LOAD_UNITS, *LENGTH_UNITS, *CLOCK_UNITS, "-", "–", "hz", "#", "no", ""}
_COMPACT = re.compile(r"([lr])[ _]?([fhtrbp])")  # LF, L_H: a foot, and a letter that may mean several things
_CJK = re.compile(r"[\u3040-\u30ff\u4e00-\u9fff]")


def plain(text: str) -> str:
    """Lower case, without accents, wide letters narrow."""
    wide = unicodedata.normalize("NFKD", text).replace("ß", "ss")
    bare = "".join(c for c in wide if not unicodedata.combining(c) or c in "\u3099\u309a")
    return unicodedata.normalize("NFC", bare).lower().strip()


def words_of(name: str) -> list[str]:
    """Words of a header: split at signs, digits and capitals; "%" is one."""
    text = name.replace("CoP", "cop").replace("COP", "cop")
    parted = re.sub(r"(?<=[a-zµ])(?=[A-Z])|(?<=[A-Z])(?=[A-Z][a-z])", " ", text)
    return re.findall(r"[^\W\d_]+|%", plain(parted))


@lru_cache(maxsize=4096)
def _has(name: str, known: str) -> bool:
    words = set(words_of(name))
    whole = plain(name)
    return any(w in whole if _CJK.search(w) else w in words for w in known.split())


@dataclass(frozen=True)
class Header:
    """What a header says: its foot (None: none, or two), words, unit text in lower case, and origin."""

    name: str
    side: str | None
    kinds: frozenset[str]
    unit: str
    origin: str | None
    letter: str | None = None  # of LF, RH and the like

    def says(self, *kinds: str) -> bool:
        """Whether any of these is named."""
        return not self.kinds.isdisjoint(kinds)


@lru_cache(maxsize=4096)
def read_header(name: str, unit_line: str | None = None) -> Header:
    """What a column's header, and the line of units below it, say."""
    inside = re.search(r"[(\[]([^)\]]*)[)\]]", name)
    bare = re.sub(r"[(\[][^)\]]*[)\]]", " ", name)
    unit = plain(inside[1]) if inside else ""
    words = words_of(bare)
    last = plain(re.split(r"[\s_/,;.-]+", bare.strip())[-1]) if bare.strip() else ""
    if not unit and len(words) > 1 and (last in ANY_UNIT or "%" in last):
        unit = last
    stated = plain((unit_line or "").strip("[]() "))
    unit = stated if stated in ANY_UNIT and stated not in ("", "-", "–") else unit
    if {"pct", "percent", "%"} & set(words) and not unit:
        unit = "%"
    if unit in ("%", "pct", "percent") and {"bw", "body"} & set(words):
        unit = "%bw"
    whole = re.sub(r"[-_\s]+", " ", plain(bare))
    origin = next((o for o, pattern in _ORIGINS if re.search(pattern, whole)), None)
    kinds = {kind for kind, known in _GIVEN["kinds"].items() if _has(bare, known)}
    sides = [side for side, known in _GIVEN["sides"].items() if _has(bare, known)]
    letter = None
    compact = _COMPACT.fullmatch(" ".join(words[: 2 if len(words) > 1 and len(words[0]) == 1 else 1]))
    if compact:
        sides, letter = [{"l": "left", "r": "right"}[compact[1]]], compact[2]
    behind_heel = re.search(r"back of (the )?heel", whole) is not None
    front, back = bool(FRONT & set(words)), bool(BACK & set(words)) and not behind_heel
    if not sides and front != back and (kinds & {"foot", "load", "place"} or origin or unit):
        sides = ["lead" if front else "trail"]
    elif sides and front != back:
        kinds.add("fore" if front else "heel")
    return Header(name, sides[0] if len(sides) == 1 else None, frozenset(kinds), unit, origin, letter)
