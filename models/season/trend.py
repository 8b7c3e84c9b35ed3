"""A student's line over the season: where they started, where they are now, and how sure the change is.

`fit_season` integrates the variance parts of every metric and club family (a build's work; the result is kept
as a parameter). `student_lines` turns sessions and that parameter into rows of season.student_trend,
season.trend_line and season.change_chance, for any students, in a build as after a load. The model is in
mixed.py; what makes a change Improving or Slipping in judgement.py.
"""

from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor
from os import cpu_count
from types import MappingProxyType
from typing import NamedTuple

import numpy as np
import polars as pl
from numpy.typing import NDArray

from models.season.cells import (
    BASELINE,
    DAYS_A_MONTH,
    KEY,
    LEAST_DAYS,
    LEAST_SESSIONS,
    TOUCHED,
    CellKey,
    Parameter,
    arrange_as_fitted,
    baseline,
    draws_of,
    fit_cell,
    known_rows,
    of_fits,
    share_of_holders,
    stored_fits,
)
from models.season.estimation import Z90
from models.season.judgement import Bands, directions, judge_change
from models.season.kernel import COUNTS, FLOATS
from models.season.lending import Loan
from models.season.mixed import ROUNDING, line_ends, lines, mean_over_draws
from warehouse.store import Writer
from warehouse.tables import columns
from warehouse.vocabulary import HOLDING, NOT_CLEAR, TOO_FEW

LINE_POINTS = 13


class Lines(NamedTuple):
    """Rows of season.student_trend, season.trend_line and season.change_chance."""

    trend: pl.DataFrame
    line: pl.DataFrame
    chance: pl.DataFrame


def line_rows(writer: Writer) -> Lines:
    """Rows of each table of `Lines` for the touched students, under the last fits."""
    rows = baseline(writer.sql(f"SELECT * FROM season.session_metric WHERE {TOUCHED} AND {BASELINE}"))
    better = dict(writer.sql("SELECT metric, better FROM academy.metric").iter_rows())
    return student_lines(rows, stored_fits(writer, rows), better, Bands.read(writer, TOUCHED))


def fit_season(
    baseline_rows: pl.DataFrame, loans: Mapping[tuple[str, str], Loan] = MappingProxyType({})
) -> dict[CellKey, Parameter]:
    """Season, club family and metric → what `fit_cell` found; cells with too little to fit are left out.

    `loans`: (club family, metric) → what other academies lend.
    One task a cell; the compiled loops let the interpreter go, so one thread a core.
    """
    cells = baseline_rows.partition_by(KEY, as_dict=True, maintain_order=True)
    lent = [loans.get((family, metric)) for _, family, metric in cells]
    with ThreadPoolExecutor(cpu_count()) as threads:
        found = list(threads.map(fit_cell, cells.values(), lent))
    fits = {(s, f, m): fit for (s, f, m), fit in zip(cells, found, strict=True) if fit}
    return share_of_holders({(s, f, m): rows for (s, f, m), rows in cells.items()}, fits)


def student_lines(
    baseline_rows: pl.DataFrame,
    parameters: Mapping[CellKey, Parameter],
    better: Mapping[str, str],
    bands: Bands,
) -> Lines:
    """Trend and line of every student in `baseline_rows` (from `cells.baseline`).

    `better`: metric → up, down, band or none. A cell without a parameter has labels and no lines: Too few
    sessions, Not clear yet, or Holding when a student's values are all the same.
    """
    rows = known_rows(baseline_rows, parameters)
    summary = _summary(rows)
    days = (pl.col("last") - pl.col("first")).dt.total_days()
    enough = (pl.col("n_sessions") >= LEAST_SESSIONS) & (days >= LEAST_DAYS)
    fits, ready, few = of_fits(parameters), summary.filter(enough), summary.filter(~enough)
    fitted = ready.join(fits, on=KEY, how="semi", maintain_order="left")
    unfitted = ready.join(fits, on=KEY, how="anti", maintain_order="left")
    constant = pl.col("highest") - pl.col("lowest") <= ROUNDING * pl.col("highest").abs()
    chosen = rows.join(fitted, on=[*KEY, "student"], how="semi", maintain_order="left")
    cells = chosen.partition_by(KEY, as_dict=True, maintain_order=True)
    groups = fitted.partition_by(KEY, as_dict=True, maintain_order=True)

    def one(key: CellKey) -> Lines:
        return _fitted(cells[key], groups[key], parameters[key], better.get(key[2], "none"), bands)

    with ThreadPoolExecutor(cpu_count()) as threads:
        fitted_cells = list(threads.map(one, cells))
    without_fit = [
        _plain(few, TOO_FEW), _constant(unfitted.filter(constant)),
        _plain(unfitted.filter(~constant), NOT_CLEAR),
    ]  # fmt: skip
    no_line, no_chance = (
        pl.DataFrame(schema=columns(table)) for table in ("season.trend_line", "season.change_chance")
    )
    return Lines(
        pl.concat([*without_fit, *(cell.trend for cell in fitted_cells)]),
        pl.concat([no_line, *(cell.line for cell in fitted_cells)]),
        pl.concat([no_chance, *(cell.chance for cell in fitted_cells)]),
    )


def _summary(rows: pl.DataFrame) -> pl.DataFrame:
    """KEY and student → sessions, first and last day, lowest and highest value."""
    return rows.group_by(*KEY, "student", maintain_order=True).agg(
        n_sessions=pl.col("session").n_unique().cast(pl.Int32),
        first=pl.col("day").first(),
        last=pl.col("day").last(),
        lowest=pl.col("mean").min(),
        highest=pl.col("mean").max(),
    )


def _plain(summary: pl.DataFrame, label: str) -> pl.DataFrame:
    """Trend rows that claim nothing."""
    schema = columns("season.student_trend")
    nothing = [pl.lit(None, kind).alias(name) for name, kind in schema.items() if name not in summary.columns]
    return summary.with_columns(nothing).with_columns(label=pl.lit(label)).select(schema.keys())


def _constant(summary: pl.DataFrame) -> pl.DataFrame:
    """Trend rows of students whose value was the same every time, in a cell where nothing could be fitted."""
    zero = pl.lit(0.0)
    return _plain(summary, HOLDING).with_columns(
        start_value=summary["lowest"], value_now=summary["lowest"],
        change=zero, change_lo=zero, change_hi=zero, per_month=zero,
    )  # fmt: skip


def _fitted(
    cell_rows: pl.DataFrame, summary: pl.DataFrame, parameter: Parameter, better: str, bands: Bands
) -> Lines:
    """Trend and line rows of the students of one cell, each with enough sessions, under the stored draws."""
    posterior = draws_of(parameter)
    rows = arrange_as_fitted(cell_rows, parameter)
    last = rows.cell.offsets[1:] - 1
    whose = summary.select("metric", "season", "student", "club_family", "last")
    own_bands = [bands.of(*key) for key in whose.iter_rows()]
    ends, smallest = line_ends(rows.cell, posterior, last), parameter["worthwhile"]
    seen = _days_seen(cell_rows)
    owner = rows.cell.owner[seen]
    as_seen = line_ends(rows.cell, posterior, seen, parameter["holders"])
    improved, slipped, _ = directions(as_seen, better, [own_bands[i] for i in owner], smallest)
    newest = np.searchsorted(owner, np.arange(last.size), side="right") - 1
    judged = judge_change(ends, better, own_bands, smallest)
    start, span = ends.mean(ends.start), rows.cell.t[last]
    trend = summary.with_columns(
        start_value=start, value_now=start + judged.change, change=judged.change,
        change_lo=judged.lo, change_hi=judged.hi, per_month=judged.change / span,
        toward_better=_known(judged.toward), worthwhile=smallest,
        p_better=_known(judged.p_better), p_worse=_known(judged.p_worse),
        p_improved=_known(improved[newest]), p_slipped=_known(slipped[newest]),
        label=pl.Series(judged.label, dtype=pl.String),
    ).select(columns("season.student_trend").keys())  # fmt: skip
    chance = (
        cell_rows[seen].with_columns(p_improved=_known(improved), p_slipped=_known(slipped))
        .drop_nulls("p_improved").select(columns("season.change_chance").keys())
    )  # fmt: skip
    months, grid_x = _grid(rows.cell.offsets, rows.cell.t, rows.cell.x)
    mean, var = lines(rows.cell, posterior, months, grid_x)
    return Lines(trend, _line_rows(summary, months, mean, var, ends.weight), chance)


def _days_seen(cell_rows: pl.DataFrame) -> NDArray[np.int64]:
    """Places of each student's last row of a day, from the third session and 28 days on."""
    sessions = pl.col("session").rle_id().over("student") + 1
    wanted = (sessions >= LEAST_SESSIONS) & (pl.col("t") >= LEAST_DAYS / DAYS_A_MONTH)
    last = pl.struct("student", "day").is_last_distinct()
    return cell_rows.select((wanted & last).arg_true()).to_series().to_numpy().astype(np.int64)


def _known(values: FLOATS) -> pl.Series:
    return pl.Series(values, dtype=pl.Float64).fill_nan(None)


def _grid(offsets: COUNTS, t: FLOATS, x: FLOATS) -> tuple[FLOATS, FLOATS]:
    """Months (S, K) from first to last session, in whole days, and the fixed columns there: the latest's."""
    last = offsets[1:] - 1
    days = np.round(t[last][:, None] * DAYS_A_MONTH * np.linspace(0.0, 1.0, LINE_POINTS))
    months = days / DAYS_A_MONTH
    fixed = np.repeat(x[last][:, None, :], LINE_POINTS, axis=1)
    fixed[:, :, 1] = months
    return months, fixed


def _line_rows(
    summary: pl.DataFrame, months: FLOATS, mean: FLOATS, var: FLOATS, weight: FLOATS
) -> pl.DataFrame:
    """Mean of the line and its 90 % band; the band is ±1.645 sd of the mixture, weight (R, S)."""
    rows = len(mean)
    each = weight[:, :, None] * rows

    def over(values: FLOATS) -> FLOATS:
        return mean_over_draws((values * each).reshape(rows, -1))

    centre = over(mean)
    half = Z90 * np.sqrt(over(var + (mean - centre.reshape(mean.shape[1:])) ** 2))
    days = pl.Series(np.round(months.ravel() * DAYS_A_MONTH).astype(np.int64) * 86_400_000)
    named = summary.select(
        pl.col("season", "student", "metric", "club_family", "first").repeat_by(LINE_POINTS).explode()
    )
    return named.with_columns(
        day=pl.col("first") + days.cast(pl.Duration("ms")),
        mean=pl.Series(centre),
        lo=pl.Series(centre - half),
        hi=pl.Series(centre + half),
    ).select(columns("season.trend_line").keys())
