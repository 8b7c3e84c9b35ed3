"""Whose files the server takes in: those of staff who have signed in, and nobody's before.

Streamlit stores what is sent to a visit's upload address before any page looks at who sent it.
"""

import re
from collections import OrderedDict

from streamlit.runtime.scriptrunner import get_script_run_ctx

MOST_VISITS = 10_000
_ADDRESS = re.compile(r"/_stcore/upload_file/([^/]*)(?:/|$)")
_admitted: OrderedDict[str, None] = OrderedDict()


def admit(*, staff: bool) -> None:
    """From now on, take in what this visit sends, or do so no longer."""
    context = get_script_run_ctx(suppress_warning=True)
    if context is None:
        return
    _admitted.pop(context.session_id, None)
    if staff:
        _admitted[context.session_id] = None
        if len(_admitted) > MOST_VISITS:
            _admitted.popitem(last=False)


def refused(method: str, path: str) -> bool:
    """Whether a request brings, or takes back, a file of a visit that is not admitted."""
    found = _ADDRESS.search(path)
    return found is not None and method not in {"OPTIONS", "HEAD", "GET"} and found[1] not in _admitted
