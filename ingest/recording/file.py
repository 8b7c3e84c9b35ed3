"""A sample file that runs on, cut into the swings that are found in it."""

from collections.abc import Iterable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from ingest.plate_rows import Array, SampleFile, Source
from ingest.recording.swings import FoundSwing, cut
from ingest.refusals import refuse
from ingest.session_file import HoldEntry
from warehouse.vocabulary import PRACTICE_SWING, SWING, UNCERTAIN_SWING

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
    for rows in _runs(time):
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


def _runs(time: Array) -> list[NDArray[np.int64]]:
    """Rows of each recording in the file: a clock that runs back begins another."""
    breaks = np.flatnonzero(np.diff(time) < -RESTART_S) + 1
    return np.split(np.arange(time.size), breaks)


def _nothing(samples: SampleFile, session: str | None) -> Exception:
    time = samples.columns["t_s"]
    minutes = float(np.nanmax(time) - np.nanmin(time)) / 60.0
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
    flags = {
        no: {**raised, **({found[no].kind: 1} if no in found and found[no].kind != SWING else {})}
        for no, _ in parts
    }
    return replace(
        samples,
        columns={"swing_no": number, **columns},
        lines=samples.lines[rows],
        sources={**samples.sources, "swing_no": Source("swing_no", "swing_no")},
        broken=broken,
        flags={no: raised for no, raised in flags.items() if raised},
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
