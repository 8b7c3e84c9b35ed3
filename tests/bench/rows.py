"""The rows of `make bench`, one function each; ROWS names them in the order they are printed.

Each returns its Row and raises when both sides do not give the same answers.
"""

import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd
import polars as pl
import pyarrow.parquet as pq

from bench import made
from bench.academies import asking, backing_up, checking, making
from bench.crowds import fifty_at_once
from bench.films import following, whole_clip
from bench.fits import against_mixedlm, whole_fit_against_mixedlm
from bench.pages import dearest_of_all, dearest_query, opening_a_page
from bench.papers import progress_pages
from bench.table import Row, paired, pairs_of, spent_s
from ingest.load import load
from models.swing.answers import gather
from models.swing.formulas import plate_codes
from models.swing.reduce import SessionTask, answer_task
from warehouse.store import writer


def decode(path: Path) -> dict[str, np.ndarray]:
    """Merely decoding one trace file: PyArrow to NumPy."""
    with pq.ParquetFile(path) as file:
        table = file.read(use_threads=False)
    return {name: column.to_numpy() for name, column in zip(table.column_names, table.columns, strict=True)}


def against_decoding(folder: Path, sessions: int = 30, swings: int = 20, repeats: int = 15) -> Row:
    """Reduction with filter, events, all metrics and their rows, from files, against decoding them."""
    tasks = made.tasks(folder, sessions, swings)

    def reduce():
        return gather([answer_task(task) for task in tasks])

    if reduce().metrics.height != sessions * swings:
        raise ValueError("a swing is missing")
    for task in tasks:
        decode(task.samples)
    pairs = paired(reduce, lambda: [decode(task.samples) for task in tasks], repeats)
    each, ratio = 1e6 / (sessions * swings), pairs.ours_by_base
    what = "(a) reduction from trace files / decoding them, CPU a swing"
    return Row(what, pairs.ours * each, pairs.base * each, "µs", ratio, "≤ 2.0 ×", ratio <= 2.0)


LOOP_METRICS = 34


def pandas_loop(task: SessionTask) -> pd.DataFrame:
    """The plain pandas + SciPy loop: read the file, cut it swing by swing, compute, collect rows."""
    plain = made.beside_the_swing_tests("plain_reference")
    events = pd.DataFrame(task.events.rows(), columns=task.events.columns)
    numbers = task.swings["swing_no"].to_list()
    frame = pd.read_parquet(task.samples)
    frame["swing_no"] = np.repeat(numbers, len(frame) // len(numbers))
    rows = []
    for number, swing in frame.groupby("swing_no"):
        marks = events[events["swing_no"] == number].set_index("event")["t_s"].to_dict()
        columns = {name: swing[name].to_numpy() for name in swing.columns if name != "swing_no"}
        rows.append(plain.plain_metrics(columns, made.RATE_HZ, marks, stance=list(task.stance_mm)))
    return pd.DataFrame(rows)


def against_pandas(folder: Path, sessions: int = 4, swings: int = 20, repeats: int = 7) -> Row:
    """The same against the pandas + SciPy loop, agreeing to 1e-6 in all that it computes; one core each.

    The loop has LOOP_METRICS of the metrics; the reduction is timed with all of them.
    """
    tasks = made.tasks(folder, sessions, swings)

    def reduce(times=1):
        return [gather([answer_task(task) for task in tasks]) for _ in range(times)][-1]

    metrics, loop = reduce().metrics, pd.concat([pandas_loop(task) for task in tasks])
    both = [code for code in plate_codes() if code in loop.columns]
    if len(both) < LOOP_METRICS:
        raise ValueError(f"the loop computes {len(both)} metrics")
    ours = metrics.select(both).to_numpy().astype(float)
    np.testing.assert_allclose(ours, loop[both].to_numpy(float), rtol=1e-6, atol=1e-6)
    many = 20  # one round is too short to be distinguished from noise
    pairs = paired(lambda: reduce(many), lambda: [pandas_loop(task) for task in tasks], repeats)
    each = 1e6 / (sessions * swings)
    what = "(b) the pandas + SciPy loop / reduction, CPU a swing"
    ratio = many / pairs.ours_by_base if pairs.ours_by_base else 0.0
    return Row(
        what,
        pairs.ours / many * each,
        pairs.base * each,
        "µs",
        ratio,
        "≥ 100 ×",
        ratio >= 100,
        more_is_better=True,
    )


def peak_mb(folder: Path, sessions: int, swings: int) -> float:
    """Largest resident memory of a fresh process that reduces so many sessions, MB."""
    paths = os.pathsep.join([str(Path(__file__).parents[1]), str(Path(__file__).parents[2])])
    for name, count in (("compiled", 1), ("measured", sessions)):  # compiling takes a gigabyte
        call = [sys.executable, "-m", "bench.memory", str(folder / name), str(count), str(swings)]
        done = subprocess.run(
            call, check=True, capture_output=True, text=True, env=os.environ | {"PYTHONPATH": paths}
        )
    return float(done.stdout)


def memory(folder: Path, few: int = 100, many: int = 5000, swings: int = 20) -> Row:
    """Peak memory at 2,000 and at 100,000 swings: flat (within a tenth), at most 400 MB."""
    base, ours = peak_mb(folder / "few", few, swings), peak_mb(folder / "many", many, swings)
    what = f"(c) peak memory, {many * swings:,} / {few * swings:,} swings"
    ratio = ours / base
    return Row(what, ours, base, "MB", ratio, "flat, ≤ 400 MB", ours <= 400 and ratio <= 1.1)


def against_reading(folder: Path, sessions: int = 40, swings: int = 20, repeats: int = 5) -> Row:
    """Loading plate.csv, whole (read, validate, file, trace, rows), against Polars reading the same bytes.

    Polars reads before and after each lot of sessions, as processor time itself varies on a shared machine.
    """
    home, turns = made.home_to_load(folder), []
    with writer(home) as w:
        load(home, w)
        for k in range(repeats):
            lot = home.inbox / f"lot{k}"
            data = made.lot_to_load(lot, sessions, swings, k)
            rows = sum(len(pl.read_csv(bytes_)) for bytes_ in data)
            base = spent_s(lambda data=data: [pl.read_csv(bytes_) for bytes_ in data])
            ours = spent_s(lambda lot=lot: load(home, w, [lot]))
            base += spent_s(lambda data=data: [pl.read_csv(bytes_) for bytes_ in data])
            landed = w.sql(
                "SELECT sum(n_samples) FROM academy.swing WHERE session LIKE ?", [f"s{k}-%"]
            ).item()
            if landed != rows:
                raise ValueError(f"{landed} samples landed of {rows}")
            turns.append((ours, base / 2))
    pairs = pairs_of(turns)
    ratio, each = pairs.ours_by_base, 1e3 / sessions
    what = "(d) loading plate.csv / Polars reading it, CPU a session"
    return Row(what, pairs.ours * each, pairs.base * each, "ms", ratio, "≤ 3 ×", ratio <= 3)


ROWS: dict[str, Callable[[Path], Row]] = {
    "a": against_decoding, "b": against_pandas, "c": memory, "d": against_reading, "e": against_mixedlm,
    "f": whole_fit_against_mixedlm, "g": following, "h": fifty_at_once, "i": dearest_query, "j": opening_a_page,
    "k": progress_pages, "l": whole_clip, "m": making, "n": checking, "o": backing_up, "p": asking,
    "q": dearest_of_all,
}  # fmt: skip
