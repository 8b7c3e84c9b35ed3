"""A continuous recording cut into swings: where each one is, what it is, and how sure that is.

A practice swing is slower or weaker than the last swing before each long wait, and another swing follows it
at once. Limits: common practice, no source.
"""

from collections.abc import Iterable, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from ingest.plate_rows import Array, FoundSwing, SampleFile, Source
from ingest.recording.moves import HZ, STAND_S, Line, Move, same_load, standing_loads, steepest, swing_like
from ingest.refusals import refuse
from ingest.session_file import HoldEntry
from warehouse.vocabulary import PRACTICE_SWING, SWING, UNCERTAIN_SWING

BEFORE_S, AFTER_S = 2.5, 1.5  # kept around a swing
FULL_SURGE = 0.10  # of the standing load: with less it is a practice swing at most
NEXT_BALL_S = 8.0  # from strike to strike: nobody tees up and sets up in less
WAIT_S = 15.0  # from strike to strike: after longer, the swing before was the last of its ball
USUAL = np.array([0.15, 0.08, 0.12])  # least spread of a player's quickness, size and force, as logarithms
WEAKER, SPREAD = 6.0, 3.0  # practice swings beside those with a ball, in their spreads
AGAINST = 1.0  # log odds: shape and order that differ by more than this each way leave a swing uncertain
SURE = 0.8
RESTART_S = 1.0  # a clock that runs back by more begins another recording


def cut_up(samples: SampleFile, holds: Iterable[HoldEntry] = (), *, session: str | None = None) -> SampleFile:
    """The samples around each swing found, numbered in order, and of each hold that gives its seconds.

    Raises
        Refused: no swing was found, and no hold is in it.
    """
    time = samples.columns["t_s"]
    force = "shares_only" not in {flag for flags in samples.flags.values() for flag in flags}
    parts: list[tuple[int, NDArray[np.int64]]] = []
    found: dict[int, FoundSwing] = {}
    breaks = np.flatnonzero(np.diff(time) < -RESTART_S) + 1
    for rows in np.split(np.arange(time.size), breaks):
        order = rows[np.argsort(time[rows], kind="stable")]
        order = order[np.isfinite(time[order])]
        loads = (samples.columns[f"{foot}_n"][order] for foot in ("lead", "trail"))
        for one in cut(time[order], *loads, force=force):
            no = len(found) + 1
            found[no] = one
            parts.append((no, rows[(time[rows] >= one.from_s) & (time[rows] <= one.to_s)]))
    parts += [
        (hold.no, np.flatnonzero((time >= hold.from_s) & (time <= hold.to_s)))
        for hold in holds
        if hold.from_s is not None and hold.to_s is not None
    ]
    if not parts:
        raise _nothing(samples, session)
    return _renumbered(samples, parts, found)


def _nothing(samples: SampleFile, session: str | None) -> Exception:
    time = samples.columns["t_s"]
    time = time[np.isfinite(time)]
    minutes = float(np.ptp(time)) / 60.0 if time.size else 0.0
    what = f"no swing was found in the recording, which lasts {minutes:.1f} min"
    todo = "check that its columns are both feet's loads, or name each swing's own file, and deliver again"
    return refuse("no_swing_found", what, todo, session=session, file=samples.file)


def _renumbered(
    samples: SampleFile, parts: list[tuple[int, NDArray[np.int64]]], found: dict[int, FoundSwing]
) -> SampleFile:
    rows = np.concatenate([part for _, part in parts])
    number = np.concatenate([np.full(part.size, float(no)) for no, part in parts])
    columns = {name: values[rows] for name, values in samples.columns.items() if name != "swing_no"}
    places: dict[int, int] = {}
    for place, row in enumerate(rows.tolist()):
        places.setdefault(row, place)
    broken = [replace(f, index=places[f.index]) for f in samples.broken if f.index in places]
    raised = next(iter(samples.flags.values()), {})
    kinds = {no: {one.kind: 1} for no, one in found.items() if one.kind != SWING}
    flags = {no: raised | kinds.get(no, {}) for no, _ in parts}
    return replace(
        samples,
        columns={"swing_no": number, **columns},
        lines=samples.lines[rows],
        sources={**samples.sources, "swing_no": Source("swing_no", "swing_no")},
        broken=broken,
        flags={no: own for no, own in flags.items() if own},
        found=found,
    )


def after(samples: SampleFile, last: int) -> SampleFile:
    """The same, its swings found numbered on after those of the files before."""
    if not last:
        return samples
    number = samples.columns["swing_no"]
    number = np.where(np.isin(number, list(samples.found)), number + last, number)
    return replace(
        samples,
        columns={**samples.columns, "swing_no": number},
        flags={no + last if no in samples.found else no: flags for no, flags in samples.flags.items()},
        events={no + last if no in samples.found else no: at for no, at in samples.events.items()},
        found={no + last: one for no, one in samples.found.items()},
    )


def in_words(found: Iterable[FoundSwing]) -> str:
    """How many swings were found, left out and are to be looked at."""
    kinds = [one.kind for one in found]
    n, practice, unclear = (kinds.count(kind) for kind in (SWING, PRACTICE_SWING, UNCERTAIN_SWING))
    parts = [f"{n} swing{'' if n == 1 else 's'} found"]
    parts += [f"{practice} practice swing{'' if practice == 1 else 's'} left out"] if practice else []
    parts += [f"{unclear} to look at"] if unclear else []
    return ", ".join(parts)


def cut(t_s: Array, lead_n: Array, trail_n: Array, *, force: bool = True) -> list[FoundSwing]:
    """Swings of one recording, in order.

    t_s: (n,) ascending, s. lead_n, trail_n: (n,) each foot's load, N, NaN read as none; without `force` they
    are shares of an unknown load. Nothing found gives an empty list.
    """
    if t_s.size < 2 or not t_s[-1] - t_s[0] > STAND_S:
        return []
    line = Line.of(t_s, np.nan_to_num(lead_n), np.nan_to_num(trail_n))
    moves = steepest(line.share)
    visits, loads = standing_loads(line.total, line.on)
    seen = [one for at in moves if (one := swing_like(line, int(at), force=force)) is not None]
    found = _apart(_one_way(seen, visits))
    whose = same_load([loads[visits[one.strike]] for one in found])
    kinds: dict[int, tuple[str, float]] = {}
    for group in set(whose):
        own = [k for k, name in enumerate(whose) if name == group]
        kinds |= zip(own, kinds_of([found[k] for k in own], visits, force=force), strict=True)
    kept = [k for k in range(len(found)) if kinds[k][0]]
    around = [None, *(found[k] for k in kept), None]
    return [
        _row(line, found[k], *kinds[k], around[place], around[place + 2], loads[visits[found[k].strike]])
        for place, k in enumerate(kept)
    ]


def _one_way(found: Sequence[Move], visits: NDArray[np.int64]) -> list[Move]:
    """Those that go the way most of their visit's do: nobody plays with both hands in one visit."""
    ways: dict[int, float] = {}
    for one in found:
        visit = int(visits[one.strike])
        ways[visit] = ways.get(visit, 0.0) + one.toward * one.rise * max(one.surge, 0.05)
    return [one for one in found if one.toward * ways[int(visits[one.strike])] > 0.0]


def _apart(found: Sequence[Move]) -> list[Move]:
    """The strongest of those that overlap, in order of time."""
    kept: list[Move] = []
    for one in sorted(found, key=lambda c: -c.rise * (c.surge + 0.02)):
        if all(one.strike > other.end + 0.5 * HZ or one.end + 0.5 * HZ < other.start for other in kept):
            kept.append(one)
    return sorted(kept, key=lambda c: c.strike)


def _row(
    line: Line, one: Move, kind: str, sure: float, before: Move | None, after: Move | None,
    standing_n: float,
) -> FoundSwing:  # fmt: skip
    """Times on the recording's clock; what is kept ends where the next swing begins or somebody steps off."""
    low = one.start - BEFORE_S * HZ if before is None else max(one.start - BEFORE_S * HZ, before.end)
    high = one.end + AFTER_S * HZ if after is None else min(one.end + AFTER_S * HZ, after.start)
    off = np.flatnonzero(~line.on)
    earlier, later = off[off < one.peak], off[off > one.strike]
    low = max(low, earlier[-1] + 1) if earlier.size else low
    high = min(high, later[0] - 1) if later.size else high
    start, strike, end, kept, until = (
        line.first_s + place / HZ for place in (one.start, one.strike, one.end, max(low, 0.0), high)
    )
    return FoundSwing(kind, sure, start, strike, end, kept, until, standing_n, one.toward)


def kinds_of(found: Sequence[Move], visits: NDArray[np.int64], *, force: bool) -> list[tuple[str, float]]:
    """What each swing of one player is and how sure that is; "" where it is taken for none after all.

    Shape and order are log odds for a ball. The shape's: N(0, 1) of the last swings before each wait, in
    their spreads, against N(WEAKER, SPREAD) of practice swings. The order's: 2 where no swing follows for
    15 s, -2 where one does within 8 s.
    """
    strikes = np.array([one.strike for one in found]) / HZ
    stays = np.array([visits[one.strike] for one in found])
    full = np.array([one.surge >= FULL_SURGE or not force for one in found])
    wait = _waits(strikes, stays, full)
    order = np.where(wait < NEXT_BALL_S, -2.0, np.where(wait > WAIT_S, 2.0, 0.0))
    shape = np.array([one.shape[: 3 if force else 2] for one in found])
    last = shape[(order > 0.0) & full] if full.any() else shape
    usual = np.median(last, axis=0)
    spread = np.maximum(1.48 * np.median(np.abs(last - usual), axis=0), USUAL[: shape.shape[1]])
    weaker = ((usual - shape) / spread).sum(axis=1) / np.sqrt(shape.shape[1])
    odds = 0.5 * ((weaker - WEAKER) / SPREAD) ** 2 + np.log(SPREAD) - 0.5 * weaker**2
    odds = np.where(weaker < 0.0, np.maximum(odds, 3.0), odds)
    alike = (odds > AGAINST) & (order < 0.0)
    if alike.sum() >= max(2.0, 0.1 * len(found)):  # this player's practice swings are like those with a ball
        odds = np.minimum(odds, AGAINST)
        order = np.where(order == 0.0, -AGAINST, order)
    both = 1.0 / (1.0 + np.exp(-np.clip(odds + order, -6.0, 6.0)))
    apart = (np.minimum(np.abs(odds), np.abs(order)) >= AGAINST) & (odds * order < 0.0)
    doubtful = apart | np.array([one.broken for one in found])
    kind = np.where(both >= SURE, SWING, np.where(both <= 1.0 - SURE, PRACTICE_SWING, UNCERTAIN_SWING))
    kind[doubtful] = UNCERTAIN_SWING
    sure = np.where(kind == UNCERTAIN_SWING, 0.5, np.maximum(both, 1.0 - both)).round(2)
    kind[~full & ((kind != PRACTICE_SWING) | (order > 0.0))] = ""  # so little is a practice swing at most
    if not force:
        others = _alike(found)
        kind[(others < 2) & (kind == SWING)] = UNCERTAIN_SWING
        kind[(others == 0) | (odds < -AGAINST) & (order > 0.0)] = ""
    return list(zip(kind.tolist(), sure.tolist(), strict=True))


def _waits(strikes: Array, stays: NDArray[np.int64], full: NDArray[np.bool_]) -> Array:
    """Seconds from each swing to the next full one of the same visit; infinite where there is none."""
    wait = np.full(strikes.size, np.inf)
    for visit in np.unique(stays):
        here, later = np.flatnonzero(stays == visit), strikes[(stays == visit) & full]
        after = np.searchsorted(later, strikes[here], side="right")
        known = after < later.size
        wait[here[known]] = later[after[known]] - strikes[here[known]]
    return wait


def _alike(found: Sequence[Move]) -> NDArray[np.int64]:
    """How many of a player's others each one is like: in quickness, size, its way back and how far back."""
    facts = np.array(
        [[*one.shape[:2], np.log((one.strike - one.start) / HZ), one.back_share] for one in found]
    )
    apart = np.abs(facts[:, None] - facts[None]) / [0.2, 0.12, 0.2, 0.06]
    return np.asarray((apart.max(axis=2) < 1.0).sum(axis=1) - 1)
