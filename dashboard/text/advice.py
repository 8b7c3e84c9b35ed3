"""What a coach says of each usual fault, by its code; the words are in advice.toml."""

import tomllib
from pathlib import Path
from typing import Any


def _advice() -> dict[str, dict[str, Any]]:
    given = tomllib.loads(Path(__file__).with_suffix(".toml").read_text(encoding="utf-8"))
    shared = {drill["code"]: drill["how"] for drill in given["shared_drill"]}
    return {
        row["fault"]: {"drill": shared.get(row.get("shared_drill"), ""), **row} for row in given["advice"]
    }


ADVICE = _advice()  # messages of the catalogue
