"""PDF of our own HTML documents, A4 or Letter.

It is made in a process of its own: the layout engine is compiled code, the documents hold names and notes
that people wrote, and the server of the pages must outlive whatever these do to it.
"""

import base64
import json
import subprocess
import sys
from collections.abc import Sequence
from importlib.util import find_spec
from pathlib import Path

from dashboard.text.catalogue import _, mark
from warehouse.errors import UnderfootError

CHILD = Path(__file__).with_name("pdf_child.py")
STARTING_S, DOCUMENT_S = 60.0, 10.0  # most; a document takes a tenth of a second on an idle machine
FONT = b"/FontDescriptor"  # in every PDF that has letters
NOT_HERE = mark(
    "No PDF can be made on this machine: the package plutoprint is not installed, or has no build for it. "
    "Save as HTML, and print that to PDF in a browser."
)


def is_available() -> bool:
    """Whether the layout engine is installed; it has no build for some machines."""
    return find_spec("plutoprint") is not None


def pdfs(documents: Sequence[str], paper: str) -> list[bytes]:
    """Whole HTML documents as PDF, in their order, on one of `vocabulary.PAPERS`.

    Raises
        UnderfootError: no layout engine or no font is installed, or a document could not be laid out.
    """
    if not is_available():
        raise UnderfootError(_(NOT_HERE))
    command, wait_s = [sys.executable, "-P", str(CHILD), paper], STARTING_S + DOCUMENT_S * len(documents)
    given = json.dumps(documents).encode()
    try:
        done = subprocess.run(command, input=given, capture_output=True, timeout=wait_s, check=True)  # noqa: S603
    except (subprocess.SubprocessError, OSError) as error:
        raise UnderfootError(
            _("The PDF could not be made. Save as HTML, and print that to PDF in a browser.")
        ) from error
    made = [base64.b64decode(line) for line in done.stdout.split()]
    if not all(FONT in pdf for pdf in made):
        raise UnderfootError(
            _("This machine has no font to print with; install one, such as Debian's fonts-dejavu-core.")
        )
    return made
