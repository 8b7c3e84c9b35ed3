"""The clip's clock against the plate's: by how much plate time is ahead of clip time.

Heel rise seen on the clip is laid over the centre of pressure along the foot at every lag, both feet
together, and the lag is taken at which the two agree best: least squares left, i.e. the highest normalised
cross-correlation (lags.py), by shapes that all swings of the session share (overlay.py).

Agreement r = √(1 − ΣE / ΣS), over both feet: E the squares left, S the squares of rise about its mean.

A clip of another swing can agree as well, as swings of a kind resemble one another. Three things give it
away. *Strain*: no single lag suits both feet, since the lead heel moves going back and the trail heel coming
down,

    strain = (lag of the lead foot − lag of the trail foot)² / (SE² of both + 4² ms²),

about the square of a normal deviate when clip and plate are of one moment. *Strangers* (pairing.py): the
session's other clips say how far a heel rises for how far its pressure goes, and by that the clip lies
clearly better on another plate, or on none. *Misfits* (misfits.py): by what the others teach, more is left
over on its own plate than the others leave.

On made swings, twelve students of two visits of six swings at 120 frames a second and 0.4, 1 and 2 mm of
noise, 98, 97 and 99 % of clips of their own swing are held. Refused are clips dealt round within a session
in 100 %, two swapped in 100, 98 and 92 %, a clip of a swing whose plate is missing in 98, 92 and 79 %, one
clip of another day among right ones in 100, 100 and 98 %, all from another day in 100 %, one of another
student in 100 %. Three clips or fewer say little of one another: each is held against the session's other
plates only, and what holds is flagged as not checked. Alone, a clip of another swing of the session is
refused in 100, 99 and 99 %, of another day in 92, 81 and 85 %, one of its own swing held in 96, 99 and 88 %.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from models.swing.conditioning import FOOT_OFF, HEEL_HZ
from models.swing.filter import lowpass
from models.swing.lags import FINE, Lags
from models.swing.misfits import FEWEST_TO_COMPARE, misfits
from models.swing.overlay import Filmed, Laid, Overlays, filmed, grounds
from models.swing.pairing import outdone, strangers

FLOATS = NDArray[np.float64]
LEAST_AGREEMENT = 0.6
MOST_STRAIN = 9.0  # three standard errors
LOOSE_S = 0.004
ROUNDS = 3


@dataclass(frozen=True)
class Match:
    """How a clip lies on a plate: plate time = clip time + lag_s."""

    lag_s: float
    se_s: float
    agreement: float  # 0…1
    strain: float  # squared difference of the feet's own lags over its variance
    stranger: bool = False  # it lies clearly better on another plate of its session, or on none

    def holds(self, frame_s: float) -> bool:
        """Whether the two belong together: they agree, the lag is sure, and nothing gives the clip away."""
        return (
            self.agreement >= LEAST_AGREEMENT
            and self.se_s <= frame_s
            and self.strain <= MOST_STRAIN
            and not self.stranger
        )


@dataclass(frozen=True)
class ClipSide:
    """A swing's rise (2, F) mm of lead and trail heel, NaN where not seen; frame k at start_s + k / fps."""

    rise_mm: FLOATS
    fps: float
    start_s: float = 0.0


@dataclass(frozen=True)
class PlateSide:
    """A swing's along (2, N) of `toeward`; sample n at start_s + n / rate_hz."""

    along_pct: FLOATS
    rate_hz: float
    start_s: float = 0.0


def toeward(load_n: FLOATS, along_pct: FLOATS, rate_hz: float) -> FLOATS | None:
    """(N,) along of one foot without gaps, 15 Hz; None when it is known in under half of the samples.

    It is not known where the foot carries under 5 % of its highest load.
    """
    known = (
        np.isfinite(along_pct) & np.isfinite(load_n) & (load_n > FOOT_OFF * np.nanmax(load_n, initial=0.0))
    )
    if 2 * known.sum() < known.size or known.size < 2:
        return None
    samples = np.arange(known.size)
    return lowpass(np.interp(samples, samples[known], along_pct[known]), HEEL_HZ, rate_hz)


def match_session(clips: Mapping[int, ClipSide], plates: Mapping[int, PlateSide]) -> dict[int, Match | None]:
    """Lay the clips of a session's swings over their plates, each by its swing_no.

    Plates of swings that were not filmed are those a clip may have been taken for.

    Returns:
        For each swing with both a clip and a plate its match; None when neither heel moves, or too little of
        clip and plate could lie on one another.
    """
    numbers = [number for number in clips if number in plates]
    found: dict[int, Match | None] = dict.fromkeys(numbers)
    seen = {number: filmed(clips[number].rise_mm, clips[number].fps) for number in numbers}
    numbers = [number for number in numbers if seen[number].squares > 0.0]
    if not numbers:
        return found
    hz = seen[numbers[0]].lead.hz
    drawn = {number: grounds(plate.along_pct, plate.rate_hz, hz) for number, plate in plates.items()}
    lags = Lags([one.lead.values.size for one in seen.values()], [line.shape[1] for line in drawn.values()])
    films, own = [seen[number] for number in numbers], [drawn[number] for number in numbers]
    lying, strange = _deal(films, own, [list(plates).index(number) for number in numbers], drawn, lags)
    for place, (number, clip, where) in enumerate(zip(numbers, films, lying, strict=True)):
        plate_s = plates[number].start_s - clips[number].start_s
        found[number] = _match(clip, where, plate_s, stranger=place in strange)
    return found


def _deal(
    films: list[Filmed], own: list[FLOATS], at: list[int], drawn: Mapping[int, FLOATS], lags: Lags
) -> tuple[list[Laid], set[int]]:
    """Where each clip lies on its own plate, and which clips are strangers to theirs.

    Done again without the strangers, whose shapes and gains would blur those of the others.
    """
    overlays = Overlays(films, own, lags, LOOSE_S)
    trusted, strange, few = list(range(len(films))), set[int](), None
    for _ in range(ROUNDS):
        lying = overlays.laid(overlays.shapes(trusted))
        found = strangers(films, at, overlays, list(drawn.values()), lags, trusted)
        if len(trusted) < FEWEST_TO_COMPARE:
            few = outdone(films, at, list(drawn.values()), lags) if few is None else few
            found |= few
        elif len(found) < len(films):
            found |= misfits(films, overlays, trusted)
        if found == strange or len(found) == len(films):
            return lying, found
        strange, trusted = found, [k for k in range(len(films)) if k not in found]
    return lying, strange


def _match(clip: Filmed, where: Laid, plate_s: float, *, stranger: bool) -> Match:
    step_s = 1.0 / (clip.lead.hz * FINE)
    return Match(
        plate_s + where.step * step_s - clip.lead.start_s,
        where.se_s,
        math.sqrt(max(1.0 - where.left / clip.squares, 0.0)),
        where.feet_apart,
        stranger,
    )
