"""The one way in: a reader is opened anew whenever a page or a part of it runs, and before anything is saved.

What a page was made of may be out of reach by the time somebody touches it: a sign-in was ended, a student
has another coach. So a fragment and a file that is made later go through here, and whatever writes asks its
reader `anew` by itself.
"""

from collections.abc import Callable
from contextvars import ContextVar
from functools import wraps
from typing import ParamSpec, TypeVar

from dashboard import elements as st
from dashboard.text.catalogue import keeping_language, language, use
from warehouse.access import Reader
from warehouse.errors import AccessError

P = ParamSpec("P")
T = TypeVar("T")
_reader: ContextVar[Reader] = ContextVar("reader")


def enter(reader: Reader) -> None:
    """From here on, in this thread, this reader is whose page it is."""
    _reader.set(reader)


def reader() -> Reader:
    """Whose page it is."""
    return _reader.get()


def fragment(run: Callable[P, None], every_s: float | None = None) -> Callable[P, None]:
    """A part of a page that may run again alone; what it shows comes from `reader()`, opened anew each time.

    When something the page was made of is out of reach, the whole page runs again instead.
    """

    @wraps(run)
    def anew(made_by: Reader, language_in_use: str, *args: P.args, **kwargs: P.kwargs) -> None:
        use(language_in_use)
        try:
            enter(made_by.still())
        except AccessError:
            st.rerun(scope="app")
        run(*args, **kwargs)

    part = st.fragment(run_every=every_s)(anew)

    def show(*args: P.args, **kwargs: P.kwargs) -> None:
        part(reader(), language(), *args, **kwargs)

    return show


def before_anyone(run: Callable[[], None], every_s: float) -> None:
    """A part of a page that shows nothing of an academy, and runs again by itself: there is no reader yet."""
    st.fragment(run_every=every_s)(run)()


def later(make: Callable[[], T]) -> Callable[[], T]:
    """`make`, to be called when a file is asked for: in the language in use now, and only while it may be."""
    made_by, made = reader(), keeping_language(make)

    def made_later() -> T:
        made_by.still()
        return made()

    return made_later
