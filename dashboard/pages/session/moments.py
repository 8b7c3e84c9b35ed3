"""The moments of one swing on its load curve: where the plate shows them, and where a coach places them."""

from collections.abc import Mapping

from dashboard import elements as st
from dashboard import gate, layout
from dashboard.charts.swing_line import TAP, TIME, large
from dashboard.text.catalogue import _
from dashboard.text.labels import EVENTS as NAMES
from dashboard.text.numbers import capitalized, number
from warehouse.preview import PreviewedSwing
from warehouse.vocabulary import EVENTS

STEP_S = 0.01
AROUND_S = 0.5  # shown before the first moment and after the last
LARGE, LARGE_ON_A_PHONE = (760, 280), (340, 240)  # px


def room(swing: PreviewedSwing, moved: Mapping[str, float], event: str) -> tuple[float, float]:
    """The times between which a moment belongs, s: between its neighbours that a coach or the file placed.

    The only rule of order: which moments are shown, where one may be placed, and whether one may go back.
    """
    placed, place = _placed(swing, moved), EVENTS.index(event)
    low = max((placed[e] for e in EVENTS[:place] if e in placed), default=-STEP_S)
    high = min((placed[e] for e in EVENTS[place + 1 :] if e in placed), default=swing.seconds + STEP_S)
    return low, high


def _placed(swing: PreviewedSwing, moved: Mapping[str, float]) -> dict[str, float]:
    return {e: at for e, (at, error) in swing.events.items() if error == 0.0} | dict(moved)


def times(swing: PreviewedSwing, moved: Mapping[str, float]) -> dict[str, float]:
    """The moments in order, s from the first sample, without those that contradict the placed ones."""
    found: dict[str, float] = {}
    for event in EVENTS:
        at = moved[event] if event in moved else swing.events.get(event, (None, 0.0))[0]
        low, high = room(swing, moved, event)
        if at is not None and (event in moved or low < at < high):
            found[event] = at
    return found


def reach(swing: PreviewedSwing, moved: Mapping[str, float], event: str) -> tuple[float, float]:
    """Where a moment may be placed, s: a step inside its room."""
    low, high = room(swing, moved, event)
    return round(low + STEP_S, 2), round(high - STEP_S, 2)


def goes_back(swing: PreviewedSwing, moved: Mapping[str, float], event: str) -> bool:
    """Whether a moved moment may go back to where it was: if it is in order there with those placed since."""
    if event not in moved:
        return False
    others = {e: at for e, at in moved.items() if e != event}
    return event not in swing.events or event in times(swing, others)


def said(swing: PreviewedSwing, moved: Mapping[str, float], event: str) -> str:
    """Where a moment is and how that is known."""
    at, name = times(swing, moved).get(event), capitalized(NAMES[event])
    if event in moved:
        words = _("{moment} at {time}, placed by you.").format(moment=name, time=number(at, "s", 2))
        back = _("Back at {time}, it would be out of order with {other}: move that first.")
        return words if goes_back(swing, moved, event) else f"{words} {_against(back, swing, moved, event)}"
    if event not in swing.events:
        words = _("{moment}: the plate does not show it. Move the slider or tap the curve to place it.")
        return words.format(moment=name)
    if at is None:
        words = _("{moment}: the plate shows it at {time}, which is out of order with {other}.")
        return _against(words, swing, moved, event)
    error = swing.events[event][1]
    if error == 0.0:
        return _("{moment} at {time}, as the file says.").format(moment=name, time=number(at, "s", 2))
    return _("{moment} at {time}, give or take {error}.").format(
        moment=name, time=number(at, "s", 2), error=number(error, "s", 2)
    )


def _against(words: str, swing: PreviewedSwing, moved: Mapping[str, float], event: str) -> str:
    """`words` filled in: where the swing itself puts a moment, and which placed moment is in the way."""
    at, (low, high) = swing.events[event][0], room(swing, moved, event)
    wall = low if at <= low else high
    other = next((e for e, t in _placed(swing, moved).items() if t == wall and e != event), event)
    return words.format(moment=capitalized(NAMES[event]), time=number(at, "s", 2), other=NAMES[other])


def size() -> tuple[int, int]:
    """How wide and high the large curve is, px."""
    return LARGE_ON_A_PHONE if layout.narrow() else LARGE


def show(swing: PreviewedSwing, key: str) -> None:
    """The large curve with a slider for one moment at a time; what is moved is kept under `key`."""
    gate.fragment(_curve)(swing, key)


def _curve(swing: PreviewedSwing, key: str) -> None:
    moved: dict[str, float] = st.session_state.setdefault(key, {})
    event = st.selectbox(
        _("Moment"), EVENTS, index=EVENTS.index("impact"), format_func=lambda code: NAMES[code],
        key=f"moment-{key}",
    )  # fmt: skip
    low, high = reach(swing, moved, event)
    shown = times(swing, moved)
    middle = shown.get(event, (low + high) / 2.0)
    at = min(max(round(middle, 2), low), high)
    picture = st.container()
    # The slider's key counts how often it was overruled, since a slider keeps the value it was moved to.
    turn = st.session_state.setdefault(f"turn-{key}-{event}", 0)
    if low < high:
        label = _("Seconds from the start of the swing; you can also tap the curve")
        put = st.slider(label, low, high, at, STEP_S, f"at-{event}-{turn}-{key}")
        if put != at:
            moved[event] = put
    with picture:
        tapped = _picture(swing, moved, event, key)
        st.write(said(swing, moved, event))
    if tapped is not None and low < high and (put := min(max(round(tapped, 2), low), high)) != at:
        moved[event] = put
        _again(key, event)
    if goes_back(swing, moved, event) and st.button(_("Back to where it was"), key=f"back-{event}-{key}"):
        del moved[event]
        _again(key, event)


def _again(key: str, event: str) -> None:
    st.session_state[f"turn-{key}-{event}"] += 1
    st.rerun(scope="fragment")


def _picture(swing: PreviewedSwing, moved: Mapping[str, float], event: str, key: str) -> float | None:
    """Show the part of the swing with its moments, large; returns the time that was tapped, if any."""
    posts = {NAMES[code]: t for code, t in times(swing, moved).items()}
    low = min(posts.values(), default=0.0) - AROUND_S
    high = max(posts.values(), default=swing.seconds) + AROUND_S
    rows = [row for row in zip(swing.t_s, swing.lead_n, swing.trail_n, strict=True) if low <= row[0] <= high]
    turn = st.session_state[f"turn-{key}-{event}"]
    # With the moment's place and turn in its key, the picture forgets taps from before the last move.
    found = st.altair_chart(
        large(rows, posts, NAMES[event], size()), width="content", theme=None, on_select="rerun",
        key=f"curve-{event}-{turn}-{moved.get(event)}-{key}", alt=said(swing, moved, event),
    )  # fmt: skip
    taps = found["selection"].get(TAP) or []
    return float(taps[0][TIME]) if taps else None
