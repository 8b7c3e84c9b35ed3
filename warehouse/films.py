"""What is kept of a session's films beside its filed bytes: filed/<hash>/.film/.

For each filmed swing N: swing-N.mp4, cut to the feet with its marks drawn in, and swing-N.csv, where the
marks were in each picture, with the shoes' width where the film tells it. films.json lists them with size
and SHA-256, and so each film as delivered that was not kept (a minor's, see `ingest.film.kept`), so that
the delivery's content hash can still be checked; and why it was refused, where it was.
"""

import hashlib
import json
from dataclasses import asdict, dataclass, fields
from pathlib import Path
from typing import Any

from warehouse.errors import Refusal

FOLDER, LIST = ".film", "films.json"


@dataclass(frozen=True)
class FileFacts:
    """Size and SHA-256 of a file."""

    size: int
    sha256: str

    @property
    def content(self) -> bytes:
        """The hash's bytes."""
        return bytes.fromhex(self.sha256)


def facts_of(path: Path) -> FileFacts:
    """Read a file once.

    Raises
        OSError: it can't be read.
    """
    with path.open("rb") as file:
        return FileFacts(size=file.seek(0, 2), sha256=_digest(file))


def _digest(file: Any) -> str:
    file.seek(0)
    return hashlib.file_digest(file, "sha256").hexdigest()


def kept_film(filed: Path, swing_no: int) -> Path:
    """Where the film of a swing stands that pages show; `filed` is the delivery's folder."""
    return filed / FOLDER / f"swing-{swing_no}.mp4"


def kept_tracks(filed: Path, swing_no: int) -> Path:
    """Where it is written down how the marks of a swing's film went."""
    return filed / FOLDER / f"swing-{swing_no}.csv"


def listing(
    files: dict[str, FileFacts], gone: dict[str, FileFacts], why: dict[str, dict[str, Any]] | None = None
) -> str:
    """The text of films.json: what stands in .film/, what was not kept, and why of that some was refused."""
    told = {"files": files, "not_kept": gone}
    plain = {part: {name: asdict(facts) for name, facts in some.items()} for part, some in told.items()}
    plain |= {"refused": why} if why else {}
    return json.dumps(plain, indent=2, sort_keys=True) + "\n"


def not_kept(filed: Path) -> dict[str, FileFacts]:
    """The films of a filed delivery that were not kept, by their names.

    Raises
        OSError: films.json can't be read.
    """
    return _facts(filed, "not_kept")


def refused(filed: Path) -> dict[str, Refusal]:
    """Why films that were not kept had been refused, by their names.

    Raises
        OSError: films.json can't be read.
    """
    known = {field.name for field in fields(Refusal)}
    listed = _listed(filed).get("refused", {})
    try:
        return {
            name: Refusal(**{part: value for part, value in said.items() if part in known})
            for name, said in listed.items()
        }
    except (TypeError, AttributeError) as error:
        raise OSError(f"{FOLDER}/{LIST} can't be read") from error


def check(filed: Path) -> None:
    """Hold every file of .film/ against films.json.

    Raises
        OSError: one is missing or has changed.
    """
    for name, facts in _facts(filed, "files").items():
        if facts_of(filed / FOLDER / name) != facts:
            raise OSError(f"{FOLDER}/{name} is not what was kept")


def _facts(filed: Path, part: str) -> dict[str, FileFacts]:
    try:
        return {name: FileFacts(**facts) for name, facts in _listed(filed).get(part, {}).items()}
    except (TypeError, AttributeError) as error:
        raise OSError(f"{FOLDER}/{LIST} can't be read") from error


def _listed(filed: Path) -> dict[str, Any]:
    path = filed / FOLDER / LIST
    if not path.is_file():
        return {}
    try:
        told: dict[str, Any] = dict(json.loads(path.read_text("utf-8")))
    except (ValueError, TypeError) as error:
        raise OSError(f"{FOLDER}/{LIST} can't be read") from error
    return told
