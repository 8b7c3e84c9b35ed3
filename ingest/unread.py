"""Files in a session's folder that nobody reads: misspelt, in a subfolder, or of another kind."""

from collections.abc import Sequence
from fnmatch import fnmatch

from ingest.deliveries import SHEET
from ingest.readers.clip_files import clip_files
from ingest.readers.measured import sample_files
from ingest.readers.sheet import SessionSheet
from ingest.refusing import escaped

NOTES = ("notes*.csv", "notes*.jsonl")
SHOTS = "shots*.csv"
_TABLES = (SHEET, "events.csv", *NOTES, SHOTS)
_MOST_NAMED = 5


def unread(sheet: SessionSheet, names: Sequence[str]) -> list[str]:
    """One notice that names a session's files no reader takes; none when every file is read."""
    named = {name for swing in sheet.swings.values() for name in (swing.file, swing.clip)}
    read = {*sample_files(names, sheet), *clip_files(names, sheet), *named}
    left = [n for n in names if n not in read and not any(fnmatch(n.lower(), p) for p in _TABLES)]
    if not left:
        return []
    some = ", ".join(escaped(name) for name in left[:_MOST_NAMED])
    more = f" and {len(left) - _MOST_NAMED} more" if len(left) > _MOST_NAMED else ""
    was = "was" if len(left) == 1 else "were"
    notice = (
        f"Session {sheet.session}: {some}{more} in the session's folder {was} not read, as no such name "
        "is known; rename what should be read and deliver the session again."
    )
    return [notice]
