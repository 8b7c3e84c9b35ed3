"""Full swings of a player who is still growing, by day and by week, beside the academy's limits."""

from dataclasses import dataclass
from datetime import date

import polars as pl

JUMP, JUMP_WEEKS, JUMP_LEAST_WEEKS, JUMP_FROM_SWINGS = 1.5, 4, 3, 30
"""A week's load has jumped when it is more than 1.5 times the mean of the four weeks before, the ratio from
which other sports saw more injuries: Gabbett, British Journal of Sports Medicine 50 (2016) 273, and Soligard
et al., ibid. 1030. Its use for golf, from three weeks with swings and from 30 swings on: common practice, no
source."""


@dataclass(frozen=True)
class SwingLoad:
    """Full swings of a player who is still growing, measured and practised, beside the limits."""

    day: date
    on_day: int
    week: int  # the seven days up to the day
    most: int  # on one of those days
    before: tuple[int, ...]  # the four weeks before, the newest first
    not_counted: int  # days of the week with practice at full pace, or at none named, without a count
    a_day: int
    a_week: int

    @classmethod
    def of(cls, days: pl.DataFrame, day: date, *, a_day: int, a_week: int) -> "SwingLoad":
        """From rows of day, swings and not_counted; days without any may be left out."""
        ago = (pl.lit(day) - pl.col("day")).dt.total_days()
        known = days.with_columns(week=ago // 7).filter(ago >= 0, pl.col("week") <= JUMP_WEEKS)
        weeks = [int(known.filter(week=k)["swings"].sum()) for k in range(JUMP_WEEKS + 1)]
        last = known.filter(week=0)
        most = last["swings"].max()
        return cls(
            day, int(known.filter(day=day)["swings"].sum()), weeks[0], most if isinstance(most, int) else 0,
            tuple(weeks[1:]), int(last["not_counted"].sum()), a_day, a_week,
        )  # fmt: skip

    @property
    def left(self) -> int:
        """How many more full swings the limits leave for the day."""
        return max(0, min(self.a_day - self.on_day, self.a_week - self.week))

    @property
    def over(self) -> bool:
        """Whether a limit was exceeded, on a day of the week or in all of it."""
        return self.most > self.a_day or self.week > self.a_week

    @property
    def usual(self) -> float | None:
        """Mean of the four weeks before; null where fewer than three of them had full swings."""
        known = sum(week > 0 for week in self.before)
        return sum(self.before) / len(self.before) if known >= JUMP_LEAST_WEEKS else None

    @property
    def jumped(self) -> bool:
        """Whether the week's load is more than 1.5 times the usual one."""
        return self.usual is not None and self.week >= JUMP_FROM_SWINGS and self.week > JUMP * self.usual
