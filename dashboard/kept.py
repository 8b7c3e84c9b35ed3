"""What pages were made of, kept for the next look: one viewer's, of one snapshot, by what was chosen.

It is kept with its reader, one viewer's on one published snapshot and day, for all of that viewer's visits:
nobody is shown what another may see, and nothing outlives its snapshot.
"""

import io
import pickle
import threading
from collections.abc import Callable
from dataclasses import fields, is_dataclass
from functools import wraps
from typing import Any, ParamSpec, TypeVar
from weakref import WeakValueDictionary

from dashboard.text.catalogue import language
from warehouse.access import Reader

P = ParamSpec("P")
Found = TypeVar("Found")
MOST = 96  # of one reader: every page's parts with a few choices; a part is some 0.1 to 1 MB
_lock = threading.Lock()
_making: WeakValueDictionary[tuple[int, bytes], threading.Lock] = WeakValueDictionary()


def kept(make: Callable[P, Found]) -> Callable[P, Found]:
    """`make`, once for each reader, language and whatever else it is given; one of these holds the reader.

    Who asks while it is being made waits for it. What it raises is not kept. What it returns is shared:
    nobody may change it.
    """

    @wraps(make)
    def once(*args: P.args, **kwargs: P.kwargs) -> Found:
        reader, key = _key(make.__module__, make.__qualname__, args, kwargs)
        if reader is None:
            return make(*args, **kwargs)
        with _lock:
            making = _making.setdefault((id(reader.made), key), threading.Lock())
        with making:
            with _lock:
                if key in reader.made:
                    reader.made.move_to_end(key)
                    known: Found = reader.made[key]
                    return known
            made = make(*args, **kwargs)
            with _lock:
                reader.made[key] = made
                while len(reader.made) > MOST:
                    reader.made.popitem(last=False)
            return made

    return once


def _key(*given: object) -> tuple[Reader | None, bytes]:
    """The one reader in what is given, and the rest as bytes; no reader where it can't be said in bytes."""
    data = io.BytesIO()
    pickler = _Pickler(data)
    try:
        pickler.dump((language(), *given))
    except (pickle.PicklingError, TypeError, AttributeError):
        return None, b""
    return (pickler.readers[0] if len(set(map(id, pickler.readers))) == 1 else None), data.getvalue()


class _Pickler(pickle.Pickler):
    """Writes a reader as a mark alone, and remembers it."""

    def __init__(self, file: io.BytesIO) -> None:
        super().__init__(file, protocol=5)
        self.readers: list[Reader] = []

    def persistent_id(self, value: object) -> str | None:
        if isinstance(value, Reader):
            self.readers.append(value)
            return "reader"
        return None

    def reducer_override(self, value: Any) -> Any:
        """A dataclass is its fields, without what it worked out meanwhile."""
        if is_dataclass(value) and not isinstance(value, type):
            return dict, ([(field.name, getattr(value, field.name)) for field in fields(value)],), None
        return NotImplemented
