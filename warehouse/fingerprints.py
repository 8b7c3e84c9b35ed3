"""The content hash of a delivery: its relative file names and bytes, not the folder it came in."""

import hashlib
from pathlib import Path

from warehouse import films


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


def of_folder(folder: Path) -> str:
    """Content hash of what was delivered into a folder of filed/; films not kept count as noted.

    Raises
        OSError: a file can't be read, or what is kept of a film is no longer what it was.
    """
    found = Fingerprint()
    films.check(folder)
    gone = films.not_kept(folder)
    files = {path.relative_to(folder).as_posix(): path for path in folder.rglob("*") if path.is_file()}
    names = {name for name in files if not name.startswith(f"{films.FOLDER}/")} | gone.keys()
    for name in sorted(names):
        facts = gone[name] if name in gone else films.facts_of(files[name])
        found.add(name, facts.size, facts.content)
    return found.text
