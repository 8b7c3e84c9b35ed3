"""Films for the tests: heel rises of a plain swing, drawn as the demo draws them, and what is true of them."""

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from demo_academy.clips import ClipShot
from demo_academy.films import Look, mark_places, picture_times, write_film

STANCE_MM = 440.0
SHOE_MM = 300.0
TAPES = [(30, 110, 250), (200, 60, 240), (40, 230, 240), (230, 140, 20), (120, 20, 230)]  # blue, green, red


@dataclass(frozen=True)
class Made:
    """A film and its truth: heel rises (2, G) mm of lead and trail on a fine clock."""

    path: Path
    shot: ClipShot
    look: Look
    grid_s: np.ndarray
    rises: np.ndarray
    times_s: np.ndarray

    @property
    def places(self) -> np.ndarray:
        """(F, 4, 2) px where the marks truly are in each picture, but for the camera's shake."""
        at = np.stack([np.interp(self.times_s, self.grid_s, rise) for rise in self.rises])
        return mark_places(at, self.shot, STANCE_MM, self.look.width)


def heel_courses(seconds: float, seed: int = 0) -> tuple[np.ndarray, np.ndarray]:
    """A lead heel that comes up going back and a trail heel that stays up at the end (mm), each ms."""
    rng = np.random.default_rng(seed)
    grid_s = np.arange(round(seconds * 1000) + 200) / 1000
    top, impact = seconds * rng.uniform(0.52, 0.56), seconds * rng.uniform(0.66, 0.7)
    lead = rng.uniform(8, 60) * np.exp(-(((grid_s - top) / 0.2) ** 2))
    trail = rng.uniform(60, 110) / (1 + np.exp(-(grid_s - impact) / 0.05))
    return grid_s, np.stack([lead - lead[0], trail - trail[0]])


def film(
    path: Path,
    *,
    fps: float = 60.0,
    seconds: float = 1.6,
    view: str = "down_line",
    handed: str = "right",
    width: int = 480,
    courses: tuple[np.ndarray, np.ndarray] | None = None,
    seed: int = 0,
    **look: object,
) -> Made:
    """Write a film and return it with its truth."""
    how = Look(width=width, height=width * 9 // 32 * 2, seed=seed, **look)
    shot = ClipShot(fps, SHOE_MM, view, 0.95, handed == "right")
    grid_s, rises = heel_courses(seconds, seed) if courses is None else courses
    times_s = picture_times(seconds, fps, how)
    write_film(path, times_s, rises, grid_s, shot, STANCE_MM, how)
    return Made(path, shot, how, grid_s, rises, times_s)
