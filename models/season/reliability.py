"""How far a session's value can be trusted, per metric and club family.

Variance parts are those of the season's one fit, its wandering taken out: the spread between students, from
session to session within one, and from swing to swing.
"""

import tomllib
from collections.abc import Mapping
from pathlib import Path

import numpy as np
import polars as pl

from models.parameters import save_parameters, six_digits
from models.season.cells import BASELINE, CellKey, Parameter, baseline, parameter_name
from models.season.lending import Loan
from models.season.trend import fit_season
from models.sql import query
from warehouse.store import Writer
from warehouse.tables import columns

MOST_SWINGS = 30
CALIBRATION = Path(__file__).parents[1] / "rules" / "calibration.toml"


def reliability_rows(writer: Writer, loans: Mapping[tuple[str, str], Loan]) -> pl.DataFrame:
    """Rows of season.reliability, from a new fit of every cell, which is kept for the lines."""
    rows = baseline(writer.sql(f"SELECT * FROM season.session_metric WHERE {BASELINE}"))
    fits = with_least(fit_season(rows, loans), writer.sql(query("season.least_change")))
    save_parameters(writer, {parameter_name(key): fit for key, fit in fits.items()})
    return reliability(fits)


def with_least(fits: Mapping[CellKey, Parameter], least: pl.DataFrame) -> dict[CellKey, Parameter]:
    """The fits with `worthwhile` no smaller than `least` (season, club_family, metric, least) says."""
    floor = {(season, family, metric): value for season, family, metric, value in least.iter_rows()}
    return {
        key: {**fit, "worthwhile": max(fit["worthwhile"], six_digits(floor.get(key, 0.0)))}
        for key, fit in fits.items()
    }


def icc(sd_student: float, sem: float) -> float:
    """Share of a session value's variance that lies between students: σ²_student / (σ²_student + SEM²)."""
    total = sd_student**2 + sem**2
    return sd_student**2 / total if total > 0 else 0.0


def typical_error(sd_session: float, sd_swing: float, swings: int) -> float:
    """SEM of a session's mean of n swings: √(σ²_session + σ²_swing / n)."""
    return float(np.sqrt(sd_session**2 + sd_swing**2 / swings))


def detectable_change(sem: float) -> float:
    """Smallest detectable change, SDC95 = 1.96·√2·SEM. Source: Weir 2005, J Strength Cond Res 19."""
    return float(1.96 * np.sqrt(2) * sem)


def swings_wanted(sd_session: float, sd_swing: float) -> int:
    """The least number of swings, up to 30, of which twice as many cut the typical error by under a tenth."""
    for swings in range(1, MOST_SWINGS):
        once, twice = (typical_error(sd_session, sd_swing, n) for n in (swings, 2 * swings))
        if twice >= 0.9 * once:
            return swings
    return MOST_SWINGS


def reliability(parameters: Mapping[CellKey, Parameter]) -> pl.DataFrame:
    """Rows of season.reliability from the fits (season, club family, metric → parameter).

    SEM and SDC95 are those of a session of the usual (median) number of swings.
    """
    rows = []
    for (season, family, metric), fit in sorted(parameters.items()):
        student, session, swing = fit["sd_student"], fit["sd_session"], fit["sd_swing"]
        sem = typical_error(session, swing, fit["swings"])
        rows.append(
            (season, metric, family, student, session, swing, icc(student, sem), sem, detectable_change(sem),
             swings_wanted(session, swing), fit["students"], fit["sessions"], fit["worthwhile"],
             fit["lenders"])
        )  # fmt: skip
    return pl.DataFrame(rows, schema=columns("season.reliability"), orient="row")


def calibration_rows(file: Path = CALIBRATION) -> pl.DataFrame:
    """Rows of season.calibration as `make calibration` left them; none before the first calibration."""
    rows = tomllib.loads(file.read_text(encoding="utf-8"))["row"] if file.exists() else []
    return pl.DataFrame(rows, columns("season.calibration"))
