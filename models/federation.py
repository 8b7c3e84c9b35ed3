"""Variance parts borrowed from other academies: what each fitted, read from its published warehouse.

Only numbers fitted to a whole academy are read (academy.parameter), never a row about a person; students who
opted out of academy-wide figures are in no fit. The numbers are kept in a file of this home, with lenders
numbered instead of named, and every later build uses it (season/lending.py) until the file is removed.
"""

from collections.abc import Sequence
from contextlib import closing
from io import BytesIO

import numpy as np
import polars as pl

from models.parameters import load_parameters
from models.season.cells import draws_of, parameter_name
from models.season.lending import Loan
from warehouse.errors import CallError, UnderfootError
from warehouse.home import Home, write_synced
from warehouse.store import Writer, open_snapshot

LENT = "lent.parquet"
# Those of mixed.py, in its order.
PARTS = ("sd_start", "sd_slope", "rho", "sd_session", "wander", "kappa", "omega", "lambda", "mu")
# Fits come from the season with the most students; what was itself borrowed is not lent on.
_FITTED = """
    SELECT season, club_family, metric, unit, explain
    FROM season.reliability JOIN academy.metric USING (metric)
    WHERE lenders IS NULL
    QUALIFY row_number() OVER (PARTITION BY club_family, metric ORDER BY n_students DESC, season DESC) = 1
    ORDER BY club_family, metric
"""


def borrow(home: Home, lenders: Sequence[str]) -> None:
    """Read what these academies' homes can lend, and keep it in the home's lent.parquet; no lenders, no file.

    Raises
        CallError: a lender is this home itself, is named twice, holds no academy, or has nothing to lend yet.
    """
    if not lenders:
        return
    homes = [Home.find(path) for path in lenders]
    if home in homes:
        raise CallError(f"{home.path} can't lend to itself; name the homes of other academies.")
    if doubled := [one.path for place, one in enumerate(homes) if one in homes[:place]]:
        raise CallError(f"{doubled[0]} is named twice; name each academy once.")
    lent, file = pl.concat(_lent_by(one, number) for number, one in enumerate(homes, 1)), BytesIO()
    lent.write_parquet(file)
    write_synced(home.path / LENT, file.getvalue())


def _lent_by(lender: Home, number: int) -> pl.DataFrame:
    with closing(open_snapshot(lender)) as snapshot:
        try:
            fitted = snapshot.sql(_FITTED)
        except CallError as error:
            raise CallError(
                f"{lender.path} was built by an older version of Underfoot; build it again: underfoot build "
                f"--home {lender.path}"
            ) from error
        named = [(parameter_name((season, *rest[:2])), *rest) for season, *rest in fitted.iter_rows()]
        fits = load_parameters(snapshot, [name for name, *_ in named])
    if not fits:
        raise CallError(
            f"Nothing is fitted in {lender.path} yet (five students with three sessions over 28 days are "
            "needed); leave it out, or build it first."
        )
    return pl.concat(
        pl.DataFrame(draws_of(fits[name]).parts, schema=PARTS).select(
            pl.lit(number, pl.Int32).alias("lender"), pl.lit(family).alias("club_family"),
            pl.lit(metric).alias("metric"), pl.lit(f"{unit}: {explain}").alias("meaning"), *PARTS,
        )
        for name, family, metric, unit, explain in named if name in fits
    )  # fmt: skip


def loans(home: Home, writer: Writer) -> dict[tuple[str, str], Loan]:
    """Club family and metric → what was lent; metrics that mean something else at the lender are left out.

    Raises
        UnderfootError: what was borrowed is damaged, or of a version with other variance parts.
    """
    file = home.path / LENT
    if not file.exists():
        return {}
    own = writer.sql("SELECT metric, unit || ': ' || explain AS meaning FROM academy.metric")
    try:
        lent = pl.read_parquet(file, columns=["lender", "club_family", "metric", "meaning", *PARTS])
    except pl.exceptions.PolarsError as error:
        raise UnderfootError(
            f"{file} is damaged or of another version of Underfoot; remove it, or borrow again: underfoot "
            f"build --federate HOME --home {home.path}"
        ) from error
    lent = lent.join(own, on=["metric", "meaning"], how="semi")
    return {
        (family, metric): Loan(rows["lender"].n_unique(), np.ascontiguousarray(rows.select(PARTS).to_numpy()))
        for (family, metric), rows in lent.partition_by("club_family", "metric", as_dict=True).items()
    }
