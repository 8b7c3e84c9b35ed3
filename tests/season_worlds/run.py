"""`make calibration CALIBRATE="--world all"`: false rates and power in these worlds, beside what is promised.

Each academy has a seed of its own, so that a cell can be run again, or further, on its own.
"""

import tempfile
from collections.abc import Iterator, Sequence
from multiprocessing import get_context
from pathlib import Path

from season_worlds.answers import answering
from season_worlds.claims import CLAIMS, Claim, Figure, counted, figure
from season_worlds.worlds import WORLDS

SEED = 730114001
BATCH = 5
HEAD = f"{'world':30} {'n':>3}  {'claim':28} {'figure':>8} {'± se':>7}  {'promised':14} {'academies':>9}"


def claims_of(world: str) -> list[Claim]:
    return [claim for claim in CLAIMS if claim.world == world]


def scored(job: tuple[str, int, int, int]) -> list[list[tuple[float, float]]]:
    """Every claim's counts in the academies first … first + count of one cell."""
    name, students, first, count = job
    made = (WORLDS[name](students, SEED + 1000 * number + students) for number in range(first, first + count))
    with tempfile.TemporaryDirectory() as folder, answering(Path(folder) / "home") as answers:
        by_academy = [counted(answers, world, claims_of(name)) for world in made]
    return [list(of_claim) for of_claim in zip(*by_academy, strict=True)]


def run(
    worlds: Sequence[str], sizes: Sequence[int], academies: int, processes: int
) -> Iterator[tuple[Claim, int, Figure | None]]:
    """Every claim of every cell asked for, cell by cell as they are done."""
    cells = [(world, students) for world in worlds if claims_of(world) for students in sizes]
    firsts = range(0, academies, BATCH)
    jobs = [(*cell, first, min(BATCH, academies - first)) for cell in cells for first in firsts]
    with get_context("spawn").Pool(processes) as pool:
        done = pool.imap(scored, jobs)
        for world, students in cells:
            batches = [next(done) for _ in firsts]
            for k, claim in enumerate(claims_of(world)):
                yield claim, students, figure(claim, [count for batch in batches for count in batch[k]])


def line(claim: Claim, students: int, found: Figure | None) -> str:
    """As a line of the printed table."""
    start = f"{claim.world:30} {students:3d}  {claim.claim:28}"
    if found is None:
        return f"{start}  nothing is claimed"
    ends = [("" if end is None else f"{end:g}") for end in (claim.lo, claim.hi)]
    promised = "" if ends == ["", ""] else f"{'..'.join(ends)}"
    return (
        f"{start} {found.value:8.3f} {found.error:7.3f}  {promised:14} {found.academies:9d}  {found.verdict}"
    )
