"""From season.session_metric to the arrays of the mixed model, and its fit as a stored parameter.

A cell is one metric and club family of one season. Only full-pace baseline swings enter; a change of device
or of where heel load comes from is a fixed column, since two makes of plate do not agree.
"""

from base64 import b64decode, b64encode
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import polars as pl
from scipy import special

from models.parameters import load_parameters, six_digits
from models.season.kernel import FLOATS
from models.season.lending import Loan, lent_posterior
from models.season.mixed import PARTS, Cell, Posterior, holding_odds, integrate, scales
from warehouse.store import Writer

BASELINE = "season IS NOT NULL AND part = 'baseline' AND pace = 'full'"
TOUCHED = "student IN (SELECT student FROM touched)"  # a temporary table: whose rows are made again

DAYS_A_MONTH = 30.0
LEAST_SESSIONS, LEAST_DAYS = 3, 28
AS_ONE = 1e6  # degrees of freedom: every student's swings scatter alike
WORTHWHILE = 0.2  # of the spread between students: the smallest worthwhile change
USUAL_HOLDERS, ROUNDS = 0.7, 40
LEAST_STUDENTS = 5  # with a line of their own, for the spread between students to be estimated at all
KEY = ["season", "club_family", "metric"]
INDICATED = (("device", "device"), ("heel", "heel_source"))  # kind of fixed column, and its column in rows
CellKey = tuple[str, str, str]  # season, club family, metric
Parameter = dict[str, Any]


_SINCE_FIRST = pl.col("day") - pl.col("day").min().over(*KEY, "student")
_MONTHS = (_SINCE_FIRST.dt.total_days() / DAYS_A_MONTH).alias("t")


@dataclass(frozen=True)
class Rows:
    """A cell as arrays, its students in order, and the names of its fixed columns after 1 and t."""

    cell: Cell
    students: list[str]
    fixed: list[str]


def baseline(session_metric: pl.DataFrame) -> pl.DataFrame:
    """Full-pace baseline rows inside a season, in order, with months `t` since the student's first one."""
    return (
        session_metric.filter(part="baseline", pace="full")
        .drop_nulls(["season", "club_family"])
        .filter(pl.col("mean").is_finite())
        .with_columns(device=pl.col("device").fill_null("none"))
        .sort(*KEY, "student", "started_at", "session", "device", "heel_source")
        .with_columns(_MONTHS)
    )


def once_a_session(rows: pl.DataFrame, keys: Sequence[str] = ()) -> pl.DataFrame:
    """One row a cell, session and `keys`: as the device and heel source of most of its swings measured it."""
    by_swings = rows.sort("n", "device", "heel_source", descending=[True, False, False], maintain_order=True)
    return by_swings.unique([*KEY, "session", *keys], keep="first", maintain_order=True)


def most_used(rows: pl.DataFrame, whose: Sequence[str], what: Sequence[str]) -> pl.DataFrame:
    """Rows of the `what` (clubs, say) that each of `whose` has most rows of; of as many, the last by name."""
    counts = rows.group_by(*whose, *what).agg(count=pl.len()).sort("count", *what)
    most = counts.unique(whose, keep="last")
    return rows.join(most, on=[*whose, *what], how="semi", maintain_order="left")


def swing_variance(cell_rows: pl.DataFrame) -> float:
    """σ²_swing: swings about their session's mean, pooled over sessions with two or more; 0 without any."""
    repeated = cell_rows.filter((pl.col("n") >= 2) & pl.col("sd").is_finite())
    freedom, sd = repeated["n"].to_numpy().astype(np.float64) - 1, repeated["sd"].to_numpy()
    return float(np.sum(freedom * sd**2) / np.sum(freedom)) if freedom.size else 0.0


@dataclass(frozen=True)
class SwingNoise:
    """How students' variances from swing to swing spread: a scaled inverse χ², and the mean log sd."""

    freedom: float
    variance: float
    centre: float

    @classmethod
    def of(cls, cell_rows: pl.DataFrame) -> "SwingNoise":
        """By moments of the log variances. Source: Smyth 2004, Stat Appl Genet Mol Biol 3, section 6.2."""
        pooled = swing_variance(cell_rows)
        freedom, variance = _own_swings(cell_rows)
        known = (freedom > 0) & (variance > 1e-9 * pooled)
        if pooled <= 0 or known.sum() < LEAST_STUDENTS:
            return cls(AS_ONE, pooled, float(np.log(pooled) / 2) if pooled > 0 else 0.0)
        half = freedom[known] / 2
        e = np.log(variance[known]) - special.digamma(half) + np.log(half)
        left = float(np.var(e, ddof=1) - special.polygamma(1, half).mean())
        found = AS_ONE if left <= 0 else float(min(AS_ONE, 2 * _inverse_trigamma(left)))
        typical = float(np.exp(e.mean() + special.digamma(found / 2) - np.log(found / 2)))
        first = cls(found, typical, 0.0)
        return cls(found, typical, float(np.log(first.variances(cell_rows)).mean() / 2))

    def variances(self, cell_rows: pl.DataFrame) -> FLOATS:
        """(S,) each student's variance from swing to swing, drawn toward the typical one."""
        freedom, variance = _own_swings(cell_rows)
        return (self.freedom * self.variance + freedom * variance) / (self.freedom + freedom)


def _own_swings(cell_rows: pl.DataFrame) -> tuple[FLOATS, FLOATS]:
    """(S,) degrees of freedom and variance of each student's swings about their sessions' means."""
    repeated = (pl.col("n") >= 2) & pl.col("sd").is_finite()
    freedom = pl.when(repeated).then(pl.col("n").cast(pl.Float64) - 1).otherwise(0.0)
    own = cell_rows.group_by("student", maintain_order=True).agg(
        freedom=freedom.sum(), squares=(freedom * pl.col("sd").fill_nan(None) ** 2).sum()
    )
    degrees = own["freedom"].to_numpy()
    return degrees, own["squares"].to_numpy() / np.maximum(degrees, 1.0)


def _inverse_trigamma(value: float) -> float:
    """Solve trigamma(x) = value for x: Newton on 1 / trigamma, nearly straight (Smyth 2004, appendix)."""
    x = 0.5 + 1 / value
    for _ in range(20):
        third = special.polygamma(1, x)
        x += float(third * (1 - third / value) / special.polygamma(2, x))
    return x


def fit_cell(cell_rows: pl.DataFrame, loan: Loan | None = None) -> Parameter | None:
    """Integrate one cell's variance parts; plain numbers for academy.parameter.

    None with fewer than five students of three sessions over 28 days, or where nothing varies. Fewer are
    answered by a `loan`, if it suits them.
    """
    ready = (
        cell_rows.group_by("student")
        .agg(n=pl.col("session").n_unique(), months=pl.col("t").max())
        .filter((pl.col("n") >= LEAST_SESSIONS) & (pl.col("months") >= LEAST_DAYS / DAYS_A_MONTH))
    )
    if len(ready) >= LEAST_STUDENTS:
        loan = None  # they say enough by themselves
    elif loan is None or ready.is_empty():
        return None
    swing, noise = swing_variance(cell_rows), SwingNoise.of(cell_rows)
    rows = arrange(cell_rows, noise, None)
    by = scales(rows.cell)
    if by is None:
        return None
    posterior = integrate(rows.cell, by) if loan is None else lent_posterior(rows.cell, loan.parts)
    if posterior is None:
        return None
    p = rows.cell.x.shape[1]
    lower = np.tril_indices(p)
    table = np.hstack([posterior.parts, posterior.gammas, posterior.covs[:, lower[0], lower[1]]])
    return {
        "fixed": rows.fixed,
        "known": sorted(name for own in _indicators(cell_rows) for name in own),
        "sd_student": (spread := six_digits(float(posterior.parts[:, 0].mean()))),
        "worthwhile": six_digits(WORTHWHILE * spread),
        "sd_session": six_digits(float(posterior.parts[:, 3].mean())),
        "sd_swing": six_digits(float(np.sqrt(swing))),
        "swing_noise": [six_digits(noise.freedom), six_digits(noise.variance), six_digits(noise.centre)],
        "swings": int(np.median(cell_rows["n"].to_numpy())),
        "students": len(rows.students),
        "sessions": cell_rows["session"].n_unique(),
        "holders": USUAL_HOLDERS,
        "lenders": loan.academies if loan else None,
        "draws": b64encode(table.astype("<f4").tobytes()).decode("ascii"),
    }


def draws_of(parameter: Parameter) -> Posterior:
    """The stored draws as arrays. They are kept as float32: what is stored is what every answer uses."""
    p = 2 + len(parameter["fixed"])
    table = np.frombuffer(b64decode(parameter["draws"]), dtype="<f4").astype(np.float64)
    table = table.reshape(-1, PARTS + p + p * (p + 1) // 2)
    covs = np.zeros((len(table), p, p))
    rows, cols = np.tril_indices(p)
    parts, gammas, lower = map(np.ascontiguousarray, np.split(table, [PARTS, PARTS + p], axis=1))
    covs[:, rows, cols] = covs[:, cols, rows] = lower
    return Posterior(parts, gammas, covs, float(len(table)))


def share_of_holders(
    cells: Mapping[CellKey, pl.DataFrame], fits: Mapping[CellKey, Parameter]
) -> dict[CellKey, Parameter]:
    """The fits with `holders`, the share of students who hold, in each.

    By expectation and maximisation from 0.7; a cell's share is drawn toward its season's by twenty students,
    and that toward 0.8 by five cells.
    """
    odds = {key: _odds(cells[key], fit) for key, fit in fits.items()}
    share = dict.fromkeys(fits, USUAL_HOLDERS)
    for _ in range(ROUNDS):
        for season in {key[0] for key in fits}:
            own = [key for key in fits if key[0] == season]
            usual = (sum(share[key] for key in own) + 4) / (len(own) + 5)
            for key in own:
                holds = special.expit(odds[key] + special.logit(share[key])).mean(axis=0)
                share[key] = float((holds.sum() + 20 * usual) / (holds.size + 20))
    return {key: {**fit, "holders": six_digits(share[key])} for key, fit in fits.items()}


def _odds(cell_rows: pl.DataFrame, fit: Parameter) -> FLOATS:
    cell = arrange_as_fitted(cell_rows, fit).cell
    return holding_odds(cell, draws_of(fit), cell.offsets[1:] - 1)


def stored_fits(writer: Writer, rows: pl.DataFrame) -> dict[CellKey, Parameter]:
    """The last build's fit of every cell that `rows` (from `baseline`) hold and it could fit."""
    fitted = writer.sql(f"SELECT {', '.join(KEY)} FROM season.reliability")
    keys: list[CellKey] = sorted({*rows.select(KEY).unique().iter_rows()} & {*fitted.iter_rows()})
    names = {key: parameter_name(key) for key in keys}
    stored = load_parameters(writer, list(names.values()))
    return {key: stored[name] for key, name in names.items() if name in stored}


def parameter_name(key: CellKey) -> str:
    """The name that a cell's fit is kept under; one of a model with other parts is not found by it."""
    return "/".join(("trend", str(PARTS), *key))


def of_fits(fits: Mapping[CellKey, Parameter], **kinds: Any) -> pl.DataFrame:
    """KEY of each fit, and the numbers in it that `kinds` names with their types."""
    rows = [(*key, *(fit[name] for name in kinds)) for key, fit in fits.items()]
    return pl.DataFrame(rows, {**dict.fromkeys(KEY, pl.String), **kinds}, orient="row")


def known_rows(baseline_rows: pl.DataFrame, parameters: Mapping[CellKey, Parameter]) -> pl.DataFrame:
    """Rows whose device and heel source were in their cell's fit; others wait for the next build.

    Rows of cells that were not fitted all stay.
    """
    known = of_fits(parameters, known=pl.List(pl.String))
    rows = baseline_rows.join(known, on=KEY, how="left", maintain_order="left")
    fits = [
        pl.col("known").list.contains(pl.concat_str(pl.lit(kind + " "), column)).fill_null(value=True)
        for kind, column in INDICATED
    ]
    return rows.filter(*fits).drop("known").with_columns(_MONTHS)


def arrange_as_fitted(cell_rows: pl.DataFrame, fit: Parameter) -> Rows:
    """The rows of a cell, or of one student in it, as arrays with the noise and columns of the cell's fit."""
    return arrange(cell_rows, SwingNoise(*fit["swing_noise"]), fit["fixed"])


def arrange(cell_rows: pl.DataFrame, swing: float | SwingNoise, fixed: Sequence[str] | None) -> Rows:
    """The rows of a cell (from `baseline`) as arrays; `swing` is σ²_swing, or how students differ in it.

    `fixed` names the columns after 1 and t; None: every device and heel source but the commonest of each, as
    far as they are independent.
    """
    t = np.ascontiguousarray(cell_rows["t"].to_numpy(), dtype=np.float64)
    plain = np.stack([np.ones(t.size), t], axis=1)
    if fixed is None:
        later = {name: own[name] for own in _indicators(cell_rows) for name in list(own)[1:]}
        names, x = add_independent(plain, later)
    else:
        names, column_of = list(fixed), dict(INDICATED)
        parts = [name.split(" ", 1) for name in names]
        x = np.column_stack(
            [plain, *((cell_rows[column_of[kind]] == value).to_numpy() for kind, value in parts)]
        )
    counts = cell_rows.group_by("student", maintain_order=True).len()
    offsets = np.concatenate([[0], np.cumsum(counts["len"].to_numpy())]).astype(np.int64)
    y = np.ascontiguousarray(cell_rows["mean"].to_numpy(), dtype=np.float64)
    noise = np.zeros(0)
    variance: float | FLOATS
    if isinstance(swing, SwingNoise):
        own = swing.variances(cell_rows)
        noise = (
            np.log(np.maximum(own, 1e-300)) / 2 - swing.centre if swing.variance > 0 else np.zeros(own.size)
        )
        variance = np.repeat(own, counts["len"].to_numpy())
    else:
        variance = swing
    error = variance / cell_rows["n"].to_numpy().astype(np.float64)
    cell = Cell(offsets, t, y, error, np.ascontiguousarray(x, dtype=np.float64), noise)
    return Rows(cell, counts["student"].to_list(), names)


def _indicators(cell_rows: pl.DataFrame) -> list[dict[str, FLOATS]]:
    """For each kind a 0/1 column for every value of it, the commonest first."""
    return [
        {
            f"{kind} {value}": (cell_rows[column] == value).cast(pl.Float64).to_numpy()
            for value, _ in sorted(cell_rows[column].value_counts().iter_rows(), key=lambda n: (-n[1], n[0]))
        }
        for kind, column in INDICATED
    ]


def add_independent(x: FLOATS, columns: Mapping[str, FLOATS]) -> tuple[list[str], FLOATS]:
    """Add each named column (N,) to x (N, p) that is independent of those before; names added, and x."""
    names, base, kept = [], np.linalg.qr(x)[0], [x]
    for name, column in columns.items():
        left = column - base @ (base.T @ column)
        left -= base @ (base.T @ left)  # again: rounding leaves a little of the others the first time
        size = float(left @ left)
        if size > 1e-8 * column.size:
            names.append(name)
            kept.append(column[:, None])
            base = np.column_stack([base, left / np.sqrt(size)])
    return names, np.hstack(kept)
