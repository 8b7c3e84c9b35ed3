"""Largest memory of a process."""

import resource
from pathlib import Path


def peak_mb() -> float:
    """Largest resident memory of this process since its program began, MB.

    Linux's VmHWM: `ru_maxrss` of a new process starts from what the process that began it had in use.
    """
    status = Path("/proc/self/status")
    if status.exists():
        line = next(x for x in status.read_text().splitlines() if x.startswith("VmHWM"))
        return int(line.split()[1]) / 1024
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
