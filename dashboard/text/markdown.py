"""Markdown that shows a text letter by letter, whatever somebody wrote into it.

Streamlit takes most of what a page says as Markdown: a name, a note or an address could draw a picture from
elsewhere, make a link or set a heading. So what pages show goes through `plain` (see dashboard/elements.py).
"""

import re

# What acts wherever it is: escapes, code, emphasis, links, pictures, HTML, formulas, cells, directives.
_MARKS = re.compile(r"[\\`*\[\]<~$|]|(?<![^\W_])_|_(?![^\W_])|&(?=[#\w])|:(?=[A-Za-z])")
_FIRST_MARK = re.compile(r"^(\d+(?=[.)]))?([#>+=.)-])")  # a heading, quote, line or list
# What the browser makes links, signs and pictures of once the escapes are gone: addresses, e-mail, :name:, ->
_JOINTS = re.compile(
    r"(?<=\bhttp:)(?=//)|(?<=\bhttps:)(?=//)|(?<=www)(?=\.)|(?<=@)(?=[\w-])|(?<=:)(?=[\w+/-]+:)"
    r"|(?<=^[<>~-])(?=(?:->|[>=-])(?:\s|$))|(?<=\s[<>~-])(?=(?:->|[>=-])(?:\s|$))",
    re.ASCII | re.IGNORECASE,
)
UNSEEN = re.compile(r"[\x00-\x08\x0e-\x1f\x7f\u202a-\u202e\u2066-\u2069]")  # the last turn the line around
_BLANKS = re.compile(r"[ \t\r\n\v\f\x85\u2028\u2029]+")
JOINER = "\u2060"  # shows nothing


class Markdown(str):
    """Markdown of our own; what others wrote is in it as text."""

    __slots__ = ()


def plain(text: object) -> Markdown:
    """A text as Markdown that shows it as it is, in one line. What is Markdown of our own stays so."""
    if isinstance(text, Markdown):
        return text
    line = _BLANKS.sub(" ", UNSEEN.sub("", str(text))).strip(" ")
    parted = _JOINTS.sub(JOINER, line)
    escaped = _MARKS.sub(r"\\\g<0>", parted)
    return Markdown(_FIRST_MARK.sub(r"\1\\\2", escaped))


def markdown(pattern: str, **texts: object) -> Markdown:
    """`pattern`, which is Markdown of our own, with texts in its places shown as they are."""
    return Markdown(pattern.format(**{name: plain(text) for name, text in texts.items()}))
