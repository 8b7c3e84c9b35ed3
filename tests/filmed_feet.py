"""Feet on a plate and on film, made in eight ways that share no code with each other or with the models.

A maker turns a person and a swing, both plain numbers, into a `Feet`: loads and places as a plate reads them, heel
heights as they truly are, and when the ball was struck. `camera` and `microphone` then make what a phone records
of them. Nothing here knows how a clip is put on its plate's clock.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from scipy.interpolate import Akima1DInterpolator
from scipy.special import erf as gauss

RATE_HZ = 250.0
POINTS = ("lead_heel", "lead_toe", "trail_heel", "trail_toe")


@dataclass(frozen=True)
class Feet:
    """One swing. Rows of the arrays are lead and trail; columns are the plate's samples."""

    t_s: np.ndarray
    load_n: np.ndarray
    along_pct: np.ndarray
    heel_n: np.ndarray | None
    rise_mm: np.ndarray
    top_s: float
    impact_s: float
    weight_n: float
    shoe_mm: float = 290.0
    handed: str = "right"


@dataclass(frozen=True)
class Film:
    """Points on film: pictures' times on the film's own clock, (F, 4, 2) px with NaN where a point is lost.

    A moment of the film is `offset_s` later on the plate's clock.
    """

    fps: float
    times_s: np.ndarray
    px: np.ndarray
    offset_s: float
    view: str
    mm_per_px: float

    @property
    def tolerance_s(self) -> float:
        """The longer of one picture and 10 ms."""
        return max(1.0 / self.fps, 0.010)


def hinge(person: int, swing: int) -> Feet:
    """A stiff sole that turns about the ball of the foot as the pressure passes it. Piecewise cubic shapes."""
    who, how = np.random.default_rng((1, person)), np.random.default_rng((1, person, swing))
    w = 70 * 9.81 * who.uniform(0.75, 1.35)
    top, strike = 1.7 + how.normal(0, 0.05), 1.98 + how.normal(0, 0.04)
    t = np.arange(0, 3.6, 1 / RATE_HZ)
    beat = np.array(
        [0, 0.8, 0.8 + 0.55 * (top - 0.8), top, 0.35 * top + 0.65 * strike, strike, strike + 0.3, 3.6]
    )

    def smooth(*v: float) -> np.ndarray:
        knots = np.array(v) + np.r_[0, 0, how.normal(0, 1.0, 6)] * 0.02 * np.ptp(v)
        return np.asarray(Akima1DInterpolator(beat, knots)(t))

    share = smooth(50, 50, 30, 24, 66, 78, 88, 90) / 100
    total = smooth(100, 100, 103, 106, 128, 112, 98, 100) / 100
    lead = smooth(50, 50, 60, 74 + 3 * who.normal(), 52, 44, 40, 42)
    trail = smooth(50, 50, 44, 42, 60, 74, 88, 90)
    turn = who.uniform(57, 63, 2)
    rise = np.stack([np.clip(lead - turn[0], 0, None) * 2.1, np.clip(trail - turn[1], 0, None) * 3.6])
    return Feet(
        t, w * total * np.stack([share, 1 - share]), np.stack([lead, trail]), None, rise, top, strike, w
    )


def late_shoe(person: int, swing: int) -> Feet:
    """A soft shoe: the foot lightens and moves first, the shoe's heel follows late and comes back with a slap."""
    g, h = np.random.default_rng([2, person]), np.random.default_rng([2, person, swing])
    t, w = np.linspace(0, 3.8, 951), g.uniform(520, 980)
    back, down = g.uniform(0.75, 0.95) * h.normal(1, 0.03), g.uniform(0.24, 0.3) * h.normal(1, 0.03)
    top = 0.9 + back
    hit = top + down

    def step(at: float, wide: float) -> np.ndarray:
        return 1 / (1 + np.exp(-(t - at) / wide))

    share = (
        0.5 - 0.24 * step(1.25, 0.12) + 0.48 * step(top + 0.55 * down, 0.045) + 0.16 * step(hit + 0.2, 0.1)
    )
    push = (
        1
        + 0.3 * np.exp(-(((t - top - 0.6 * down) / 0.09) ** 2))
        - 0.12 * np.exp(-(((t - hit - 0.12) / 0.08) ** 2))
    )
    lead = 48 + h.normal(25, 1) * (step(1.35, 0.13) - step(top + 0.35 * down, 0.05)) - 8 * step(hit, 0.1)
    trail = 51 - 8 * step(1.3, 0.1) + h.normal(42, 1) * step(hit - 0.04, 0.06)
    lag = g.uniform(0.02, 0.05)
    rise = np.zeros((2, t.size))
    for foot, (where, high) in enumerate([(lead, g.uniform(18, 40)), (trail, g.uniform(70, 110))]):
        wish = high * np.clip((where - 60) / 30, 0, 1) ** 1.3
        for i in range(1, t.size):
            slack = lag if wish[i] > rise[foot, i - 1] else lag * 0.4
            rise[foot, i] = rise[foot, i - 1] + (wish[i] - rise[foot, i - 1]) * (t[1] / slack) * (
                t[1] < slack
            )
    return Feet(t, w * push * np.stack([share, 1 - share]), np.stack([lead, trail]), None, rise, top, hit, w)


def rolling_foot(person: int, swing: int) -> Feet:
    """A foot that rolls like a rocker: height from the angle it has rolled through, pressure from where it touches."""
    own, now = np.random.default_rng(person + 3000), np.random.default_rng(person * 997 + swing + 3_000_000)
    dt = 1 / RATE_HZ
    t = np.arange(round(3.4 / dt)) * dt
    begin, top = 0.7, 0.7 + own.uniform(0.7, 0.9) + now.normal(0, 0.03)
    hit = top + own.uniform(0.23, 0.32) + now.normal(0, 0.012)

    def bump(a: float, b: float) -> np.ndarray:
        """From 0 to 1 between two moments, as half a cosine."""
        return 0.5 - 0.5 * np.cos(np.pi * np.clip((t - a) / (b - a), 0, 1))

    angle_lead = own.uniform(5, 12) * (bump(begin + 0.3, top) - bump(top, hit - 0.05 + now.normal(0, 0.01)))
    angle_trail = own.uniform(25, 50) * bump(top + 0.08, hit + 0.28) ** 1.5
    length, radius = 262.0, own.uniform(120, 200)
    places, rises = [], []
    for angle, start in ((angle_lead, 50.0), (angle_trail, 52.0)):
        turned = np.deg2rad(angle)
        rolled = np.clip(radius * turned, 0, 60.0)
        rises.append(0.72 * length * np.sin(turned) - 0.2 * rolled)
        places.append(start + 20 * np.tanh(angle / 4.0) + 100 * rolled / length * 0.6)
    places[0] = places[0] - 7 * bump(hit - 0.1, hit + 0.2)
    places[1] = places[1] - 6 * (bump(begin, top) - bump(top, top + 0.1))
    share = 0.52 - 0.26 * bump(begin, top - 0.1) + 0.5 * bump(top - 0.06, hit) + 0.12 * bump(hit, hit + 0.4)
    w = own.uniform(500, 1000)
    total = 1 + 0.25 * (bump(top - 0.05, top + 0.12) - bump(top + 0.12, hit + 0.05))
    return Feet(
        t, w * total * np.stack([share, 1 - share]), np.array(places), None, np.array(rises), top, hit, w
    )


def measured_heel(person: int, swing: int) -> Feet:
    """A plate that reads heel and forefoot apart; a heel leaves the ground only when nothing rests on it."""
    p, s = np.random.default_rng([44, person]), np.random.default_rng([44, person, swing, 9])
    t = np.arange(900) / RATE_HZ
    w, top, hit = p.uniform(550, 950), 1.55 + s.normal(0, 0.04), 1.83 + s.normal(0, 0.04)
    at = [0, 0.7, 1.1, top - 0.05, top + 0.1, hit - 0.03, hit + 0.05, hit + 0.3, 3.6]
    heel_lead = np.interp(t, at, [30, 30, 12, 0, 10, 40, 50, 60, 60])
    fore_lead = np.interp(t, at, [22, 22, 18, 22, 42, 42, 38, 30, 30])
    heel_trail = np.interp(t, at, [25, 25, 42, 48, 28, 3, 0, 0, 0])
    fore_trail = np.interp(t, at, [23, 23, 28, 32, 38, 30, 18, 10, 9])
    kernel = np.hanning(31) / np.hanning(31).sum()

    def soft(x: np.ndarray) -> np.ndarray:
        return np.convolve(np.pad(x, 15, mode="edge"), kernel, mode="valid")

    parts = [[soft(heel_lead), soft(fore_lead)], [soft(heel_trail), soft(fore_trail)]]
    loads = np.array([a + b for a, b in parts])
    along = np.array([(14 * a + 78 * b) / np.maximum(a + b, 0.5) for a, b in parts])
    rise = np.zeros((2, t.size))
    for foot, (a, _) in enumerate(parts):
        speed, free = 0.0, a < 1.5
        pull = p.uniform(900, 2500) * (0.35 if foot == 0 else 1.0)
        ceiling = p.uniform(14, 30) if foot == 0 else p.uniform(65, 110)
        for i in range(1, t.size):
            target = pull * (1 - rise[foot, i - 1] / ceiling) if free[i] else -60 * rise[foot, i - 1] - 80
            speed += (target - speed) * 0.12
            rise[foot, i] = max(0.0, rise[foot, i - 1] + speed / RATE_HZ)
            speed = 0.0 if rise[foot, i] == 0.0 and not free[i] else speed
    heel = np.array([p_[0] for p_ in parts]) / 100 * w
    return Feet(t, loads / 100 * w, along, heel, rise, top, hit, w)


def barely_lifting(person: int, swing: int) -> Feet:
    """Flat-footed: the lead heel stays down and the trail heel comes up a little, late, and not always."""
    r, q = np.random.RandomState(person + 50), np.random.RandomState(person * 131 + swing + 77)
    t = np.linspace(0, 3.2, 801)
    w = 600 + 300 * r.rand()
    top, hit = 1.45 + 0.04 * q.randn(), 1.72 + 0.04 * q.randn()
    x = np.clip((t - hit + 0.35) / 0.45, 0, 1)
    ease = x * x * (3 - 2 * x)
    y = np.clip((t - 0.65) / (top - 0.65), 0, 1)
    away = y * y * (3 - 2 * y)
    share = 0.5 - 0.17 * away + 0.42 * ease
    lead = 50 + 5 * away - 10 * ease
    trail = 50 - 3 * away + 24 * ease
    z = np.clip((t - hit - 0.02) / 0.5, 0, 1)
    rise = np.stack([0 * t, (6 + 8 * r.rand() + q.randn()) * z * z * (3 - 2 * z)])
    return Feet(
        t,
        w * np.stack([share, 1 - share]),
        np.stack([lead, trail]),
        None,
        np.clip(rise, 0, None),
        top,
        hit,
        w,
    )


def left_hander(person: int, swing: int) -> Feet:
    """A left-hander whose knees pull the heels: height follows the knee, pressure the body, a little apart."""
    seed = np.random.SeedSequence(entropy=5, spawn_key=(person,))
    own, day = np.random.default_rng(seed), np.random.default_rng([5, 5, person, swing])
    t = np.arange(0, 3.5, 1 / RATE_HZ)
    top, hit = 1.6 + day.normal(0, 0.05), 1.88 + day.normal(0, 0.05)

    def erf(at: float, wide: float) -> np.ndarray:
        return np.asarray(0.5 + 0.5 * gauss((t - at) / wide))

    knee_in = erf(1.15, 0.22) - erf(top + own.uniform(0.05, 0.1), 0.09)
    knee_through = erf(hit - own.uniform(0.0, 0.06), 0.11)
    rise = np.stack(
        [own.uniform(15, 45) * np.clip(knee_in - 0.15, 0, None), own.uniform(60, 120) * knee_through**1.6]
    )
    lead = 49 + 22 * (erf(1.1, 0.22) - erf(top + 0.04, 0.1)) - 9 * erf(hit, 0.1) + day.normal(0, 0.6)
    trail = 52 - 7 * (erf(1.1, 0.2) - erf(top + 0.02, 0.1)) + 36 * erf(hit - 0.03, 0.12) + day.normal(0, 0.6)
    share = 0.51 - 0.27 * erf(1.1, 0.22) + 0.47 * erf(top + 0.12, 0.1) + 0.18 * erf(hit + 0.1, 0.12)
    w = own.uniform(520, 900)
    press = w * (1 + 0.22 * np.exp(-(((t - top - 0.14) / 0.08) ** 2)))
    feet = Feet(t, press * np.stack([share, 1 - share]), np.stack([lead, trail]), None, rise, top, hit, w)
    return replace(feet, handed="left", shoe_mm=270.0)


def stepping_start(person: int, swing: int) -> Feet:
    """The lead foot is lifted whole going back and set down to start the downswing."""
    a, b = np.random.default_rng(person + 60_000), np.random.default_rng(60_000_000 + 1000 * person + swing)
    t = np.arange(0, 3.4, 1 / RATE_HZ)
    up, land = 1.05 + b.normal(0, 0.03), 1.5 + b.normal(0, 0.03)
    hit = land + a.uniform(0.2, 0.27)
    air = np.clip(np.minimum((t - up) / 0.12, (land - t) / 0.1), 0, 1)
    lead_rise = a.uniform(40, 80) * np.sin(np.pi / 2 * air) ** 2
    after = np.clip((t - land) / (hit - land), 0, 1)
    lead_load = np.where(t < 0.8, 0.5, np.clip(0.5 - (t - 0.8) * 2, 0.03, 0.5)) + after**0.7 * 0.75
    lead_load -= 0.1 * np.clip((t - hit) / 0.3, 0, 1)
    trail_load = np.where(t < 0.8, 0.5, np.clip(0.5 + (t - 0.8) * 2, 0.5, 0.98)) * (
        1 - 0.88 * np.clip((t - land) / 0.3, 0, 1)
    )
    lead = 50 + 22 * np.clip((t - 0.85) / 0.2, 0, 1) * (t < land) + (t >= land) * (60 - 22 * after)
    trail_off = np.clip((t - land - 0.05) / 0.32, 0, 1)
    trail = 50 - 5 * np.clip((t - 0.85) / 0.3, 0, 1) + 42 * trail_off
    box = np.ones(13) / 13

    def soft(x: np.ndarray) -> np.ndarray:
        return np.convolve(np.r_[np.full(6, x[0]), x, np.full(6, x[-1])], box, "valid")

    rise = np.stack([lead_rise, a.uniform(60, 100) * soft(np.clip(trail_off - 0.35, 0, None) / 0.65)])
    w = a.uniform(550, 900)
    load = w * np.stack([soft(lead_load), soft(trail_load)])
    return Feet(t, load, np.stack([soft(lead), soft(trail)]), None, rise, land - 0.08, hit, w)


def noisy_toes(person: int, swing: int) -> Feet:
    """Heels that follow the load alone: the lighter the foot, the higher its heel. Random-walk wobble on all."""
    z, v = np.random.default_rng([8, 8, person]), np.random.default_rng([8, 8, person, swing])
    n = 880
    t = np.arange(n) / RATE_HZ
    top, hit = 1.62 + v.normal(0, 0.05), 1.9 + v.normal(0, 0.05)
    keys = np.array([0.0, 0.8, 1.2, top, top + 0.13, hit, hit + 0.25, t[-1]])
    share = np.interp(t, keys, [50, 50, 32, 24, 60, 80, 90, 91])
    place = np.stack(
        [
            np.interp(t, keys, [50, 50, 60, 68, 56, 46, 42, 42]),
            np.interp(t, keys, [50, 50, 45, 44, 58, 72, 86, 87]),
        ]
    )
    window = np.bartlett(27) / np.bartlett(27).sum()
    ease = lambda x: np.convolve(np.pad(x, 13, "edge"), window, "valid")  # noqa: E731
    share, place = ease(share), np.stack([ease(row) for row in place])
    wobble = np.cumsum(v.normal(0, 1, (2, n)), axis=1) * 0.03
    w = z.uniform(500, 950)
    light = np.stack([38 - share, 30 - (100 - share)])
    high = np.array([z.uniform(20, 40), z.uniform(60, 100)])[:, None]
    rise = high * (1 - np.exp(-np.clip(light, 0, None) / z.uniform(6, 12)))
    load = w * np.stack([share, 100 - share]) / 100
    return Feet(t, load, place + wobble, None, rise, top, hit, w)


MAKERS: dict[str, Callable[[int, int], Feet]] = {
    "hinge": hinge,
    "late-lifting shoe": late_shoe,
    "rolling foot": rolling_foot,
    "measured heel load": measured_heel,
    "barely lifting heel": barely_lifting,
    "left-hander from behind": left_hander,
    "stepping start": stepping_start,
    "load alone": noisy_toes,
}


def stamped(feet: Feet, seed: int, count: int = 1) -> Feet:
    """The same swing after two seconds more at its start, in which a heel is lifted and stamped.

    The heel comes down in free fall and stops; the load has a spike there that rings off within 60 ms.
    """
    rng = np.random.default_rng([seed, 73])
    more = round(2.0 * count * RATE_HZ)
    t = feet.t_s[0] + (np.arange(more + feet.t_s.size) - more) / RATE_HZ
    before = [np.repeat(rows[:, :1], more, axis=1) for rows in (feet.load_n, feet.along_pct)]
    load, along = (np.hstack(pair) for pair in zip(before, (feet.load_n, feet.along_pct), strict=True))
    rise = np.hstack([np.zeros((2, more)), feet.rise_mm])
    foot = int(rng.integers(0, 2))
    for k in range(count):
        land = t[0] + 2.0 * k + rng.uniform(0.8, 1.3)
        high, up_s = rng.uniform(35, 70), rng.uniform(0.25, 0.5)
        fall_s = np.sqrt(2 * high / 9810.0)
        since = t - (land - fall_s)
        falling = np.clip(high - 0.5 * 9810.0 * np.clip(since, 0, None) ** 2, 0, None)
        lifting = high * np.clip((since + up_s) / up_s, 0, 1)
        rise[foot] = np.maximum(rise[foot], np.where(since < 0, lifting, falling))
        age = t - land
        spike = rng.uniform(0.5, 1.2) * feet.weight_n * np.exp(-np.clip(age, 0, None) / 0.02)
        load[foot] += np.where(age >= 0, spike * np.clip(age / 0.008, 0, 1), 0.0)
    heel = (
        None if feet.heel_n is None else np.hstack([np.repeat(feet.heel_n[:, :1], more, axis=1), feet.heel_n])
    )
    return replace(feet, t_s=t, load_n=load, along_pct=along, heel_n=heel, rise_mm=rise)


def camera(
    feet: Feet,
    seed: int,
    *,
    fps: float = 60.0,
    shake_px: float = 0.6,
    lost: float = 0.0,
    pan_px_s: float = 0.0,
    view: str = "down_line",
    uneven: float = 0.0,
    from_start: bool = False,
) -> Film:
    """What a phone sees of the feet; `lost` of the swing's points are gone, half of them in one long stretch."""
    rng = np.random.default_rng([seed, 71])
    start, end = feet.impact_s - rng.uniform(1.35, 1.6), feet.impact_s + rng.uniform(0.5, 0.8)
    start = feet.t_s[0] + rng.uniform(0.05, 0.2) if from_start else start
    frames = np.arange(int((end - start) * fps))
    true = start + frames / fps + (rng.normal(0, uneven / fps, frames.size) if uneven else 0.0)
    mm = rng.uniform(0.7, 1.3)
    across = 1.0 if view == "face_on" else -1.0
    side = 1.0 if feet.handed == "right" else -1.0
    px = np.empty((frames.size, 4, 2))
    for foot in range(2):
        base = np.array([640 + across * side * (1 - 2 * foot) * -220 / mm, 500.0])
        high = np.interp(true, feet.t_s, feet.rise_mm[foot]) / mm
        px[:, 2 * foot] = base
        px[:, 2 * foot, 1] -= high
        px[:, 2 * foot + 1] = base + np.array([40.0 / mm, 55.0 / mm])
    px += (np.array([pan_px_s, 0.4 * pan_px_s]) * (true - start)[:, None])[:, None, :]
    px += rng.normal(0, shake_px, px.shape)
    px += (np.cumsum(rng.normal(0, 0.12, (frames.size, 2)), axis=0))[:, None, :]
    if lost:
        gone = rng.random((frames.size, 4)) < lost / 2
        hole = int(frames.size * lost / 2)
        at = rng.integers(0, frames.size - hole)
        foot = 2 * int(rng.integers(0, 2))
        gone[at : at + hole, foot : foot + 2] = True
        px[gone] = np.nan
    return Film(fps, frames / fps, px, start, view, mm)


def microphone(
    film: Film,
    strike_s: float,
    seed: int,
    *,
    rate_hz: int = 44_100,
    distance_m: float = 2.0,
    echoes: int = 0,
    neighbours: tuple[float, ...] = (),
    wind: float = 0.0,
    ball: bool = True,
) -> np.ndarray:
    """The film's sound track, -1 to 1: room noise, the click of a strike, what comes back from walls, others' balls.

    `strike_s` and `neighbours` are on the plate's clock. Without a ball there is a club's swish and no click.
    """
    rng = np.random.default_rng([seed, 72])
    n = int((film.times_s[-1] + 1.0 / film.fps) * rate_hz)
    t = np.arange(n) / rate_hz
    sound = rng.normal(0, 0.004, n)

    def click(at: float, loud: float, pitch: float) -> None:
        age = t - at
        on = (age >= 0) & (age < 0.12)
        ring = np.exp(-age[on] / 0.008) * np.sin(2 * np.pi * pitch * age[on]) + 0.4 * rng.normal(
            0, 1, on.sum()
        ) * np.exp(-age[on] / 0.003)
        sound[on] += loud * ring

    if wind:
        gust = np.cumsum(rng.normal(0, 1, n))
        gust -= np.linspace(gust[0], gust[-1], n)
        sound += wind * gust / np.abs(gust).max() + wind * 0.05 * rng.normal(0, 1, n)
    heard = strike_s - film.offset_s + distance_m / 343.0
    swish = np.exp(-(((t - heard + 0.03) / 0.03) ** 2))
    sound += 0.01 * swish * rng.normal(0, 1, n)
    if ball:
        click(heard, 0.5, rng.uniform(2500, 4500))
        for i in range(echoes):
            click(
                heard + rng.uniform(0.015, 0.12) * (i + 1),
                0.5 * rng.uniform(0.15, 0.5) ** (0.7 * i + 1),
                3000,
            )
    for at in neighbours:
        click(at - film.offset_s, rng.uniform(0.05, 0.4), rng.uniform(2500, 4500))
    return np.clip(sound, -1, 1)


def another_swing(feet: Feet, other: Feet, seed: int, **how: float) -> Film:
    """A film of `other` that claims to be of `feet`: its offset is where its strike would have been right."""
    film = camera(other, seed, **how)  # type: ignore[arg-type]
    return replace(film, offset_s=film.offset_s + feet.impact_s - other.impact_s)


def swapped(film: Film) -> Film:
    """The feet's names changed round."""
    return replace(film, px=film.px[:, [2, 3, 0, 1]])


def unstruck(feet: Feet, seed: int) -> Feet:
    """A practice swing of the same feet: a tenth to half slower, each heel up by as much less, no ball."""
    rng = np.random.default_rng([seed, 74])
    slower, less = rng.uniform(1.1, 1.5), rng.uniform(0.6, 1.0)
    at = feet.impact_s + (feet.t_s - feet.impact_s) / slower

    def stretched(rows: np.ndarray) -> np.ndarray:
        return np.array([np.interp(at, feet.t_s, row) for row in rows])

    return replace(
        feet,
        load_n=stretched(feet.load_n),
        along_pct=stretched(feet.along_pct),
        heel_n=None if feet.heel_n is None else stretched(feet.heel_n),
        rise_mm=less * stretched(feet.rise_mm),
        top_s=feet.impact_s + (feet.top_s - feet.impact_s) * slower,
    )


def neighbours_ball(film: Film, seed: int) -> float:
    """When somebody else's ball is struck, on the plate's clock: any time while the camera runs, but its ends."""
    rng = np.random.default_rng([seed, 75])
    return film.offset_s + rng.uniform(0.2, film.times_s[-1] - 0.1)


def heel_held(person: int, swing: int) -> Feet:
    """The fault: in a share of swings the trail heel stays down until 60 to 250 ms after impact.

    Every move is a step that creeps in and out, as of two leaky tanks in a row. On half of the plates the heel
    is read by itself, on the others only where the foot is pressed.
    """
    own, now = np.random.default_rng([97, person]), np.random.default_rng([97, person, swing])
    t = np.arange(1000) / RATE_HZ
    top = 1.8 + now.normal(0, 0.04)
    hit = top + own.uniform(0.24, 0.32) + now.normal(0, 0.012)
    held = now.random() < own.uniform(0.3, 0.7)
    lets_go = hit + (now.uniform(0.06, 0.25) if held else own.uniform(-0.08, -0.05) + now.normal(0, 0.01))

    def creep(at: float, slow: float) -> np.ndarray:
        x = np.clip(t - at, 0, None) / slow
        return 1 - (1 + x) * np.exp(-x)

    body = own.uniform(540, 950)
    lead = 0.5 - own.uniform(0.18, 0.3) * (creep(1.0, 0.12) - creep(top - 0.08, 0.05))
    lead += (0.22 if held else 0.34) * creep(top - 0.04, 0.06) + 0.1 * creep(lets_go, 0.08)
    trail_foot = 1 - np.clip(lead, 0.05, 0.95)
    on_heel = own.uniform(0.5, 0.62) * (1 - creep(lets_go - (0.02 if held else 0.12), 0.02 if held else 0.04))
    fore = np.array([1 - 0.5 * (1 - creep(1.15, 0.1)) - 0.45 * creep(top, 0.05), 1 - on_heel])
    along = 12 + 64 * np.clip(fore, 0, 1)
    load = body * np.stack([1 - trail_foot, trail_foot]) * (1 + 0.18 * (creep(top, 0.05) - creep(hit, 0.07)))
    rise = np.stack(
        [
            own.uniform(15, 40) * (creep(1.25, 0.1) - creep(top - 0.03, 0.04)),
            own.uniform(60, 100) * creep(lets_go, own.uniform(0.03, 0.06)),
        ]
    )
    heel = None if person % 2 else load * np.clip(1 - fore, 0, 1)
    return Feet(t, load, along, heel, rise, top, hit, body)
