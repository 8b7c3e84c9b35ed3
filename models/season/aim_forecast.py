"""What would show if an aim were agreed on today, before it is: by metric, visits and swings."""

from datetime import date
from itertools import pairwise

import numpy as np
import polars as pl

from models.season.agreed_aim import (
    DETECTABLE,
    LEAST_BEFORE,
    Row,
    known_sessions,
    rhythms,
    visits_so_far,
)
from models.season.agreed_line import Course, forecast, own_variances
from models.season.cells import (
    DAYS_A_MONTH,
    KEY,
    TOUCHED,
    CellKey,
    Parameter,
    arrange_as_fitted,
    draws_of,
)
from warehouse.store import Writer
from warehouse.tables import columns

FORECAST_WEEKS = (4, 8, 13, 26)


def forecast_rows(writer: Writer) -> pl.DataFrame:
    """Rows of season.aim_forecast for the touched students: what would show if an aim were agreed on today.

    In the newest season, of metrics with a better direction, core or the aim of a drill, each by itself,
    with the clubs it was measured most with.
    """
    today = writer.sql("SELECT max(day) FROM academy.session").item()
    known, fits = known_sessions(
        writer,
        f'{TOUCHED} AND season = (SELECT arg_max(season, "from") FROM academy.season WHERE "from" <= ?) '
        "AND metric IN (SELECT metric FROM academy.metric WHERE better IN ('up', 'down') "
        "AND (core OR metric IN (SELECT aim FROM academy.drill)))",
        today,
    )
    one_each = ["student", "metric"]
    most = known.group_by(*one_each, "club_family").agg(n=pl.len()).sort(*one_each, "n", "club_family")
    known = known.join(most.unique(one_each, keep="last"), on=[*one_each, "club_family"], how="semi")
    found = []
    for (season, family, metric), cell in known.partition_by(KEY, as_dict=True, maintain_order=True).items():
        key = (str(season), str(family), str(metric))
        if key in fits:
            found += _forecasts(key, cell.sort("student", "started_at", "session"), fits[key], today)
    return pl.DataFrame(found, columns("season.aim_forecast")).sort("student", "metric", "weeks")


def _forecasts(key: CellKey, cell: pl.DataFrame, fit: Parameter, today: date) -> list[Row]:
    """A row for each student of a cell with enough sessions, and each number of weeks."""
    rows, posterior = arrange_as_fitted(cell, fit), draws_of(fit)
    session, walks = own_variances(rows.cell, posterior, rows.cell.offsets[1:] - 1)
    found = []
    for place, (first, last) in enumerate(pairwise(rows.cell.offsets.tolist())):
        own = cell[first:last]
        if own["day"].n_unique() < LEAST_BEFORE:
            continue
        t = (own["day"] - today).dt.total_days().to_numpy() / DAYS_A_MONTH
        flat = np.zeros((t.size, 1)), np.zeros((1, t.size, t.size))
        as_it_was, doubled = (
            Course(t, flat[0], np.sqrt(session[place] + rows.cell.error[first:last, None] / times),
                   np.sqrt(walks[[place]]), flat[1], np.ones((1, 1)))
            for times in (1, 2)
        )  # fmt: skip
        visits = visits_so_far(own)
        about = dict(zip(KEY, key, strict=True)) | {"student": own["student"][0]} | visits
        least: dict[int, Row] = {weeks: {} for weeks in FORECAST_WEEKS}
        for name, step, known in rhythms(visits["gap_days"], as_it_was, doubled):
            look_at = {weeks: int(7 * weeks / step) for weeks in FORECAST_WEEKS}
            looks = sorted({*look_at.values()} - {0})
            se = dict(zip(looks, forecast(known, np.ones(1), step / DAYS_A_MONTH, looks)[1], strict=True))
            for weeks, look in look_at.items():
                least[weeks][f"least{name}"] = float(se[look] * DETECTABLE) if look else None
        found += [about | {"weeks": weeks} | least[weeks] for weeks in FORECAST_WEEKS]
    return found
