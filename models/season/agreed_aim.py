"""Aims that coach and student agree on before the data: which metrics, by when, and how much would matter.

The metrics are judged together, one-sided, each in its smallest worthwhile changes with the better way
positive, on the line of agreed_line.py. Variances are the student's own under the season's fit (mixed.py);
what metrics share of their errors is taken from the other students' residuals, and what to expect of a
student's change before the agreed day from theirs before their own.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Any, TypeVar

import numpy as np
import polars as pl
from scipy import special

from models.season.agreed_line import Course, forecast, kindred_weights, own_variances, shared_errors
from models.season.cells import (
    BASELINE,
    DAYS_A_MONTH,
    KEY,
    CellKey,
    Parameter,
    arrange_as_fitted,
    baseline,
    draws_of,
    known_rows,
    once_a_session,
    stored_fits,
)
from models.season.estimation import Z90, spending_bounds
from models.season.kernel import FLOATS
from models.season.together import Together, as_one_device, first_agreed
from models.sql import query
from warehouse.store import Writer
from warehouse.tables import columns
from warehouse.vocabulary import LONGEST_AIM_DAYS, NOT_REACHED, NOT_YET, REACHED, TOO_SOON

LEAST_BEFORE = 4  # sessions up to the agreed day
ALPHA = 0.05  # one-sided, over all looks up to the due day
LISTS = ("worthwhile", "weights", "changes", "ses")
POWER, WEEK = 0.8, 7.0
DETECTABLE = Z90 + float(special.ndtri(POWER))  # standard errors
Row = dict[str, Any]
Known = TypeVar("Known")


@dataclass(frozen=True)
class Measured:
    """What aims are judged by: cells' sessions and fits, cells together, each metric's better way."""

    cells: Mapping[CellKey, pl.DataFrame]
    fits: Mapping[CellKey, Parameter]
    together: Mapping[tuple[CellKey, ...], Together]
    better: Mapping[str, str]

    @classmethod
    def of(
        cls,
        aims: Sequence[Row],
        sessions: pl.DataFrame,
        fits: Mapping[CellKey, Parameter],
        better: Mapping[str, str],
    ) -> "Measured":
        """Of `sessions` as `counted_once` gives them."""
        cells = {
            (s, f, m): as_one_device(part, fits.get((s, f, m)))
            for (s, f, m), part in sessions.partition_by(KEY, as_dict=True).items()
        }
        together = {
            parts: Together.of([cells[key] for key in parts], first_agreed(aims, parts))
            for parts in {parts for aim in aims for parts in _places(aim, cells)}
        }
        return cls(cells, fits, together, better)

    def signs(self, aim: Row) -> FLOATS:
        """(M,) +1, or -1 where less is better."""
        return np.array([-1.0 if self.better.get(metric) == "down" else 1.0 for metric in aim["metrics"]])


def agreed_aim_rows(writer: Writer) -> pl.DataFrame:
    """Rows of season.agreed_aim, one for every note of an agreed aim."""
    aims = writer.sql(query("season.agreed_aim")).to_dicts()
    named = sorted({metric for aim in aims for metric in aim["metrics"]})
    known, fits = known_sessions(writer, "list_contains(CAST(? AS VARCHAR[]), metric)", named)
    better = dict(writer.sql("SELECT metric, better FROM academy.metric").iter_rows())
    today = writer.sql("SELECT max(day) FROM academy.session").item()
    measured = Measured.of(aims, known, fits, better)
    judged = [judge(aim, measured, today) for aim in aims]
    return pl.DataFrame(judged, columns("season.agreed_aim")).sort("student", "agreed", "note")


def judge(aim: Row, measured: Measured, today: date) -> Row:
    """One row of season.agreed_aim; `today` is the academy's newest day."""
    row, course = prepared(aim, measured, aim["due"])
    if course is None or row["n_before"] < LEAST_BEFORE or not row["n_since"]:
        return row
    weights, smallest = np.array(row["weights"]), np.array(row["worthwhile"])
    row["change"], row["se"] = course.change(weights)
    row["p"] = float(special.ndtr(row["change"] / row["se"]))
    own = [course.change(one) for one in np.eye(weights.size)]
    signed = smallest * measured.signs(aim)
    row["changes"] = [change * size for (change, _), size in zip(own, signed, strict=True)]
    row["ses"] = [float(se * size) for (_, se), size in zip(own, smallest, strict=True)]
    over = today >= aim["due"]
    return row | _looks(row, course, weights, over=over)


def prepared(aim: Row, measured: Measured, until: date) -> tuple[Row, Course | None]:
    """The row before it is judged, and the course of the metrics; None where too little is known of them."""
    nothing: Row = {name: [] if name in LISTS else None for name in columns("season.agreed_aim")}
    row = nothing | aim | {"n_before": 0, "n_since": 0, "label": TOO_SOON}
    together, fits = measured.together, measured.fits
    places = _places(aim, measured.cells)
    whole = {parts: together[parts].sessions.filter(student=aim["student"]) for parts in places}
    parts = max(whole, key=lambda one: len(whole[one].filter(pl.col("day") <= aim["agreed"])), default=())
    if not parts:
        return row, None
    mine = whole[parts].filter(pl.col("day") <= until)
    days = mine["day"].unique().sort()
    row |= {
        "club_family": parts[0][1], "last_day": days[-1] if len(days) else None,
        "n_before": int((days <= aim["agreed"]).sum()), "n_since": int((days > aim["agreed"]).sum()),
    }  # fmt: skip
    if not row["n_before"] or not all(key in fits for key in parts):
        return row, None
    smallest = np.array([fits[key]["worthwhile"] for key in parts])
    scale = measured.signs(aim) / smallest
    squares, freedom = together[parts].others(aim["student"])
    r, covariance = shared_errors(squares * np.outer(scale, scale), freedom)
    weights = kindred_weights(covariance)
    course, doubled = _course(aim, mine, measured, parts, scale, r)
    # How much would matter, in worthwhile changes: what was agreed of the first metric, else one.
    row["wanted"] = 1.0 if aim["wanted"] is None else float(aim["wanted"] / smallest[0])
    row |= {"worthwhile": smallest.tolist(), "weights": weights.tolist()}
    row |= _beforehand(row, course.upto(0.0), doubled.upto(0.0), weights, mine.rename({"n0": "n"}))
    return row, replace(course, others=together[parts].before(aim["student"], aim["agreed"], scale))


def _places(aim: Row, cells: Mapping[CellKey, pl.DataFrame]) -> list[tuple[CellKey, ...]]:
    """The cells of an aim's metrics for each club family in which all of them were measured."""
    families = sorted({family for season, family, _ in cells if season == aim["season"]})
    found = [tuple((aim["season"], family, metric) for metric in aim["metrics"]) for family in families]
    return [parts for parts in found if all(key in cells for key in parts)]


def _course(
    aim: Row,
    mine: pl.DataFrame,
    measured: Measured,
    parts: Sequence[CellKey],
    scale: FLOATS,
    r: FLOATS,
) -> tuple[Course, Course]:
    """The student's sessions with what the season's fit knows of them; the same with twice the swings."""
    t = (mine["day"] - aim["agreed"]).dt.total_days().to_numpy() / DAYS_A_MONTH
    y, sd, walk, device = [], [], [], []
    for number, key in enumerate(parts):
        fit, size = measured.fits[key], abs(scale[number])
        own = measured.cells[key].filter(pl.col("student") == aim["student"])
        rows, posterior = arrange_as_fitted(own, fit), draws_of(fit)
        session, walks = own_variances(rows.cell, posterior)[:, 0]
        swing = float(rows.cell.error[0] * own["n"][0])
        place = dict(own.select("session").with_row_index("place").select("session", "place").iter_rows())
        here = np.array([place[session] for session in mine["session"]])
        fixed, unsure = rows.cell.x[here][:, 2:], posterior.covs[:, 2:, 2:].mean(axis=0)
        y.append(scale[number] * rows.cell.y[here])
        swings = mine[f"n{number}"].to_numpy()
        sd.append(size * np.sqrt([session + swing / swings, session + swing / (2 * swings)]))
        walk.append(size * np.sqrt(walks))
        device.append(size**2 * fixed @ unsure @ fixed.T)
    as_it_was, doubled = np.stack(sd, axis=2)
    course = Course(t, np.column_stack(y), as_it_was, np.array(walk), np.array(device), r)
    return course, replace(course, sd=doubled)


def _looks(aim: Row, course: Course, weights: FLOATS, *, over: bool) -> Row:
    """The first look that was sure, else the last: a look a visit, one error over all until the due day.

    At the last one, would_show: whether a student on a steady course to what was agreed would have been seen
    to change by then, with the chance POWER: wanted · month / end ≥ (bound + Φ⁻¹(POWER)) · se.
    """
    end = _months(aim["due"] - aim["agreed"])
    found: list[tuple[float, float, float]] = []  # month, change, se
    information: list[float] = []
    last = float(course.t[-1])
    for month in np.unique(course.t[course.t > 0]):
        change, se = course.upto(month).change(weights)
        known = float((month / se) ** 2)
        least = 1.02 * information[-1] if information else 0.0
        # There is no look so early that nothing could be sure, nor where nothing new is known.
        if (month < 0.1 * end or known < least) and not (over and month == last):
            continue
        found.append((float(month), change, se))
        information.append(max(known, least))
    if not found:
        return {"label": TOO_SOON}
    time = [month / end for month, _, _ in found]
    if over:
        time[-1] = 1.0  # what is left of the error is spent at the last look
    shares = tuple(known / information[-1] for known in information)
    bounds = spending_bounds(shares, 2 * ALPHA, tuple(time))
    sure = [k for k, (_, change, se) in enumerate(found) if change > bounds[k] * se]
    at = sure[0] if sure else len(found) - 1
    month, _, se = found[at]
    on_course = aim["wanted"] * min(month / end, 1.0) >= (bounds[at] + special.ndtri(POWER)) * se
    return {
        "look": at + 1, "looked": aim["agreed"] + timedelta(days=round(month * DAYS_A_MONTH)),
        "bound": bounds[at], "label": REACHED if sure else NOT_REACHED if over else NOT_YET,
        "would_show": None if sure else bool(on_course),
    }  # fmt: skip


def _beforehand(row: Row, before: Course, doubled: Course, weights: FLOATS, mine: pl.DataFrame) -> Row:
    """What could be known on the agreed day of when a change will show."""
    if row["n_before"] < 2:
        return {}
    found = visits_so_far(mine.filter(pl.col("day") <= row["agreed"]))
    end = _months(row["due"] - row["agreed"])
    for name, step, known in rhythms(found["gap_days"], before, doubled):
        looks = range(1, int(LONGEST_AIM_DAYS / step) + 1)
        months, se = forecast(
            known.t, known.errors(weights), known.wandering(weights), step / DAYS_A_MONTH, looks
        )
        shown = np.flatnonzero(row["wanted"] / se >= DETECTABLE)
        within = int(np.searchsorted(months, end + 1e-9, side="right"))
        found[f"show_by{name}"] = (
            row["agreed"] + timedelta(days=round(step * (shown[0] + 1))) if shown.size else None
        )
        found[f"least{name}"] = float(se[within - 1] * DETECTABLE) if within else None
    return found


def rhythms(gap: float, as_it_was: Known, doubled: Known) -> tuple[tuple[str, float, Known], ...]:
    """As before, weekly, twice the swings: suffix of a column, days between visits, and how sessions err."""
    return ("", gap, as_it_was), ("_weekly", WEEK, as_it_was), ("_double_swings", gap, doubled)


def visits_so_far(sessions: pl.DataFrame) -> Row:
    """Days from visit to visit and the usual number of swings a visit, from sessions' `day` and `n`."""
    visits = sessions.group_by("day").agg(pl.col("n").sum()).sort("day")
    gap = (visits["day"][-1] - visits["day"][0]).days / (len(visits) - 1)
    return {"gap_days": gap, "swings": int(visits["n"].median() or 0)}  # type: ignore[arg-type]


def known_sessions(
    writer: Writer, which: str, value: object
) -> tuple[pl.DataFrame, dict[CellKey, Parameter]]:
    """`counted_once` of what meets the condition `which`, with `value` for its ?, and the cells' fits."""
    rows = baseline(writer.sql(f"SELECT * FROM season.session_metric WHERE {BASELINE} AND {which}", [value]))
    fits = stored_fits(writer, rows)
    return counted_once(rows, fits), fits


def counted_once(rows: pl.DataFrame, fits: Mapping[CellKey, Parameter]) -> pl.DataFrame:
    """Known rows of `cells.baseline`, one a session, in order."""
    return once_a_session(known_rows(rows, fits)).sort("student", "started_at", "session")


def _months(span: timedelta) -> float:
    return span.days / DAYS_A_MONTH
