"""A film and the heel lanes beside it, with one slider that moves both. Nothing is fetched."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import streamlit as st

from dashboard import theme

HERE = Path(__file__).parent

_player = st.components.v2.component(
    "underfoot_film_player",
    js=(HERE / "film_player.js").read_text(encoding="utf-8"),
    css=theme.CSS + (HERE / "film_player.css").read_text(encoding="utf-8"),
)


def show(data: Mapping[str, Any], key: str) -> None:
    """Mount the player: film (base64), kind, title, times, lead, trail, events (name, s), offset_s.

    Without times the film stands alone.
    """
    _player(key=key, data=dict(data))
