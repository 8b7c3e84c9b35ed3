"""Readers that misbehave, for the processes that read deliveries."""

import os
import signal

import numpy as np

from ingest.reading import read_session
from ingest.refusals import refuse


def doubled(number, progress):
    progress(f"at {number}")
    return number * 2


def refused(progress):
    raise refuse("unit", "the unit is not known", "name it", file="plate.csv", line=3)


def spinning(progress):
    while True:
        pass


def greedy(progress):
    return np.ones(1 << 40, dtype=np.uint8)


def crashing(progress):
    os.kill(os.getpid(), signal.SIGSEGV)


def process_id(progress):
    return os.getpid()


def slow_one(contents, delivery, academy, right, progress):
    return (
        spinning(progress)
        if delivery.name == "slow"
        else read_session(contents, delivery, academy, right, progress)
    )
