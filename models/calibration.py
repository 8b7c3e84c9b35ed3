"""How often the season's claims held in simulated academies, as `make calibration` left it in the rules."""

import tomllib
from pathlib import Path

import polars as pl

FILE = Path(__file__).parent / "rules" / "calibration.toml"
SCHEMA = {
    "claim": pl.String, "truth": pl.String, "students": pl.Int32, "figure": pl.Float64,
    "goal_lo": pl.Float64, "goal_hi": pl.Float64, "met": pl.Boolean, "n_academies": pl.Int32,
}  # fmt: skip


def calibration_rows(file: Path = FILE) -> pl.DataFrame:
    """Rows of season.calibration; none before the first calibration."""
    if not file.exists():
        return pl.DataFrame(schema=SCHEMA)
    rows = tomllib.loads(file.read_text(encoding="utf-8"))["row"]
    return pl.DataFrame([{name: row.get(name) for name in SCHEMA} for row in rows], schema=SCHEMA)
