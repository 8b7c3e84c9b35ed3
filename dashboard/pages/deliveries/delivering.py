"""The parts of the Deliveries page that act: drop files, watch them go through, mend what was refused."""

from collections.abc import Callable, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import polars as pl
import streamlit as st

from dashboard import inbox, layout, readers
from dashboard.pages.deliveries import mending
from dashboard.queries import intake
from dashboard.text.numbers import count, listed
from warehouse.access import Reader, Viewer
from warehouse.errors import UnderfootError
from warehouse.publishing import current_name

POLL_S = 2.0  # how often the page looks into the inbox while something waits there
NAMED = 5  # entries named one by one


def drop(reader: Reader) -> None:
    """The form that takes a delivery in; the roster's files from a head coach alone."""
    kinds = "rosters, notes" if reader.viewer.role == "head_coach" else "notes"
    st.header("Drop a delivery here", anchor=False)
    with st.form("drop", clear_on_submit=True, border=True):
        folder = st.file_uploader("A session folder", accept_multiple_files="directory", key="drop-folder")
        loose = st.file_uploader(
            f"Or files: an archive (zip), {kinds}, ball results",
            accept_multiple_files=True,
            key="drop-files",
        )
        if not st.form_submit_button("Keep this delivery"):
            return
    files = [(file.name, file.getvalue()) for file in [*folder, *loose]]
    _keep(lambda: inbox.keep(readers.home(), files, reader.viewer), count(len(files), "file"))


def _keep(put: Callable[[], Path], what: str) -> bool:
    """Keep a delivery and remember it; says that it is kept only once it is on disk."""
    try:
        kept = put()
    except (UnderfootError, OSError) as error:
        st.error(f"Not kept. {error}")
        return False
    dropped: dict[str, dict[str, Any]] = st.session_state.setdefault("dropped", {})
    names = [path.name for path in kept.iterdir()]
    dropped[kept.name] = {"names": names, "what": what, "at": datetime.now(UTC).replace(tzinfo=None)}
    st.success(f"Kept: {what} ({listed(sorted(names)[:NAMED])}) in the inbox.")
    return True


def progress(reader: Reader) -> None:
    """What waits in the inbox, and what became of what was dropped in this visit; follows by itself."""
    waits = bool(_waiting())
    following = st.fragment(run_every=POLL_S if waits else None)(_follow)
    following(reader)


def _waiting() -> list[str]:
    try:
        entries = sorted(readers.home().inbox.iterdir())
    except OSError:
        return []
    return [entry.name for entry in entries if not entry.name.startswith(".")]


def _follow(reader: Reader) -> None:
    waiting = _waiting()
    dropped: dict[str, dict[str, Any]] = st.session_state.get("dropped", {})
    published = current_name(readers.home())
    if st.session_state.setdefault("shown-snapshot", published) != published:
        st.session_state["shown-snapshot"] = published
        st.rerun(scope="app")
    if not waiting and not dropped:
        return
    st.header("On its way", anchor=False)
    gone = [name for name in dropped if name not in waiting]
    done, total = len(gone), len(gone) + len(waiting)
    st.progress(
        done / total, text=f"{done} of {count(total, 'delivery', 'deliveries')} gone through the loader"
    )
    for name in gone:
        st.write(_outcome(reader, dropped[name]))
    if waiting:
        layout.say(
            f"{count(len(waiting), 'delivery waits', 'deliveries wait')} in the inbox. The loader beside "
            "these pages takes each within seconds of its last change; without it, run: underfoot load"
        )


def _outcome(reader: Reader, drop: dict[str, Any]) -> str:
    """What became of a dropped delivery: refused ones are named, the rest loaded or stood already."""
    named = pl.col("name").is_in(drop["names"]) | pl.col("file").is_in(drop["names"])
    refused = intake.refusals(reader).filter(pl.col("at") >= drop["at"], named)
    names = listed(sorted(drop["names"])[:NAMED])
    if refused.is_empty():
        return f"**{names}**: gone through. What loaded stands below; what stood already changes nothing."
    whole = refused["swing_no"].null_count() > 0
    return (
        f"**{names}**: {'refused' if whole else 'loaded, with swings refused'}. How to mend it stands below."
    )


def mend(first: dict[str, Any], what: str, viewer: Viewer) -> None:
    """Buttons of one refused delivery: a corrected file, or another try as it is.

    The roster's files hold everyone's birth dates and roles: they are shown to, and mended by, a head coach.
    """
    delivery = first["delivery"]
    kept = mending.kept_files(readers.home(), delivery) if delivery else {}
    if not kept:
        layout.aside("Its files are not kept here; deliver them anew above.")
        return
    if viewer.role != "head_coach" and any(map(inbox.is_roster, kept)):
        layout.aside("It is the roster's: a head coach mends it.")
        return
    key = f"{delivery}-{first['session'] or ''}"
    with st.popover("Mend it, or try again", width="content"):
        st.write(
            f"Kept: {listed(sorted(kept)[:NAMED])}. Save one, correct it, and drop it under its own name."
        )
        for name, path in list(kept.items())[:NAMED]:
            layout.save(
                f"Save {name}", path.read_bytes, f"{delivery[:8]}-{name.replace('/', '-')}", "text/plain"
            )
        files = st.file_uploader("Corrected files", accept_multiple_files=True, key=f"mend-{key}")
        if st.button("Deliver with these files", key=f"with-{key}", type="primary", disabled=not files):
            _again(delivery, what, [(file.name, file.getvalue()) for file in files], viewer)
        if st.button("Try again as it is", key=f"again-{key}"):
            _again(delivery, what, [], viewer)


def _again(delivery: str, what: str, corrected: Sequence[tuple[str, bytes]], viewer: Viewer) -> None:
    if _keep(lambda: mending.deliver_again(readers.home(), delivery, what, corrected, viewer), what):
        st.toast(f"Kept: {what} is on its way again.")
        st.rerun()
