"""All students' sessions in an aim's metrics: how errors go together, how others changed before theirs."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any

import numpy as np
import polars as pl

from models.season.agreed_line import LEAST_FREEDOM, Before
from models.season.cells import DAYS_A_MONTH, CellKey, Parameter, arrange_as_fitted, draws_of
from models.season.kernel import FLOATS

LEAST_SESSIONS = 4  # of a student, for residuals about a line
LEAST_OTHERS, LEAST_VISITS = 8, 3  # students, and visits of each, from which changes before are known


@dataclass(frozen=True)
class Together:
    """Sessions in which all metrics were measured, and each student's residuals: cross products, freedom.

    Values are m0, m1 and so on, swings n0, n1; `until` is the day on which the student agreed on such an aim,
    null without one.
    """

    sessions: pl.DataFrame
    squares: Mapping[str, tuple[FLOATS, int]]
    all_squares: tuple[FLOATS, int]
    _lines: dict[date, pl.DataFrame] = field(default_factory=dict)

    @classmethod
    def of(cls, parts: Sequence[pl.DataFrame], agreed: Mapping[str, date]) -> "Together":
        """Of the rows of each metric's cell, one a session; `agreed` as of `first_agreed`."""
        keys = ["student", "day", "started_at", "session"]
        whole = parts[0].select(*keys, m0="mean", n0="n")
        for number, part in enumerate(parts[1:], 1):
            more = part.select("session", pl.col("mean").alias(f"m{number}"), pl.col("n").alias(f"n{number}"))
            whole = whole.join(more, on="session", maintain_order="left")
        until = pl.DataFrame(list(agreed.items()), {"student": pl.String, "until": pl.Date}, orient="row")
        whole = whole.join(until, on="student", how="left").sort("student", "started_at", "session")
        squares = residual_squares(whole, [f"m{number}" for number in range(len(parts))])
        nothing = np.zeros((len(parts), len(parts)))
        summed = sum((one for one, _ in squares.values()), nothing)
        return cls(whole, squares, (summed, sum(freedom for _, freedom in squares.values())))

    def others(self, student: str) -> tuple[FLOATS, int]:
        """What the residuals of all students but one add up to."""
        summed, freedom = self.all_squares
        own, own_freedom = self.squares.get(student, (0.0, 0))
        return summed - own, freedom - own_freedom

    def before(self, student: str, agreed: date, scale: FLOATS) -> Before | None:
        """How the others changed before: up to their own agreed day, or up to this one if they have none.

        `scale` (M,) turns the metrics' units into those of the answer. None with too few others.
        """
        if agreed not in self._lines:
            self._lines[agreed] = self._until(agreed)
        lines = self._lines[agreed].filter(pl.col("student") != student)
        squares, freedom = self.others(student)
        if len(lines) < LEAST_OTHERS or lines["months"].n_unique() < 2 or freedom < LEAST_FREEDOM:
            return None
        change = scale * lines.select(pl.col("^change_m.*$")).to_numpy()
        error = np.outer(scale, scale) * squares / freedom
        return Before(lines["months"].to_numpy(), change, lines["doubt"].to_numpy(), error)

    def _until(self, agreed: date) -> pl.DataFrame:
        """For each student: months, doubt and change_m0, change_m1 …, as of `Before`."""
        t = pl.col("day").cast(pl.Int32) / DAYS_A_MONTH
        off, months = t - t.mean(), t.max() - t.min()
        squares = (off**2).sum()
        changes = {
            f"change_m{number}": (off * pl.col(f"m{number}")).sum() / squares * months
            for number in range(len(self.all_squares[0]))
        }
        return (
            self.sessions.filter(pl.col("day") <= pl.col("until").fill_null(agreed))
            .group_by("student", maintain_order=True)
            .agg(months=months, doubt=months**2 / squares, visits=pl.col("day").n_unique(), **changes)
            .filter(pl.col("visits") >= LEAST_VISITS)
        )


def residual_squares(sessions: pl.DataFrame, values: Sequence[str]) -> dict[str, tuple[FLOATS, int]]:
    """Student → cross products of residuals about their own straight lines, and degrees of freedom.

    `sessions` in order of students; those in which not all `values` were measured do not count.
    """
    whole = sessions.select("student", "day", *values).drop_nulls()
    whole = whole.filter(pl.len().over("student") >= LEAST_SESSIONS)
    runs = whole["student"].rle().struct.unnest()
    n = runs["len"].to_numpy().astype(np.int64)
    ends = np.cumsum(n)

    def sums(of: FLOATS) -> FLOATS:
        return np.diff(np.cumsum(np.vstack([np.zeros(of.shape[1]), of]), axis=0)[[0, *ends]], axis=0)

    def centred(of: FLOATS) -> FLOATS:
        return np.asarray(of - np.repeat(sums(of) / n[:, None], n, axis=0))

    days = (whole["day"] - date.min).dt.total_days().to_numpy().astype(np.float64)
    t, y = centred(days[:, None]), centred(whole.select(values).to_numpy())
    spread = sums(t * t)
    left = y - t * np.repeat(sums(t * y) / np.where(spread > 0, spread, 1.0), n, axis=0)
    freedom = n - 1 - (spread[:, 0] > 0)
    each = np.split(left, ends[:-1]) if n.size else []
    return {
        name: (own.T @ own, int(free)) for name, own, free in zip(runs["value"], each, freedom, strict=True)
    }


def as_one_device(cell: pl.DataFrame, fit: Parameter | None) -> pl.DataFrame:
    """A cell's rows with the fitted offsets of other devices and heel sources taken off their means."""
    if fit is None or not fit["fixed"]:
        return cell
    offsets = draws_of(fit).gammas[:, 2:].mean(axis=0)
    return cell.with_columns(mean=pl.col("mean") - arrange_as_fitted(cell, fit).cell.x[:, 2:] @ offsets)


def first_agreed(aims: Sequence[Mapping[str, Any]], parts: Sequence[CellKey]) -> dict[str, date]:
    """Student → first day, in these cells' season, on which an aim in any of their metrics was agreed on."""
    season, metrics = parts[0][0], {metric for _, _, metric in parts}
    days = [
        (aim["agreed"], aim["student"])
        for aim in aims
        if aim["season"] == season and metrics & set(aim["metrics"])
    ]
    return {student: day for day, student in sorted(days, reverse=True)}
