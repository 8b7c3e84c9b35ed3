"""The film of one swing beside its heel lanes, moved by one slider; alone where no plate measured it."""

import base64
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np

from dashboard import elements as st
from dashboard import inbox, layout
from dashboard.components import film_player
from dashboard.pages.student.swings import SwingChoice, estimated_heel, group_name
from dashboard.queries import sessions
from dashboard.text.catalogue import _, keeping_language, mark
from dashboard.text.labels import EVENTS
from dashboard.text.numbers import count, joined, on
from warehouse.access import Reader
from warehouse.errors import AccessError, CallError, UnderfootError
from warehouse.vocabulary import STAFF

MOST_POINTS = 400
APART = mark(
    "This film is not on the plate's clock: here both begin together and do not show the same moment."
)
ROUGH = mark(
    "This film is not on the plate's clock, so no times are taken from it: it is shown roughly where its "
    "heels suggest."
)
MARK_STRIKE = mark("Go to the picture in which the ball is struck and press the button that says so.")
CHOOSE_STRIKE = mark(
    "Choose the picture in which the ball is struck; if it is none of them, go to it in the film and press "
    "the button that says so."
)
NO_SOUND, NO_STRIKE = mark("It has no sound."), mark("No strike is heard in its sound.")
UNCONFIRMED = mark("The heels hardly lift, so they can't confirm it.")
KEPT = mark("Kept: the film is here from now on, as soon as your note has loaded.")
PLACED = {
    "heard": mark("Placed by the sound of the strike ({error})."),
    "marked": mark("Placed by what is marked on both film and plate ({error})."),
    "stamp": mark("Placed by the stamped heel ({error})."),
    "by_hand": mark("Placed by a coach's hand ({error})."),
    "stated": mark("Placed by the offset in the session's file ({error})."),
}
QUESTIONS = {
    "clip_marks_disagree": mark("The moments marked on film and plate do not agree; check them."),
    "clip_feet_disagree": mark("Its heels do not move when its sound or its marks say they should."),
    "clip_strikes_unclear": mark("Its sound has several clicks, and one of them is this swing's strike."),
    "clip_taken_apart": mark(
        "By the time in its file it was taken before this swing, or during another: is it this swing's film? "
        "This can be told only of films from one phone; the clocks of two differ."
    ),
    "clip_films_shifted": mark(
        "The heels in this session's films fit the swing before or after each better. Were the films given "
        "to the wrong swings?"
    ),
    "clip_heel_before_load": mark(
        "Its lead heel is up before the plate shows that foot unloading. It may be slow motion (then set fps "
        "in session.toml to the rate at which it was recorded) or another swing's film."
    ),
    "clip_heights_impossible": mark(
        "It shows a heel below the floor: was the camera upside down, or did it move? No height is taken "
        "from it."
    ),
    "clip_pace_impossible": mark(
        "No swing is that slow or that fast: was it recorded in slow motion? Set fps in session.toml to the "
        "rate at which it was recorded."
    ),
    "clip_feet_exchanged": mark(
        "Its lead heel stays up at the end and its trail heel does not: it may be mirrored, or the feet "
        "swapped. No height is taken from it."
    ),
    "clip_stamp_unclear": mark("No stamp was found on both film and plate."),
    "clip_unlike_others": mark(
        "Its heels move or lift unlike those in the session's other films. It may be another swing's, or an "
        "unusual swing."
    ),
    "clip_pace_unknown": mark(
        "It may be slow motion, and nothing says how fast it plays, so nothing is timed on it. Mark the "
        "top of the swing too, or set fps in session.toml to the rate at which it was recorded."
    ),
}
NO_PLATE = mark("No plate measured this swing.")
MOST_BYTES = 40 << 20  # beyond this a film is too heavy to send to a page at once


@dataclass(frozen=True)
class Film:
    """One filmed swing: its film, what it is called in a choice, and whether a plate measured it too."""

    path: Path
    called: str
    on_plate: bool


def beside(reader: Reader, choice: SwingChoice, family: str) -> None:
    """The film of the chosen swing; of all, a choice among the filmed ones. Nothing where none was filmed."""
    found = _filmed(reader, choice.session)
    if not found:
        return
    swing_no = choice.swing_no
    if swing_no is None:
        usual = (n for n in sessions.swing_numbers(reader, choice.session, family) if n in found)
        swing_no = _chosen(found, "film", next(usual, None))
    if swing_no in found:
        _show(reader, found[swing_no], choice.session, swing_no)
    else:
        layout.aside(
            _("Swing {n} was not filmed. Choose all swings to see the films of the others.").format(
                n=swing_no
            )
        )


def of_others(reader: Reader, student: str, family: str, shown: Sequence[str]) -> None:
    """The films of a student's sessions that are not among `shown`; nothing where there are none."""
    found: dict[str, dict[int, Film]] = {}
    names: dict[str, str] = {}
    for session, day in sessions.clip_sessions(reader, student, family).iter_rows():
        filmed = {} if session in shown else _filmed(reader, session)
        if filmed:
            found[session], names[session] = filmed, f"{on(day)}, {count(len(filmed), 'film')}"
    if not found:
        return
    st.header(_("Films"), anchor=False)
    layout.aside(_("Sessions that were filmed and have no load to draw."))
    one, two = st.columns(2)
    with one:
        session = layout.choose(_("Filmed session"), names, "filmed")
    with two:
        swing_no = _chosen(found[session], "filmed-swing", None)
    _show(reader, found[session][swing_no], session, swing_no)


def _filmed(reader: Reader, session: str) -> dict[int, Film]:
    """Every swing of a session whose film is kept, whatever its pace, part or club."""
    swings = sessions.every_swing(reader, session)
    clubs = swings["club"].n_unique()
    found = {}
    for swing_no, club, part, pace, on_plate in swings.iter_rows():
        path = reader.film(session, swing_no)
        if path is not None:
            more = (group_name(part, pace, None), club if clubs > 1 else "")
            called = ", ".join([_("Swing {n}").format(n=swing_no), *filter(None, more)])
            found[swing_no] = Film(path, called, on_plate)
    return found


def _chosen(found: dict[int, Film], name: str, usual: int | None) -> int:
    """One of the filmed swings; where there is only one, it needs no choice."""
    if len(found) == 1:
        return next(iter(found))
    options = {str(n): film.called for n, film in found.items()}
    return int(layout.choose(_("Film"), options, name, default=None if usual is None else str(usual)))


def _show(reader: Reader, film: Film, session: str, swing_no: int) -> None:
    path = film.path
    if path.stat().st_size > MOST_BYTES:
        layout.say(
            _("The film of swing {n} is too large to show here; its file is {file}.").format(
                n=swing_no, file=path.name
            )
        )
        return
    data, doubt = _measured(reader, session, swing_no) if film.on_plate else _alone(reader, session, swing_no)
    data["film"] = base64.b64encode(path.read_bytes()).decode()
    data["kind"] = "video/mp4"
    title = (
        _("Film of swing {n}, with the load under both heels") if data["times"] else _("Film of swing {n}")
    )
    data["title"] = title.format(n=swing_no)
    key = f"film-{session}-{swing_no}"

    def keep(sent: Mapping[str, Any]) -> None:
        try:
            keep_place(reader, session, swing_no, float(sent["offset_s"]))
            st.session_state[f"{key}-kept"] = _(KEPT)
        except (AccessError, CallError, OSError) as error:
            st.session_state[f"{key}-kept"] = str(error)

    kept = st.session_state.get(f"{key}-kept")
    if data.get("asked") and doubt and not kept:
        layout.aside(doubt)  # above the pictures that it asks about
    film_player.show(data, key=key, on_sent=keeping_language(keep))
    if kept:
        layout.say(kept)
    elif doubt and not data.get("asked"):
        layout.aside(doubt)


def _measured(reader: Reader, session: str, swing_no: int) -> tuple[dict[str, Any], str | None]:
    """What the player shows beside a film of a swing on a plate, and what is to be said of it."""
    try:
        data = lanes(reader, session, swing_no)
    except UnderfootError as error:  # its samples can't be read: the film is shown all the same
        return without_lanes(), str(error)
    clock = sessions.film_clock(reader, session, swing_no)
    candidates = clock.candidates_s or []
    data["offset_s"] = next(iter(candidates), 0.0) if clock.offset_s is None else clock.offset_s
    staff = reader.viewer.role in STAFF
    if staff and clock.fps:
        data["picture_s"] = 1.0 / clock.fps
        asked = len(candidates) > 1 and "impact_s" in data
        data["asked"] = sorted(candidates, reverse=True) if asked else []  # in the order of the film
    return data, placed_by(clock, staff=staff and "impact_s" in data)


def _alone(reader: Reader, session: str, swing_no: int) -> tuple[dict[str, Any], str]:
    """What the player shows of a film that no plate measured, and what is to be said of it."""
    why = _why_doubted(sessions.film_clock(reader, session, swing_no))
    return without_lanes(), joined(_(NO_PLATE), why)


def _why_doubted(clock: sessions.FilmClock) -> str | None:
    return next((_(words) for flag, words in QUESTIONS.items() if flag in clock.flags), None)


def placed_by(clock: sessions.FilmClock, *, staff: bool) -> str:
    """What puts a film on the plate's clock and how surely, or why nothing does and what `staff` can do."""
    why = _why_doubted(clock)
    if clock.offset_s is None:
        candidates = len(clock.candidates_s or [])
        rough = candidates == 1 and not {"clip_taken_apart", "clip_films_shifted"} & set(clock.flags)
        where = _(ROUGH) if rough else None if why and candidates else _(APART)
        todo = _(CHOOSE_STRIKE) if candidates > 1 else _(MARK_STRIKE)
        silent = {None: _(NO_SOUND), 0: _(NO_STRIKE)}.get(clock.strikes) if staff and not why else None
        return joined(where, why, silent, todo if staff else None)
    said = []
    if clock.source in PLACED:
        error = _("± {n} ms").format(n=max(1, round(1000 * (clock.se_s or 0.0))))
        said.append(_(PLACED[clock.source]).format(error=error))
    if "clip_heels_low" in clock.flags:
        said.append(_(UNCONFIRMED))
    return joined(*said, why)


def keep_place(reader: Reader, session: str, swing_no: int, offset_s: float) -> None:
    """Keep where a coach put a swing's film as a note of theirs, which places it from then on.

    Raises
        AccessError: the swing is not in the viewer's reach now, or they may not write at all.
        OSError: the disk did not take it.
    """
    found = reader.anew().sql("SELECT student FROM session WHERE session = ?", [session])
    if found.is_empty():
        raise AccessError(_("There is no session {code} that you may see.").format(code=session))
    now = inbox.in_reach(reader, found.item())
    line = {
        "student": found.item(), "session": session, "swing_no": swing_no, "kind": "swing_film",
        "value": round(offset_s, 4), "author": now.viewer.person, "shared": False,
        "at": datetime.now(UTC).isoformat(timespec="seconds"),
    }  # fmt: skip
    inbox.deliver_notes(now, [line])


def without_lanes() -> dict[str, Any]:
    """What the player shows beside a film that has no lanes: nothing."""
    return {"times": [], "lead": [], "trail": [], "events": [], "offset_s": 0.0}


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
            heel = estimated_heel(columns[f"{side}_n"], columns[f"{side}_along_pct"])
        values = np.zeros_like(times) if heel is None else np.nan_to_num(np.asarray(heel, float))
        found[side] = np.clip(100 * values / weight, 0, None)[::step].round(1).tolist()
    marked = dict(sessions.swing_events(reader, session, swing_no).iter_rows())
    found["events"] = [(EVENTS[event], round(t_s, 3)) for event, t_s in marked.items() if event in EVENTS]
    if "impact" in marked:
        found["impact_s"] = marked["impact"]
    return found
