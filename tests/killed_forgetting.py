"""Forgetting killed at random moments, in children of a process that has imported everything and used nothing.

Run as a script: `python tests/killed_forgetting.py STUDENT SEED HOME HOME…`. The first home is left to finish, to
see how long it takes; in each other one SIGKILL ends it. Prints how many of those had ended before.
"""

import os
import random
import signal
import sys
import time
from pathlib import Path

import underfoot
from ingest.loader import Loader
from killed_loads import ended_well, in_a_child
from warehouse import forgotten
from warehouse.contracts.base import dtypes_of
from warehouse.contracts.rows import contract_of
from warehouse.home import Home
from warehouse.tables import table_names


def forget(folder: Path, student: str) -> None:
    """As the command does it, without the season's models."""
    Loader._build = lambda _self, w: w.execute("UPDATE academy.session SET reduced = true")
    forgotten.ask(Home(folder), student)
    underfoot._loader(Home(folder)).forget_asked()


def main(student: str, seed: int, first: Path, *others: Path) -> None:
    for table in table_names():
        dtypes_of(contract_of(table))  # read off once, before the forks
    began = time.monotonic()
    if not ended_well(in_a_child(lambda: forget(first, student))):
        sys.exit("an undisturbed run failed")
    length, moments, late = time.monotonic() - began, random.Random(seed), 0
    for folder in others:
        child = in_a_child(lambda folder=folder: forget(folder, student))
        time.sleep(moments.uniform(0.1, 0.9) * length)
        os.kill(child, signal.SIGKILL)
        late += os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == 0
    print(late)


if __name__ == "__main__":
    main(sys.argv[1], int(sys.argv[2]), *map(Path, sys.argv[3:]))
