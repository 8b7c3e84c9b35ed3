"""A small academy made by hand, straight into the tables: what the pages must show is known to the last row."""

import re
import shutil
from datetime import date, datetime, time, timedelta
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from streamlit.util import calc_hash

import changed_academies
import season_rows
from app_test import AppTest
from dashboard import layout, location, readers
from dashboard.text.markdown import JOINER
from warehouse import invented
from warehouse.definitions import usual_faults
from warehouse.home import Home
from warehouse.store import writer
from warehouse.traces import SessionTrace, trace_path, write_trace

APP = Path(__file__).parents[2] / "dashboard" / "app.py"
ESCAPE = re.compile(r"\\([!-/:-@\[-`{-~])")  # a browser shows the sign alone
SEASON = "2026"
START = date(2026, 1, 12)
METRICS = [
    ("mid_back_trail_share_pct", "Trail share when the lead arm is parallel going back", "%", "band", True),
    (
        "impact_trail_heel_pct_bw",
        "Load left under the trail heel at impact",
        "% of body weight",
        "down",
        True,
    ),
    ("stance_width_mm", "Stance width, heel to heel", "mm", "none", False),
]
FAULTS = [
    ("stays_centred", "Little load to the trail side", "back", "mid_back_trail_share_pct"),
    ("trail_heel_down", "Trail heel still down at impact", "impact", "impact_trail_heel_pct_bw"),
]
PEOPLE = [
    ("h01", "head_coach", "Hedda Quist", None, None),
    ("c01", "coach", "Caro Lindt", None, None),
    ("c02", "coach", "Cato Brandt", None, None),
    ("s01", "student", "Sanna Test", date(2012, 5, 3), None),
    ("s02", "student", "Sven Probe", date(1980, 5, 3), None),
    ("s03", "student", "Sina Einmal", date(1990, 5, 3), None),
    ("g01", "guardian", "Gitta Test", None, ["s01"]),
    ("g02", "guardian", "Gustav Leer", None, []),
]
TOML = 'name = "Test academy"\ntime_zone = "Europe/Berlin"\ndemo = {demo}\n[device.mat-east]\nkind = "pressure_mat"\n'


@pytest.fixture(autouse=True)
def no_pandas_frames(monkeypatch):
    """Turning a frame into a pandas one freezes the server, whoever asks for it (see dashboard/tables.py)."""

    def refuse(frame, *more, **options):
        pytest.fail("a Polars frame was turned into a pandas one")

    monkeypatch.setattr(pl.DataFrame, "to_pandas", refuse)
    monkeypatch.setattr(pl.Series, "to_pandas", refuse)


def make_home(path: Path, kind: str, *, demo: bool = True) -> Home:
    """A published academy: `full`, `one_session` (one student measured once) or `empty` (a roster only)."""
    home = Home(path)
    home.make_folders()
    home.settings_file.write_text(TOML.format(demo=str(demo).lower()), encoding="utf-8")
    with writer(home) as w:
        if kind != "nobody":
            _roster(w)
        if kind == "full":
            for student, coach, change in (("s01", "c01", -4.0), ("s02", "c02", 1.0)):
                for k in range(6):
                    _session(w, home, student, coach, START + timedelta(days=14 * k), 18 + change * k, k)
            _session(w, home, "s03", "c01", START, 10.0, 0)
            _answers(w)
            changed_academies.aims(w)
            season_rows.add(w)
        if kind == "one_session":
            _session(w, home, "s01", "c01", START, 18.0, 0)
        w.publish()
    return home


def _roster(w) -> None:
    w.append(
        "academy.person",
        pl.DataFrame(
            [
                {"person": p, "role": r, "display_name": n, "born": b, "handed": "right", "level": "club",
                 "guardian_of": g, "joined": date(2025, 1, 1)}
                for p, r, n, b, g in PEOPLE
            ],
            schema_overrides={"born": pl.Date, "guardian_of": pl.List(pl.String)},
        ),
    )  # fmt: skip
    w.append(
        "academy.coaching",
        pl.DataFrame(
            [
                {"student": s, "coach": c, "from": date(2025, 1, 1)}
                for s, c in (("s01", "c01"), ("s02", "c02"), ("s03", "c01"))
            ]
        ),
    )
    w.append(
        "academy.season",
        pl.DataFrame({"season": [SEASON], "from": [date(2026, 1, 1)], "to": [date(2026, 12, 31)]}),
    )
    w.append(
        "academy.metric",
        pl.DataFrame(
            [
                {"metric": m, "label": label, "unit": unit, "explain": f"What {label.lower()} means.", "better": better,
                 "decimals": 0, "phase": "back", "needs_heel": False, "core": core, "followed": True, "position": k}
                for k, (m, label, unit, better, core) in enumerate(METRICS)
            ]
        ),
    )  # fmt: skip
    w.append(
        "academy.fault",
        pl.DataFrame(
            [
                {
                    "fault": f,
                    "name": n,
                    "phase": p,
                    "looks_like": "It looks so.",
                    "position": k,
                    "metrics": [m],
                    "rule": "above",
                    "limit": [1.0],
                    "clear": 1.0,
                    "in_words": "over {limit}",
                    "instead": next(fault.instead for fault in usual_faults() if fault.code == f),
                }
                for k, (f, n, p, m) in enumerate(FAULTS)
            ]
        ),
    )
    w.append(
        "academy.band",
        pl.DataFrame(
            [
                {
                    "metric": "mid_back_trail_share_pct",
                    "club_family": "iron",
                    "lo": 65.0,
                    "hi": 75.0,
                    "version": "1",
                },
                {
                    "metric": "impact_trail_heel_pct_bw",
                    "club_family": "iron",
                    "lo": None,
                    "hi": 3.0,
                    "version": "1",
                },
            ]
        ),
    )
    w.append(
        "academy.drill",
        pl.DataFrame(
            [{"drill": "d01", "name": "Heel-off strikes", "aim": "trail_heel_down", "how": "Strike with the trail heel already light.",
              "cautions": "Stop at any pain in the calf.", "min_age": 8}]
        ),
    )  # fmt: skip


def _session(w, home: Home, student: str, coach: str, day: date, heel: float, number: int) -> None:
    code = f"{day}-{student}"
    at = datetime.combine(day, time(15))
    w.append(
        "academy.session",
        pl.DataFrame(
            [{"session": code, "student": student, "coach": coach, "started_at": at, "day": day, "season": SEASON,
              "device": "mat-east", "delivery": f"hash-{code}", "club": "7-iron", "has_plate": True, "has_clip": False,
              "feet_checked": False, "reduced": True}]
        ),
    )  # fmt: skip
    w.append(
        "academy.delivery",
        pl.DataFrame(
            [{"delivery": f"hash-{code}", "sequence": abs(hash(code)) % 10**6, "received_at": at, "kind": "session",
              "name": code, "session": code, "outcome": "accepted", "n_files": 2, "n_bytes": 1000}]
        ),
    )  # fmt: skip
    events = {
        "address": 0.2,
        "takeaway": 0.5,
        "mid_back": 1.0,
        "top": 1.3,
        "mid_down": 1.5,
        "impact": 1.6,
        "finish": 2.2,
    }
    swings, n, rate = 6, 250, 100.0
    w.append(
        "academy.swing",
        pl.DataFrame(
            [
                {"session": code, "swing_no": k, "club": "7-iron", "club_family": "iron", "part": "baseline", "pace": "full",
                 "device": "mat-east", "rate_hz": rate, "n_samples": n, "t0_s": 0.0, "usable": k != 6,
                 "flags": ["dropout"] if k == 6 else [], "flag_counts": [3] if k == 6 else [], "file_flags": [], "file_flag_counts": [],
                 "heel_source": "measured"}
                for k in range(1, swings + 1)
            ],
            schema_overrides={name: pl.List(pl.String) for name in ("flags", "file_flags")}
            | {name: pl.List(pl.Int32) for name in ("flag_counts", "file_flag_counts")},
        ),
    )  # fmt: skip
    w.append(
        "academy.swing_event",
        pl.DataFrame(
            [
                {
                    "session": code,
                    "swing_no": k,
                    "event": e,
                    "t_s": t,
                    "source": "marked",
                    "expected_error_s": 0.0,
                    "clock": "plate",
                }
                for k in range(1, swings + 1)
                for e, t in events.items()
            ]
        ),
    )
    times = np.arange(n) / rate
    lead = 50 + 35 * np.sin(np.clip((times - 0.5) / 1.1, 0, 1) * 2 * np.pi - np.pi)
    columns = {
        "lead_n": 7 * lead, "trail_n": 700 - 7 * lead, "lead_heel_n": 3 * lead, "trail_heel_n": 300 - 3 * lead,
        "lead_along_pct": 70 - 0.4 * lead, "trail_along_pct": 30 + 0.4 * lead,
    }  # fmt: skip
    write_trace(
        trace_path(home, SEASON, code),
        SessionTrace(
            code,
            np.arange(1, swings + 1, dtype=np.int32),
            np.arange(swings + 1, dtype=np.int64) * n,
            np.full(swings, rate),
            np.zeros(swings),
            {name: np.tile(values, swings).astype(np.float32) for name, values in columns.items()},
        ),
    )
    keys = {"session": code, "student": student, "coach": coach, "season": SEASON, "started_at": at, "day": day,
            "club_family": "iron", "part": "baseline", "pace": "full", "device": "mat-east", "heel_source": "none"}  # fmt: skip
    w.append(
        "season.session_metric",
        pl.DataFrame(
            [
                keys | {"metric": "mid_back_trail_share_pct", "mean": 60.0 + number, "sd": 2.0, "n": 5},
                keys | {"metric": "impact_trail_heel_pct_bw", "mean": heel, "sd": 3.0, "n": 5},
            ]
        ),
    )
    w.append(
        "season.session_fault",
        pl.DataFrame([keys | {"fault": f, "flagged": 2, "usable": 5} for f, *_ in FAULTS]),
    )


def _answers(w) -> None:
    trend = {"season": SEASON, "metric": "impact_trail_heel_pct_bw", "club_family": "iron", "n_sessions": 6}
    w.append(
        "season.student_trend",
        pl.DataFrame(
            [
                trend | {"student": "s01", "start_value": 18.0, "value_now": -0.4, "change": -18.4, "change_lo": -22.0, "change_hi": -15.0,
                         "per_month": -7.0, "p_better": 0.99, "p_worse": 0.0, "p_improved": 0.99, "label": "improving"},
                trend | {"student": "s02", "start_value": 18.0, "value_now": 21.0, "change": 3.0, "change_lo": -2.0, "change_hi": 8.0,
                         "per_month": 1.0, "p_better": 0.1, "p_worse": 0.8, "label": "not_clear"},
            ]
        ),
    )  # fmt: skip
    w.append(
        "season.trend_line",
        pl.DataFrame(
            [
                {"season": SEASON, "student": "s01", "metric": "impact_trail_heel_pct_bw", "club_family": "iron",
                 "day": START + timedelta(days=7 * k), "mean": 18.0 - 2 * k, "lo": 15.0 - 2 * k, "hi": 21.0 - 2 * k}
                for k in range(11)
            ]
        ),
    )  # fmt: skip
    rate = {
        "season": SEASON,
        "student": "s01",
        "fault": "trail_heel_down",
        "club_family": "iron",
        "usable": 15,
        "n_sessions": 3,
    }
    w.append(
        "season.student_fault_rate",
        pl.DataFrame(
            [
                rate
                | {
                    "span": "now",
                    "flagged": 3,
                    "rate": 0.2,
                    "rate_lo": 0.1,
                    "rate_hi": 0.4,
                    "p_lower": 0.98,
                    "label": "better",
                },
                rate
                | {
                    "span": "before",
                    "flagged": 10,
                    "rate": 0.7,
                    "rate_lo": 0.5,
                    "rate_hi": 0.8,
                    "p_lower": None,
                    "label": "better",
                },
            ],
            schema_overrides={"p_lower": pl.Float64},
        ),
    )
    at = datetime.combine(date(2026, 2, 2), time(15))
    note = {"student": "s01", "at": at, "day": at.date(), "author": "c01", "delivery": "x", "loose": False}
    w.append(
        "academy.note",
        pl.DataFrame(
            [
                note | {"note": "n1", "kind": "drill", "code": "d01", "text": None, "shared": True},
                note
                | {
                    "note": "n2",
                    "kind": "plan",
                    "code": None,
                    "text": "Keep the heel light.",
                    "shared": True,
                },
                note
                | {
                    "note": "n3",
                    "kind": "saw",
                    "code": "stays_centred",
                    "text": "Only for the staff.",
                    "shared": False,
                },
                note | {"note": "n4", "kind": "practice", "code": "d01", "text": None, "shared": True},
            ]
        ),
    )
    dose = {
        "student": "s01",
        "drill": "d01",
        "at": at,
        "day": at.date(),
        "dose": 20.0,
        "unit": "reps",
        "pace": "half",
    }
    w.append(
        "academy.drill_dose",
        pl.DataFrame(
            [
                dose | {"note": "n1", "kind": "drill", "place": "home"},
                dose | {"note": "n4", "kind": "practice", "place": "home", "dose": 12.0, "unit": "minutes"},
            ]
        ),
    )
    w.append(
        "academy.refusal",
        pl.DataFrame(
            [
                {"delivery": f"bad-{c}", "session": f"2026-02-03-{s}", "file": "plate.csv", "line": 12, "column": "lead_n",
                 "reason": "out_of_range", "sentence": f"plate.csv line 12 of {s}: lead_n is 9,000 N; mend it.", "at": at,
                 "name": f"2026-02-03-{s}", "student": s, "coach": c}
                for s, c in (("s01", "c01"), ("s02", "c02"))
            ]
        ),
    )  # fmt: skip


@pytest.fixture(scope="session")
def full_home(tmp_path_factory):
    """The full academy, for copies only: nobody opens it."""
    return make_home(tmp_path_factory.mktemp("template") / "academy", "full").path


@pytest.fixture(scope="session")
def homes(tmp_path_factory, full_home):
    made: dict[str, Home] = {}

    def get(kind: str) -> Home:
        """One home a kind for all tests; a test that changes rows asks for a kind of its own name."""
        if kind not in made:
            path = tmp_path_factory.mktemp(kind) / "academy"
            if kind in ("nobody", "empty", "one_session"):
                made[kind] = make_home(path, kind)
            else:
                shutil.copytree(full_home, path)
                made[kind] = Home(path)
                made[kind].settings_file.write_text(
                    TOML.format(demo=str(kind != "real").lower()), encoding="utf-8"
                )
        return made[kind]

    return get


@pytest.fixture
def visit(homes, monkeypatch):
    """Open a page of the app as someone: visit(home kind, page path, person, **address) → AppTest."""

    monkeypatch.setattr(layout, "FIRST_ALONE_S", 0.0)
    monkeypatch.setattr(location, "peer", lambda: None)  # AppTest has no connection
    monkeypatch.setattr(invented, "people_digest", lambda _: "")  # its people are the demo's

    def go(kind: str, path: str, person: str, **address: str) -> AppTest:
        monkeypatch.setenv("UNDERFOOT_HOME", str(homes(kind).path))
        at = AppTest.from_file(str(APP), default_timeout=30)
        at._page_hash = calc_hash(path)
        at.query_params["as"] = person
        for name, value in address.items():
            at.query_params[name] = value
        return at.run()

    return go


@pytest.fixture
def reader_of(homes):
    """The reader of one person: reader_of(home kind, person)."""
    return lambda kind, person: readers.reader(homes(kind), person)


@pytest.fixture
def changed(homes, reader_of, request):
    """The full academy with some rows changed: changed(name, *statements) → a reader of it, the head coach's."""

    def make(name, *statements, person="h01"):
        kind = f"{request.path.stem}_{name}"  # other files' homes have names like these
        changed_academies.changed(homes, kind, *statements)
        return reader_of(kind, person)

    return make


def said(at: AppTest) -> str:
    """Everything a page says, in one text."""
    parts = [
        element.value
        for kind in (
            "title",
            "header",
            "subheader",
            "markdown",
            "caption",
            "text",
            "info",
            "warning",
            "error",
            "success",
        )
        for element in getattr(at, kind)
    ]
    read = ESCAPE.sub(r"\1", "\n".join(str(part) for part in parts).replace(JOINER, ""))
    return "\n".join([read, *(frame.value.to_csv() for frame in at.dataframe)])


@pytest.fixture
def page_text():
    return said


@pytest.fixture
def unfold():
    """Open everything that folds out on a page: unfold(AppTest) → AppTest."""

    def go(at: AppTest) -> AppTest:
        for key in re.findall(r"more-[^\n\"]*", "\n".join(folded.proto.id for folded in at.expander)):
            at.session_state[key] = True
        return at.run()

    return go
