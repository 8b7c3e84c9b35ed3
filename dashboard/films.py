"""The film of one swing beside its heel lanes, moved by one slider."""

import base64
from pathlib import Path
from typing import Any

import numpy as np

from dashboard import layout
from dashboard.components import film_player
from dashboard.courses import BALL_AT_PCT, HEEL_AT_PCT, Take
from dashboard.queries import sessions
from dashboard.wording import EVENTS
from warehouse.access import Reader

MOST_POINTS = 400
APART = (
    "This film's clock could not be laid over the plate's. Both begin together here, and do not show the "
    "same moment."
)
UNCHECKED = "Too few films were taken in this session to be sure that this one is of this swing."
MOST_BYTES = 40 << 20  # beyond this a film is too heavy to send to a page at once


def beside(reader: Reader, take: Take, family: str) -> None:
    """The film of the chosen swing, or of the session's first filmed one; nothing where none was filmed."""
    for swing_no in sessions.swing_numbers(reader, take.session, family):
        path = reader.film(take.session, swing_no) if take.swing_no in (None, swing_no) else None
        if path is not None:
            _show(reader, path, take.session, swing_no)
            return


def _show(reader: Reader, path: Path, session: str, swing_no: int) -> None:
    if path.stat().st_size > MOST_BYTES:
        layout.say(f"The film of swing {swing_no} is too large to show here; it stands at {path.name}.")
        return
    offset_s, flags = sessions.film_clock(reader, session, swing_no)
    data = lanes(reader, session, swing_no)
    data["offset_s"] = offset_s or 0.0
    data["film"] = base64.b64encode(path.read_bytes()).decode()
    data["kind"] = "video/mp4"
    data["title"] = f"Film of swing {swing_no}, with the load under both heels"
    film_player.show(data, key=f"film-{session}-{swing_no}")
    if offset_s is None:
        layout.aside(APART)
    elif "clip_unchecked" in flags:
        layout.aside(UNCHECKED)


def lanes(reader: Reader, session: str, swing_no: int) -> dict[str, Any]:
    """Times on the plate's clock, each heel's load in % of body weight, and events.

    A lane is flat where the plate measured none; body weight is the mean load of the first twentieth.
    """
    times, columns = reader.trace(session).swing(swing_no)
    step = max(1, len(times) // MOST_POINTS)
    total = np.asarray(columns["lead_n"], float) + np.asarray(columns["trail_n"], float)
    weight = max(float(np.nanmean(total[: max(1, len(total) // 20)])), 1.0)
    found: dict[str, Any] = {"times": times[::step].round(3).tolist()}
    for side in ("lead", "trail"):
        heel = columns.get(f"{side}_heel_n")
        if heel is None and f"{side}_along_pct" in columns:
            part = (BALL_AT_PCT - columns[f"{side}_along_pct"]) / (BALL_AT_PCT - HEEL_AT_PCT)
            heel = columns[f"{side}_n"] * np.clip(part, 0, 1)
        values = np.zeros_like(times) if heel is None else np.nan_to_num(np.asarray(heel, float))
        found[side] = np.clip(100 * values / weight, 0, None)[::step].round(1).tolist()
    marked = sessions.swing_events(reader, session, swing_no)
    found["events"] = [(EVENTS[event], round(t_s, 3)) for event, t_s in marked.iter_rows() if event in EVENTS]
    return found
