"""What dropped files would be read as; the reader is handed in by whoever serves the pages."""

import shutil
import tempfile
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path, PurePath

from dashboard.text.catalogue import _
from warehouse.errors import CallError
from warehouse.home import Home
from warehouse.preview import Brought, Look, Preview

FOLDER = ".preview"
_looks: list[Look] = []


def use(look: Look) -> None:
    """From here on, whatever is brought is read by this."""
    _looks[:] = [look]


def sweep(home: Home) -> None:
    """Remove what a server that was killed left of files that were only looked at."""
    shutil.rmtree(home.path / FOLDER, ignore_errors=True)


def opened(home: Home, files: Mapping[PurePath, bytes], brought: Brought) -> tuple[Preview, dict[str, bytes]]:
    """What files would be read as, and their contents by the names they would be delivered under.

    They lie in a folder of the home while they are looked at, and are then gone from it.

    Raises
        CallError: nobody handed in a reader.
        OSError: the disk did not take them.
    """
    if not _looks:
        raise CallError(_("These pages can't read files; start them with: underfoot serve"))
    place = home.path / FOLDER
    place.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory(dir=place) as made:
        folder = Path(made)
        for name, data in files.items():
            (folder / name.name).write_bytes(data)
        found = _looks[0](replace(brought, folder=folder))
        return found, {path.name: path.read_bytes() for path in folder.iterdir()}
