"""Chains of faults in a student's swings: does the later fault show more often where the earlier one does.

`fault_chain_rows` reads the touched students' swings and returns rows of season.fault_chain for everyone.
On a bad day all faults come together without any bringing on another, and over the first swings of a session
many fade together. So swings are compared only with swings of the same session and clubs that are about six
swings apart at most (a stratum). What a stratum's swings share leaves the comparison untouched.

A sign that only the eye can see is a coach's note. Where notes name swings (there, or looked for and not
there), its links compare swings like any other. Where they do not say enough of single swings, visits are
compared: those in which somebody looked for it, about six visits apart at most; a measured fault counts as
there when it shows in a fifth of a visit's swings. Improving over the season brings no such link about; a bad
day may.
"""

from collections.abc import Iterable, Sequence
from functools import cache
from typing import NamedTuple

import numpy as np
import polars as pl
from numpy.typing import NDArray
from scipy import special

from models.samples import temporary
from models.season.by_eye import looked_for, saw_and_nudged
from models.season.cells import TOUCHED
from models.season.estimation import clustered, q_of_p
from models.season.kernel import FLOATS
from models.sql import query
from warehouse.chains import Chain
from warehouse.observations import sign_codes
from warehouse.store import Writer
from warehouse.tables import columns
from warehouse.vocabulary import GOES_TOGETHER, NOT_CLEAR, SELDOM, TOO_FEW

BLOCK_SWINGS = BLOCK_VISITS = 6
LEAST_VISITS, LEAST_JUDGED = 5, 5  # visits with the earlier and without it, each; swings judged in a visit
LEAST_SESSIONS, LEAST_SWINGS = 3, 10  # swings: with the earlier fault and without it, each
MOST_UNKNOWN_APART = 0.10  # of swings whose later fault was not judged, with the earlier one less without it
SURE_APART = 2.576  # standard errors: once in a hundred by chance
MOST_FALSE = 0.05
STRATUM = ["session", "club_family", "device", "heel_source"]
LINK = ["season", "student", "earlier", "later"]


class Association(NamedTuple):
    """What one student's swings say of one link; numbers are NaN with too few swings to compare."""

    sessions: int
    swings_with: int
    swings_without: int
    share_with: float = np.nan
    share_without: float = np.nan
    difference: float = np.nan  # share_with − share_without
    difference_lo: float = np.nan
    difference_hi: float = np.nan
    p: float = np.nan


def fault_chain_rows(writer: Writer, chains: Sequence[Chain]) -> pl.DataFrame:
    """Rows of season.fault_chain: the touched students' made anew, the others' kept, `q` of all of them."""
    links = sorted({link for chain in chains for link in chain.links})
    temporary(writer, "link_fault", "fault", sorted({fault for link in links for fault in link}))
    by_eye = [link for link in links if not sign_codes().isdisjoint(link)]
    made = associations(writer.sql(query("season.chain_swing")), links)
    visits = visit_associations(visit_rows(writer), by_eye)
    visits = visits.join(made.drop_nulls("difference"), on=LINK, how="anti")
    made = pl.concat([made.join(visits, on=LINK, how="anti"), visits])
    kept = writer.sql(f"SELECT * FROM season.fault_chain WHERE NOT ({TOUCHED})")
    of = pl.DataFrame(links, dict.fromkeys(LINK[2:], pl.String), orient="row")
    kept = kept.select(made.columns).unique(LINK).join(of, on=LINK[2:], how="semi")
    return judged(pl.concat([kept, made]), chains)


def visit_rows(writer: Writer) -> pl.DataFrame:
    """season, student, session, started_at, code, seen: what was there in each visit.

    Of a fault, whether a fifth of the visit's swings had it, of which five were judged; of a sign,
    whether a coach saw it, in visits in which one looked for it.
    """
    measured = writer.sql(
        "SELECT season, student, session, min(started_at) AS started_at, fault AS code, "
        f"sum(flagged) >= {SELDOM} * sum(usable) AS seen FROM season.session_fault "
        f"WHERE season IS NOT NULL AND {TOUCHED} AND fault IN (SELECT fault FROM link_fault) "
        f"GROUP BY ALL HAVING sum(usable) >= {LEAST_JUDGED}"
    )
    looked = looked_for(*saw_and_nudged(writer))
    visits = writer.sql(
        "SELECT season, student, session, started_at FROM academy.session "
        f"WHERE season IS NOT NULL AND {TOUCHED}"
    )
    signs = (
        looked.filter(pl.col("code").is_in(list(sign_codes())))
        .group_by("visit", "code")
        .agg(pl.col("seen").any())
        .join(visits, left_on="visit", right_on="session")
        .rename({"visit": "session"})
    )
    return pl.concat([measured, signs.select(measured.columns)])


def visit_associations(visits: pl.DataFrame, links: Iterable[tuple[str, str]]) -> pl.DataFrame:
    """As `associations`, of links with a sign; `visits`: rows of `visit_rows`, which are counted."""
    keys = ["season", "student", "session"]
    found = []
    for earlier, later in links:
        both = visits.filter(code=earlier).join(visits.filter(code=later), on=keys, suffix="_later")
        for (season, student), own in both.group_by("season", "student", maintain_order=True):
            known = own.sort("started_at", "session")
            block = np.arange(len(known)) * max(round(len(known) / BLOCK_VISITS), 1) // len(known)
            first, second = known.select(pl.col("seen", "seen_later").cast(pl.Float64)).to_numpy().T
            seen = compared(first, second, block, np.arange(len(known)), least=LEAST_VISITS)
            found.append((season, student, earlier, later, *seen, True, True))
    return _rows(found)


def associations(swings: pl.DataFrame, links: Iterable[tuple[str, str]]) -> pl.DataFrame:
    """One row per season, student and link with a swing on which both faults were judged; no q yet, no label.

    `swings`: rows of the query season.chain_swing. p is null as well where the later fault was judged clearly
    more often in swings of one kind: what is left then may go together by how it was chosen.
    """
    place = (pl.int_range(pl.len()) * (pl.len() / BLOCK_SWINGS).round().clip(1) // pl.len()).over(STRATUM)
    found = []
    for earlier, later in links:
        key = ["season", "student", *STRATUM, "swing_no"]
        both = (
            swings.filter(pl.col("shown").is_not_null(), fault=earlier)
            .join(swings.filter(fault=later), on=key, how="left", suffix="_later")
            .sort(key)
        )
        for (season, student), own in both.group_by("season", "student", maintain_order=True):
            known = own.drop_nulls("shown_later").with_columns(block=place)
            if known.is_empty():
                continue
            stratum = known.select(pl.struct(*STRATUM, "block").rank("dense")).to_series()
            first, second = known.select(pl.col("shown", "shown_later").cast(pl.Float64)).to_numpy().T
            seen = compared(first, second, stratum.to_numpy(), known["session"].rank("dense").to_numpy())
            seen = seen._replace(p=np.nan) if unknown_apart(own) else seen
            by_eye = not sign_codes().isdisjoint((earlier, later))
            found.append((season, student, earlier, later, *seen, by_eye, False))
    return _rows(found)


def _rows(found: Sequence[tuple[object, ...]]) -> pl.DataFrame:
    added = {"chain", "place", "q", "label"}  # by `judged`
    schema = {name: kind for name, kind in columns("season.fault_chain").items() if name not in added}
    return pl.DataFrame(found, schema, orient="row").with_columns(pl.col(pl.Float64).fill_nan(None))


def unknown_apart(swings: pl.DataFrame) -> bool:
    """Whether the later fault could not be judged in clearly more swings of one kind than of the other.

    Clearly: by over ten points, and by more than 2.6 standard errors of the difference of two shares.
    """
    kinds = swings.group_by("shown").agg(unknown=pl.col("shown_later").is_null().mean(), n=pl.len())
    if len(kinds) < 2:
        return False
    share, n = kinds["unknown"].to_numpy(), kinds["n"].to_numpy()
    least = max(MOST_UNKNOWN_APART, SURE_APART * float(np.sqrt(np.sum(share * (1 - share) / n))))
    return bool(abs(share[0] - share[1]) > least)


def compared(
    earlier: FLOATS,
    later: FLOATS,
    stratum: NDArray[np.intp],
    session: NDArray[np.intp],
    *,
    least: int = LEAST_SWINGS,
) -> Association:
    """The later fault in swings with the earlier one against those without it; (N,) each, faults 0 or 1.

    Only strata with both kinds of swings count. The shares are means over those strata, weighted by
    n₁n₀/(n₁ + n₀) as by Mantel & Haenszel; the difference is the least-squares slope about the strata's
    means. Its 90 % interval is by t, its variance clustered by session, and never smaller than that of as
    many independent swings (Agresti & Caffo 2000, Am Stat 54). p: see `p_by_chance`.
    """
    _, at = np.unique(stratum, return_inverse=True)
    n, with_it = np.bincount(at), np.bincount(at, earlier)
    mixed = ((with_it > 0) & (with_it < n))[at]
    earlier, later, session = earlier[mixed], later[mixed], session[mixed]
    _, at = np.unique(at[mixed], return_inverse=True)
    own, owner = np.unique(session, return_inverse=True)
    n1 = int(earlier.sum())
    n0 = earlier.size - n1
    if own.size < LEAST_SESSIONS or min(n1, n0) < least:
        return Association(own.size, n1, n0)
    n, a, m, both = (np.bincount(at, w) for w in (np.ones_like(later), earlier, later, earlier * later))
    weight = a * (n - a) / n
    share1 = float(weight @ (both / a) / weight.sum())
    share0 = float(weight @ ((m - both) / (n - a)) / weight.sum())
    _, cov = clustered((earlier - (a / n)[at])[:, None], later - (m / n)[at], owner)
    near1, near0 = (n1 * share1 + 1) / (n1 + 2), (n0 * share0 + 1) / (n0 + 2)
    floor = near1 * (1 - near1) / (n1 + 2) + near0 * (1 - near0) / (n0 + 2)
    half = float(special.stdtrit(own.size - 1, 0.95) * np.sqrt(max(float(cov[0, 0]), floor)))
    difference = share1 - share0
    return Association(
        own.size, n1, n0, share1, share0, difference,
        max(difference - half, -1.0), min(difference + half, 1.0),
        p_by_chance(n.astype(int), a.astype(int), m.astype(int), int(both.sum())),
    )  # fmt: skip


def p_by_chance(n: NDArray[np.intp], a: NDArray[np.intp], m: NDArray[np.intp], both: int) -> float:
    """P(as many swings with both faults, or more) if within each stratum neither knew of the other; exact.

    Of a stratum's n swings a have the earlier fault and m the later: their overlap is hypergeometric, and the
    strata's sum is the convolution. One-sided. Source: Birch 1964, J R Stat Soc B 26; Mehta, Patel & Gray
    1985, J Am Stat Assoc 80.
    """
    chance, least = np.ones(1), 0
    for key in zip(n.tolist(), a.tolist(), m.tolist(), strict=True):
        low, own = _overlap(*key)
        chance, least = np.convolve(chance, own), least + low
    return float(min(chance[max(both - least, 0) :].sum(), 1.0))


@cache
def _overlap(n: int, a: int, m: int) -> tuple[int, FLOATS]:
    """The least overlap of a and m among n, and the chance of it and of each greater one."""
    low, high = max(0, a + m - n), min(a, m)
    both = np.arange(low, high + 1)
    return low, np.exp(_log_ways(a, both) + _log_ways(n - a, m - both) - _log_ways(n, m))


def _log_ways(n: int, k: NDArray[np.integer] | int) -> FLOATS:
    """The logarithm of the number of ways to choose k of n."""
    return np.asarray(-np.log(n + 1) - special.betaln(n - k + 1, k + 1))


def judged(rows: pl.DataFrame, chains: Sequence[Chain]) -> pl.DataFrame:
    """Rows of season.fault_chain, from one row per LINK with p.

    p goes through Benjamini-Hochberg over every link and student of a season. "goes_together" needs q ≤ 0.05
    and an interval above 0. Without a difference (under three sessions, or ten swings of either kind) the
    label is "too_few".
    """
    label = (
        pl.when(pl.col("difference").is_null()).then(pl.lit(TOO_FEW))
        .when((pl.col("q") <= MOST_FALSE) & (pl.col("difference_lo") > 0)).then(pl.lit(GOES_TOGETHER))
        .otherwise(pl.lit(NOT_CLEAR))
    )  # fmt: skip
    places = [
        (chain.code, place, *link) for chain in chains for place, link in enumerate(chain.links, start=1)
    ]
    names = ("chain", "place", "earlier", "later")
    schema = columns("season.fault_chain")
    of_chain = pl.DataFrame(places, {name: schema[name] for name in names}, orient="row")
    return (
        rows.sort(LINK)
        .with_columns(q=q_of_p().over("season").fill_nan(None))
        .with_columns(label=label)
        .join(of_chain, on=["earlier", "later"])
        .select(schema.keys())
        .sort("season", "student", "chain", "place")
    )
