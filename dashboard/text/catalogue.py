"""The catalogue: each sentence is written in English in the code and looked up in the reader's language.

A language is one file, `<language>.po`, beside this module; a message that it lacks stays in English. `_`
looks a message up and `ngettext` one that counts; values go in afterwards, by name:

    _("{name} has no session yet.").format(name=name)

A constant is made before anyone has said which language they read. So `mark` and `mark_plural` only mark its
message for the catalogue, and whoever shows it calls `_`. `Words` is a table of such constants that does this
by itself. `python -m dashboard.text.extract` lists every message in each language's file.
"""

import re
from collections.abc import Callable, Iterator, Mapping
from contextvars import ContextVar
from functools import cache
from gettext import GNUTranslations, NullTranslations
from io import BytesIO
from pathlib import Path
from string import Formatter
from typing import Any, ParamSpec, TypeVar

from babel import Locale
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po

from warehouse.errors import UnderfootError

FOLDER = Path(__file__).parent
ENGLISH = "en"
# Days and lists are written as in British English: 7 April 2026; a, b and c.
_LOCALES = {ENGLISH: "en_GB"}
_language: ContextVar[str] = ContextVar("language", default=ENGLISH)
P = ParamSpec("P")
T = TypeVar("T")


def use(language: str) -> None:
    """Speak `language` from here on, in this thread: one run of a page, or one command.

    Raises
        UnderfootError: there is no catalogue of that language.
    """
    if language != ENGLISH and not (FOLDER / f"{language}.po").is_file():
        raise UnderfootError(
            f'academy.toml: language = "{language}" has no catalogue; use one of {", ".join(languages())}.'
        )
    _language.set(language)


def language() -> str:
    """The language in use."""
    return _language.get()


def locale() -> str:
    """How the language in use writes numbers, days and lists, by its name in Babel."""
    return _LOCALES.get(_language.get(), _language.get())


def languages() -> list[str]:
    """English, and every language that has a file here."""
    return [ENGLISH, *sorted(path.stem for path in FOLDER.glob("*.po") if path.stem != ENGLISH)]


def own_name(language: str) -> str:
    """A language by its own name: Deutsch."""
    return str(Locale.parse(language).get_display_name())


def keeping_language(make: Callable[P, T]) -> Callable[P, T]:
    """`make`, to be called later and perhaps in another thread, in the language in use now."""
    now = language()

    def made(*args: P.args, **kwargs: P.kwargs) -> T:
        _language.set(now)
        return make(*args, **kwargs)

    return made


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


def _dative(text: str) -> str:
    """German words after "in", "of" and "with": 3 Tage → 3 Tagen, 1 neuer Fehler → 1 neuen Fehler."""
    one = re.match(r"1\b(?![.,])", text)
    article = re.compile(r"\b([a-zäöü]+?)(?:er|es|e)\b")
    return article.sub(r"\1en", text) if one else re.sub(r"(?<=[a-zäöü][elr])\b", "n", text)


class _Places(Formatter):
    def format_field(self, value: Any, format_spec: str) -> str:
        return _dative(str(value)) if format_spec == "dat" else str(format(value, format_spec))


class Inflected(str):
    """A message that asks for a value in the dative: {days:dat}."""

    __slots__ = ()

    def format(self, *args: object, **values: object) -> str:
        """The message with its values."""
        return _Places().vformat(self, args, values)


def _said(message: str) -> str:
    return Inflected(message) if ":dat}" in message else message


def _(message: str) -> str:
    """A message in the language in use."""
    # gettext answers the empty message with the catalogue's own header.
    return _said(_translations(_language.get()).gettext(message)) if message else ""


def ngettext(one: str, many: str, n: float) -> str:
    """The message for `n` things in the language in use."""
    return _said(_translations(_language.get()).ngettext(one, many, n))  # type: ignore[arg-type]


def mark(message: str) -> str:
    """Mark a constant's message for the catalogue; it is returned as it is."""
    return message


def mark_plural(one: str, many: str) -> tuple[str, str]:
    """Mark a constant's message that counts, for `ngettext`."""
    return one, many


class Words(Mapping[str, str]):
    """Codes and what each is called, in the language in use when it is asked; the messages are marked."""

    def __init__(self, messages: Mapping[str, str]) -> None:
        self._messages = messages

    def __getitem__(self, code: str) -> str:
        return _(self._messages[code])

    def __iter__(self) -> Iterator[str]:
        return iter(self._messages)

    def __len__(self) -> int:
        return len(self._messages)
