"""What every row of the bench shares: processor time of both sides, paired in one run, and the printed line."""

import csv
import gc
import os
import statistics
import time
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import date
from pathlib import Path


@dataclass(frozen=True)
class Row:
    """One goal: our figure, the baseline of the same run, and whether the goal is met."""

    what: str
    figure: float
    baseline: float
    unit: str
    ratio: float
    goal: str
    met: bool
    more_is_better: bool = False  # of the ratio

    def line(self, before: float | None = None) -> str:
        """The row as one line of a Markdown table; `before` is its ratio in the run before."""
        met = "yes" if self.met else "no"
        return (
            f"| {self.what} | {self.figure:.4g} {self.unit} | {self.baseline:.4g} {self.unit} "
            f"| {self.ratio:.3g}{self.loss(before)} | {self.goal} | {met} |"
        )

    def loss(self, before: float | None) -> str:
        """Words for a ratio that is worse than before by more than a tenth; else empty."""
        if not before or not self.ratio:
            return ""
        worse = before / self.ratio if self.more_is_better else self.ratio / before
        return f" (WORSE: it was {before:.3g})" if worse > 1 + LOSS else ""


LOSS = 0.1
HISTORY = Path(__file__).with_name("history.csv")  # of each run: day, row, ratio


def last_ratios(history: Path = HISTORY) -> dict[str, float]:
    """The newest ratio of each row, by its letter."""
    if not history.exists():
        return {}
    with history.open(encoding="utf-8", newline="") as file:
        return {row["row"]: float(row["ratio"]) for row in csv.DictReader(file)}


def remember(row: Row, day: date, history: Path = HISTORY) -> None:
    """Add a row's ratio to the history."""
    new = not history.exists()
    with history.open("a", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        if new:
            writer.writerow(("day", "row", "ratio"))
        writer.writerow((day.isoformat(), letter(row), f"{row.ratio:.4g}"))


def letter(row: Row) -> str:
    """The letter a row begins with."""
    return row.what[1 : row.what.index(")")]


def cpu_s() -> float:
    """Processor time of this process, all its threads, and its children, ended or at work, s.

    Deliveries are read in a process that outlives them, so its time has to be asked for while it lives.
    """
    ended = os.times()
    total = time.process_time() + ended.children_user + ended.children_system
    for children in Path("/proc/self/task").glob("*/children"):
        for child in children.read_text().split():
            for thread in Path(f"/proc/{child}/task").glob("*/schedstat"):
                with suppress(OSError):  # it ended meanwhile
                    total += int(thread.read_text().split()[0]) / 1e9  # time on a processor, ns
    return total


def spent_s(work: Callable[[], object]) -> float:
    """Processor time of one call, s."""
    gc.collect()
    gc.freeze()  # what the other rows of the bench left in memory is not this one's to sweep
    try:
        before = cpu_s()
        work()
        return cpu_s() - before
    finally:
        gc.unfreeze()


@dataclass(frozen=True)
class Pairs:
    """Processor time of both sides, s, medians of runs by turns, and the median of each turn's own ratios.

    A busy machine slows both sides of a turn; one turn against another says nothing.
    """

    ours: float
    base: float
    ours_by_base: float


def paired(ours: Callable[[], object], baseline: Callable[[], object], repeats: int) -> Pairs:
    """Both sides run by turns."""
    return pairs_of([(spent_s(ours), spent_s(baseline)) for _ in range(repeats)])


def pairs_of(turns: Sequence[tuple[float, float]]) -> Pairs:
    """What the turns (ours, baseline) come to."""
    return Pairs(
        statistics.median(ours for ours, _ in turns),
        statistics.median(base for _, base in turns),
        statistics.median(ours / base if base else 0.0 for ours, base in turns),
    )
