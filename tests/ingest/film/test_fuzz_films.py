"""Broken films: read or refused in one sentence, soon, and never anything else."""

import random
import time

import av

import made_films
from fuzzed_deliveries import mutate
from ingest.film.following import follow_film
from ingest.refusals import UNREADABLE
from warehouse.errors import Refused

MUTANTS = 150


def test_mutated_films_are_read_or_refused(tmp_path):
    whole = made_films.film(tmp_path / "whole.mp4", seconds=0.4, width=320).path.read_bytes()
    chance, outcomes, slowest = random.Random(4), {"read": 0, "refused": 0}, 0.0
    sentences: list[str] = []
    av.logging.set_level(av.logging.PANIC)
    for _ in range(MUTANTS):
        data = mutate(whole, chance)
        (tmp_path / "clip.mp4").write_bytes(data)
        began = time.monotonic()
        try:
            follow_film(tmp_path / "clip.mp4", "clip.mp4")
            outcomes["read"] += 1
        except (Refused, *UNREADABLE) as told:
            outcomes["refused"] += 1
            sentences.append(told.refusal.sentence if isinstance(told, Refused) else "")
        slowest = max(slowest, time.monotonic() - began)
    print(outcomes, f"slowest {slowest:.2f} s")
    assert slowest < 10
    assert not any("\n" in sentence for sentence in sentences)
    assert min(outcomes.values()) > 5
