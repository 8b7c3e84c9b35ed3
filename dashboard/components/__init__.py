"""Parts of a page that must work in the browser alone: a script each, and the words it says.

Nothing is fetched. Text that people wrote goes in as text, never as HTML.
"""

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from dashboard import elements as st
from dashboard import theme

HERE = Path(__file__).parent


def script(name: str) -> str:
    """The script of a part, with what all of them share."""
    return "".join((HERE / f"{file}.js").read_text(encoding="utf-8") for file in ("shared", name))


class Component:
    """The part with the script and the style sheet of this name.

    `words`: what it says, by the names that its script uses; `sends`: what its script calls what it sends.
    """

    def __init__(self, name: str, words: Mapping[str, str], sends: str = "", **drawings: str) -> None:
        self._mount = st.component(
            f"underfoot_{name}",
            js=script(name),
            css=theme.CSS + (HERE / f"{name}.css").read_text(encoding="utf-8"),
        )
        self._words, self._sends, self._drawings = words, sends, drawings

    def show(
        self, data: Mapping[str, Any], key: str, on_sent: Callable[[Mapping[str, Any]], None] | None = None
    ) -> None:
        """Put it on the page. `on_sent` is called with what it sends, before the page runs again."""

        def sent() -> None:
            found = st.session_state[key].get(self._sends)
            if on_sent and isinstance(found, Mapping):
                on_sent(found)

        back: dict[str, Any] = {f"on_{self._sends}_change": sent} if on_sent else {}
        self._mount(key=key, data={**data, **self._drawings, "words": dict(self._words)}, **back)
