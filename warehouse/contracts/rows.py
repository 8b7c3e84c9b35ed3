"""What rows that ingest appends to the warehouse may hold; their columns are those of warehouse/schema."""

from functools import cache
from typing import Any, Optional

from pandera.polars import Field

from warehouse.contracts.base import NAME_PATTERN, Contract
from warehouse.tables import COLUMN, columns, table_sql
from warehouse.vocabulary import (
    CLOCKS,
    CLUB_FAMILIES,
    DIRECTIONS,
    DOSE_UNITS,
    EVENTS,
    EYES,
    FEET,
    HEEL_TOLD_BY,
    NOTE_KINDS,
    OFFSET_SOURCES,
    OUTLINE_REFUSALS,
    PACES,
    PARTS,
    PLACES,
    POINTS,
    SWING_KINDS,
    VIEWS,
)

_NAME: dict[str, Any] = {"str_matches": NAME_PATTERN}
_FILLED: dict[str, Any] = {"nullable": False}
_COUNT: dict[str, Any] = {"ge": 0}
RULES: dict[str, dict[str, Any]] = {
    **dict.fromkeys(("session", "student", "coach", "author"), _NAME),
    **dict.fromkeys(("swing_no", "n_samples", "frame", "seconds", "expected_error_s"), _COUNT),
    "club_family": {"isin": CLUB_FAMILIES},
    "part": {"isin": PARTS},
    "pace": {"isin": PACES},
    "clip_view": {"isin": VIEWS},
    "clip_offset_source": {"isin": OFFSET_SOURCES},
    "clip_strike_se_s": _COUNT,
    "clip_captured_fps": {"ge": 1, "le": 2000},
    "heel_source": {"isin": ("measured", "estimated", "none")},
    "event": {"isin": EVENTS},
    "source": {"isin": ("marked", "by_hand", "clip", "estimated")},
    "clock": {"isin": CLOCKS},
    "eyes": {"isin": EYES},
    "point": {"isin": POINTS},
    "foot": {"isin": FEET},
    "kind": {"isin": NOTE_KINDS},
    "place": {"isin": PLACES},
    "direction": {"isin": DIRECTIONS},
    "body_mass_kg": {"ge": 15, "le": 250},
    "clip_fps": {"ge": 1, "le": 2000},
    "shoe_length_mm": {"ge": 120, "le": 450},
    "clip_mm_per_px": {"ge": 0.05, "le": 20},
    "shoe_width_mm": {"ge": 50, "le": 160},
    "clip_shoe_width_px": {"gt": 0},
    "rate_hz": {"ge": 49.9, "le": 2001},
    "score": {"ge": 0, "le": 1},
    "sure": {"ge": 0, "le": 1},
    "grade": {"ge": 0, "le": 3},
    "carry_m": {"ge": 0, "le": 400},
    "side_m": {"ge": -200, "le": 200},
    "club_speed_m_s": {"ge": 0},
    "ball_speed_m_s": {"ge": 0},
    "dose": {"gt": 0},
    "rise_se_mm": {"ge": 0},
    "academy.heel_seen.source": {"isin": HEEL_TOLD_BY},
    "academy.outline_rise.refused": {"isin": OUTLINE_REFUSALS},
    "academy.swing.kind": {"isin": SWING_KINDS},
    "academy.drill_dose.kind": {"isin": ("drill", "practice")},
    "academy.drill_dose.place": _FILLED,
    "academy.drill_dose.unit": {"isin": DOSE_UNITS} | _FILLED,
    **dict.fromkeys((f"academy.hold.{name}" for name in ("from_s", "to_s", "t0_s", "rate_hz")), _FILLED),
}
"""What a column of this name may hold, in every table that ingest appends to, or in the table named."""


@cache
def contract_of(table: str) -> type[Contract]:
    """What rows must be like to be appended to a table; only a column that may be null may be left out."""
    fields: dict[str, Any] = {}
    kinds: dict[str, Any] = {}
    for name, _, _, filled in COLUMN.findall(table_sql(table)):
        rules = {"nullable": not filled} | RULES.get(name, {}) | RULES.get(f"{table}.{name}", {})
        fields[name] = Field(**rules)
        kind = columns(table)[name]
        kinds[name] = Optional[kind] if rules["nullable"] else kind  # noqa: UP045
    return type(table, (Contract,), {"__annotations__": kinds, **fields})
