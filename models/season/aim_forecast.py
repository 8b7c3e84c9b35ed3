"""What would show if an aim were agreed on today, before it is: by its metrics, visits and swings.

An aim of several metrics is judged as one (agreed_aim.py), so it is also foreseen as one, for every set that
a coach may choose. How a set is weighed and what its metrics share of their errors is fitted by builds, on
all students; of an agreed aim it is taken from the others alone, which is nearly the same.
"""

from collections.abc import Iterator
from datetime import date
from itertools import combinations
from math import comb
from typing import NamedTuple

import numpy as np
import polars as pl

from models.parameters import load_parameter, save_parameters, six_digits
from models.season.agreed_aim import (
    DETECTABLE,
    LEAST_BEFORE,
    Row,
    known_sessions,
    rhythms,
    visits_so_far,
)
from models.season.agreed_line import forecast, kindred_weights, own_variances, shared_errors
from models.season.cells import (
    DAYS_A_MONTH,
    KEY,
    TOUCHED,
    Parameter,
    arrange_as_fitted,
    draws_of,
    most_used,
)
from models.season.kernel import FLOATS
from models.season.together import as_one_device, residual_squares
from warehouse.store import Writer
from warehouse.tables import columns

FORECAST_WEEKS = (4, 8, 13, 26)
TOGETHER = (2, 3, 4)  # metrics; the note form takes no more
MOST_SETS = 200  # of as many metrics: an academy with many of its own is told of smaller sets
WHERE = ["season", "club_family"]


class Weighed(NamedTuple):
    """Metrics in the order of their names, with their weights (M,) and their errors' correlations (M, M)."""

    metrics: tuple[str, ...]
    weights: FLOATS
    r: FLOATS


def forecast_rows(writer: Writer, *, refit: bool) -> pl.DataFrame:
    """Rows of season.aim_forecast for the touched students: what would show if an aim were agreed on today.

    In the newest season, of metrics with a better direction, core or the aim of a drill, with the clubs each
    was measured most with. `refit`: all students are there, and how sets are weighed is fitted anew.
    """
    today = writer.sql("SELECT max(day) FROM academy.session").item()
    known, fits = known_sessions(
        writer,
        f'{TOUCHED} AND season = (SELECT arg_max(season, "from") FROM academy.season WHERE "from" <= ?) '
        "AND metric IN (SELECT metric FROM academy.metric WHERE better IN ('up', 'down') "
        "AND (core OR metric IN (SELECT aim FROM academy.drill)))",
        today,
    )
    known = most_used(known, ["student", "metric"], ["club_family"])
    cells = known.partition_by(KEY, as_dict=True, maintain_order=True).items()
    better = dict(writer.sql("SELECT metric, better FROM academy.metric").iter_rows())
    doubts = [_doubts(cell, fits[key], better[key[2]]) for key, cell in cells if key in fits]
    if not doubts:
        return pl.DataFrame(schema=columns("season.aim_forecast"))
    doubt = pl.concat(doubts).sort("student", "started_at", "session", "metric")
    if refit:
        _fit_sets(writer, doubt)
    sets = {where: _sets(writer, *where) for where in doubt.select(WHERE).unique().iter_rows()}
    found: list[Row] = []
    students = doubt.partition_by("student", *WHERE, as_dict=True, maintain_order=True)
    for (student, *where), own in students.items():
        about = {"student": student} | dict(zip(WHERE, where, strict=True))
        found += [about | row for row in _forecasts(own, sets[tuple(where)], today)]
    return pl.DataFrame(found, columns("season.aim_forecast")).sort("student", "metrics", "weeks")


def _doubts(cell: pl.DataFrame, fit: Parameter, better: str) -> pl.DataFrame:
    """Sessions of a cell in smallest worthwhile changes, the better way positive, and what they err by.

    `errors`: a session's variance, `doubled` with twice the swings; `walk`: the student's wandering a month.
    """
    cell = as_one_device(cell.sort("student", "started_at", "session"), fit)
    rows, posterior = arrange_as_fitted(cell, fit), draws_of(fit)
    session, walk = own_variances(rows.cell, posterior)[:, rows.cell.owner]
    size = fit["worthwhile"]
    found = {"errors": session + rows.cell.error, "doubled": session + rows.cell.error / 2, "walk": walk}
    return cell.select(
        "student", *KEY, "started_at", "session", "day", "n", pl.lit(size).alias("worthwhile"),
        value=pl.col("mean") / (-size if better == "down" else size),
        **{name: pl.Series(values / size**2) for name, values in found.items()},
    )  # fmt: skip


def _fit_sets(writer: Writer, doubt: pl.DataFrame) -> None:
    """Fit how the metrics of each set are weighed together."""
    found = {}
    for where, own in doubt.partition_by(WHERE, as_dict=True).items():
        wide = own.pivot("metric", index=["student", "started_at", "session", "day"], values="value")
        wide = wide.sort("student", "started_at", "session")
        metrics = sorted(own["metric"].unique())
        sizes = [size for size in TOGETHER if comb(len(metrics), size) <= MOST_SETS]
        together = {}
        for chosen in (chosen for size in sizes for chosen in combinations(metrics, size)):
            others = residual_squares(wide, chosen).values()
            nothing = np.zeros((len(chosen), len(chosen)))
            squares, freedom = sum((one for one, _ in others), nothing), sum(free for _, free in others)
            r, covariance = shared_errors(squares, freedom)
            known = np.concatenate([kindred_weights(covariance), r[np.triu_indices(len(chosen), 1)]])
            together[" ".join(chosen)] = [six_digits(one) for one in known]
        found[_name(*where)] = together
    save_parameters(writer, found)


def _name(*where: object) -> str:
    return "/".join(("together", *map(str, where)))


def _sets(writer: Writer, *where: object) -> list[Weighed]:
    """The sets of metrics that the last build weighed."""
    found = []
    for name, known in (load_parameter(writer, _name(*where)) or {}).items():
        metrics = tuple(name.split(" "))
        r = np.eye(len(metrics))
        upper = np.triu_indices(len(metrics), 1)
        r[upper] = r.T[upper] = known[len(metrics) :]
        found.append(Weighed(metrics, np.array(known[: len(metrics)]), r))
    return found


def _forecasts(own: pl.DataFrame, sets: list[Weighed], today: date) -> Iterator[Row]:
    """A row for each of a student's metrics and sets that enough sessions measured, and number of weeks."""
    metrics = own["metric"].unique().sort().to_list()
    sessions = own.group_by("session", "day", maintain_order=True).agg(pl.col("n").max())
    errors, doubled = (_by_metric(own, sessions, metrics, name) for name in ("errors", "doubled"))
    of_metric = own.unique("metric").sort("metric")
    walk, worthwhile = of_metric["walk"].to_numpy(), of_metric["worthwhile"].to_numpy()
    alone = [Weighed((metric,), np.ones(1), np.eye(1)) for metric in metrics]
    measured_at: dict[tuple[bool, ...], list[tuple[Weighed, list[int]]]] = {}
    for one in (*alone, *(one for one in sets if {*one.metrics} <= {*metrics})):
        places = [metrics.index(metric) for metric in one.metrics]
        measured = np.isfinite(errors[:, places].sum(axis=1))
        measured_at.setdefault(tuple(measured.tolist()), []).append((one, places))
    for measured_all, asked in measured_at.items():
        there = np.array(measured_all)
        visited = sessions.filter(pl.Series(there))
        if visited["day"].n_unique() < LEAST_BEFORE:
            continue
        t = (visited["day"] - today).dt.total_days().to_numpy() / DAYS_A_MONTH
        as_it_was, twice = (
            np.array([_together(one, variances[there][:, places]) for one, places in asked])
            for variances in (errors, doubled)
        )
        wandering = np.array([_together(one, walk[places]) for one, places in asked])
        about = visits_so_far(visited)
        least: dict[int, Row] = {weeks: {} for weeks in FORECAST_WEEKS}
        for name, step, known in rhythms(about["gap_days"], as_it_was, twice):
            look_at = {weeks: int(7 * weeks / step) for weeks in FORECAST_WEEKS}
            looks = sorted({*look_at.values()} - {0})
            found = forecast(t, known, wandering, step / DAYS_A_MONTH, looks)[1]
            se = {0: [None] * len(asked)} | dict(zip(looks, (found * DETECTABLE).tolist(), strict=True))
            for weeks, look in look_at.items():
                least[weeks][f"least{name}"] = se[look]
        for number, (one, places) in enumerate(asked):
            told = about | {"metrics": list(one.metrics), "worthwhile": worthwhile[places].tolist()}
            for weeks, by in least.items():
                yield told | {"weeks": weeks} | {name: each[number] for name, each in by.items()}


def _by_metric(own: pl.DataFrame, sessions: pl.DataFrame, metrics: list[str], name: str) -> FLOATS:
    """(n, M) a column of `own` by session and metric; NaN where it was not measured."""
    wide = own.pivot("metric", index="session", values=name)
    return (
        sessions.select("session").join(wide, on="session", maintain_order="left").select(metrics).to_numpy()
    )


def _together(one: Weighed, variances: FLOATS) -> FLOATS:
    """(...) the variance of weighted metrics from their own (..., M)."""
    sd = np.sqrt(variances) * one.weights
    return np.asarray(np.einsum("...m,mk,...k->...", sd, one.r, sd))
