"""Whose files the server takes in: those of staff who have signed in, and a family's films, small and few.

Streamlit stores what is sent to a visit's upload address before any page looks at who sent it.
"""

import re
from collections import OrderedDict
from collections.abc import Iterable

from streamlit.runtime.scriptrunner import get_script_run_ctx

MOST_VISITS = 10_000
MOST_BYTES, MOST_FILES = (40 << 20) + (1 << 16), 12  # of one file, and files in one visit, of a family
_ADDRESS = re.compile(r"/_stcore/upload_file/([^/]*)(?:/|$)")
_admitted: OrderedDict[str, int | None] = OrderedDict()  # visit → files it may still send; None: any number


def admit(*, staff: bool, films: bool = False) -> None:
    """From now on, take in what this visit sends, or do so no longer; `films`: those of a family."""
    context = get_script_run_ctx(suppress_warning=True)
    if context is None:
        return
    left = _admitted.pop(context.session_id, None)
    if staff or films:
        _admitted[context.session_id] = None if staff else MOST_FILES if left is None else left
        if len(_admitted) > MOST_VISITS:
            _admitted.popitem(last=False)


def refused(method: str, path: str, headers: Iterable[tuple[bytes, bytes]] = ()) -> bool:
    """Whether a request brings, or takes back, a file of a visit not admitted, or more than it may."""
    found = _ADDRESS.search(path)
    if found is None or method in {"OPTIONS", "HEAD", "GET"}:
        return False
    visit = found[1]
    if visit not in _admitted:
        return True
    left = _admitted[visit]
    if left is None or method == "DELETE":
        return False
    size = next((value for name, value in headers if name.lower() == b"content-length"), b"")
    if not left or not size.isdigit() or int(size) > MOST_BYTES:
        return True
    _admitted[visit] = left - 1
    return False
