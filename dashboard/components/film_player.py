"""A film and the heel lanes beside it, with one slider that moves both. Nothing is fetched."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from dashboard import elements as st
from dashboard import theme
from dashboard.text.catalogue import Words

HERE = Path(__file__).parent
# What the player says, by the names that film_player.js uses.
WORDS = Words({
    "play": "Play", "pause": "Pause", "time": "Time in the swing",
    "lead": "lead heel", "trail": "trail heel",
    "lanes": "Load under the lead heel upward, under the trail heel downward, in % of body weight",
    "reading": "{t} s: lead heel {lead} %, trail heel {trail} % of body weight",
    "unplayable": "This browser can't play this film's format.",
    "unplayable_lanes": "This browser can't play this film's format; the lanes still move.",
})  # fmt: skip

_player = st.component(
    "underfoot_film_player",
    js=(HERE / "film_player.js").read_text(encoding="utf-8"),
    css=theme.CSS + (HERE / "film_player.css").read_text(encoding="utf-8"),
)


def show(data: Mapping[str, Any], key: str) -> None:
    """Mount the player: film (base64), kind, title, times, lead, trail, events (name, s), offset_s.

    Without times there are no lanes beside the film.
    """
    _player(key=key, data={**data, "words": dict(WORDS)})
