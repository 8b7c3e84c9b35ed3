"""What a season is asked beside the level: steadier swings, what stays without practice, what carries over.

Four outcomes of a student's metric, each a change with the better way positive:

- consistency: swings scatter less about their session's mean (minus the log of their standard deviation);
- keeping: how the level came through a pause of four weeks or more without visit or logged practice;
- transfer_pace: how far full pace has come to be ahead of, or behind, half or slow pace in one session;
- transfer_club: the same of the other clubs beside those swung most.

The first and the last two are slopes over time, times the time between first and last session, of one value z
a session with known variance v: least squares weighted by 1/v, its variance multiplied by the residuals' own
where that is larger, Student's t with sessions − 2 degrees of freedom. The second is the mean of the changes
over the pauses, weighted by 1/v.

Most of these changes are none, and many are looked at, so how often one is none is learned from the academy:
δ = 0 with probability 1 − π, else δ ~ N(0, S²); with z = δ̂/se the odds of a change are
π/(1−π) · √(se²/(se² + S²)) · exp(z²/2 · S²/(se² + S²)). Source: Efron 2008, Stat Sci 23 (two groups).
What is said of them comes out of the season's error budget (ledger.py).
"""

from datetime import date, timedelta

import numpy as np
import polars as pl
from scipy import special

from models.parameters import load_parameters, save_parameters, six_digits
from models.season.cells import (
    DAYS_A_MONTH,
    KEY,
    TOUCHED,
    CellKey,
    Parameter,
    baseline,
    known_rows,
    most_used,
    of_fits,
    once_a_session,
    stored_fits,
)
from models.season.estimation import mixture_share
from models.season.judgement import LARGE, SURE_HOLDING
from models.season.kernel import FLOATS
from models.season.ledger import KEY as LEDGER_KEY
from models.season.ledger import LEAST_SURE, claims, listed
from warehouse.store import Writer
from warehouse.tables import columns
from warehouse.vocabulary import HOLDING, IMPROVING, NOT_CLEAR, SLIPPING, Outcome

PAUSE = timedelta(days=28)
LEAST_SESSIONS, LEAST_SWINGS = 4, 3
USUALLY, PRIOR_WORTH = 0.1, 20  # share of outcomes that change, and what that share is worth in students
# What is no large change, and the S of a usual one; of the last three in smallest worthwhile changes.
SIZE = {**dict.fromkeys(Outcome, LARGE), Outcome.CONSISTENCY: float(np.log(2))}
KNOWN = 1e9  # degrees of freedom where the variance is known
OF = ["season", "student", "metric", "club_family", "outcome"]


def outcome_rows(writer: Writer, *, refit: bool) -> pl.DataFrame:
    """Rows of season.outcome_chance of the touched students; a build learns how often there is a change."""
    every = writer.sql(
        f"SELECT * FROM season.session_metric WHERE {TOUCHED} AND season IS NOT NULL AND part = 'baseline' "
        "AND metric IN (SELECT metric FROM academy.metric WHERE better IN ('up', 'down') AND core)"
    )
    full = baseline(every)
    fits = stored_fits(writer, full)
    practised = writer.sql(f"SELECT DISTINCT student, day FROM academy.drill_dose WHERE {TOUCHED}")
    falling = writer.sql("SELECT metric FROM academy.metric WHERE better = 'down'")["metric"].to_list()
    found = estimated(contrasts(every, known_rows(full, fits), practised, fits, falling))
    names = {outcome: f"outcome/{outcome}" for outcome in Outcome}
    if refit:
        save_parameters(writer, {names[outcome]: share_changed(found, outcome) for outcome in names})
    kept = load_parameters(writer, list(names.values()))
    return chances(found, {outcome: kept.get(name, USUALLY) for outcome, name in names.items()})


def contrasts(
    every: pl.DataFrame, full: pl.DataFrame, practised: pl.DataFrame, fits: dict[CellKey, Parameter],
    falling: list[str],
) -> pl.DataFrame:  # fmt: skip
    """The values z of all outcomes with their variances v, in order of days.

    `every`: baseline rows of season.session_metric at any pace; `full`: those at full pace, from
    `cells.baseline`; `practised`: days on which a student was set or logged a drill; `falling`: metrics whose
    better way is down. Cells without a fit have consistency alone.
    """
    known = of_fits(fits, worthwhile=pl.Float64, sd_session=pl.Float64, sd_swing=pl.Float64)
    once = once_a_session(every, ["pace"])
    whole, slower = once.filter(pace="full"), once.filter(pl.col("pace") != "full")
    own = whole.join(known, on=KEY)
    usual_club = most_used(own, ["season", "student", "metric"], ["club_family"])
    session = ["season", "metric", "session"]
    by_pace = own.join(slower, on=[*session, "club_family"], suffix="_other")
    by_club = usual_club.join(whole, on=session, suffix="_other")
    by_club = by_club.filter(pl.col("club_family") != pl.col("club_family_other"))
    parts = [
        _consistency(full),
        _keeping(full.join(known, on=KEY), practised),
        _apart(by_pace, Outcome.TRANSFER_PACE, 1),
        _apart(by_club, Outcome.TRANSFER_CLUB, -1),
    ]
    found = pl.concat([part.select(*OF, "day", "z", "v") for part in parts])
    down = pl.col("metric").is_in(falling) & (pl.col("outcome") != Outcome.CONSISTENCY)
    return (
        found.with_columns(z=pl.when(down).then(-pl.col("z")).otherwise("z"))
        .filter(pl.col("v") > 0)
        .sort(*OF, "day", "z", "v")  # the same to the last bit, however the rows were kept
    )


def _apart(pairs: pl.DataFrame, outcome: Outcome, sign: int) -> pl.DataFrame:
    """How far a session's value is over the other one beside it (sign 1) or under it (−1)."""
    swings = 1 / pl.col("n") + 1 / pl.col("n_other")
    return pairs.with_columns(
        outcome=pl.lit(outcome), z=sign * (pl.col("mean") - pl.col("mean_other")) / pl.col("worthwhile"),
        v=(pl.col("sd_swing") / pl.col("worthwhile")) ** 2 * swings,
    )  # fmt: skip


def _consistency(full: pl.DataFrame) -> pl.DataFrame:
    """−log sd of each session's swings, less what few swings make it too small by, and its variance.

    ln s² − ψ(d/2) + ln(d/2) has mean ln σ² and variance ψ′(d/2) for d degrees of freedom of normal swings.
    """
    # Devices differ in noise, so only sessions on the one most used are compared.
    rows = most_used(full, OF[:4], ["device", "heel_source"])
    rows = rows.filter(pl.col("n") >= LEAST_SWINGS, pl.col("sd") > 0)
    half = (rows["n"].to_numpy() - 1) / 2
    z = -(np.log(rows["sd"].to_numpy()) - (special.digamma(half) - np.log(half)) / 2)
    return rows.with_columns(
        outcome=pl.lit(Outcome.CONSISTENCY), z=pl.Series(z), v=pl.Series(special.polygamma(1, half) / 4)
    )


def _keeping(full: pl.DataFrame, practised: pl.DataFrame) -> pl.DataFrame:
    """The change over each pause: from the last session before to the first one after it."""
    series = ["season", "student", "metric", "club_family", "device", "heel_source"]
    rows = full.sort(*series, "started_at").with_columns(
        pl.col("day", "mean", "n").shift().over(series).name.suffix("_before")
    )
    paused = rows.filter(pl.col("day") - pl.col("day_before") >= PAUSE).with_row_index("pause")
    # What was set at the session before a pause is no practice in it; what is logged or swung later is.
    busy = pl.concat([practised.select("student", "day"), full.select("student", "day")]).unique()
    within = paused.select("pause", "student", "day", "day_before").join(busy, on="student", suffix="_busy")
    broken = within.filter(pl.col("day_busy") > pl.col("day_before"), pl.col("day_busy") < pl.col("day"))
    swings = pl.col("sd_swing") ** 2 * (1 / pl.col("n") + 1 / pl.col("n_before"))
    return paused.join(broken, on="pause", how="anti", maintain_order="left").with_columns(
        outcome=pl.lit(Outcome.KEEPING),
        z=(pl.col("mean") - pl.col("mean_before")) / pl.col("worthwhile"),
        v=(2 * pl.col("sd_session") ** 2 + swings) / pl.col("worthwhile") ** 2,
    )  # fmt: skip


def estimated(found: pl.DataFrame) -> pl.DataFrame:
    """Every outcome's change as known by each day, with `se` and the half-width of its 90 % interval.

    No row before the fourth session of a slope, or before the first pause. `se` is that of a normal whose
    one-sided chance is that of Student's t.
    """
    changed, error, half = (np.full(found.height, np.nan) for _ in range(3))
    n = np.zeros(found.height, dtype=np.int32)
    days = (found["day"] - date.min).dt.total_days().to_numpy().astype(np.float64)
    z, w = found["z"].to_numpy(), 1 / found["v"].to_numpy()
    lengths = found.select(pl.struct(OF).rle().alias("run")).unnest("run")
    last = 0
    for run, outcome in zip(lengths["len"], lengths["value"].struct.field("outcome"), strict=True):
        own = slice(last, last := last + run)
        t = (days[own] - days[own][0]) / DAYS_A_MONTH
        change, se, freedom = (_pauses if outcome == Outcome.KEEPING else _slopes)(t, z[own], w[own])
        changed[own], error[own] = change, _as_normal(change, se, freedom)
        half[own], n[own] = se * special.stdtrit(freedom, 0.95), np.arange(1, run + 1)
    return (
        found.select(*OF, "day", n=n, change=changed, se=error, half=half)
        .filter(pl.col("change").is_finite())
        .unique([*OF, "day"], keep="last", maintain_order=True)
    )


def _as_normal(change: FLOATS, se: FLOATS, freedom: FLOATS) -> FLOATS:
    """(n,) the standard error of a normal whose one-sided chance is that of Student's t."""
    tail = np.maximum(special.stdtr(freedom, -np.abs(change) / se), 1e-15)
    return np.asarray(np.where(change == 0, se, np.abs(change) / np.maximum(-special.ndtri(tail), 1e-9)))


def _slopes(t: FLOATS, z: FLOATS, w: FLOATS) -> tuple[FLOATS, FLOATS, FLOATS]:
    """(n,) slope of the first 1, 2, … values times their time, its standard error, degrees of freedom."""
    w0, wt, wz, wtt, wtz, wzz = (np.cumsum(w * one) for one in (np.ones_like(t), t, z, t * t, t * z, z * z))
    n = np.arange(1.0, t.size + 1)
    spread = wtt - wt**2 / w0
    with np.errstate(divide="ignore", invalid="ignore"):
        slope = (wtz - wt * wz / w0) / spread
        left = np.maximum(wzz - wz**2 / w0 - slope**2 * spread, 0.0)
        se = t * np.sqrt(np.maximum(1.0, left / (n - 2)) / spread)
    enough = (n >= LEAST_SESSIONS) & (spread > 1e-9 * w0)
    return np.where(enough, slope * t, np.nan), np.where(enough, se, np.nan), np.maximum(n - 2, 1.0)


def _pauses(_t: FLOATS, z: FLOATS, w: FLOATS) -> tuple[FLOATS, FLOATS, FLOATS]:
    """(n,) mean of the first 1, 2, … values, its standard error, degrees of freedom: variances are known."""
    total = np.cumsum(w)
    return np.cumsum(w * z) / total, 1 / np.sqrt(total), np.full(z.size, KNOWN)


def share_changed(found: pl.DataFrame, outcome: str) -> float:
    """Share of an outcome's changes that are any: expectation and maximisation on the last day of each."""
    last = found.filter(pl.col("outcome") == outcome, pl.col("day") == pl.col("day").max().over(OF))
    return six_digits(mixture_share(_log_odds(last), USUALLY, PRIOR_WORTH))


def _log_odds(found: pl.DataFrame) -> FLOATS:
    """(N,) log of how much likelier each change is if there is any."""
    se, shrink = found["se"].to_numpy(), _shrink(found)
    return np.asarray((np.log1p(-shrink) + (found["change"].to_numpy() / se) ** 2 * shrink) / 2)


def _shrink(found: pl.DataFrame) -> FLOATS:
    """(N,) S² / (se² + S²)."""
    size = np.array([SIZE[outcome] for outcome in found["outcome"]], dtype=float) ** 2
    return np.asarray(size / (found["se"].to_numpy() ** 2 + size))


def chances(found: pl.DataFrame, changed: dict[str, float]) -> pl.DataFrame:
    """Rows of season.outcome_chance from `estimated` and each outcome's share of changes."""
    prior = special.logit(np.array([changed[outcome] for outcome in found["outcome"]], dtype=float))
    any_change = special.expit(_log_odds(found) + prior)
    change, se = found["change"].to_numpy(), found["se"].to_numpy()
    better = special.ndtr(change / se * np.sqrt(_shrink(found)))
    large = np.array([SIZE[outcome] for outcome in found["outcome"]], dtype=float)
    small = special.ndtr((large - change) / se) - special.ndtr((-large - change) / se)
    return found.with_columns(
        change_lo=pl.col("change") - pl.col("half"), change_hi=pl.col("change") + pl.col("half"),
        p_better=pl.Series(any_change * better, dtype=pl.Float64),
        p_worse=pl.Series(any_change * (1 - better), dtype=pl.Float64),
        p_small=pl.Series(small, dtype=pl.Float64),
    ).select(columns("season.outcome_chance").keys()).sort(*OF, "day")  # fmt: skip


def student_outcome_rows(writer: Writer) -> pl.DataFrame:
    """Rows of season.student_outcome: each outcome today, and what the season's error budget lets be said."""
    change, fault, chance = (
        writer.sql(f"SELECT * FROM season.{table}")
        for table in ("change_chance", "new_fault_chance", "outcome_chance")
    )
    parts = [pl.DataFrame(schema=columns("season.student_outcome"))]
    for season in chance["season"].unique().sort():
        own = (rows.filter(season=season) for rows in (change, fault, chance))
        parts.append(labelled(chance.filter(season=season), listed(claims(*own))))
    return pl.concat(parts).sort(*OF)


def labelled(chance: pl.DataFrame, entered: pl.DataFrame) -> pl.DataFrame:
    """The newest row of every outcome, labelled by what was `entered` in the ledger and is as sure still."""
    rows = chance.filter(pl.col("day") == pl.col("day").max().over(OF))
    said = (
        pl.when(pl.col("p_better") >= pl.col("p_worse")).then(pl.lit(IMPROVING)).otherwise(pl.lit(SLIPPING))
    )
    rows = rows.with_columns(said=said).with_columns(kind=pl.concat_str("outcome", pl.lit(" "), "said"))
    rows = rows.join(
        entered.select(*LEDGER_KEY, "since"), left_on=["kind", "student", "metric", "club_family"],
        right_on=LEDGER_KEY, how="left",
    )  # fmt: skip
    sure = pl.col("since").is_not_null() & (pl.max_horizontal("p_better", "p_worse") >= LEAST_SURE)
    quiet = pl.when(pl.col("p_small") > SURE_HOLDING).then(pl.lit(HOLDING)).otherwise(pl.lit(NOT_CLEAR))
    return rows.with_columns(
        label=pl.when(sure).then("said").otherwise(quiet), since=pl.when(sure).then("since")
    ).select(columns("season.student_outcome").keys())
