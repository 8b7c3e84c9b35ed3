"""What the words of a column's header say, in English, German, French, Spanish and Japanese.

A header may name a foot, a part of the foot, what is measured, its unit, and where a position counts from.
What it does not say is left open here; `column_guess` asks or finds out from the values.
"""

import re
import unicodedata
from dataclasses import dataclass
from functools import lru_cache

SIDES = {
    "left": "left l lft lt links linker linke linkes linken gauche izquierdo izquierda izq izda 左",
    "right": "right r rgt rt rechts rechter rechte rechtes rechten droit droite derecho derecha der dcha 右",
    "lead": "lead leading target 前側",
    "trail": "trail trailing 後側",
}
FRONT = {"front", "vorne", "vorn", "vorderer", "avant", "delantero"}
BACK = {"back", "rear", "hinten", "arriere", "trasero"}
WORDS = {
    "swing": "swing rep trial stroke attempt shot schwung schlag versuch essai coup golpe intento "
    "スイング 試行 打",
    "clock": "time t clock timestamp frame frames sample samples zeit temps tiempo 時間 時刻",
    "foot": "foot fuss pied pie 足",
    "load": "force load weight grf vgrf pressure kraft last gewicht belastung charge poids fuerza carga peso "
    "荷重 体重 床反力",
    "vertical": "fz vertical vert vgrf normal senkrecht vertikal verticale 垂直 鉛直",
    "shear": "fx fy shear horizontal tangential ml ap scher horizontale cisaillement cizalla cortante "
    "水平 せん断",
    "place": "along pos position cop y lengthwise druckpunkt lage appui centro centre_of_pressure posicion "
    "distance abstand distancia 位置 圧力中心",
    "across": "across x lateral crosswise quer",
    "share": "share fraction part anteil part proportion balance distribution verteilung reparto porcentaje",
    "both": "total sum both combined gesamt summe somme 合計",
    "heel": "heel heels rearfoot hindfoot ferse ruckfuss talon 踵 かかと",
    "fore": "toe toes forefoot fore ball zehe zehen vorfuss ballen orteil orteils pointe "
    "punta puntera antepie "
    "つま先 前足部",
    "body": "body bw korper corps cuerpo 全身",
    "value": "value wert valeur valor 値",
}
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
LOAD_UNITS = {
    "n": "N", "newton": "N", "newtons": "N", "kn": "kN", "lbf": "lbf", "lb": "lbf", "lbs": "lbf",
    "pounds": "lbf", "kgf": "kgf", "kg": "kgf", "kp": "kgf", "g": "gf", "%bw": "% of body weight",
    "bw%": "% of body weight", "% bw": "% of body weight", "% body weight": "% of body weight",
    "bw": "body weights", "% of body weight": "% of body weight",
}  # fmt: skip
LENGTH_UNITS = {
    "mm": "mm", "cm": "cm", "in": "in", "inch": "in", "inches": "in", "%": "%", "pct": "%", "percent": "%",
    "0-1": "fraction", "0..1": "fraction", "0–1": "fraction",
}  # fmt: skip
CLOCK_UNITS = {
    "s": "s", "sec": "s", "secs": "s", "seconds": "s", "ms": "ms", "msec": "ms", "us": "us", "μs": "us",
    "frame": "frames", "frames": "frames", "sample": "frames", "samples": "frames",
}  # fmt: skip
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
    kinds = {kind for kind, known in WORDS.items() if _has(bare, known)}
    sides = [side for side, known in SIDES.items() if _has(bare, known)]
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
