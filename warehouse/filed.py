"""What is kept of a session's films beside its filed bytes: filed/<hash>/.film/.

For each filmed swing N: swing-N.mp4, cut to the feet with its marks drawn in, and swing-N.csv, where the
marks were in each picture, with the shoes' width where the film tells it. films.json lists them with size
and SHA-256, and so each film as delivered that was not kept (a minor's, see `ingest.film.kept`), so that
the delivery's content hash can still be checked; and why it was refused, where it was.
"""

import hashlib
import json
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import asdict, dataclass, fields
from pathlib import Path
from typing import Any

from warehouse.errors import Refusal
from warehouse.home import sync, write_synced
from warehouse.vocabulary import is_film

WHY = "why.json"  # beside a refused delivery: what it was, and why it was refused
DROP_ASKED = "drop-asked"  # in a folder of refused/: who wants it dropped

FILM_FOLDER, FILM_LIST = ".film", "films.json"
BY_ROSTER = "no_handedness"  # refused for what a roster supplies: the session is then read again from filed/


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
        sha256 = hashlib.file_digest(file, "sha256").hexdigest()
        return FileFacts(file.tell(), sha256)


def kept_film(filed: Path, swing_no: int) -> Path:
    """The film of a swing that pages show; `filed` is the delivery's folder."""
    return filed / FILM_FOLDER / f"swing-{swing_no}.mp4"


def kept_tracks(filed: Path, swing_no: int) -> Path:
    """Where it is written down how the marks of a swing's film went."""
    return filed / FILM_FOLDER / f"swing-{swing_no}.csv"


def kept_outlines(filed: Path, swing_no: int) -> Path:
    """Where it is written down how the shoes of a swing's film without tape were followed."""
    return filed / FILM_FOLDER / f"swing-{swing_no}-outlines.json"


def film_list(
    files: dict[str, FileFacts], gone: dict[str, FileFacts], why: dict[str, dict[str, Any]] | None = None
) -> str:
    """The text of films.json: what is in .film/, what was not kept, and why of that some was refused."""
    listed = {"files": files, "not_kept": gone}
    plain = {part: {name: asdict(facts) for name, facts in some.items()} for part, some in listed.items()}
    plain |= {"refused": why} if why else {}
    return json.dumps(plain, indent=2, sort_keys=True) + "\n"


def films_not_kept(filed: Path) -> dict[str, FileFacts]:
    """The films of a filed delivery that were not kept, by their names.

    Raises
        OSError: films.json can't be read.
    """
    return _facts(filed, "not_kept")


def films_refused(filed: Path) -> dict[str, Refusal]:
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
        raise OSError(f"{FILM_FOLDER}/{FILM_LIST} can't be read") from error


def check_films(filed: Path) -> None:
    """Hold every file of .film/ against films.json.

    Raises
        OSError: one is missing or has changed.
    """
    for name, facts in _facts(filed, "files").items():
        if facts_of(filed / FILM_FOLDER / name) != facts:
            raise OSError(f"{FILM_FOLDER}/{name} is not what was kept")


def _facts(filed: Path, part: str) -> dict[str, FileFacts]:
    try:
        return {name: FileFacts(**facts) for name, facts in _listed(filed).get(part, {}).items()}
    except (TypeError, AttributeError) as error:
        raise OSError(f"{FILM_FOLDER}/{FILM_LIST} can't be read") from error


def _listed(filed: Path) -> dict[str, Any]:
    path = filed / FILM_FOLDER / FILM_LIST
    if not path.is_file():
        return {}
    try:
        listed: dict[str, Any] = dict(json.loads(path.read_text("utf-8")))
    except (ValueError, TypeError) as error:
        raise OSError(f"{FILM_FOLDER}/{FILM_LIST} can't be read") from error
    return listed


class Fingerprint:
    """Takes a delivery's files one by one, in the order of their names."""

    def __init__(self) -> None:
        self._digest = hashlib.sha256()
        self.n_bytes = 0

    def add(self, name: str, size: int, content: bytes) -> None:
        """Take one file: its relative name, its size and the SHA-256 of its bytes."""
        self._digest.update(f"{len(name)}:{name}:{size}:".encode())
        self._digest.update(content)
        self.n_bytes += size

    @property
    def text(self) -> str:
        """The hash, as it names the folder in filed/."""
        return self._digest.hexdigest()


def content_hash(folder: Path) -> str:
    """Content hash of what was delivered into a folder of filed/; films not kept count as noted.

    Raises
        OSError: a file can't be read, or what is kept of a film is no longer what it was.
    """
    found = Fingerprint()
    check_films(folder)
    gone = films_not_kept(folder)
    files = {path.relative_to(folder).as_posix(): path for path in folder.rglob("*") if path.is_file()}
    names = {name for name in files if not name.startswith(f"{FILM_FOLDER}/")} | gone.keys()
    for name in sorted(names):
        facts = gone[name] if name in gone else facts_of(files[name])
        found.add(name, facts.size, facts.content)
    return found.text


def problem(folder: Path) -> str | None:
    """What is wrong with a filed delivery, whose folder's name is its content hash: missing or damaged."""
    if not folder.is_dir():
        return "missing"
    with suppress(OSError):
        if content_hash(folder) == folder.name:
            return None
    return "damaged"


def why_refused(folder: Path) -> dict[str, Any]:
    """What the why.json in a folder of refused/ says; nothing where there is none that can be read."""
    with suppress(OSError, ValueError):
        found = json.loads((folder / WHY).read_text(encoding="utf-8"))
        if isinstance(found, dict):
            return found
    return {}


def ask_to_drop(folder: Path, by: str) -> None:
    """Note in a refused delivery's folder that it is to be dropped; the loader does it."""
    (folder / DROP_ASKED).write_text(by, encoding="utf-8")


def is_drop_asked(folder: Path) -> bool:
    """Whether somebody asked for a refused delivery to be dropped."""
    return (folder / DROP_ASKED).is_file()


def drop_asked_by(folder: Path) -> str | None:
    """Who asked for it to be dropped; None where it was the command line."""
    return (folder / DROP_ASKED).read_text(encoding="utf-8") if is_drop_asked(folder) else None


def films_in(folder: Path) -> list[Path]:
    """The films in a folder of filed/ or refused/ as they were delivered."""
    return sorted(
        path
        for path in folder.rglob("*")
        if is_film(path.name) and path.relative_to(folder).parts[0] != FILM_FOLDER
    )


def cut_films(filed: Path) -> list[Path]:
    """The films of a filed delivery that are cut to the feet."""
    return sorted((filed / FILM_FOLDER).glob("swing-*.mp4"))


def are_followed(filed: Path) -> bool:
    """Whether the marks in every film of a filed delivery were followed, so that it can be read without."""
    return len(list((filed / FILM_FOLDER).glob("swing-*.csv"))) >= len(films_in(filed))


def remove_films(filed: Path, leaving: Sequence[Path], refused: Mapping[str, Mapping[str, Any]]) -> int:
    """Remove films of a filed delivery, not what was marked in them; returns how many went.

    They are noted in films.json before the first goes, with why some had been `refused`, by their names: the
    delivery's content hash stays, and what a rebuild reads.
    """
    shelf = filed / FILM_FOLDER
    kept = {name: facts for name, facts in _facts(filed, "files").items() if shelf / name not in leaving}
    originals = {path.relative_to(filed).as_posix(): path for path in leaving if path.parent != shelf}
    gone = films_not_kept(filed) | {name: facts_of(path) for name, path in originals.items()}
    why = _listed(filed).get("refused", {}) | {name: refused[name] for name in originals if name in refused}
    shelf.mkdir(exist_ok=True)
    write_synced(shelf / FILM_LIST, film_list(kept, gone, why))
    for path in leaving:
        path.unlink()
    sync(filed)
    return len(leaving)


def remove_refused_films(file: Path, why: dict[str, Any]) -> int:
    """Remove the films of a refused delivery, by its why.json and what that says; returns how many went.

    Their names are written to it before they go: whoever tries the delivery again learns what is missing.
    """
    leaving = films_in(file.parent)
    names = {path.relative_to(file.parent).as_posix() for path in leaving}
    if leaving:
        why["films_not_kept"] = sorted({*names, *why.get("films_not_kept", [])})
        write_synced(file, json.dumps(why, indent=2, ensure_ascii=False) + "\n")
    for path in leaving:
        path.unlink()
    return len(leaving)
