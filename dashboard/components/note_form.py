"""The note form in the browser: choices and words stay on the device until the server has kept them."""

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import streamlit as st

from dashboard import theme

HERE = Path(__file__).parent

_form = st.components.v2.component(
    "underfoot_note_form",
    js=(HERE / "note_form.js").read_text(encoding="utf-8"),
    css=theme.CSS + (HERE / "note_form.css").read_text(encoding="utf-8"),
)


def show(data: Mapping[str, Any], key: str, on_note: Callable[[Mapping[str, Any]], None]) -> None:
    """Mount the form. `on_note` is called with what was filled in, before the page runs again."""

    def sent() -> None:
        note = st.session_state[key].get("note")
        if isinstance(note, Mapping):
            on_note(note)

    _form(key=key, data=dict(data), on_note_change=sent)
