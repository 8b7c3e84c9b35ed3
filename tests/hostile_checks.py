"""Whether a hostile text did its harm: in HTML as a browser would read it, and in a cell of a spreadsheet."""

import unicodedata
from html.parser import HTMLParser

from hostile_texts import HOST, HostileText

LEADS_ELSEWHERE = frozenset(
    ("href", "src", "srcset", "action", "formaction", "data", "poster", "style", "content", "xlink:href")
)


def is_calculated(cell: str) -> bool:
    """Whether some spreadsheet may take a cell of text, as read back from a CSV file, for a formula."""
    bare = unicodedata.normalize("NFKC", cell).lstrip()
    while bare and unicodedata.category(bare[0])[0] in "CZ":
        bare = bare[1:]
    return bare[:1] in ("=", "+", "-", "@", "\u2212")


class _Page(HTMLParser):
    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.texts: list[str] = []
        self.elements: list[str] = []
        self.got_through: list[str] = []
        self._unread: str | None = None

    def handle_starttag(self, tag, attrs):
        self.elements.append(tag)
        if tag in ("script", "style"):
            self._unread = tag
        for name, given in attrs:
            value = given or ""
            if name.startswith("on") and "trapped" in value:
                self.got_through.append(f"{tag} runs {value}")
            elif HOST in value and name in LEADS_ELSEWHERE:
                self.got_through.append(f"{tag} leads to {value}")
            elif "trapped" in value and (
                name == "srcdoc" or value.lower().lstrip().startswith(("javascript:", "data:"))
            ):
                self.got_through.append(f"{tag} runs {value}")

    def handle_endtag(self, tag):
        if tag == self._unread:
            self._unread = None

    def handle_data(self, data):
        if self._unread is None:
            self.texts.append(data)
        elif data.strip().startswith("window.trapped") or (self._unread == "style" and HOST in data):
            self.got_through.append(f"{self._unread} holds {data}")


def _read(html: str) -> _Page:
    page = _Page()
    page.feed(html)
    page.close()
    return page


def got_through(html: str) -> list[str]:
    """The scripts, links and loads of these texts that a browser would follow or run in this HTML."""
    return _read(html).got_through


def elements(html: str) -> list[str]:
    return _read(html).elements


def shown(html: str) -> str:
    """The text of this HTML as read, blanks and line breaks run together."""
    return " ".join("".join(_read(html).texts).split())


def is_shown_as_written(hostile: HostileText, html: str) -> bool:
    """Whether the text can be read somewhere in this HTML; of texts of one or two letters that says little."""
    return " ".join(hostile.text.split()) in shown(html)
