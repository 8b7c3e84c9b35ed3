"""`make calibration`: simulate academies whose truth is known, print how often the claims held, keep the figures.

Runs in pieces: --truth, --students and --academies choose cells, and only their rows of
models/rules/calibration.toml are replaced. With --world it is the worlds of season_worlds in which the claims are
put to the test instead, and of those that the page has words for the figures are kept too.
"""

import argparse
import tomllib
from collections import Counter
from collections.abc import Sequence
from multiprocessing import get_context
from pathlib import Path

import numpy as np

from calibration.academies import TRUTHS, made
from calibration.claims import Claim, claims
from calibration.scores import score
from dashboard.text.claims import CLAIMS
from dashboard.text.claims import TRUTHS as WORDS
from season_worlds import run as worlds
from season_worlds.worlds import WORLDS

FILE = Path(__file__).parents[2] / "models" / "rules" / "calibration.toml"
SIZES = (20, 40, 70)
SEED = 20260405
BATCH = 10


def counted(job: tuple[str, int, int, int]) -> Counter:
    """Scores of the academies first … first + count of one cell; each academy has a seed of its own."""
    truth, students, first, count = job
    total: Counter = Counter()
    for number in range(first, first + count):
        place = TRUTHS.index(truth)
        total.update(
            score(truth, made(truth, students, np.random.default_rng([SEED, place, students, number])))
        )
    return total


def run(truths: Sequence[str], sizes: Sequence[int], academies: int, processes: int) -> list[Claim]:
    """Every claim of every cell asked for."""
    jobs = [
        (truth, students, first, min(BATCH, academies - first))
        for truth in truths for students in sizes for first in range(0, academies, BATCH)
    ]  # fmt: skip
    totals: dict[tuple[str, int], Counter] = {}
    with get_context("spawn").Pool(processes) as pool:
        for job, found in zip(jobs, pool.imap(counted, jobs), strict=True):
            totals.setdefault(job[:2], Counter()).update(found)
    return [
        claim
        for (truth, students), total in totals.items()
        for claim in claims(truth, students, total, academies)
    ]


def on_page(claim: worlds.Claim, students: int, found: worlds.Figure | None) -> list[Claim]:
    """A figure of a world as a row of the page, if the page has words for it."""
    if found is None or claim.claim not in CLAIMS or claim.world not in WORDS:
        return []
    met = None if found.verdict == "" else found.verdict == "kept"
    numbers = (round(found.value, 4), claim.lo, claim.hi, met, found.academies, round(found.error, 4))
    return [Claim(claim.claim, claim.world, students, *numbers)]


def keep(found: Sequence[Claim], file: Path = FILE) -> None:
    """Put the rows in place of those of the same truths and sizes; truths and worlds that are no more go."""
    cells = {(claim.truth, claim.students) for claim in found}
    before = tomllib.loads(file.read_text(encoding="utf-8"))["row"] if file.exists() else []
    others = [Claim(**{name: row.get(name) for name in Claim.__dataclass_fields__}) for row in before]
    order = [*TRUTHS, *WORLDS]
    kept = [c for c in others if c.truth in order and (c.truth, c.students) not in cells]
    rows = kept + list(found)
    rows.sort(key=lambda claim: (order.index(claim.truth), claim.students))
    head = "# Written by `make calibration`: how often the season's claims held in simulated academies of known truth.\n"
    file.write_text(head + "".join(claim.toml() for claim in rows), encoding="utf-8")


def main() -> None:
    """Print the table beside its goals."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--truth", action="append", choices=TRUTHS)
    parser.add_argument("--students", action="append", type=int)
    parser.add_argument("--academies", type=int, default=200)
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--dry", action="store_true", help="print only")
    parser.add_argument("--world", action="append", choices=("all", *WORLDS))
    asked = parser.parse_args()
    sizes = asked.students or SIZES
    if asked.world:
        print(worlds.HEAD)
        names = list(WORLDS) if "all" in asked.world else asked.world
        shown = []
        for found in worlds.run(names, sizes, asked.academies, asked.processes):
            print(worlds.line(*found), flush=True)
            shown += on_page(*found)
        if not asked.dry:
            keep(shown)
        return
    found = run(asked.truth or TRUTHS, sizes, asked.academies, asked.processes)
    for claim in found:
        print(claim.line())
    if not asked.dry:
        keep(found)


if __name__ == "__main__":
    main()
