"""Past claims scored against later visits: changes, next visits, new faults, drills and agreed aims.

Visits are kept as they were delivered, so what the pages could say on the first of a month is computed again
from the visits before that day alone, with a fit to these alone, and scored against the visits from then on.
"""

from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor
from datetime import date, timedelta
from os import cpu_count

import numpy as np
import polars as pl
from scipy import special

from models.season.agreed_line import session_variances
from models.season.audited_claims import aim_claims, drill_claims, new_fault_claims
from models.season.cells import (
    BASELINE,
    KEY,
    LEAST_DAYS,
    LEAST_SESSIONS,
    CellKey,
    Parameter,
    arrange_as_fitted,
    baseline,
    draws_of,
    fit_cell,
    known_rows,
)
from models.season.drill_data import read_sources
from models.season.judgement import Bands, judge_change, mixture_quantile
from models.season.kernel import FLOATS
from models.season.mixed import line_ends, lines
from models.sql import query
from warehouse.store import Writer
from warehouse.tables import columns
from warehouse.vocabulary import CHANGE, IMPROVING, NEXT_VISIT, SLIPPING

MONTHS_BACK, LEAST_SINCE = 3, timedelta(days=14)
INSIDE, HALF = 0.90, 0.5
SCORED = {
    **dict.fromkeys((*KEY, "student", "label"), pl.String), "made": pl.Date,
    **dict.fromkeys(("half_way", "since", "chance", "lo", "hi", "next"), pl.Float64),
    **dict.fromkeys(("lasted", "foreseen"), pl.Boolean),
}  # fmt: skip


def self_audit_rows(writer: Writer) -> pl.DataFrame:
    """Rows of season.self_audit: the newest season's core metrics, faults, drills and agreed aims.

    Metrics in which many swings share one value are left out: their smallest worthwhile change depends on
    every swing of the season.
    """
    newest, season = writer.sql(
        f"SELECT max(day), arg_max(season, day) FROM season.session_metric WHERE {BASELINE}"
    ).row(0)
    if newest is None:
        return pl.DataFrame(schema=columns("season.self_audit"))

    def of_season(table: str, which: str = "true") -> pl.DataFrame:
        return writer.sql(f"SELECT * FROM season.{table} WHERE season = ? AND {which}", [season])

    rows = baseline(
        of_season(
            "session_metric", f"{BASELINE} AND metric IN (SELECT metric FROM academy.metric WHERE core)"
        )
    ).join(writer.sql(query("season.least_change")), on=KEY, how="anti", maintain_order="left")
    better = dict(writer.sql("SELECT metric, better FROM academy.metric").iter_rows())
    bands, drills = Bands.read(writer), read_sources(writer)
    faults, changes, outcomes = map(of_season, ("session_fault", "change_chance", "outcome_chance"))
    aims = writer.sql(query("season.agreed_aim")).filter(season=season).to_dicts()
    found = []
    for made in days_of_claims(newest):
        until, fits = next_first(made), fits_before(rows, made)
        found += [
            line_claims(scored_claims(rows, fits, made, better, bands)),
            new_fault_claims(faults, changes, outcomes, made, until),
            drill_claims(drills, season, made),
            aim_claims(aims, rows, fits, better, made, until),
        ]
    return audited(pl.concat(found))


def days_of_claims(newest: date) -> list[date]:
    """The firsts of the last three months, each with at least a fortnight of visits after it, in order."""
    day, found = (newest - LEAST_SINCE).replace(day=1), []
    for _ in range(MONTHS_BACK):
        found.append(day)
        day = (day - timedelta(days=1)).replace(day=1)
    return found[::-1]


def next_first(day: date) -> date:
    """The first of the month after."""
    return (day.replace(day=1) + timedelta(days=32)).replace(day=1)


def audited(claims: pl.DataFrame) -> pl.DataFrame:
    """How many claims of each day and kind there were, how many were borne out, and how many should be.

    `claims`: rows of CLAIMS. Each counts once, on the day it was first made; next visits are new each time.
    """
    first = pl.struct("season", "kind", "claim").is_first_distinct() | (pl.col("kind") == NEXT_VISIT)
    return (
        claims.sort("made").filter(first).group_by("season", "made", "kind")
        .agg(
            claims=pl.len().cast(pl.Int32), borne_out=pl.col("borne_out").sum().cast(pl.Int32),
            expected=pl.col("chance").sum(),
            by_chance=pl.when(pl.col("by_chance").count() > 0).then(pl.col("by_chance").sum()),
        )
        .select(columns("season.self_audit").keys()).sort("season", "made", "kind")
    )  # fmt: skip


def line_claims(scored: pl.DataFrame) -> pl.DataFrame:
    """Rows of CLAIMS: changes called, and next visits, from `scored_claims`.

    If nothing had changed, the visits since would fall on either side of the half-way value equally often.
    """
    kinds = (
        (CHANGE, pl.col("label").is_in([IMPROVING, SLIPPING]), "lasted", pl.col("chance"), pl.lit(HALF)),
        (NEXT_VISIT, pl.lit(value=True), "foreseen", pl.lit(INSIDE), pl.lit(None, pl.Float64)),
    )
    claim = pl.concat_str("club_family", "metric", "student", "label", separator=" ")
    return pl.concat(
        scored.filter(claimed).select(
            "season", "made", kind=pl.lit(kind), claim=claim, borne_out=borne_out, chance=chance,
            by_chance=by_chance,
        )
        for kind, claimed, borne_out, chance, by_chance in kinds
    )  # fmt: skip


def fits_before(rows: pl.DataFrame, made: date) -> dict[CellKey, Parameter]:
    """The fit of every cell in `rows` (from `cells.baseline`) to what was measured before the day `made`."""
    cells = rows.filter(pl.col("day") < made).partition_by(KEY, as_dict=True, maintain_order=True)
    with ThreadPoolExecutor(cpu_count()) as threads:
        found = list(threads.map(fit_cell, cells.values()))
    return {(s, f, m): fit for (s, f, m), fit in zip(cells, found, strict=True) if fit}


def scored_claims(
    rows: pl.DataFrame, fits: Mapping[CellKey, Parameter], made: date, better: Mapping[str, str], bands: Bands
) -> pl.DataFrame:
    """What could be said of each student and metric on the day `made`, and what later visits show.

    `rows` from `cells.baseline`, `fits` from `fits_before`. Columns SCORED: the label; the value half-way
    through the change, the mean since and the chance that it is past half-way; the 90 % interval of the next
    visit's mean, and that mean.
    """
    cells = known_rows(rows, fits).partition_by(KEY, as_dict=True, maintain_order=True)
    scored = [_scored(cells[key], made, fit, better.get(key[2], "none"), bands) for key, fit in fits.items()]
    return pl.concat([pl.DataFrame(schema=SCORED), *scored])


def _scored(cell_rows: pl.DataFrame, made: date, fit: Parameter, better: str, bands: Bands) -> pl.DataFrame:
    """`scored_claims` of one cell: students with enough sessions before the day, and at least one since."""
    earlier = pl.col("day") < made
    enough = (pl.col("session").filter(earlier).n_unique().over("student") >= LEAST_SESSIONS) & (
        pl.col("day").filter(earlier).max().over("student")
        >= pl.col("day").min().over("student") + pl.duration(days=LEAST_DAYS)
    )
    rows = cell_rows.filter(enough, (pl.col("day") >= made).any().over("student"))
    if rows.is_empty():
        return pl.DataFrame(schema=SCORED)
    then, since = rows.filter(earlier), rows.filter(~earlier)
    cell, later = arrange_as_fitted(then, fit).cell, arrange_as_fitted(since, fit).cell
    posterior = draws_of(fit)
    last, first = cell.offsets[1:] - 1, later.offsets[:-1]

    def per(values: FLOATS) -> FLOATS:
        """(S, …): means over each student's rows since."""
        return np.stack([part.mean(axis=0) for part in np.split(values, later.offsets[1:-1])])

    visits = np.diff(later.offsets)
    swing = cell.error[last] * then["n"].to_numpy()[last]
    swings = since["n"].to_numpy().astype(np.float64)
    at = np.stack([later.x[first], per(later.x)], axis=1)  # the next visit, all since
    level, unsure = lines(cell, posterior, np.ascontiguousarray(at[:, :, 1]), at)
    day = session_variances(cell, posterior, last)
    ends = line_ends(cell, posterior, last)
    whose = then.group_by("metric", "season", "student", "club_family", maintain_order=True).agg(
        pl.col("day").last()
    )
    judged = judge_change(ends, better, [bands.of(*key) for key in whose.iter_rows()], fit["worthwhile"])
    offsets = posterior.gammas[:, 2:].mean(axis=0)
    half_way = ends.mean(ends.start) + judged.change / 2 + (at[:, 1, 2:] - cell.x[last, 2:]) @ offsets
    side, mean = np.sign(judged.change), per(later.y)
    sd = np.sqrt(unsure[:, :, 1] + day / visits + swing * per(1 / swings) / visits)
    chance = ends.mean(special.ndtr(side * (level[:, :, 1] - half_way) / sd))
    sd = np.sqrt(unsure[:, :, 0] + day + swing / swings[first])
    lo, hi = (mixture_quantile(level[:, :, 0], sd, q, ends.mean) for q in (0.05, 0.95))
    following = later.y[first]
    return whose.select(
        *KEY, "student", label=pl.Series(judged.label, dtype=pl.String), made=pl.lit(made),
        half_way=half_way, since=mean, chance=chance, lo=lo, hi=hi, next=following,
        lasted=side * (mean - half_way) > 0, foreseen=(lo <= following) & (following <= hi),
    )  # fmt: skip
