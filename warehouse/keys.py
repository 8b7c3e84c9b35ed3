"""Keys of a home: 32 random bytes each, in a file of its owner's alone, made when first needed."""

import os
import secrets
from contextlib import suppress
from pathlib import Path

from warehouse.errors import CallError

N_BYTES = 32


def home_key(path: Path, if_lost: str) -> bytes:
    """The key in a file, which is made when it is missing.

    Raises
        CallError: the file does not hold a key; `if_lost` says what to do about it.
    """
    with suppress(FileExistsError):
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(handle, "wb") as file:
            file.write(secrets.token_bytes(N_BYTES))
            file.flush()
            os.fsync(file.fileno())
    key = path.read_bytes()
    if len(key) != N_BYTES:
        raise CallError(f"{path} is damaged; {if_lost}")
    return key
