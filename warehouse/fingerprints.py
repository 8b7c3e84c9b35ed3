"""The content hash of a delivery: its relative file names and bytes, not the folder it came in."""

import hashlib
from pathlib import Path


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
    """Content hash of everything in a folder.

    Raises
        OSError: a file can't be read.
    """
    found = Fingerprint()
    files = {p.relative_to(folder).as_posix(): p for p in folder.rglob("*") if p.is_file()}
    for name in sorted(files):
        with files[name].open("rb") as file:
            content = hashlib.file_digest(file, "sha256").digest()
            size = file.tell()
        found.add(name, size, content)
    return found.text
