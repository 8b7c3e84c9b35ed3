"""A small hand-made warehouse: one academy home in a temporary folder, filled row by row."""

from datetime import datetime, timedelta

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
            self.writer.append(
                "academy.swing_fault",
                key.with_columns(
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
                decimals=pl.lit(1), phase=pl.lit("back"), core=pl.lit(True), position=pl.lit(1),
            ),
        )  # fmt: skip
        for code, used in (faults or {}).items():
            self.writer.append(
                "academy.fault",
                pl.DataFrame(
                    {"fault": [code], "name": [code], "phase": ["back"], "looks_like": ["so"],
                     "position": [1], "metrics": [used], "limit": ["none"]}
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
