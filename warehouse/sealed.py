"""Files sealed with a passphrase or a key file: written as a stream, read from any place.

Layout: one line of JSON (what the key is derived with), then pieces of 1 MiB, each sealed by itself with
ChaCha20-Poly1305 (RFC 8439) under a nonce that counts, the last one marked as such: a piece that is changed,
missing, moved or cut off does not open. The key is derived with scrypt (RFC 7914); both are the library
`cryptography`'s.
"""

import io
import json
import os
import secrets
from pathlib import Path
from typing import IO, Any

from cryptography.exceptions import InvalidTag
from cryptography.hazmat.primitives.ciphers.aead import ChaCha20Poly1305
from cryptography.hazmat.primitives.kdf.scrypt import Scrypt

from warehouse.errors import CallError

FORMAT = "underfoot-sealed-1"
PIECE, TAG = 1 << 20, 16
WORK, BLOCK, LANES = 1 << 16, 8, 1  # scrypt's n, r and p: 64 MiB of memory
MOST_WORK = 1 << 20
_LONGEST_HEAD = 4096
_CHECK = (1 << 96) - 1  # the nonce of the mark that tells a wrong passphrase from a damaged file
_LAST, _MORE = b"last", b"more"
WRONG = "{file} was sealed with another passphrase or key file; give the one it was made with."


def is_sealed(file: Path) -> bool:
    """Whether a file begins as a sealed one does."""
    with file.open("rb") as opened:
        return FORMAT.encode() in opened.read(64)


def _derived(secret: bytes, salt: bytes, work: int) -> ChaCha20Poly1305:
    return ChaCha20Poly1305(Scrypt(salt=salt, length=32, n=work, r=BLOCK, p=LANES).derive(secret))


def _nonce(number: int) -> bytes:
    return number.to_bytes(12, "big")


class SealedWriter(io.RawIOBase):
    """Seals what is written to it into `target`; `close` writes the last piece."""

    def __init__(self, target: IO[bytes], secret: bytes) -> None:
        salt = secrets.token_bytes(16)
        self._target, self._cipher = target, _derived(secret, salt, WORK)
        check = self._cipher.encrypt(_nonce(_CHECK), b"", None)
        head = {"format": FORMAT, "salt": salt.hex(), "n": WORK, "check": check.hex()}
        target.write(json.dumps(head).encode() + b"\n")
        self._waiting, self._number = bytearray(), 0

    def writable(self) -> bool:
        """It is for writing alone."""
        return True

    def write(self, data: Any) -> int:
        """Take bytes; whole pieces are sealed once it is known that more follow."""
        given = memoryview(data).cast("B")
        self._waiting += given
        while len(self._waiting) > PIECE:
            self._seal(bytes(self._waiting[:PIECE]), _MORE)
            del self._waiting[:PIECE]
        return len(given)

    def _seal(self, piece: bytes, mark: bytes) -> None:
        self._target.write(self._cipher.encrypt(_nonce(self._number), piece, mark))
        self._number += 1

    def close(self) -> None:
        """Seal what is left as the last piece; the target stays open."""
        if not self.closed:
            self._seal(bytes(self._waiting), _LAST)
            super().close()


class SealedReader(io.RawIOBase):
    """Reads a sealed file from any place, a piece at a time.

    Raises
        CallError: it was sealed with another passphrase or key file.
        ValueError: it is no sealed file.
        InvalidTag: a piece is not what was written; of the last one at once, of others when they are read.
    """

    def __init__(self, file: Path, secret: bytes) -> None:
        self._file = file.open("rb")
        try:
            self._cipher = self._unlocked(file, secret)
            self._start = self._file.tell()
            sealed = file.stat().st_size - self._start
            self._pieces = max(-(-sealed // (PIECE + TAG)), 1)
            self._size = sealed - self._pieces * TAG
            self._place, self._number, self._piece = 0, -1, b""
            self._open(self._pieces - 1)  # the last: a file that was cut off shows at once
        except BaseException:
            self._file.close()
            raise

    def _unlocked(self, file: Path, secret: bytes) -> ChaCha20Poly1305:
        head = json.loads(self._file.readline(_LONGEST_HEAD))
        if head["format"] != FORMAT or not 2 <= head["n"] <= MOST_WORK:
            raise ValueError(FORMAT)
        cipher = _derived(secret, bytes.fromhex(head["salt"]), head["n"])
        try:
            cipher.decrypt(_nonce(_CHECK), bytes.fromhex(head["check"]), None)
        except InvalidTag as error:
            raise CallError(WRONG.format(file=file)) from error
        return cipher

    def _open(self, number: int) -> None:
        self._file.seek(self._start + number * (PIECE + TAG))
        mark = _LAST if number == self._pieces - 1 else _MORE
        self._piece = self._cipher.decrypt(_nonce(number), self._file.read(PIECE + TAG), mark)
        self._number = number

    def readable(self) -> bool:
        """It is for reading alone."""
        return True

    def seekable(self) -> bool:
        """Any place can be read."""
        return True

    def seek(self, offset: int, whence: int = os.SEEK_SET) -> int:
        """Go to a place in what was sealed."""
        base = {os.SEEK_SET: 0, os.SEEK_CUR: self._place, os.SEEK_END: self._size}[whence]
        self._place = max(base + offset, 0)
        return self._place

    def tell(self) -> int:
        """The place in what was sealed."""
        return self._place

    def readinto(self, buffer: Any) -> int:
        """Fill a buffer from one piece; 0 at the end."""
        if self._place >= self._size:
            return 0
        number, within = divmod(self._place, PIECE)
        if number != self._number:
            self._open(number)
        part = self._piece[within : within + len(buffer)]
        buffer[: len(part)] = part
        self._place += len(part)
        return len(part)

    def close(self) -> None:
        """Let the file go."""
        self._file.close()
        super().close()
