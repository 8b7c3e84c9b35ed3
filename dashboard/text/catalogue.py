"""The catalogue: each sentence is written in English in the code and looked up in the reader's language.

A language is one file, `<language>.po`, beside this module; a message that it lacks stays in English. `_`
looks a message up, `ngettext` one that counts, and `mark` marks a constant's message, which `_` looks up
where it is shown: constants are made before anyone has said which language they read.
"""

from contextvars import ContextVar
from functools import cache
from gettext import GNUTranslations, NullTranslations
from io import BytesIO
from pathlib import Path

from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po

FOLDER = Path(__file__).parent
ENGLISH = "en"
_language: ContextVar[str] = ContextVar("language", default=ENGLISH)


def use(language: str) -> None:
    """Speak `language` from here on, in this thread's run of a page."""
    _language.set(language)


def language() -> str:
    """The language in use."""
    return _language.get()


def languages() -> list[str]:
    """English, and every language that has a file here."""
    return [ENGLISH, *sorted(path.stem for path in FOLDER.glob("*.po") if path.stem != ENGLISH)]


@cache
def _translations(name: str) -> NullTranslations:
    file = FOLDER / f"{name}.po"
    if not file.exists():
        return NullTranslations()
    with file.open("rb") as opened:
        catalog = read_po(opened, locale=name)
    compiled = BytesIO()
    write_mo(compiled, catalog)
    compiled.seek(0)
    return GNUTranslations(compiled)


def _(message: str) -> str:
    """A message in the language in use."""
    return _translations(_language.get()).gettext(message)


def ngettext(one: str, many: str, n: float) -> str:
    """The message for `n` things in the language in use."""
    return _translations(_language.get()).ngettext(one, many, n)  # type: ignore[arg-type]


def mark(message: str) -> str:
    """Mark a constant's message for the catalogue; it is returned as it is."""
    return message
