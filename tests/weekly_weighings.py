"""Weekly weighings of a known weight on pairs of plates, by rules of their own; nothing of the models is used here."""

from datetime import datetime, timedelta

import numpy as np
import polars as pl

START = datetime(2026, 1, 5, 8, 30)  # noqa: DTZ001 - a Monday; UTC without a zone, as in the warehouse
KNOWN_KG = (20.0, 25.0)


def weighings(
    world: str, pairs: int, seed: int, *, weeks: int = 20, noise_pct: tuple[float, float] = (0.3, 1.0)
) -> pl.DataFrame:
    """academy.device_check of plates p0001-a, p0001-b …, each with a scatter of its own.

    steady; drifts (plate a by 2 % over the weeks); jumps (plate a reads 2 % more from the middle on); forgotten (one
    week in the middle third of each pair is missing); exchanged (one such week each plate bears the other's weight).
    """
    rng = np.random.default_rng([seed, pairs, 64])
    week = np.arange(weeks)
    rows = []
    for pair in range(1, pairs + 1):
        odd = rng.integers(weeks // 3, 2 * weeks // 3)
        for plate in (0, 1):
            error = rng.uniform(*noise_pct) * rng.normal(size=weeks)
            if plate == 0 and world == "drifts":
                error += 2 * week / (weeks - 1)
            if plate == 0 and world == "jumps":
                error += 2.0 * (week >= weeks // 2)
            on_it = np.full(weeks, KNOWN_KG[plate])
            if world == "exchanged":
                on_it[odd] = KNOWN_KG[1 - plate]
            reading = on_it * (1 + error / 100)
            rows += [
                (f"p{pair:04d}-{'ab'[plate]}", START + timedelta(weeks=int(k)), KNOWN_KG[plate], reading[k])
                for k in week
                if world != "forgotten" or k != odd
            ]
    frame = pl.DataFrame(rows, schema=["device", "at", "known_kg", "reading_kg"], orient="row")
    return frame.with_columns(
        side=pl.lit("whole"),
        recalibrated=pl.lit(value=False),
        error_pct=100 * (pl.col("reading_kg") / pl.col("known_kg") - 1),
    )
