"""Invented sound tracks whose strike is known to the sample, and tracks on which nothing was struck."""

from collections.abc import Callable

import numpy as np
import pytest

from ingest.film.sound import clicks_in

RATE = 24_000
LASTS_S = 2.0
TRACKS = 40
NEAR_S = 0.005


def hiss(rng: np.random.Generator) -> np.ndarray:
    """The microphone's noise floor."""
    return rng.uniform(0.001, 0.006) * rng.normal(size=int(LASTS_S * RATE))


def wind(rng: np.random.Generator) -> np.ndarray:
    """Noise below 30 to 150 Hz, in gusts."""
    n = int(LASTS_S * RATE)
    spectrum = np.fft.rfft(rng.normal(size=n))
    corner = rng.uniform(30, 150)
    spectrum /= 1 + (np.fft.rfftfreq(n, 1 / RATE) / corner) ** 4
    noise = np.fft.irfft(spectrum, n)
    gusts = 1 + 0.7 * np.sin(2 * np.pi * (rng.uniform(0.3, 1.5) * np.arange(n) / RATE + rng.uniform()))
    return rng.uniform(0.05, 0.2) * gusts * noise / noise.std()


def strike(rng: np.random.Generator, at: float, peak: float) -> np.ndarray:
    """Up within 0.3 ms, then an exponential decay of three ringing tones and some noise."""
    t = np.arange(int(LASTS_S * RATE)) / RATE - at
    body = 0.4 * rng.normal(size=t.size)
    for tone in rng.uniform(1500, 7000, 3):
        body += np.sin(2 * np.pi * tone * t + rng.uniform(0, 2 * np.pi))
    after = np.maximum(t, 0)
    shape = np.where(t >= 0, np.minimum(after / 0.0003, 1) * np.exp(-after / rng.uniform(0.003, 0.012)), 0)
    sound = shape * body
    return peak * sound / np.abs(sound).max()


def echoed(rng: np.random.Generator, sound: np.ndarray) -> np.ndarray:
    """Two to four walls give it back 20 to 80 ms later, at 10 to 40 % of its height."""
    heard = sound.copy()
    for delay in rng.uniform(0.02, 0.08, rng.integers(2, 5)):
        late = round(delay * RATE)
        heard[late:] += rng.uniform(0.1, 0.4) * sound[:-late]
    return heard


def alone(rng: np.random.Generator, at: float) -> np.ndarray:
    return strike(rng, at, rng.uniform(0.2, 0.7))


def with_echoes(rng: np.random.Generator, at: float) -> np.ndarray:
    return echoed(rng, alone(rng, at))


def in_wind(rng: np.random.Generator, at: float) -> np.ndarray:
    return alone(rng, at) + wind(rng)


def beside_a_neighbour(rng: np.random.Generator, at: float) -> np.ndarray:
    """Somebody else strikes 0.25 s away or farther, heard at 10 to 30 % of the height."""
    apart = rng.uniform(0.25, 0.5)
    other = at + apart if at < LASTS_S / 2 else at - apart
    return alone(rng, at) + strike(rng, other, rng.uniform(0.02, 0.06))


def heard(rng: np.random.Generator, sound: np.ndarray) -> list[float]:
    return clicks_in(np.clip(sound + hiss(rng), -1, 1))


@pytest.mark.parametrize("world", [alone, with_echoes, in_wind])
def test_the_strike_is_the_one_click_and_within_five_milliseconds(world: Callable[..., np.ndarray]):
    found = 0
    for seed in range(TRACKS):
        rng = np.random.default_rng([seed, 71])
        at = rng.uniform(0.4, 1.6)
        clicks = heard(rng, world(rng, at))
        found += len(clicks) == 1 and abs(clicks[0] - at) <= NEAR_S
    assert found >= 0.95 * TRACKS


def test_a_neighbours_quieter_strike_does_not_hide_the_strike():
    found = 0
    for seed in range(TRACKS):
        rng = np.random.default_rng([seed, 72])
        at = rng.uniform(0.4, 1.6)
        clicks = heard(rng, beside_a_neighbour(rng, at))
        found += min((abs(click - at) for click in clicks), default=np.inf) <= NEAR_S
    assert found >= 0.95 * TRACKS


@pytest.mark.parametrize("windy", [True, False])
def test_nothing_is_claimed_where_nothing_was_struck(windy: bool):
    for seed in range(TRACKS):
        rng = np.random.default_rng([seed, 73])
        assert heard(rng, wind(rng) * windy) == [], seed
