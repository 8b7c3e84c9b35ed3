"""From the warehouse to the season models and back: fault rates, reliability, students' lines.

A build passes `refit`: what is fitted on the academy is fitted anew and kept. A refresh uses the last fit.
The temporary table touched(student) says whose rows are made again.
"""

from dataclasses import asdict

import polars as pl

from models.parameters import load_parameters, save_parameters
from models.season.cells import CellKey, Parameter, baseline
from models.season.faultrate import FaultPrior, fault_rates, fit_priors
from models.season.judgement import Bands
from models.season.ladder import pace_ladder
from models.season.reliability import reliability
from models.season.trend import Lines, fit_season, student_lines
from warehouse.store import Writer

TOUCHED = "student IN (SELECT student FROM touched)"
BASELINE = "season IS NOT NULL AND part = 'baseline' AND pace = 'full'"


def fault_rate_rows(writer: Writer, *, refit: bool) -> tuple[pl.DataFrame, pl.DataFrame]:
    """season.student_fault_rate and season.pace_ladder of the touched students.

    A season that no build has seen yet is judged under priors fitted as it stands, and not kept.
    """
    rows = _session_fault(writer, f"{TOUCHED} AND season IS NOT NULL")
    priors = _priors(writer, rows, refit=refit)
    return fault_rates(rows, priors), pace_ladder(rows, priors)


def _priors(writer: Writer, rows: pl.DataFrame, *, refit: bool) -> dict[str, dict[str, FaultPrior]]:
    """Season → fault → prior: fitted on `rows` and kept, or the last build's."""
    if refit:
        priors = fit_priors(rows)
        save_parameters(
            writer,
            {
                f"fault_rate/{season}": {fault: asdict(prior) for fault, prior in fitted.items()}
                for season, fitted in priors.items()
            },
        )
        return priors
    seasons = rows["season"].unique().to_list()
    stored = load_parameters(writer, [f"fault_rate/{season}" for season in seasons])
    priors = {
        name.removeprefix("fault_rate/"): {fault: FaultPrior(**value) for fault, value in values.items()}
        for name, values in stored.items()
    }
    for season in set(seasons) - set(priors):
        priors.update(fit_priors(_session_fault(writer, "season = ?", [season])))
    return priors


def _session_fault(writer: Writer, within: str, params: list[str] | None = None) -> pl.DataFrame:
    return writer.sql(f"SELECT * FROM season.session_fault WHERE {within}", params)


def refit_reliability(writer: Writer) -> pl.DataFrame:
    """season.reliability from a fit of every metric and club family, which is kept for the lines."""
    rows = writer.sql(f"SELECT * FROM season.session_metric WHERE {BASELINE}")
    fits = fit_season(baseline(rows))
    save_parameters(writer, {_name(key): value for key, value in fits.items()})
    return reliability(fits)


def line_rows(writer: Writer) -> Lines:
    """season.student_trend and season.trend_line of the touched students, under the last build's fits."""
    rows = baseline(writer.sql(f"SELECT * FROM season.session_metric WHERE {TOUCHED} AND {BASELINE}"))
    better = dict(writer.sql("SELECT metric, better FROM academy.metric").iter_rows())
    return student_lines(rows, stored_fits(writer, rows), better, bands(writer, TOUCHED))


def stored_fits(writer: Writer, rows: pl.DataFrame) -> dict[CellKey, Parameter]:
    """The last build's fit of every cell that `rows` (from `cells.baseline`) hold and it could fit."""
    fitted = writer.sql("SELECT season, club_family, metric FROM season.reliability")
    present = set(rows.select("season", "club_family", "metric").unique().iter_rows())
    keys: list[CellKey] = sorted(present & set(fitted.iter_rows()))
    stored = load_parameters(writer, [_name(key) for key in keys])
    return {key: stored[_name(key)] for key in keys}


def bands(writer: Writer, within: str = "true") -> Bands:
    """Whose band is which, with the styles of the students `within`."""
    level = dict(writer.sql("SELECT person, level FROM academy.person WHERE role = 'student'").iter_rows())
    style = {
        (season, student, family): value
        for season, student, family, value in writer.sql(
            f"SELECT season, student, club_family, style FROM season.style WHERE {within}"
        ).iter_rows()
    }
    return Bands(writer.sql("SELECT * FROM academy.band"), level, style)


def _name(key: CellKey) -> str:
    return "trend/" + "/".join(key)
