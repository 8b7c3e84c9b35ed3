"""Bad files of each kind: one refusal, one sentence that names the file, no traceback, nothing landed."""

import io
import shutil
from pathlib import Path

import numpy as np
import polars as pl
import pytest

import made_c3d
import made_grids
from warehouse.errors import UnderfootError

DEVICES = (
    '\n[device.grid]\nkind = "sensor_grid"\n[device.platforms]\nkind = "force_plates"\nlead_platform = 1\n'
)
GARBAGE = bytes(range(256)) * 9
TEXTS = {
    "clip.csv": "swing_no,t_s,point,x_px,y_px\n" + "".join(f"1,0.{k},lead_heel,1{k},20\n" for k in range(9)),
    "events.csv": "swing_no,event,t_s\n1,top,1.2\n1,impact,1.5\n",
    "notes.csv": "session,student,at,author,kind,swing_no,code,grade,value,value_to,unit,pace,place,text,shared\n"
    "v1,,2026-05-05T10:20:00+01:00,c1,saw,,trail_push,2,,,,,,pushes,true\n",
    "notes.jsonl": '{"session": "v1", "at": "2026-05-05T10:20:00+01:00", "author": "c1", "kind": "saw", '
    '"code": "trail_push", "grade": 2}\n',
    "shots.csv": "session,swing_no,ball_speed_m_s\nv1,1,50\n",
}
CLIP = '\n[clip]\nfps = 240\nshoe_length_mm = 290\nview = "face_on"\n'
NO_TEXT = ("plate.parquet", "plate.c3d", "frames.npz", "frames.parquet")
SESSION_FILES = ("plate.csv", *NO_TEXT, *TEXTS)
ROSTERS = ("people.csv", "coaching.csv", "drills.csv", "seasons.csv", "consents.csv")
WRONGS = ("empty", "truncated", "garbage", "another", "no_column")


@pytest.fixture(scope="module")
def good(made, tmp_path_factory):
    """Bytes of a sound file of each kind."""
    base = tmp_path_factory.mktemp("good")
    plate, grid = made.plate(1, rate_hz=250), made_grids.make(rate=50.0, seconds=1.0)
    plate.write_csv(base / "plate.csv")
    plate.write_parquet(base / "plate.parquet")
    made_c3d.write_c3d(base / "plate.c3d", plate, made_c3d.Setup())
    grid.write(base / "frames.npz")
    frames = pl.DataFrame({"swing_no": grid.swing_no, "t_s": grid.t_s, "pitch_mm": np.full(50, 10.0)})
    flat = grid.pressure.reshape(50, -1).tolist()
    frames.with_columns(rows=44, cols=62, pressure=pl.Series(flat)).write_parquet(base / "frames.parquet")
    found = {path.name: path.read_bytes() for path in base.iterdir()}
    found |= {name: text.encode() for name, text in (TEXTS | made.roster).items()}
    return found | {"session.toml": made.toml(swings=1).encode()}


def without_column(name, data):
    """The file without something it can't do without."""
    if name.endswith(".csv"):
        lost = {"notes.csv": "at", "shots.csv": "swing_no"}.get(name)
        frame = pl.read_csv(io.BytesIO(data), infer_schema=False)
        lost = lost or ("lead_n" if name == "plate.csv" else frame.columns[0])
        return frame.drop(lost).write_csv().encode()
    if name.endswith(".parquet"):
        out = io.BytesIO()
        pl.read_parquet(io.BytesIO(data)).drop(
            "lead_n" if name.startswith("plate") else "pressure"
        ).write_parquet(out)
        return out.getvalue()
    if name.endswith(".npz"):
        out = io.BytesIO()
        np.savez(out, **{k: v for k, v in np.load(io.BytesIO(data)).items() if k != "pressure"})
        return out.getvalue()
    lost = {".jsonl": b'"kind": "saw", ', ".toml": b"session", ".c3d": b"FORCE_PLATFORM"}
    lost = lost[Path(name).suffix]
    return data.replace(lost, b"GORCE_PLATFORM" if name.endswith(".c3d") else b"")


def spoilt(name, wrong, good):
    data = good[name]
    another = "people.csv" if name != "people.csv" else "shots.csv"
    return {
        "empty": lambda: b"",
        "truncated": lambda: (
            data[: len(data) * 3 // 5].rstrip(b"\n") if b"\n" not in data[:400] else cut(data)
        ),
        "garbage": lambda: GARBAGE,
        "another": lambda: good[another],
        "no_column": lambda: without_column(name, data),
    }[wrong]()


def cut(data):
    """Cut within the header or the last row's second cell, where a text file can tell that it is cut."""
    return data[: data.index(b"\n") // 2]


def device(name):
    return "grid" if name.startswith("frames") else "platforms" if name.endswith(".c3d") else "mat"


def one_sentence(told, name):
    assert name in told, told
    assert told.endswith("."), told
    assert "\n" not in told
    assert "Traceback" not in told
    assert ";" in told, f"it does not say what to do: {told}"


@pytest.fixture(scope="module")
def home(made, tmp_path_factory):
    """One home for every case; what it held before must be all it holds after the last."""
    home = made.make_academy(tmp_path_factory.mktemp("bad") / "academy", made.settings + DEVICES)
    home.roster()
    assert home.load().refused == []
    before = home.tables(without=("academy.refusal",))
    yield home
    assert home.tables(without=("academy.refusal",)) == before


def refused_alone(home, name):
    report = home.load()
    for path in home.home.refused.iterdir():
        shutil.rmtree(path)
    assert len(report.refused) == 1, [r.sentence for r in report.refused]
    one_sentence(report.refused[0].sentence, name)
    assert report.accepted == []
    assert not any(report.rows.values())


@pytest.mark.parametrize("wrong", WRONGS)
@pytest.mark.parametrize("name", [*SESSION_FILES, "session.toml"])
def test_a_bad_file_of_a_session_is_refused_in_one_sentence(home, made, good, name, wrong):
    plate = None if name in ("plate.csv", *NO_TEXT) else made.plate(1)
    sheet = made.toml(swings=1, device=device(name), more=CLIP if name == "clip.csv" else "")
    folder = made.deliver(home.inbox / "v1", sheet, plate)
    (folder / name).write_bytes(spoilt(name, wrong, good))
    refused_alone(home, name)


@pytest.mark.parametrize("wrong", WRONGS)
@pytest.mark.parametrize("name", ROSTERS)
def test_a_bad_roster_file_is_refused_in_one_sentence(home, good, name, wrong):
    (home.inbox / name).write_bytes(spoilt(name, wrong, good))
    refused_alone(home, name)


@pytest.mark.parametrize(
    "content", [b"", b'name = "The Br', GARBAGE, b"person,role\ns1,coach\n", b'name = "x"\n']
)
def test_a_bad_academy_toml_is_one_error_in_one_sentence(bare, content):
    bare.home.settings_file.write_bytes(content)
    with pytest.raises(UnderfootError) as told:
        bare.load()
    one_sentence(str(told.value), "academy.toml")
