"""Long plate recordings whose truth is known: several balls, and all that happens between them.

Made from what happens on a lesson tee, without a view of the importer: people walk on, shuffle, waggle, make
practice swings, stand talking, walk off for a ball, break a backswing off; the plate drifts and drops samples.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt
from scipy.interpolate import PchipInterpolator
from scipy.signal import lfilter

Numbers = npt.NDArray[np.float64]

GRAVITY = 9.80665
EVENTS = ("address", "takeaway", "mid_back", "top", "mid_down", "impact", "finish")


@dataclass(frozen=True)
class Player:
    """One person on the plates: how they stand, and how their load moves in a swing (shares of 0 to 1)."""

    name: str = "a"
    mass_kg: float = 74.0
    left_handed: bool = False
    foot_mm: float = 265.0
    trail_peak: float = 0.76
    lead_impact: float = 0.78
    lead_finish: float = 0.88
    push: float = 0.45  # of body weight, above it, on the way down
    back_s: float = 0.85
    down_s: float = 0.27
    along_pct: float = 46.0
    sway: float = 0.008
    waggles: tuple[int, int] = (0, 3)
    waggle: float = 0.05
    fidgets_per_s: float = 0.05
    practice: tuple[int, ...] = (0, 1, 2, 3)
    step_off: float = 0.3
    hold_s: tuple[float, float] = (0.8, 2.5)

    @property
    def weight_n(self) -> float:
        return self.mass_kg * GRAVITY


@dataclass(frozen=True)
class Planted:
    """What happened: a ``swing``, a ``practice`` swing or one ``broken_off``, with its events on the clock."""

    kind: str
    person: str
    events: dict[str, float]

    @property
    def start_s(self) -> float:
        return self.events["takeaway"]

    @property
    def end_s(self) -> float:
        return max(self.events.values())


@dataclass(frozen=True)
class Recording:
    """The samples as a device exports them, and the truth. Feet are left and right; positions from the heel."""

    t_s: Numbers
    left_n: Numbers
    right_n: Numbers
    left_along_pct: Numbers
    right_along_pct: Numbers
    planted: tuple[Planted, ...]

    def of(self, *kinds: str) -> list[Planted]:
        return [one for one in self.planted if one.kind in kinds]

    def shares(self) -> tuple[Numbers, Numbers]:
        """Each foot's share of the load in per cent, as a mat gives it that measures no force; 0 with nobody on."""
        total = self.left_n + self.right_n
        on = total > 40.0
        left = np.where(on, 100.0 * self.left_n / np.where(on, total, 1.0), 0.0)
        return np.round(left, 1), np.where(on, np.round(100.0 - left, 1), 0.0)

    def part(self, keep: npt.NDArray[np.bool_]) -> Recording:
        columns = {
            name: getattr(self, name)[keep]
            for name in ("t_s", "left_n", "right_n", "left_along_pct", "right_along_pct")
        }
        return replace(self, **columns)


@dataclass
class _Tee:
    """The tee as time passes: knots of the left foot's share, the whole load and both feet's positions."""

    chance: np.random.Generator
    now: float = 0.0
    knots: dict[str, list[tuple[float, float]]] = field(
        default_factory=lambda: {
            "share": [(0.0, 0.5)],
            "load": [(0.0, 0.0)],
            "left": [(0.0, 46.0)],
            "right": [(0.0, 46.0)],
        }
    )
    planted: list[Planted] = field(default_factory=list)

    def at(self, channel: str, when: float, value: float) -> None:
        self.knots[channel].append((when, value))

    def between(self, low: float, high: float) -> float:
        return float(self.chance.uniform(low, high))

    def about(self, value: float, spread: float) -> float:
        return float(self.chance.normal(value, spread))

    def hold(self, seconds: float) -> None:
        """Nothing changes for a while; every channel keeps its last value."""
        self.now += seconds
        for channel, knots in self.knots.items():
            self.at(channel, self.now, knots[-1][1])

    def shift(self, share: float, load: float, seconds: float) -> None:
        self.now += seconds
        self.at("share", self.now, share)
        self.at("load", self.now, load)


def _step_on(tee: _Tee, player: Player) -> None:
    weight, first = player.weight_n, float(tee.chance.integers(0, 2))
    tee.at("share", tee.now + 0.01, first)
    tee.now += 0.01
    tee.shift(first, weight * tee.between(1.0, 1.2), tee.between(0.25, 0.5))
    tee.shift(0.5, weight * tee.between(0.9, 1.05), tee.between(0.25, 0.6))
    tee.shift(tee.between(0.4, 0.6), weight, 0.3)
    for foot in ("left", "right"):
        tee.at(foot, tee.now, tee.about(player.along_pct, 2.0))
    tee.hold(0.1)


def _step_off(tee: _Tee, player: Player, away_s: float) -> None:
    last = float(tee.chance.integers(0, 2))
    tee.hold(0.05)
    tee.shift(last, player.weight_n * tee.between(1.0, 1.15), tee.between(0.25, 0.5))
    tee.shift(last, 0.0, tee.between(0.15, 0.35))
    tee.hold(away_s)


def _walk_across(tee: _Tee) -> None:
    weight = tee.between(35.0, 100.0) * GRAVITY
    first = float(tee.chance.integers(0, 2))
    tee.at("share", tee.now + 0.01, first)
    tee.now += 0.01
    tee.shift(first, weight * 1.1, 0.2)
    tee.shift(first, weight * 0.8, 0.2)
    tee.shift(1.0 - first, weight * 1.15, 0.2)
    tee.shift(1.0 - first, weight * 0.8, 0.2)
    tee.shift(1.0 - first, 0.0, 0.15)
    tee.hold(tee.between(1.0, 3.0))


def _stand(tee: _Tee, player: Player, seconds: float, fidgets_per_s: float) -> None:
    """Standing, with now and then a shift of the load, a foot lifted and put down again, or a knee bent."""
    until = tee.now + seconds
    while True:
        tee.hold(min(float(tee.chance.exponential(1.0 / fidgets_per_s)), max(until - tee.now, 0.05)))
        if tee.now >= until - 0.05:
            return
        weight = player.weight_n
        what = tee.chance.random()
        if what < 0.65:
            share = tee.between(0.2, 0.8)
            tee.shift(share, weight * tee.between(0.92, 1.08), tee.between(0.25, 0.8))
            tee.shift(share + tee.about(0.0, 0.02), weight, 0.25)
        elif what < 0.9:
            foot = float(tee.chance.integers(0, 2))
            tee.shift(abs(foot - 0.03), weight * tee.between(0.95, 1.1), tee.between(0.25, 0.5))
            tee.shift(abs(foot - 0.03), weight, tee.between(0.2, 0.6))
            tee.shift(tee.between(0.4, 0.6), weight, tee.between(0.25, 0.5))
        else:
            share = tee.knots["share"][-1][1]
            tee.shift(share, weight * 0.85, 0.2)
            tee.shift(share, weight * 1.2, 0.25)
            tee.shift(share, weight, 0.25)


def _waggle(tee: _Tee, player: Player) -> None:
    centre = tee.knots["share"][-1][1]
    for _ in range(int(tee.chance.integers(player.waggles[0], player.waggles[1] + 1))):
        half = tee.between(0.25, 0.5)
        size = abs(tee.about(player.waggle, player.waggle / 4.0))
        tee.shift(centre + size, player.weight_n * tee.about(1.0, 0.01), half)
        tee.shift(centre - size * tee.between(0.0, 0.8), player.weight_n, half)
    tee.shift(centre, player.weight_n, 0.3)


def _lead(player: Player, share: float) -> float:
    """The left foot's share where the lead foot has this one."""
    return 1.0 - share if player.left_handed else share


def _broken_off(tee: _Tee, player: Player) -> None:
    """A backswing that is stopped on its way and let down again."""
    tee.hold(tee.between(0.5, 1.2))
    start = tee.now
    tee.shift(
        _lead(player, 1.0 - tee.between(0.58, player.trail_peak)),
        player.weight_n * 1.02,
        tee.between(0.5, 0.9),
    )
    tee.hold(tee.between(0.1, 0.6))
    tee.shift(_lead(player, tee.about(0.5, 0.03)), player.weight_n, tee.between(0.7, 1.3))
    tee.planted.append(Planted("broken_off", player.name, {"takeaway": start, "finish": tee.now}))


def _swing(
    tee: _Tee,
    player: Player,
    kind: str,
    *,
    slower: float = 1.0,
    size: float = 1.0,
    push: float = 1.0,
    whole: bool = True,
    held: bool = False,
) -> None:
    """One swing; ``slower`` stretches its clock, ``size`` and ``push`` shrink it, ``whole`` carries it to a finish."""
    weight, lead, trail = player.weight_n, "left", "right"
    if player.left_handed:
        lead, trail = trail, lead
    set_s = tee.between(0.5, 1.6)
    first = tee.about(0.5, 0.03)
    tee.shift(_lead(player, first), weight, 0.35)
    address = tee.now + 0.02
    tee.hold(set_s)
    start = tee.now
    back = player.back_s * slower * float(np.exp(tee.about(0.0, 0.04)))
    down = player.down_s * slower * float(np.exp(tee.about(0.0, 0.04)))
    top, impact = start + back, start + back + down
    finish = impact + tee.between(0.5, 0.8) * slower
    trail_peak = first + (player.trail_peak + tee.about(0.0, 0.02) - 0.5) * size
    lead_impact = 0.5 + (player.lead_impact + tee.about(0.0, 0.02) - 0.5) * size
    lead_finish = 0.5 + (player.lead_finish + tee.about(0.0, 0.02) - 0.5) * size
    excess = max(player.push * push * float(np.exp(tee.about(0.0, 0.08))), 0.02)

    peak_at = start + back * tee.between(0.6, 0.8)
    tee.at("share", start + 0.12 * back, _lead(player, first + 0.01))
    tee.at("share", peak_at, _lead(player, 1.0 - trail_peak))
    tee.at("share", top, _lead(player, 1.0 - trail_peak + 0.4 * (trail_peak - 0.5)))
    tee.at("share", top + 0.6 * down, _lead(player, 0.5 + 0.75 * (lead_impact - 0.5)))
    tee.at("share", impact, _lead(player, lead_impact))
    tee.at("load", start + 0.5 * back, weight * (1.0 + 0.05 * push))
    tee.at("load", top - 0.05 * back, weight * (1.0 - 0.2 * excess))
    tee.at("load", top + 0.65 * down, weight * (1.0 + excess))
    tee.at("load", impact, weight * (1.0 + 0.5 * excess))
    tee.at("load", impact + 0.12 * slower, weight * (1.0 - 0.35 * excess))
    for foot, moves in ((lead, (4.0, 10.0, -8.0)), (trail, (-6.0, -8.0, 22.0))):
        base = tee.knots[foot][-1][1]
        for when, move in zip((peak_at, top, impact), moves, strict=True):
            tee.at(foot, when, base + move * size)
        if whole:
            tee.at(foot, finish, base + moves[2] * 1.2 * size)
    events = {
        "address": address,
        "takeaway": start,
        "mid_back": start + 0.62 * back,
        "top": top,
        "mid_down": top + 0.65 * down,
        "impact": impact,
        "finish": finish,
    }
    if whole:
        tee.at("share", finish, _lead(player, lead_finish))
        tee.at("load", finish, weight)
        tee.now = finish
        tee.hold(tee.between(*player.hold_s) if kind == "swing" or held else tee.between(0.05, 0.4))
    else:
        tee.now = impact + 0.12 * slower
        del events["finish"]
    tee.planted.append(Planted(kind, player.name, events))
    tee.shift(_lead(player, tee.about(0.5, 0.04)), weight, tee.between(0.5, 1.0))
    for foot in (lead, trail):
        tee.at(foot, tee.now, tee.about(player.along_pct, 2.0))


def _practice(tee: _Tee, player: Player) -> None:
    _swing(
        tee,
        player,
        "practice",
        slower=tee.between(1.15, 1.9),
        size=tee.between(0.45, 0.9),
        push=tee.between(0.15, 0.6),
        whole=tee.chance.random() > 0.25,
    )


def same_as_a_swing(tee: _Tee, player: Player) -> None:
    """A practice swing nobody could tell from one with a ball."""
    _swing(tee, player, "practice", held=True)


def recording(
    *players: Player,
    seed: int,
    minutes: float = 20.0,
    rate_hz: float = 100.0,
    balls: bool = True,
    turn: int = 5,
    practice: Callable[[_Tee, Player], None] = _practice,
    drift_n: float = 0.0,
    noise_n: float = 2.0,
    gaps: int = 0,
    talk: float = 0.12,
    broken_off: float = 0.06,
) -> Recording:
    """A lesson of ``minutes``; each player hits ``turn`` balls, then the next one steps on.

    ``talk`` and ``broken_off`` are chances before a ball; ``gaps`` stretches of 0.3 to 4 s are missing, ``drift_n``
    is how far each foot's zero wanders; without ``balls`` people only stand, walk and talk.
    """
    chance = np.random.default_rng(seed)
    tee = _Tee(chance)
    tee.hold(tee.between(2.0, 6.0))
    order = 0
    until = 60.0 * minutes - 25.0
    while tee.now < until:
        player = players[order % len(players)]
        order += 1
        if chance.random() < 0.3:
            _walk_across(tee)
        _step_on(tee, player)
        _stand(tee, player, tee.between(2.0, 8.0), player.fidgets_per_s)
        for _ in range(turn):
            if tee.now > until:
                break
            if chance.random() < talk or not balls:
                _stand(tee, player, tee.between(15.0, 60.0), 0.3)
            if balls:
                for _ in range(int(chance.choice(player.practice))):
                    practice(tee, player)
                    _stand(tee, player, tee.between(0.8, 4.0), player.fidgets_per_s)
                if chance.random() < broken_off:
                    _broken_off(tee, player)
                    _stand(tee, player, tee.between(1.0, 4.0), player.fidgets_per_s)
                _waggle(tee, player)
                _swing(tee, player, "swing")
            if chance.random() < player.step_off:
                _step_off(tee, player, tee.between(6.0, 20.0))
                _step_on(tee, player)
            _stand(tee, player, tee.between(6.0, 20.0), player.fidgets_per_s)
        _step_off(tee, player, tee.between(5.0, 15.0))
    return _sampled(tee, max(one.sway for one in players), rate_hz, drift_n, noise_n, gaps)


def _sampled(tee: _Tee, sway: float, rate_hz: float, drift_n: float, noise_n: float, gaps: int) -> Recording:
    chance = tee.chance
    t_s = np.arange(int(tee.now * rate_hz)) / rate_hz
    values = {}
    for channel, knots in tee.knots.items():
        when, value = np.array(knots).T
        keep = np.concatenate(([True], np.diff(when) > 1e-6))
        values[channel] = PchipInterpolator(when[keep], value[keep])(t_s)
    load = values["load"]
    standing = load > 30.0

    def wander(size: float, per_s: float) -> Numbers:
        keep = float(np.exp(-per_s / rate_hz))
        driven = chance.normal(0.0, size * np.sqrt(1.0 - keep * keep), len(t_s))
        return np.asarray(lfilter([1.0], [1.0, -keep], driven))

    share = np.clip(values["share"] + wander(sway, 3.0), 0.0, 1.0)
    load = np.maximum(load * (1.0 + wander(0.006, 8.0)), 0.0)
    # Zero wanders slowly, each foot on its own: a line over the whole recording and a bend in it.
    span = t_s / t_s[-1]
    zero = [
        drift_n * (sign * span + 0.3 * np.sin(2.0 * np.pi * (span + chance.random()))) for sign in (1.0, -0.6)
    ]
    left = load * share + zero[0] + chance.normal(0.0, noise_n, len(t_s))
    right = load * (1.0 - share) + zero[1] + chance.normal(0.0, noise_n, len(t_s))
    along = [
        np.where(standing & (foot > 25.0), np.clip(values[name] + wander(1.0, 3.0), 2.0, 98.0), np.nan)
        for name, foot in (("left", left), ("right", right))
    ]
    made = Recording(
        t_s,
        np.round(np.maximum(left, 0.0) if drift_n == 0.0 else left, 1),
        np.round(np.maximum(right, 0.0) if drift_n == 0.0 else right, 1),
        np.round(along[0], 1),
        np.round(along[1], 1),
        tuple(tee.planted),
    )
    keep = np.ones(len(t_s), dtype=bool)
    for start in chance.uniform(20.0, t_s[-1] - 20.0, gaps):
        keep &= ~((t_s >= start) & (t_s < start + chance.uniform(0.3, 4.0)))
    return made.part(keep) if gaps else made


HEELS = Player("heels", mass_kg=88.0, along_pct=28.0)
QUIET = Player("quiet", mass_kg=74.0, fidgets_per_s=0.01, sway=0.004, waggles=(0, 0))
FIDGETY = Player("fidgety", mass_kg=81.0, fidgets_per_s=0.35, sway=0.015, waggles=(2, 6), waggle=0.07)
LEFT_HANDED = Player("left", mass_kg=79.0, left_handed=True)
CHILD = Player("child", mass_kg=35.0, foot_mm=215.0, back_s=0.75, push=0.35, fidgets_per_s=0.15, sway=0.012)
HANGS_BACK = Player("hangs_back", mass_kg=92.0, trail_peak=0.66, lead_impact=0.57, lead_finish=0.64, push=0.2)
HITTER = Player("hitter", mass_kg=95.0, trail_peak=0.84, lead_impact=0.88, push=0.9, back_s=0.72, down_s=0.23)
SLOW = Player("slow", mass_kg=64.0, back_s=1.15, down_s=0.36, push=0.18, lead_impact=0.7, lead_finish=0.82)
HURRIED = Player("hurried", mass_kg=76.0, practice=(0,), step_off=0.0, hold_s=(0.2, 0.6))


@dataclass(frozen=True)
class World:
    name: str
    players: Sequence[Player]
    more: dict[str, object] = field(default_factory=dict)

    def made(self) -> Recording:
        return recording(*self.players, seed=sum(map(ord, self.name)), **self.more)  # type: ignore[arg-type]


WORLDS = (
    World("a quiet player", (QUIET,)),
    World("a fidgety player", (FIDGETY,)),
    World("one who stands on the heels", (HEELS,)),
    World("a left-handed player", (LEFT_HANDED,)),
    World("a child of 35 kg", (CHILD,)),
    World("one who hangs back", (HANGS_BACK,)),
    World("one who hits hard, 500 Hz", (HITTER,), {"rate_hz": 500.0}),
    World("a slow swing, 50 Hz", (SLOW,), {"rate_hz": 50.0}),
    World("ball after ball without practice", (HURRIED,)),
    World("two players in turn", (QUIET, CHILD), {"turn": 4}),
    World("right and left in turn", (HEELS, LEFT_HANDED), {"turn": 3}),
    World("three of nearly the same weight", (QUIET, HURRIED, FIDGETY), {"turn": 4}),
    World("the zero drifts", (QUIET,), {"drift_n": 40.0}),
    World("gaps in the recording", (HEELS,), {"gaps": 25}),
    World("much noise, 200 Hz", (CHILD,), {"noise_n": 9.0, "rate_hz": 200.0}),
)
SAME_PRACTICE = World(
    "practice swings that are swings", (replace(QUIET, practice=(1, 2)),), {"practice": same_as_a_swing}
)
NO_SWING = World("nobody swings", (FIDGETY, HEELS), {"balls": False})
