"""Files in a session's folder that nobody reads: misspelt, in a subfolder, or of another kind."""

from collections.abc import Sequence
from fnmatch import fnmatch

from ingest.clip_files import clip_files
from ingest.deliveries import SHEET
from ingest.refusals import escaped
from ingest.session_file import SessionHeader
from ingest.swing_files import sample_files

NOTES = ("notes*.csv", "notes*.jsonl")
SHOTS = "shots*.csv"
_TABLES = (SHEET, "events.csv", *NOTES, SHOTS)
_MOST_NAMED = 5


def unread(header: SessionHeader, names: Sequence[str]) -> list[str]:
    """One notice that names a session's files no reader takes; none when every file is read."""
    named = {name for swing in header.swings.values() for name in (swing.file, swing.clip)}
    read = {*sample_files(names, header), *clip_files(names, header), *named}
    left = [n for n in names if n not in read and not any(fnmatch(n.lower(), p) for p in _TABLES)]
    if not left:
        return []
    some = ", ".join(escaped(name) for name in left[:_MOST_NAMED])
    more = f" and {len(left) - _MOST_NAMED} more" if len(left) > _MOST_NAMED else ""
    was = "was" if len(left) == 1 else "were"
    notice = (
        f"Session {header.session}: {some}{more} in the session's folder {was} not read, as no such name "
        "is known; rename what should be read and deliver the session again."
    )
    return [notice]
