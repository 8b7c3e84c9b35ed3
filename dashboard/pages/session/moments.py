"""The moments of one swing on its load curve: where the plate shows them, and where a coach places them."""

from collections.abc import Mapping

from dashboard import elements as st
from dashboard import gate, layout
from dashboard.charts.swing_line import swing_line
from dashboard.text.catalogue import _
from dashboard.text.labels import EVENTS as NAMES
from dashboard.text.numbers import capitalized, number
from warehouse.preview import PreviewedSwing
from warehouse.vocabulary import EVENTS

STEP_S = 0.01
AROUND_S = 0.5  # shown before the first moment and after the last
LARGE, LARGE_ON_A_PHONE = (760, 280), (340, 240)  # px


def times(swing: PreviewedSwing, moved: Mapping[str, float]) -> dict[str, float]:
    """Each moment in its order, s from the first sample, but those against the order of the moved ones."""
    found: dict[str, float] = {}
    for place, event in enumerate(EVENTS):
        at = moved[event] if event in moved else swing.events.get(event, (None, 0.0))[0]
        if at is None:
            continue
        late = any(at <= moved[other] for other in EVENTS[:place] if other in moved)
        early = any(at >= moved[other] for other in EVENTS[place + 1 :] if other in moved)
        if event in moved or not (late or early):
            found[event] = at
    return found


def reach(swing: PreviewedSwing, moved: Mapping[str, float], event: str) -> tuple[float, float]:
    """Where a moment may be placed, s: in the swing, and between those that a coach or the file placed."""
    fixed = {e: at for e, (at, error) in swing.events.items() if error == 0.0} | dict(moved)
    place = EVENTS.index(event)
    low = max((fixed[e] for e in EVENTS[:place] if e in fixed), default=-STEP_S)
    high = min((fixed[e] for e in EVENTS[place + 1 :] if e in fixed), default=swing.seconds + STEP_S)
    return round(low + STEP_S, 2), round(high - STEP_S, 2)


def said(swing: PreviewedSwing, moved: Mapping[str, float], event: str) -> str:
    """Where a moment is and how that is known."""
    at, name = times(swing, moved).get(event), capitalized(NAMES[event])
    if at is None:
        return _("{moment}: the plate does not show it. Move the slider to place it.").format(moment=name)
    if event in moved:
        return _("{moment} at {time}, placed by you.").format(moment=name, time=number(at, "s", 2))
    error = swing.events[event][1]
    if error == 0.0:
        return _("{moment} at {time}, as the file says.").format(moment=name, time=number(at, "s", 2))
    return _("{moment} at {time}, give or take {error}.").format(
        moment=name, time=number(at, "s", 2), error=number(error, "s", 2)
    )


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
    if low < high:
        # Its key says how often this one was put back: a slider keeps what it was moved to.
        turn = st.session_state.setdefault(f"turn-{key}-{event}", 0)
        label = _("Seconds from the start of the swing")
        put = st.slider(label, low, high, at, STEP_S, f"at-{event}-{turn}-{key}")
        if put != at:
            moved[event] = put
    with picture:
        drawn = {NAMES[code]: t for code, t in times(swing, moved).items()}
        size = LARGE_ON_A_PHONE if layout.narrow() else LARGE
        words = said(swing, moved, event)
        st.drawing(_drawn(swing, drawn, NAMES[event], size), words)
        st.write(words)
    if event in moved and st.button(_("Back to where the plate shows it"), key=f"back-{event}-{key}"):
        del moved[event]
        st.session_state[f"turn-{key}-{event}"] += 1
        st.rerun(scope="fragment")


def _drawn(swing: PreviewedSwing, posts: Mapping[str, float], chosen: str, size: tuple[int, int]) -> str:
    """The part of the swing with its moments, large."""
    low = min(posts.values(), default=0.0) - AROUND_S
    high = max(posts.values(), default=swing.seconds) + AROUND_S
    rows = [row for row in zip(swing.t_s, swing.lead_n, swing.trail_n, strict=True) if low <= row[0] <= high]
    t_s, lead, trail = zip(*rows, strict=True)
    return swing_line(t_s, lead, trail, posts, chosen, size)
