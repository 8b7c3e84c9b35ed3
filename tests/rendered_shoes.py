"""Films of shoes without tape, drawn in three dimensions, and how high each heel truly is.

Written from a description of what golfers wear and stand on, before anything that follows a shoe was written.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import cv2
import numpy as np

from drawn_shoes import BALL, LIGHT, SHOES, STANCE_MM, Array, Shoe, bent, level, mesh, normals, placed

FLOORS = ("plain", "mat with lines", "grass")
VIEWS = {
    "side": 4.0,
    "three-quarter": 35.0,
    "front": 84.0,
}  # degrees: how far round to the toes the camera stands
SPOILT = ("leaves", "cut", "occluded", "second foot", "camouflaged", "camera moved", "dark")


@dataclass(frozen=True)
class Scene:
    """What is filmed and how. `spoilt`: one of SPOILT, in which a number for the near foot is wrong to give."""

    shoe: str = "dark trainer"
    floor: str = "plain"
    view: str = "side"
    fps: float = 60.0
    seconds: float = 2.2
    size: tuple[int, int] = (640, 360)
    peaks_mm: tuple[float, float] = (70.0, 25.0)  # near (trail) foot at the end, far (lead) foot at the top
    at_impact_mm: float = 25.0
    shadow: float = 0.35  # how much a soft moving shadow takes away
    light: float = 0.1  # how far the light wanders
    shake_px: float = 0.7
    noise: float = 3.0
    jpeg: int = 70
    shutter: float = 0.3  # the share of a picture's time that it is open
    tap_px: float = 1.5  # how far the coach's taps are off, SD
    spoilt: str | None = None
    seed: int = 0

    @property
    def drawn(self) -> Shoe:
        """The shoe, in the floor's own colours where it must not be seen."""
        shoe = SHOES[self.shoe]
        if self.spoilt != "camouflaged":
            return shoe
        tone = FLOOR_TONES[self.floor]
        return replace(shoe, sole=tone, upper=tone, toe=None, pattern=False, leg=tone)


FLOOR_TONES = {"plain": (150, 152, 155), "mat with lines": (95, 120, 90), "grass": (60, 125, 85)}


@dataclass
class Rendered:
    """A film and its truth: feet are near (trail), then far (lead); pixels of the first picture."""

    scene: Scene
    times_s: Array
    rises_mm: Array  # (2, F): how far the heel's lowest point at the back has come up
    pitches_deg: Array  # (2, F)
    impact_s: float
    heels_px: Array = field(default_factory=lambda: np.zeros((2, 2)))  # as tapped
    toes_px: Array = field(default_factory=lambda: np.zeros((2, 2)))
    shoe_mm: float = 0.0

    def pictures(self) -> Iterator[Array]:
        """(H, W, 3) BGR, in order."""
        yield from _pictures(self)

    def write(self, path: Path, crf: int = 26) -> None:
        """The film as H.264."""
        with av.open(str(path), "w") as out:
            stream: Any = out.add_stream("libx264", rate=Fraction(self.scene.fps).limit_denominator(1000))
            stream.width, stream.height = self.scene.size
            stream.pix_fmt, stream.options = "yuv420p", {"crf": str(crf), "preset": "veryfast"}
            for picture in self.pictures():
                out.mux(stream.encode(av.VideoFrame.from_ndarray(picture, format="bgr24")))
            out.mux(stream.encode())


def rendered(scene: Scene) -> Rendered:
    """The film of a scene: its truth now, its pictures when they are asked for."""
    rng = np.random.default_rng(scene.seed)
    times = np.arange(round(scene.seconds * scene.fps)) / scene.fps
    top, impact = scene.seconds * rng.uniform(0.48, 0.54), scene.seconds * rng.uniform(0.64, 0.68)
    near, far = scene.peaks_mm
    slope = np.log(
        max(near / max(scene.at_impact_mm, 0.5) - 1, 0.05)
    )  # so that the rise at impact is the one asked
    width = rng.uniform(0.035, 0.06)
    trail = near / (1 + np.exp(-(times - impact - slope * width) / width))
    lead = far * np.exp(-(((times - top) / rng.uniform(0.16, 0.24)) ** 2))
    shoe = scene.drawn
    asked = np.stack([trail - trail[0], lead - lead[0]])
    pitches = np.arcsin(np.clip(asked / (BALL * shoe.length_mm), 0, 0.9))
    heel = np.array([[0.02 * shoe.length_mm, 0.0, level(0.02, shoe.bottom)]])
    rises = np.array([[bent(heel, shoe, a)[0, 2] - heel[0, 2] for a in pitch] for pitch in pitches])
    film = Rendered(scene, times, rises, np.degrees(pitches), float(impact), shoe_mm=shoe.length_mm)
    camera = _Camera(scene)
    ends = np.array([heel[0], [shoe.length_mm, 0.0, level(1.0, shoe.bottom) + 6]])
    for foot in range(2):
        taps = camera.seen(placed(bent(ends, shoe, 0.0), foot, 0.0, shoe))[0] + rng.normal(
            0, scene.tap_px, (2, 2)
        )
        film.heels_px[foot], film.toes_px[foot] = taps
    return film


class _Camera:
    """A pinhole that looks at the feet from where the view says, knee high or lower."""

    def __init__(self, scene: Scene) -> None:
        rng = np.random.default_rng(scene.seed + 1)
        angle, far = np.radians(VIEWS[scene.view] + rng.uniform(-4, 4)), rng.uniform(1900, 2500)
        self.size = scene.size
        middle = np.array([150.0, 0.35 * STANCE_MM, 70.0])
        self.eye = middle + far * np.array([np.sin(angle), -np.cos(angle), rng.uniform(0.14, 0.34)])
        ahead = (middle - self.eye) / np.linalg.norm(middle - self.eye)
        right = np.cross(ahead, [0, 0, 1.0])
        right /= np.linalg.norm(right)
        self.axes = np.stack([right, np.cross(ahead, right), ahead])
        self.focal = scene.size[0] * far / rng.uniform(780, 980)

    def seen(self, points: Array) -> tuple[Array, Array]:
        """(N, 2) px and (N,) mm of depth."""
        x, y, z = self.axes @ (points - self.eye).T
        return np.stack([self.focal * x / z + self.size[0] / 2, self.focal * y / z + self.size[1] / 2], 1), z


def _paint(picture: Array, camera: "_Camera", body: Array, faces: Array, colours: Array) -> None:
    """The faces that look at the camera, the farthest first, lit from above."""
    seen, depth = camera.seen(body)
    corner = body[faces]
    normal = normals(corner)
    lit = np.clip(colours * (0.62 + 0.4 * np.clip(normal @ LIGHT, -0.6, 1))[:, None], 0, 255).tolist()
    fixed = np.round(seen * 8).astype(np.int32)
    facing = ((normal * (camera.eye - corner.mean(1))).sum(1) > 0).nonzero()[0]
    for face in facing[np.argsort(-depth[faces[facing]].mean(1))]:
        cv2.fillConvexPoly(picture, fixed[faces[face]], lit[face], cv2.LINE_8, 3)


def _floor(scene: Scene) -> Array:
    """The floor as the camera sees it, (H, W, 3) float."""
    rng, (width, height) = np.random.default_rng(scene.seed + 2), scene.size
    side, mm = 1000, 2.5  # texture pixels, and their size

    def cloud(size: float, tall: float = 1.0) -> Array:
        """Noise (side, side) smooth over `size` texture pixels, of unit spread."""
        small = max(int(side / size), 2), max(int(side / size / tall), 2)
        return cv2.resize(
            rng.standard_normal(small[::-1], np.float32), (side, side), interpolation=cv2.INTER_CUBIC
        )

    plane = (
        np.array(FLOOR_TONES[scene.floor], np.float32) + 5 * cloud(150)[..., None] + 2 * cloud(1)[..., None]
    )
    if scene.floor == "grass":
        plane *= np.clip(1 + 0.3 * cloud(2.5, 3.0), 0.3, 1.8)[..., None]
        plane[..., 2] += 8 * cloud(20)
    elif scene.floor == "mat with lines":
        plane += 5 * cloud(2)[..., None]
        for line in (-260, 330):
            at = int(side / 2 + line / mm)
            cv2.line(plane, (0, at), (side, at), (215, 215, 215), 12)
            cv2.line(plane, (at, 0), (at, side), (200, 210, 215), 9)
    camera, corners = _Camera(scene), np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * 1250.0
    seen, _ = camera.seen(np.column_stack([corners, np.zeros(4)]))
    flat = (corners / mm + side / 2).astype(np.float32)
    warp = cv2.getPerspectiveTransform(flat, seen.astype(np.float32))
    wall = np.array(FLOOR_TONES[scene.floor]) * 0.55  # past the floor's far edge
    return np.asarray(
        cv2.warpPerspective(plane, warp, (width, height), flags=cv2.INTER_AREA, borderValue=wall.tolist())
    )


def _draw_foot(
    picture: Array, camera: _Camera, shoe: Shoe, body: Any, foot: int, pitch: float, sway: float, back: float
) -> None:
    """A foot and the cloth above it, over its contact shadow."""
    points, faces, colours = body
    shown = placed(bent(points, shoe, pitch), foot, pitch, shoe) + np.array([back, 0, 0])
    cast, _ = camera.seen(shown - LIGHT * (shown[:, 2:] / LIGHT[2]))
    reach = picture.shape[1] // 50
    left, top = np.maximum(cast.min(0).astype(int) - reach, 0)
    right, bottom = np.maximum(cast.max(0).astype(int) + reach, 1)
    dark = np.zeros(picture[top:bottom, left:right].shape[:2], np.float32)
    if dark.size:
        cv2.fillPoly(dark, [cv2.convexHull(cast.astype(np.int32) - [left, top])], 1.0)
        dark = cv2.GaussianBlur(dark, (0, 0), picture.shape[1] / 160)
        picture[top:bottom, left:right] *= 1 - 0.45 * dark[..., None]
    _paint(picture, camera, shown, faces, colours)
    ankle = np.array([[0.2 * shoe.length_mm, 0, shoe.hem_mm], [0.2 * shoe.length_mm + 40, 0, 620.0]])
    ankle[:1] = bent(ankle[:1], shoe, pitch)
    ankle[0] = placed(ankle[:1], foot, pitch, shoe)[0] + [sway, sway * 0.4, 0]
    ankle[1] += [0, foot * STANCE_MM * 0.85, 0]
    ankle[:, 0] += back
    ends, far = camera.seen(ankle)
    half = camera.focal * np.array([shoe.leg_mm, shoe.leg_mm * 1.25]) / far
    for share, tone in ((1.0, 0.75), (0.6, 0.95), (0.3, 1.05)):  # a rounded leg, lighter in its middle
        cloth = np.array(
            [ends[0] - [half[0] * share, 0], ends[0] + [half[0] * share, 0], ends[1] + [half[1] * share, 0]]
        )
        cloth = np.vstack([cloth, ends[1] - [half[1] * share, 0]])
        colour = tuple(float(min(c * tone, 255)) for c in shoe.leg)
        cv2.fillConvexPoly(picture, np.round(cloth * 8).astype(np.int32), colour, cv2.LINE_8, 3)


def _pictures(film: Rendered) -> Iterator[Array]:
    scene, (width, height) = film.scene, film.scene.size
    rng, shoe = np.random.default_rng(scene.seed + 3), scene.drawn
    camera, body, floor = _Camera(scene), mesh(scene.drawn), _floor(scene)
    changed = replace(scene, floor="plain" if scene.floor != "plain" else "grass", seed=scene.seed + 50)
    other = _floor(changed), _Camera(changed)
    count, spoils_at = len(film.times_s), film.impact_s - rng.uniform(0.05, 0.25)
    walk = np.cumsum(rng.normal(0, scene.shake_px * 0.3, (count, 2)), 0) * np.sqrt(30 / scene.fps)
    walk -= np.linspace(0, 1, count)[:, None] * walk[-1] * 0.5
    phase, period = rng.uniform(0, 6.3), rng.uniform(0.7, 1.6)
    grid = np.stack(np.meshgrid(np.arange(width // 8), np.arange(height // 8)), -1) * 8 / width
    for i, at_s in enumerate(film.times_s):
        moments = (
            [at_s + d * scene.shutter / scene.fps for d in (-0.5, 0.0, 0.5)] if scene.shutter else [at_s]
        )
        moving = np.ptp([np.interp(moments, film.times_s, p) for p in film.pitches_deg], axis=1).max() > 0.15
        spoilt = scene.spoilt if at_s >= spoils_at else None
        moments = moments if moving else [at_s]
        ground, eye = other if spoilt == "cut" else (floor, camera)
        since = at_s - spoils_at
        back = (
            -420 * min(since / 0.4, 1.0) if spoilt == "leaves" else 0.0
        )  # the person steps back out of the picture
        total = np.zeros((height, width, 3), np.float32)
        for moment in moments:
            picture = ground.copy()
            sway = shoe.sways_mm * np.sin(2 * np.pi * moment / period + phase)
            for foot in (1, 0):
                pitch = np.radians(np.interp(moment, film.times_s, film.pitches_deg[foot]))
                _draw_foot(picture, eye, shoe, body, foot, pitch, sway, back)
            total += picture
        picture = total / len(moments)
        if spoilt == "occluded":  # a bag is carried across the near foot's heel
            x = film.heels_px[0][0] + (since - 0.15) * width * 0.4
            box = np.array([[x - 75, -5], [x + 75, -5], [x + 85, height], [x - 85, height]])
            cv2.fillConvexPoly(picture, box.astype(np.int32), (70, 40, 40))
        if spoilt == "second foot":  # another person of the same taste steps over the near foot
            away = np.array([-420 + min(since, 0.45) * 900, -120.0, 25])
            step = placed(bent(body[0], shoe, 0.1), 0, 0.1, shoe) + away
            _paint(picture, camera, step, body[1], body[2] * 0.85)
        at = np.array([0.5 + 0.35 * np.sin(at_s * 2.1 + phase), 0.3 + 0.08 * np.cos(at_s * 3)])
        distance = np.linalg.norm((grid - at) / [0.16, 0.11], axis=-1)
        soft = (1 - scene.shadow / (1 + np.exp((distance - 1) * 5))).astype(np.float32)
        picture *= cv2.resize(soft, (width, height))[..., None]
        picture *= 1 + scene.light * np.sin(at_s * 1.7 + phase) + 0.02 * np.sin(at_s * 2 * np.pi * 9.5)
        if spoilt == "dark":
            picture *= 0.06
        shift = walk[i] + rng.normal(0, scene.shake_px * 0.25, 2) - walk[0]
        if spoilt == "camera moved":  # somebody knocks the tripod
            shift = shift + np.array([0.13, 0.06]) * width * min(since / 0.25, 1.0)
        turn = np.radians(0.05 * scene.shake_px * np.sin(at_s * 5 + phase)) * (i > 0)
        move = np.array([[np.cos(turn), -np.sin(turn), shift[0]], [np.sin(turn), np.cos(turn), shift[1]]])
        picture = cv2.warpAffine(picture, move, (width, height), borderMode=cv2.BORDER_REPLICATE)
        picture = cv2.GaussianBlur(picture, (0, 0), 0.7) + scene.noise * rng.standard_normal(
            picture.shape, np.float32
        )
        packed = cv2.imencode(
            ".jpg", np.clip(picture, 0, 255).astype(np.uint8), [cv2.IMWRITE_JPEG_QUALITY, scene.jpeg]
        )[1]
        yield np.asarray(cv2.imdecode(packed, cv2.IMREAD_COLOR))


def scenes(shoes: tuple[str, ...], seed: int) -> list[Scene]:
    """For each shoe each floor and view once, other things drawn by lot; then each way to spoil a film."""
    rng, drawn = np.random.default_rng(seed), []
    kinds: list[tuple[str, str, str, str | None]] = [
        (s, f, v, None) for s in shoes for f in FLOORS for v in VIEWS
    ]
    kinds += [
        (s, FLOORS[(i + j) % 3], "side", bad) for i, bad in enumerate(SPOILT) for j, s in enumerate(shoes)
    ]
    for i, (shoe, floor, view, spoilt) in enumerate(kinds):
        peak = float(rng.uniform(5, 90))
        drawn.append(
            Scene(
                shoe,
                floor,
                view,
                fps=float(rng.choice([30, 50, 60, 100, 120])),
                peaks_mm=(peak, float(rng.uniform(0, 60))),
                at_impact_mm=peak * float(rng.uniform(0.15, 0.7)),
                shadow=float(rng.uniform(0, 0.5)),
                light=float(rng.uniform(0, 0.2)),
                shake_px=float(rng.choice([0.2, 0.8, 2.0])),
                noise=float(rng.uniform(1, 6)),
                jpeg=int(rng.choice([45, 70, 90])),
                shutter=float(rng.uniform(0.05, 0.6)),
                spoilt=spoilt,
                seed=seed * 1000 + i,
            )
        )
    return drawn
