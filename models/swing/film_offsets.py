"""Where a session's films lie on their plates' clocks, and what is doubted of them."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import polars as pl

from models.swing.clip_marks import Offset

UNSYNCED, HEELS_LOW = "clip_unsynced", "clip_heels_low"
MARKS_DISAGREE, FEET_DISAGREE = "clip_marks_disagree", "clip_feet_disagree"
STRIKES_UNCLEAR, STAMP_UNCLEAR = "clip_strikes_unclear", "clip_stamp_unclear"
TAKEN_APART, UNLIKE_OTHERS = "clip_taken_apart", "clip_unlike_others"
FILMS_SHIFTED = "clip_films_shifted"
HEEL_BEFORE_LOAD, PACE_UNKNOWN = "clip_heel_before_load", "clip_pace_unknown"
QUESTIONS = (MARKS_DISAGREE, FEET_DISAGREE, STRIKES_UNCLEAR, TAKEN_APART, FILMS_SHIFTED)  # for a person
KEPT = ("stated", "by_hand")  # sources that do not come from here
PLACED_AS = {
    "clip_offset_s": pl.Float64(), "clip_offset_se_s": pl.Float64(), "clip_offset_source": pl.String(),
    "clip_candidates_s": pl.List(pl.Float64),
}  # fmt: skip
"""Columns of academy.swing that say where a film lies."""


@dataclass
class Placed:
    """By swing_no, where films lie, the flags they earned, and what is known of those that are not placed.

    `candidates` are the offsets among which a person has to choose, one where nothing but the heels says any;
    `rough` what the heels say of films that have no mark at all.
    """

    offsets: dict[int, Offset] = field(default_factory=dict)
    flags: dict[int, list[str]] = field(default_factory=dict)
    candidates: dict[int, list[float]] = field(default_factory=dict)
    rough: dict[int, Offset] = field(default_factory=dict)

    def flag(self, number: int, name: str) -> None:
        """Raise a flag of a swing."""
        self.flags.setdefault(number, []).append(name)

    def has(self, number: int, *names: str) -> bool:
        """Whether a swing has earned one of these flags."""
        return not set(names).isdisjoint(self.flags.get(number, ()))

    def onto(self, swings: pl.DataFrame, more: Mapping[int, Offset] | None = None) -> pl.DataFrame:
        """The swings with the columns of their offsets, and of `more` where those say nothing."""
        known = {**(more or {}), **self.offsets}
        numbers = swings["swing_no"].to_list()
        found = [known.get(number) for number in numbers]
        values: tuple[list[Any], ...] = (
            [one and one.offset_s for one in found], [one and one.se_s for one in found],
            [one and one.source for one in found], [self.candidates.get(number) for number in numbers],
        )  # fmt: skip
        return swings.with_columns(
            pl.Series(name, given, dtype=kind)
            for (name, kind), given in zip(PLACED_AS.items(), values, strict=True)
        )
