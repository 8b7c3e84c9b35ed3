"""Read one C3D file and write what the readers need of it to standard output, as an npz archive.

With two more arguments it writes a C3D file there, of the frames from one to before the other, from 0.

Run as a process of its own by `ingest.formats.c3d_file`: the library's parser is compiled code that a damaged
file can bring down, and a load must outlive that.
"""

import io
import json
import sys
import tempfile
from pathlib import Path
from typing import Any

import ezc3d
import numpy as np

if sys.platform != "win32":
    import resource

WANTED = {
    "POINT": ("RATE", "UNITS", "LABELS", "LABELS2", "LABELS3"),
    "ANALOG": ("RATE", "UNITS", "UNITS2"),
    "FORCE_PLATFORM": ("USED", "TYPE", "CORNERS", "ORIGIN", "CHANNEL", "CAL_MATRIX"),
    "EVENT": ("USED", "TIMES", "LABELS"),
}
BODY_MASS = ("bodymass", "body_mass", "mass")
TEXT = -1
MOST_BYTES = 8 << 30  # a damaged size must end here, not with the machine's memory


def contents(path: str) -> dict[str, Any]:
    """Arrays and texts of the file, named GROUP.PARAMETER, with points (3, P, T) and analogs (C, N)."""
    recording = ezc3d.c3d(path)
    header = recording["header"]["points"]
    found: dict[str, Any] = {
        "points": recording["data"]["points"][:3],
        "residuals": recording["data"]["meta_points"]["residuals"][0],
        "analogs": recording["data"]["analogs"][0],
        "first_frame": np.array(header["first_frame"], dtype=float),
        "frame_rate": np.array(header["frame_rate"], dtype=float),
    }
    texts: dict[str, list[str]] = {}
    for group, parameters in recording["parameters"].items():
        for name, parameter in parameters.items():
            if name in WANTED.get(group, ()):
                key = f"{group}.{name}"
                if parameter["type"] == TEXT:
                    texts[key] = [str(text) for text in parameter["value"]]
                else:
                    found[key] = np.asarray(parameter["value"], dtype=float)
            elif name.lower() in BODY_MASS and parameter["type"] != TEXT:
                found["body_mass"] = np.asarray(parameter["value"], dtype=float)
    found["texts"] = np.frombuffer(json.dumps(texts).encode(), dtype=np.uint8)
    return found


def part(path: str, low: int, high: int) -> bytes:
    """A C3D file of some frames of another, on its clock."""
    recording = ezc3d.c3d(path)
    data, header = recording["data"], recording["header"]
    each = data["analogs"].shape[2] // data["points"].shape[2]
    data["points"] = data["points"][:, :, low:high]
    data["analogs"] = data["analogs"][:, :, low * each : high * each]
    for name, values in data["meta_points"].items():
        data["meta_points"][name] = values[:, :, low:high]
    header["points"]["first_frame"] += low
    parameters = recording["parameters"]
    trial = parameters["TRIAL"] if "TRIAL" in parameters else {}  # noqa: SIM401 - these have no get
    first, last = header["points"]["first_frame"] + 1, header["points"]["first_frame"] + high - low
    for name, frame in (("ACTUAL_START_FIELD", first), ("ACTUAL_END_FIELD", last)):
        if name in trial:
            trial[name]["value"] = np.array([frame & 0xFFFF, frame >> 16])
    with tempfile.TemporaryDirectory() as folder:
        recording.write(str(Path(folder) / "part.c3d"))
        return (Path(folder) / "part.c3d").read_bytes()


def main() -> None:
    """Write the contents, or a part, or leave with a status other than 0."""
    if sys.platform != "win32":
        resource.setrlimit(resource.RLIMIT_AS, (MOST_BYTES, MOST_BYTES))
    path, *frames = sys.argv[1:]
    if frames:
        sys.stdout.buffer.write(part(path, *map(int, frames)))
        return
    archive = io.BytesIO()
    np.savez(archive, **contents(path))
    sys.stdout.buffer.write(archive.getvalue())


if __name__ == "__main__":
    main()
