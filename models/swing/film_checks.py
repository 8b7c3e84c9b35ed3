"""Every film's place on its plate's clock, held against what else is known of it.

Against when its heels move after an impact (clip_feet.py), when the weight moves on its plate
(weight_moves.py), and what the session's other films show.
"""

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtr

from models.swing.clip import Clip
from models.swing.clip_feet import (
    LEAD_DOWN,
    LEAD_UP,
    MOST_SES,
    SLOWEST_FPS,
    TRAIL_UP,
    USUAL,
    Moves,
    impact_by_feet,
    usual_of,
)
from models.swing.clip_marks import Mark, Offset
from models.swing.clip_metrics import SEEN_SE_S
from models.swing.film_offsets import (
    FEET_DISAGREE,
    FILMS_SHIFTED,
    HEEL_BEFORE_LOAD,
    HEELS_LOW,
    KEPT,
    MARKS_DISAGREE,
    PACE_UNKNOWN,
    QUESTIONS,
    STRIKES_UNCLEAR,
    TAKEN_APART,
    UNLIKE_OTHERS,
    UNSYNCED,
    Placed,
)
from models.swing.weight_moves import NO_MOVES, WeightMoves

FLOATS = NDArray[np.float64]
LIGHT_SE_S = 0.02  # of when the lead foot gives up half of its load; common practice, no source
FEWEST_OTHERS = 3
FEWEST_IN_TURN = 6  # films whose next swing was filmed too
TURNED = 0.5  # of the sum of squares with their own swings
FAR_S = 0.09  # what is farther off counts as so far
UNLIKE = 0.03  # of the films that are like the others, how many are said to be unlike them


@dataclass(frozen=True)
class SeenFilm:
    """One film, besides its marks: its impact on the plate, its heels' moves and heights, and clicks heard.

    A trail heel that the plate finds late is as early in `moves` as it finds it late. Heights have their
    errors. marked: the events that both clocks hold; captured: whether the file says at what rate
    it was filmed.
    """

    moves: Moves = field(default_factory=dict)
    heights_mm: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    impact: Mark | None = None
    weight: WeightMoves = NO_MOVES
    heard: Sequence[Offset] = ()
    marked: Collection[str] = ()
    captured: bool = False

    def against_weight(self, offset: Offset) -> dict[str, tuple[float, float]]:
        """How long after the weight each heel moves, s, and each height's logarithm; with their errors."""
        after = {
            LEAD_UP: self.weight.lead_light_s, LEAD_DOWN: self.weight.lead_heavy_s,
            TRAIL_UP: self.impact.t_s if self.impact else math.nan,
        }  # fmt: skip
        found = {
            name: (moved.t_s + offset.offset_s - after[name], math.hypot(moved.error_s, offset.se_s))
            for name, moved in self.moves.items()
            if math.isfinite(after[name]) and moved.error_s <= SEEN_SE_S
        }
        return found | {foot: (math.log(mm), error / mm) for foot, (mm, error) in self.heights_mm.items()}

    def heel_before_load(self, offset: Offset) -> bool | None:
        """Whether the lead heel is up before its foot has given up half of its load; None where unknown."""
        up = self.moves.get(LEAD_UP)
        if up is None or math.isnan(self.weight.lead_light_s):
            return None
        error_s = math.hypot(up.error_s, offset.se_s, LIGHT_SE_S)
        return up.t_s + offset.offset_s < self.weight.lead_light_s - MOST_SES * error_s


def check(films: Mapping[int, SeenFilm], by_eye: Collection[int], clip: Clip, placed: Placed) -> None:
    """Flag every film that something speaks against, in place; a click or a stamp is then no mark any more.

    What somebody marked on both clocks (`by_eye`) stays and is flagged.
    """
    _by_heels(films, by_eye, placed)
    _by_turns(films, by_eye, placed)
    _by_weight(films, clip, placed)
    _by_others(films, placed)


def _by_heels(films: Mapping[int, SeenFilm], by_eye: Collection[int], placed: Placed) -> None:
    """By when the heels move, as is usual of the session's own feet.

    Of several clicks the only one that the heels speak for counts where other films of the session say
    when its feet move; feet in general leave too wide a stretch.
    """
    known = {
        no: (film.moves, film.impact.t_s - placed.offsets[no].offset_s)
        for no, film in films.items()
        if no in placed.offsets and film.impact is not None
    }
    for no, film in films.items():
        if no in placed.offsets and placed.offsets[no].source in KEPT:
            continue
        usual = usual_of([one for other, one in known.items() if other != no])
        said, impact = impact_by_feet(film.moves, usual), film.impact
        offset = placed.offsets.get(no)
        if offset is None and not placed.has(no, MARKS_DISAGREE, TAKEN_APART):
            fitting = [one for one in film.heard if said is None or said.fits(impact, one)]
            if len(fitting) == 1 and said is not None and usual != USUAL:
                placed.offsets[no] = fitting[0]
            elif film.heard:
                placed.flag(no, STRIKES_UNCLEAR)
                placed.candidates[no] = [one.offset_s for one in fitting or film.heard]
        elif offset is not None and said is not None and impact and not said.fits(impact, offset):
            placed.flag(no, FEET_DISAGREE)
            placed.candidates[no] = [offset.offset_s, impact.t_s - said.mark.t_s]
            if no not in by_eye:
                del placed.offsets[no]
        if no in placed.offsets:
            if not film.moves and placed.offsets[no].source == "heard":
                placed.flag(no, HEELS_LOW)
        elif not placed.has(no, *QUESTIONS):
            placed.flag(no, UNSYNCED)
            if said is not None and impact is not None and said.possible:
                rough = Offset(impact.t_s - said.mark.t_s, said.mark.error_s, "feet")
                placed.rough[no], placed.candidates[no] = rough, [rough.offset_s]


def _by_turns(films: Mapping[int, SeenFilm], by_eye: Collection[int], placed: Placed) -> None:
    """By the swings before and after: films that fit those far better were all given to the wrong swings.

    Films fit as well as each lead heel goes up and down with its swing's weight, give or take what is the
    same for all. That needs no law of the foot, only swings that differ.
    """
    seen = {}
    for no, film in films.items():
        if no in placed.offsets and film.impact is not None:
            late_s = placed.offsets[no].offset_s - film.impact.t_s
            heel = [film.moves[name].t_s if name in film.moves else math.nan for name in (LEAD_UP, LEAD_DOWN)]
            weight = [film.weight.lead_light_s, film.weight.lead_heavy_s]
            seen[no] = np.array(heel) + late_s, np.array(weight) - film.impact.t_s
    for turn in (-1, 1):
        in_turn = [no for no in seen if no + turn in seen]
        if len(in_turn) < FEWEST_IN_TURN:
            continue
        apart = [np.stack([seen[no][0] - seen[no + by][1] for no in in_turn]) for by in (0, turn)]
        known = np.isfinite(apart[0] + apart[1])
        own, turned = (_misfit(one, known) for one in apart)
        if turned < TURNED * own:
            for no in seen:
                placed.flag(no, FILMS_SHIFTED)
                placed.candidates[no] = [placed.offsets[no].offset_s]
                if no not in by_eye:
                    del placed.offsets[no]
            return


def _misfit(apart: FLOATS, known: NDArray[np.bool_]) -> float:
    """The sum of squared distances from each column's median, of its known values where there are enough."""
    total = 0.0
    for line, there in zip(apart.T, known.T, strict=True):
        if there.sum() >= FEWEST_IN_TURN:
            off = np.abs(line[there] - np.median(line[there]))
            total += float(np.sum(np.minimum(off, FAR_S) ** 2))
    return total


def _by_weight(films: Mapping[int, SeenFilm], clip: Clip, placed: Placed) -> None:
    """By the lead foot's load: a film that plays too slowly shows the heel up before half of that has gone.

    Two moments on both clocks, or the file itself, say how fast a film plays. Where nothing does in any
    film of the session, and it may be slow motion by its rate, only its moment of impact is known.
    """
    two = clip.stamped or clip.runs_through
    open_ = {no: film for no, film in films.items() if no in placed.offsets and len(film.marked) <= 1}
    early = {no: film.heel_before_load(placed.offsets[no]) for no, film in open_.items()}
    known = two or clip.fps > SLOWEST_FPS or len(open_) < len(films.keys() & placed.offsets.keys())
    for no in open_:
        if early[no]:
            placed.flag(no, HEEL_BEFORE_LOAD)
        elif not known and False not in early.values() and not films[no].captured:
            placed.flag(no, PACE_UNKNOWN)


def _by_others(films: Mapping[int, SeenFilm], placed: Placed) -> None:
    """By the session's other films: Student's t of each move against the weight, and of each height.

    By Bonferroni's rule for as many as there are. The swing of somebody else, or an unusual one, so it is
    flagged and stays.
    """
    known = {
        no: film.against_weight(placed.offsets[no]) for no, film in films.items() if no in placed.offsets
    }
    for no, own in known.items():
        chances = []
        for name, (value, error) in own.items():
            others = np.array([one[name][0] for other, one in known.items() if other != no and name in one])
            if others.size >= FEWEST_OTHERS:
                spread = math.hypot(float(others.std(ddof=1)), error) * math.sqrt(1.0 + 1.0 / others.size)
                chances.append(2.0 * float(stdtr(others.size - 1, -abs(value - others.mean()) / spread)))
        if chances and min(chances) * len(chances) < UNLIKE:
            placed.flag(no, UNLIKE_OTHERS)
