"""A film as data: its pictures, where its four marks were, and what is kept of it."""

import math
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from warehouse.errors import Refusal

BYTES = NDArray[np.uint8]
FLOATS = NDArray[np.float64]
SOUND_M_S = 343.0  # at 20 °C
CLICK_SE_S, SOUND_SE_S = 0.002, 0.003  # of a click, and of a phone's sound against its pictures; as below
USUAL_M, USUAL_SE_M, STATED_SE_M = 2.0, 1.0, 0.3  # from ball to phone; common practice, no source
ADDRESS_PICTURES = 12  # the first ones, in which the player stands at address


@dataclass(frozen=True)
class Picture:
    """One picture: `t_s` from the first one's; y (H, W), cb and cr (⌈H/2⌉, ⌈W/2⌉), 128 is no colour."""

    t_s: float
    y: BYTES
    cb: BYTES
    cr: BYTES


@dataclass(frozen=True)
class Tracks:
    """Where four marks were in each picture.

    times_s (F,) as the film plays; places (F, 4, 2) px as in the picture, NaN lost; scores (F, 4), 0 lost;
    shakes (F, 2) px, how far the floor is off that of the first picture; `size` is width and height;
    shoe_width_px, how wide the shoes are at address, where a film from the front shows it; clicks_s, when its
    sound clicks, as it plays (None without sound); taken_at and captured_fps, when and at how many pictures a
    second it was taken, as its head says (None where it does not).
    """

    times_s: FLOATS
    places: FLOATS
    scores: FLOATS
    shakes: FLOATS
    size: tuple[int, int]
    shoe_width_px: float | None = None
    clicks_s: tuple[float, ...] | None = None
    taken_at: datetime | None = None
    captured_fps: float | None = None

    @property
    def steady(self) -> FLOATS:
        """(F, 4, 2) px, the places without the camera's shake: as in the first picture; NaN lost."""
        return self.places - self.shakes[:, None]


@dataclass(frozen=True)
class Outline:
    """How far one heel came up, roughly, as its shoe's outline says: or why that is not known.

    times_s as the film plays, rises_mm over the heel's height at address; `refused`: one of OUTLINE_REFUSALS,
    and then both are empty.
    """

    foot: str
    times_s: tuple[float, ...] = ()
    rises_mm: tuple[float, ...] = ()
    refused: str | None = None


@dataclass(frozen=True)
class Filmed:
    """One swing's film, read: its place, its tracks, which mark is which, and whether it is kept whole."""

    swing_no: int
    name: str
    path: Path
    tracks: Tracks
    order: tuple[int, ...]
    slower: float
    keep_original: bool
    outlines: tuple[Outline, ...] = ()  # of a film whose heels and toes were tapped

    def strikes(self, away_m: float | None) -> tuple[list[float], float] | tuple[None, None]:
        """When the ball may have been struck, s on the clip's clock, and the standard error of each.

        One for each click that is heard; none without sound. Sound takes 3 ms a metre, so a distance from
        ball to phone that is not stated is most of the error.
        """
        if self.tracks.clicks_s is None:
            return None, None
        metres, error_m = (USUAL_M, USUAL_SE_M) if away_m is None else (away_m, STATED_SE_M)
        late = metres / SOUND_M_S
        return [at / self.slower - late for at in self.tracks.clicks_s], math.hypot(
            CLICK_SE_S, SOUND_SE_S, error_m / SOUND_M_S
        )


@dataclass(frozen=True)
class Unread:
    """A film that is not kept though it could not be read, or was not since its swing was refused already.

    `refusal` is what reading it again from filed/, where it no longer is, has to say again.
    """

    name: str
    refusal: Refusal | None


def pairings(places: FLOATS) -> list[tuple[float, tuple[tuple[int, int], tuple[int, int]]]]:
    """The three ways to make two feet of four places, each with its cost.

    Feet are about as long as each other and side by side: their middles are apart by part of that length.
    """
    found = []
    for pair in (((0, 1), (2, 3)), ((0, 2), (1, 3)), ((0, 3), (1, 2))):
        (a, b), (c, d) = pair
        one, two = float(np.hypot(*(places[a] - places[b]))), float(np.hypot(*(places[c] - places[d])))
        middles = float(np.hypot(*(places[a] + places[b] - places[c] - places[d]))) / 2
        long = max(one, two, 1e-9)
        cost = abs(math.log(max(one, 1e-9) / max(two, 1e-9))) + max(0.0, 0.35 - middles / long)
        found.append((cost, pair))
    return found
