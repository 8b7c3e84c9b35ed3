"""A small hand-made warehouse: one academy home in a temporary folder, filled row by row."""

from datetime import datetime, timedelta

import numpy as np
import polars as pl
import pytest

from warehouse.home import Home
from warehouse.store import writer

START = datetime(2026, 4, 1, 9, 0)  # noqa: DTZ001 - UTC without a zone, as in the warehouse


class Bench:
    """Puts rows in and takes answers out; every number in it is invented."""

    def __init__(self, open_writer):
        self.writer = open_writer

    def session(self, session, student="s1", *, day=0, season="spring", device="mat", coach="c1"):
        at = START + timedelta(days=day)
        self.writer.append(
            "academy.session",
            pl.DataFrame(
                {
                    "session": [session], "student": [student], "coach": [coach], "started_at": [at],
                    "day": [at.date()], "season": [season], "device": [device], "delivery": ["d"],
                    "has_plate": [True], "has_clip": [False], "feet_checked": [False], "reduced": [True],
                },
                schema_overrides={"season": pl.String},
            ),
        )  # fmt: skip

    def swings(self, session, values, *, first=1, family="iron", part="baseline", pace="full", **more):
        """Swings whose metrics are given as metric → list; faults as fault → list of True, False, None."""
        faults = more.pop("faults", {})
        count = len(next(iter((values or faults).values())))
        numbers = list(range(first, first + count))
        flags = more.get("flags", [])
        key = pl.DataFrame({"session": [session] * count, "swing_no": numbers})
        self.writer.append(
            "academy.swing",
            key.with_columns(
                club_family=pl.lit(family), part=pl.lit(part), pace=pl.lit(pace),
                drill=pl.lit(more.get("drill"), dtype=pl.String), device=pl.lit(more.get("device", "mat")),
                n_samples=pl.lit(1000), usable=pl.lit(more.get("usable", True)),
                heel_source=pl.lit(more.get("heel_source", "estimated")),
                flags=pl.Series([flags] * count, dtype=pl.List(pl.String)),
                flag_counts=pl.Series([[1] * len(flags)] * count, dtype=pl.List(pl.Int32)),
                file_flags=pl.Series([[]] * count, dtype=pl.List(pl.String)),
                file_flag_counts=pl.Series([[]] * count, dtype=pl.List(pl.Int32)),
            ),
        )  # fmt: skip
        columns = [pl.Series(name, column, dtype=pl.Float64) for name, column in values.items()]
        self.writer.append("academy.swing_metric", key.with_columns(columns))
        for fault, flagged in faults.items():
            student = self.writer.sql(
                "SELECT student FROM academy.session WHERE session = ?", [session]
            ).item()
            self.writer.append(
                "academy.swing_fault",
                key.with_columns(
                    student=pl.lit(student),
                    fault=pl.lit(fault), flagged=pl.Series(flagged, dtype=pl.Boolean),
                    severity=pl.lit(0.5), rule_version=pl.lit("v"),
                ),
            )  # fmt: skip

    def reference(self, metrics, faults=None):
        """Metrics as name → needs heel load; faults as code → its metrics."""
        self.writer.append(
            "academy.metric",
            pl.DataFrame({"metric": list(metrics), "needs_heel": list(metrics.values())}).with_columns(
                label=pl.col("metric"), unit=pl.lit("%"), explain=pl.lit("made up"), better=pl.lit("up"),
                decimals=pl.lit(1), phase=pl.lit("back"), core=pl.lit(True),
                followed=pl.lit(True), position=pl.lit(1),
            ),
        )  # fmt: skip
        for code, used in (faults or {}).items():
            self.writer.append(
                "academy.fault",
                pl.DataFrame(
                    {"fault": [code], "name": [code], "phase": ["back"], "looks_like": ["so"],
                     "position": [1], "metrics": [used], "rule": ["above"], "limit": [[1.0]], "clear": [1.0],
                     "in_words": ["over {limit}"]}
                ),
            )  # fmt: skip

    def touch(self, *students):
        self.writer.execute("CREATE OR REPLACE TEMP TABLE touched (student VARCHAR)")
        self.writer.execute("INSERT INTO touched SELECT unnest(CAST(? AS VARCHAR[]))", [list(students)])


@pytest.fixture
def home(tmp_path):
    (tmp_path / "academy.toml").write_text('name = "Invented"\ntime_zone = "Europe/Berlin"\n')
    return Home(tmp_path)


@pytest.fixture
def bench(home):
    with writer(home) as opened:
        yield Bench(opened)


def simulated_student(
    rng, student, *, metric="m", start=60.0, change=0.0, per_month=None, sessions=8, swings=9, sd_session=1.0,
    sd_swing=2.0, days=150, walk=0.0, plateau_at=None, device_from=None, offset=0.0, season="spring",
):  # fmt: skip
    """Rows of season.session_metric of one student's simulate, and the change it truly made."""
    at = np.sort(rng.choice(np.arange(1, days), sessions - 2, replace=False)) if sessions > 2 else []
    day = np.array([0, *at, days])[:sessions]
    t = day / 30
    reach = t if plateau_at is None else np.minimum(t, plateau_at * t[-1])
    rate = per_month if per_month is not None else change / max(reach[-1], 1e-9)
    path = start + rate * reach + walk * np.cumsum(rng.normal(size=sessions) * np.sqrt(np.diff(t, prepend=0)))
    moved = np.zeros(sessions) if device_from is None else (day >= device_from).astype(float)
    value = path + offset * moved + rng.normal(0, sd_session, sessions)
    value += rng.normal(0, sd_swing / np.sqrt(swings), sessions)
    begun = [START + timedelta(days=int(d)) for d in day]
    return pl.DataFrame(
        {
            "session": [f"{student}-{k}" for k in range(sessions)], "student": student, "coach": "c1",
            "season": season, "started_at": begun, "day": [b.date() for b in begun], "club_family": "iron",
            "part": "baseline", "pace": "full", "device": np.where(moved > 0, "plates", "mat"),
            "heel_source": "none", "metric": metric, "mean": value, "sd": sd_swing, "n": swings,
        }
    ).with_columns(pl.col("season").cast(pl.String)), path[-1] - path[0]  # fmt: skip


@pytest.fixture
def simulate():
    return simulated_student
