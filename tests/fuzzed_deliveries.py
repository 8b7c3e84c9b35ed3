"""Thousands of mutated deliveries through every reader, loaded into one small home in batches.

Run as a script: `python tests/fuzzed_deliveries.py FOLDER SEED DELIVERIES RECORDINGS`; prints one JSON object.
RECORDINGS of the deliveries are C3D files, which are read in a process of their own at 0.2 s each.
"""

import json
import os
import random
import re
import resource
import shutil
import signal
import sys
import time
from collections import Counter
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

import made_c3d
import made_grids
import made_swings as made
from ingest import reading_process, sessions
from ingest.load import load
from peak import peak_mb
from warehouse.home import Home
from warehouse.store import writer

SETTINGS = """name = "The Thistle Bank academy"
time_zone = "Europe/Dublin"
[device.mat]
kind = "pressure_mat"
[device.plates]
kind = "force_plates"
lead_platform = 1
[device.grid]
kind = "sensor_grid"
"""
BATCH, LIMIT_S = 40, 10
NOTES = (
    "at,author,kind,code,grade,value,text,shared\n2026-05-05,c1,saw,late_crossing,2,,,true\n"
    '2026-05-05,c1,plan,,,,"Slow, then full.",false\n2026-05-05,c1,drill,d1,,10,,true\n'
)
SHOTS = "swing_no,carry_m,side_m,club_speed_m_s\n1,141.5,-3.2,38.1\n"
CLIP = "swing_no,frame,point,x_px,y_px,score\n" + "".join(
    f"1,{frame},{point},{100 + 40 * k + frame},{500 - k},0.9\n"
    for frame in range(12)
    for k, point in enumerate(("lead_heel", "lead_toe", "trail_heel", "trail_toe"))
)
EVENTS = "swing_no,event,t_s,clock\n" + "".join(
    f"1,{name},{11.6 + at:.3f},plate\n" for name, at in made.EVENTS.items()
)
NASTY = [
    b"", b"\0", b"\xff\xfe", b"\xef\xbb\xbf", b"'; DROP TABLE academy.person; --", b"../../../etc/passwd",
    b"=1+1", b"NaN", b"inf", b"-1e309", b"9" * 400, b'"', b"\r", b"\n\n\n", b"<script>alert(1)</script>", b";;;;",
    b",,,,", b"1e400", b"0x10", b"\xf0\x9f\x92\xa9", b"[[swing]]", b"null", b"{" * 300, b"2026-13-45", b"\x1b[31m",
    b"[" * 300, b"a." * 300 + b"b = 1", b'x = """', b"\n[[hold]]\nno = 1\n" * 200,
]  # fmt: skip


def plain(folder: Path, name: str, **files: str) -> None:
    """A session of plate.csv with whatever other files there are."""
    clip = '[clip]\nfps = 60\nshoe_length_mm = 290\nview = "face_on"\n' if "clip__csv" in files else ""
    events = {} if "events__csv" in files else made.EVENTS
    toml = made.session_toml(name, events=events)
    toml = toml.replace("\n[[swing]]", f"\n{clip}\n[[swing]]", 1)
    frame = None if files.pop("no_plate", None) else made.swing_frame(rate_hz=60)
    made.write_session(folder, toml, frame, files.pop("plate", "plate.csv"))
    for file, text in files.items():
        (folder / file.replace("__", ".")).write_text(text)


def recording(folder: Path, name: str) -> None:
    toml = made.session_toml(name, device="plates", events={}).replace("no = 1", 'no = 1\nfile = "one.c3d"')
    made.write_session(folder, toml, None)
    (folder / "one.c3d").write_bytes(SOURCES["c3d"])


def grid(folder: Path, name: str, kind: str) -> None:
    made.write_session(folder, made.session_toml(name, device="grid", events={}), None)
    (folder / f"frames.{kind}").write_bytes(SOURCES[kind])


KINDS = {
    "session.toml": plain,
    "plate.csv": plain,
    "plate.parquet": lambda f, n: plain(f, n, plate="plate.parquet"),
    "notes.csv": lambda f, n: plain(f, n, notes__csv=NOTES),
    "notes.jsonl": lambda f, n: plain(f, n, notes__jsonl=JSONL),
    "shots.csv": lambda f, n: plain(f, n, shots__csv=SHOTS),
    "events.csv": lambda f, n: plain(f, n, events__csv=EVENTS),
    "clip.csv": lambda f, n: plain(f, n, clip__csv=CLIP),
    "frames.npz": lambda f, n: grid(f, n, "npz"),
    "frames.parquet": lambda f, n: grid(f, n, "parquet"),
}
LOOSE = (
    "academy.toml",
    "people.csv",
    "coaching.csv",
    "drills.csv",
    "seasons.csv",
    "consents.csv",
    "notes.csv",
    "shots.csv",
)
JSONL = '{"at": "2026-05-05", "author": "c1", "kind": "plan", "text": "Slow.", "shared": true}\n'
SOURCES: dict[str, bytes] = {}
UNTOUCHED: list = []


def mutate(data: bytes, chance: random.Random) -> bytes:
    """One to four changes: a byte flipped, a piece cut, doubled, moved or replaced, a line or cell made nasty."""
    for _ in range(chance.choice([1, 1, 1, 2, 4])):
        at = chance.randrange(len(data) + 1)
        to = min(len(data), at + chance.choice([1, 2, 8, 64, 1000]))
        how = chance.randrange(8)
        if how == 0 and data:
            spot = chance.randrange(len(data))
            data = data[:spot] + bytes([data[spot] ^ (1 << chance.randrange(8))]) + data[spot + 1 :]
        elif how == 1:
            data = data[:at]
        elif how == 2:
            data = data[:at] + data[to:]
        elif how == 3:
            data = data[:at] + data[at:to] * chance.randint(2, 20) + data[to:]
        elif how == 4:
            data = data[:at] + chance.choice(NASTY) + data[at:]
        elif how == 5:
            data = data[:at] + chance.randbytes(to - at) + data[to:]
        elif how == 6:
            cells = [m.span() for m in re.finditer(rb"[^,;=\n]+", data)]
            if cells:
                low, high = chance.choice(cells)
                data = data[:low] + chance.choice(NASTY) + data[high:]
        else:
            lines = data.split(b"\n")
            chance.shuffle(lines) if chance.random() < 0.2 else lines.insert(
                chance.randrange(len(lines)), chance.choice(lines)
            )
            data = b"\n".join(lines)
    return data


def sources(base: Path) -> None:
    """The recordings that mutants are made from: one small swing each."""
    grid = made_grids.make(rate=50.0, pitch=15.0)
    pressure = grid.pressure.astype(np.float32)
    SOURCES["npz"] = grid.write(base / "frames.npz", pressure=pressure).read_bytes()
    n, rows, cols = pressure.shape
    table = pa.table(
        {"t_s": grid.t_s, "swing_no": grid.swing_no, "pressure": list(pressure.reshape(n, -1))}
    ).replace_schema_metadata({"rows": str(rows), "cols": str(cols), "pitch_mm": str(grid.pitch_mm)})
    pq.write_table(table, base / "frames.parquet")
    SOURCES["parquet"] = (base / "frames.parquet").read_bytes()
    swing = made.swing_frame(rate_hz=100)
    SOURCES["c3d"] = made_c3d.write_c3d(base / "one.c3d", swing, made_c3d.Setup()).read_bytes()


def check(w, home: Home, given: set[str], report) -> None:
    """No half session, nothing of a refused one, everything accounted for."""
    halves = w.sql(
        "SELECT s.session FROM academy.session s WHERE s.has_plate AND NOT EXISTS "
        "(SELECT 1 FROM academy.swing w WHERE w.session = s.session) AND NOT EXISTS "
        "(SELECT 1 FROM academy.hold h WHERE h.session = s.session)"
    )
    strays = w.sql(
        "SELECT session FROM academy.swing ANTI JOIN academy.session USING (session) UNION ALL "
        "SELECT session FROM academy.swing_event ANTI JOIN academy.swing USING (session, swing_no)"
    )
    want = set(w.sql("SELECT session FROM academy.session WHERE has_plate").to_series())
    have = {p.stem for p in home.traces.rglob("*.parquet")}
    left = [p for p in home.inbox.rglob("*") if p.is_file()] + list(home.filed.glob("pending*"))
    wrong = {"halves": halves.rows(), "strays": strays.rows(), "traces": sorted(want ^ have), "left": left}
    if any(wrong.values()):
        raise AssertionError(wrong)
    if untouched(w) != UNTOUCHED:
        raise AssertionError("another session's rows have changed")
    bad = [r.sentence for r in report.refused if "\n" in r.sentence or "Traceback" in r.sentence]
    if bad:
        raise AssertionError(bad)
    w.execute("SELECT count(*) FROM academy.person")


def untouched(w) -> list:
    """What the sound sessions measured, which no mutant may change."""
    tables = ("swing", "swing_event", "hold")
    return [
        w.sql(f"SELECT * FROM academy.{table} WHERE session LIKE 'sound%' ORDER BY ALL").rows()
        for table in tables
    ]


def make(home: Home, number: int, kind: str, chance: random.Random) -> str:
    name = f"f{number:05d}"
    if kind.startswith("loose "):
        file = kind.removeprefix("loose ")
        text = {"notes.csv": LOOSE_NOTES, "shots.csv": LOOSE_SHOTS}.get(file) or (ROSTER / file).read_text()
        target = home.inbox / name / file
        target.parent.mkdir()
        target.write_bytes(mutate(text.encode(), chance))
    elif kind == "archive.zip":
        plain(home.path / name, name)
        file = Path(shutil.make_archive(str(home.inbox / name), "zip", home.path, name))
        shutil.rmtree(home.path / name)
        spoil(file, chance)
    elif kind == "plate.c3d":
        recording(home.inbox / name, name)
        spoil(home.inbox / name / "one.c3d", chance)
    else:
        KINDS[kind](home.inbox / name, name)
        spoil(home.inbox / name / kind, chance)
    return name


def spoil(file: Path, chance: random.Random) -> None:
    file.write_bytes(mutate(file.read_bytes(), chance))


ROSTER = Path()
LOOSE_NOTES = "session,student,at,author,kind,code,grade,text,shared\n,s1,2026-05-07,c1,plan,,,Quiet.,true\n"
LOOSE_SHOTS = "session,swing_no,carry_m,side_m\nsound,1,150,2\n"


def sound(home: Home) -> None:
    """Unspoilt, every kind is taken: the mutants start from what is right."""
    for kind, make_one in KINDS.items():
        make_one(home.inbox / f"sound-{kind}", f"sound-{kind}")
    recording(home.inbox / "sound-c3d", "sound-c3d")
    with writer(home) as w:
        report = load(home, w)
        UNTOUCHED.extend(untouched(w))
    if report.refused or len(report.accepted) != len(KINDS) + 1:
        sys.exit(f"a sound delivery was refused: {report.refused}")


def main(base: Path, seed: int, deliveries: int, recordings: int) -> None:
    global ROSTER  # noqa: PLW0603
    home, chance = Home(base / "academy"), random.Random(seed)
    home.path.mkdir(parents=True)
    home.settings_file.write_text(SETTINGS)
    home.make_folders()
    ROSTER = made.write_roster(base / "roster")
    (ROSTER / "academy.toml").write_text(SETTINGS)
    shutil.copytree(ROSTER, home.inbox / "roster")
    made.write_session(home.inbox / "sound", made.session_toml("sound"), made.swing_frame(rate_hz=60))
    with writer(home) as w:
        if load(home, w).refused:
            sys.exit("the sound home was refused")
    sources(base)
    sound(home)
    slowest, read, answer = [0.0], sessions.Sessions._read, reading_process._Reader.answer

    def timed(real):
        def reading(*given):
            began = time.monotonic()
            try:
                return real(*given)
            finally:
                slowest[0] = max(slowest[0], time.monotonic() - began)

        return reading

    def read_timed(self, delivery, contents, right):
        little = reading_process.is_little(delivery.files, contents.n_bytes)  # else it may wait for its turn
        return (timed(read) if little else read)(self, delivery, contents, right)

    sessions.Sessions._read = read_timed
    reading_process._Reader.answer = timed(answer)
    kinds = [*KINDS, "archive.zip", *(f"loose {name}" for name in LOOSE)]
    plan = [kinds[number % len(kinds)] for number in range(deliveries - recordings)]
    plan += ["plate.c3d"] * recordings
    outcomes, tried, began = Counter(), Counter(plan), time.monotonic()
    signal.signal(signal.SIGALRM, lambda *_: sys.exit("a load hung"))
    for first in range(0, len(plan), BATCH):
        given = {make(home, first + k, kind, chance) for k, kind in enumerate(plan[first : first + BATCH])}
        signal.alarm(LIMIT_S * len(given))
        with writer(home) as w:
            report = load(home, w)
            check(w, home, given, report)
            outcomes["accepted"] += len(report.accepted)
            outcomes["refused"] += len({r.delivery for r in report.refused if r.swing_no is None})
            outcomes["swings refused"] += sum(r.swing_no is not None for r in report.refused)
            outcomes["files taken"] += list(report.files.values()).count("accepted")
        signal.alarm(0)
        shutil.rmtree(home.inbox)
        home.inbox.mkdir()
        with writer(home) as w:  # a mutant may have ended a consent
            load(home, w, [ROSTER])
    reading_process._readers.close()  # what they took counts once they have ended
    print(json.dumps({
        "deliveries": len(plan), "by_kind": tried, "outcomes": outcomes,
        "slowest_read_s": round(slowest[0], 2), "seconds": round(time.monotonic() - began, 1),
        "cpu_s": round(sum(os.times()[:4]), 1),
        "peak_mb": round(peak_mb()),
        "peak_child_mb": round(resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024),
    }))  # fmt: skip


if __name__ == "__main__":
    main(Path(sys.argv[1]), *map(int, sys.argv[2:5]))
