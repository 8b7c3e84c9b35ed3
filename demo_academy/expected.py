"""Exactly the planted bad deliveries, by name and swing, must have been refused."""

import json

from warehouse.errors import UnderfootError
from warehouse.home import Home
from warehouse.store import open_snapshot


def check_refusals(home: Home) -> int:
    """Compare what was refused with what was planted; returns how many that is.

    Raises
        UnderfootError: a planted refusal did not come out, or another did.
    """
    planted = json.loads((home.path / "planted_truth.json").read_text(encoding="utf-8"))["expected_refusals"]
    expected = {(entry["delivery"], entry["swing_no"]) for entry in planted}
    snapshot = open_snapshot(home)
    found = {
        (str(name), swing)
        for name, swing in snapshot.sql("SELECT name, swing_no FROM academy.refusal").rows()
    }
    snapshot.close()
    if found != expected:
        missed, extra = sorted(map(str, expected - found)), sorted(map(str, found - expected))
        raise UnderfootError(
            "The demo's planted refusals did not come out: "
            f"missed {missed or 'none'}, unexpected {extra or 'none'}."
        )
    return len(expected)
