"""What is fitted on the academy: versioned rows of academy.parameter, written by builds only."""

import json
from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any

import polars as pl

from warehouse.store import Snapshot, Writer


def six_digits(value: float) -> float:
    """The value to six significant digits, so that a change in the last bits makes no new version."""
    return float(f"{value:.6g}")


def load_parameter(writer: Writer | Snapshot, name: str) -> Any | None:
    """The last version of what was fitted under this name; None before the first build."""
    return load_parameters(writer, [name]).get(name)


def load_parameters(writer: Writer | Snapshot, names: list[str]) -> dict[str, Any]:
    """Name → last version, for those of `names` that were ever fitted."""
    rows = writer.sql(
        "SELECT name, arg_max(value, version) FROM academy.parameter "
        "WHERE list_contains(CAST(? AS VARCHAR[]), name) GROUP BY name",
        [names],
    )
    return {name: json.loads(value) for name, value in rows.iter_rows()}


def save_parameters(writer: Writer, values: Mapping[str, Any]) -> None:
    """Keep each fit as the next version of its name, unless it equals the last one."""
    texts = {name: json.dumps(value, sort_keys=True, allow_nan=False) for name, value in values.items()}
    kept = writer.sql(
        "SELECT name, max(version), arg_max(value, version) FROM academy.parameter GROUP BY name"
    )
    last = {name: (version, value) for name, version, value in kept.iter_rows()}
    changed = [name for name, text in texts.items() if last.get(name, (0, None))[1] != text]
    now = datetime.now(UTC).replace(tzinfo=None)
    writer.append(
        "academy.parameter",
        pl.DataFrame(
            [(name, last.get(name, (0, None))[0] + 1, texts[name], now) for name in changed],
            schema={"name": pl.String, "version": pl.Int32, "value": pl.String, "fitted_at": pl.Datetime},
            orient="row",
        ),
    )
