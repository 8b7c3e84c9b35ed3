"""A fresh process that reduces sessions batch by batch, as a build does, and prints its peak memory, MB."""

import os
import sys
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path

from bench import made
from models.samples import BATCH
from models.swing.answers import gather
from models.swing.reduce import answer_task
from peak import peak_mb


def main(folder: Path, sessions: int, swings: int) -> None:
    """Reduce `sessions` files; they are names of one file, so that the disk holds it once."""
    task = made.tasks(folder, 1, swings)[0]
    for first in range(0, sessions, BATCH):
        batch = []
        for k in range(first, min(first + BATCH, sessions)):
            path = folder / f"copy{k}.parquet"
            os.link(task.samples, path)
            batch.append(replace(task, samples=path))
        with ThreadPoolExecutor(os.cpu_count()) as threads:
            found = gather(list(threads.map(answer_task, batch)))
        if found.metrics.height != swings * len(batch):
            raise ValueError("a swing is missing")
    print(peak_mb())


main(Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3]))
