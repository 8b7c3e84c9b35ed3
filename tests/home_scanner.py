"""Every place in a home where something that was to be removed can still be read.

It knows nothing of how a home is laid out: each file is searched as bytes, then opened as whatever it turns out to
be (archive, compressed file, database, table file, JSON, text with encoded parts), and what comes out is searched in
the same way. What is encrypted, or hashed, is beyond it.
"""

import base64
import bz2
import gzip
import html
import io
import json
import lzma
import re
import sqlite3
import tarfile
import tempfile
import unicodedata
import zipfile
import zlib
from collections.abc import Iterable, Iterator
from contextlib import closing
from pathlib import Path
from urllib.parse import quote, quote_plus

import duckdb
import pyarrow as pa
import pyarrow.ipc
import pyarrow.parquet

SHORT_CODE = 8  # characters; a shorter one turns up in binary files by chance
NEVER_OPENED_DEEPER_THAN = 6  # containers within one another

_ENCODED = re.compile(rb"[A-Za-z0-9+/_-]{16,}")
_ENCODINGS = ("utf-8", "latin-1", "utf-16-le", "utf-16-be")  # UTF-32 is UTF-16 with more zeros


def _writings(text: str) -> set[bytes]:
    """The ways in which a text may be written, with A to Z in lower case and without bytes of zero."""
    texts = {
        unicodedata.normalize(form, t) for form in ("NFC", "NFD") for t in (text, text.upper(), text.lower())
    }
    texts |= {t.replace('"', '""') for t in texts}
    texts |= {
        w for t in texts for w in (json.dumps(t)[1:-1], html.escape(t), quote(t), quote(t, ""), quote_plus(t))
    }
    return {t.encode(e, "ignore").lower().replace(b"\0", b"") for t in texts for e in _ENCODINGS}


class _Wanted:
    def __init__(self, texts: Iterable[str], codes: Iterable[str], byte_strings: Iterable[bytes]) -> None:
        self.texts = {text: sorted(_writings(text)) for text in texts}
        self.codes = {
            code: re.compile(rf"(?<![^\W_]){re.escape(code)}(?![^\W_])", re.IGNORECASE) for code in codes
        }
        self.raw_codes = {c: sorted(_writings(c)) for c in self.codes if len(c) >= SHORT_CODE}
        self.byte_strings = list(byte_strings)

    def in_bytes(self, data: bytes) -> set[str]:
        lower = data.lower()
        places = (lower, lower.replace(b"\0", b"")) if b"\0" in data else (lower,)

        def written(wanted: dict[str, list[bytes]]) -> set[str]:
            return {t for t, ways in wanted.items() if any(way in place for way in ways for place in places)}

        found = written(self.texts)
        text = _as_text(data)
        if text is None:
            found |= written(self.raw_codes)
        else:
            found |= {code for code, whole_word in self.codes.items() if whole_word.search(text)}
        return found | {repr(some) for some in self.byte_strings if some in data}


def _as_text(data: bytes) -> str | None:
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        encoding = "utf-16"
    elif data[1::2].count(0) > len(data) / 4:
        encoding = "utf-16-le"
    else:
        encoding = "utf-8"
    try:
        text = data.decode(encoding)
    except UnicodeDecodeError:
        return None
    return None if "\0" in text else text


# --- what is inside of what ------------------------------------------------------------------------------------------


def _zip_parts(data: bytes) -> Iterator[tuple[str, bytes]]:
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        yield "comment", archive.comment
        for member in archive.infolist():
            yield f"name of {member.filename}", member.filename.encode()
            yield member.filename, archive.read(member)


def _tar_parts(data: bytes) -> Iterator[tuple[str, bytes]]:
    with tarfile.open(fileobj=io.BytesIO(data)) as archive:
        for member in archive:
            named = f"{member.name}\n{member.linkname}\n{member.uname}\n{member.gname}"
            yield f"name of {member.name}", named.encode(errors="replace")
            if member.isfile():
                yield member.name, archive.extractfile(member).read()


def _value_parts(where: str, values: Iterable) -> Iterator[tuple[str, bytes]]:
    texts = set()
    for value in values:
        if isinstance(value, bytes):
            yield where, value
        elif value is not None:
            texts.add(str(value))
    plain = [text for text in texts if "\\" not in text]
    for text in ("\n".join(plain), *texts.difference(plain)):
        yield where, text.encode(errors="replace")


def _written(data: bytes, wal: bytes, folder: str, wal_name: str) -> Path:
    """A copy to open, with the log of what is not yet in the database itself."""
    path = Path(folder, "copy")
    path.write_bytes(data)
    if wal:
        path.with_name(wal_name).write_bytes(wal)
    return path


def _sqlite_parts(data: bytes, wal: bytes) -> Iterator[tuple[str, bytes]]:
    with tempfile.TemporaryDirectory() as folder:
        path = _written(data, wal, folder, "copy-wal")
        with closing(sqlite3.connect(path)) as db:
            db.text_factory = bytes
            tables = db.execute("SELECT name FROM sqlite_schema WHERE type = 'table'").fetchall()
            for (table,) in [(b"sqlite_schema",), *tables]:
                name = table.decode()
                quoted = name.replace('"', '""')
                rows = db.execute(f'SELECT * FROM "{quoted}"')
                yield from _value_parts(f"table {name}", (value for row in rows for value in row))


def _duckdb_parts(data: bytes, wal: bytes) -> Iterator[tuple[str, bytes]]:
    with tempfile.TemporaryDirectory() as folder:
        path = _written(data, wal, folder, "copy.wal")
        with duckdb.connect(str(path)) as db:
            for listing in (
                "duckdb_tables",
                "duckdb_views",
                "duckdb_columns",
                "duckdb_types",
                "duckdb_functions",
            ):
                yield from _table_parts(
                    listing, db.sql(f"FROM {listing}() WHERE NOT internal").to_arrow_table()
                )
            named = (
                "SELECT schema_name, table_name FROM duckdb_tables() WHERE estimated_size > 0"  # has had rows
            )
            for schema, table in db.execute(named).fetchall():
                name = ".".join('"' + part.replace('"', '""') + '"' for part in (schema, table))
                yield from _table_parts(f"table {schema}.{table}", db.sql(f"FROM {name}").to_arrow_table())


def _table_parts(where: str, table: pa.Table) -> Iterator[tuple[str, bytes]]:
    yield f"{where}, head", f"{table.schema.names} {table.schema.metadata}".encode()
    for name, column in zip(table.column_names, table.columns, strict=True):
        for chunk in column.chunks:
            yield from _array_parts(f"{where}, column {name}", chunk)


def _array_parts(where: str, array: pa.Array) -> Iterator[tuple[str, bytes]]:
    kind = array.type
    if isinstance(kind, pa.BaseExtensionType):
        yield from _array_parts(where, array.storage)
    elif pa.types.is_dictionary(kind):
        yield from _array_parts(where, array.dictionary)  # with values that no row has any more
    elif pa.types.is_struct(kind):
        for part in array.flatten():
            yield from _array_parts(where, part)
    elif pa.types.is_map(kind):
        yield from _array_parts(where, array.keys)
        yield from _array_parts(where, array.items)
    elif pa.types.is_nested(kind):
        yield from _array_parts(where, array.flatten())
    elif pa.types.is_floating(kind) or pa.types.is_integer(kind):
        numbers = array.fill_null(0).to_numpy(zero_copy_only=False)
        yield where, numbers.tobytes()
    elif not (pa.types.is_boolean(kind) or pa.types.is_null(kind)):
        yield from _value_parts(where, array.unique().to_pylist())


def _json_parts(data: bytes) -> Iterator[tuple[str, bytes]]:
    """The strings of JSON, or of lines of JSON, without their escapes."""

    def strings(value) -> Iterator[str]:
        if isinstance(value, str):
            yield value
        elif isinstance(value, dict):
            yield from value
            for part in value.values():
                yield from strings(part)
        elif isinstance(value, list):
            for part in value:
                yield from strings(part)

    if b"\\" not in data or (text := _as_text(data)) is None:
        return
    for part in (text, *text.splitlines()):
        if part.lstrip()[:1] in ("{", "[", '"'):
            try:
                found = list(strings(json.loads(part)))
            except ValueError:
                continue
            for some in found:
                yield "JSON", some.encode(errors="replace")


def _encoded_parts(data: bytes) -> Iterator[tuple[str, bytes]]:
    if _as_text(data) is None:
        return
    for run in set(_ENCODED.findall(data)):
        plain = run.translate(bytes.maketrans(b"-_", b"+/"))
        yield "base64", base64.b64decode(plain + b"=" * (-len(plain) % 4)) if len(plain) % 4 != 1 else b""
        if len(run) % 2 == 0 and re.fullmatch(rb"[0-9A-Fa-f]+", run):
            yield "hex", bytes.fromhex(run.decode())


def _parts(data: bytes, wal: bytes) -> Iterator[tuple[str, bytes]]:
    start = data[:16]
    if start.startswith(b"PK\x03\x04") or zipfile.is_zipfile(io.BytesIO(data)):
        yield from _zip_parts(data)
    elif data[257:262] == b"ustar":
        yield from _tar_parts(data)
    elif start.startswith(b"\x1f\x8b"):
        yield "gzip", gzip.decompress(data)
    elif start.startswith(b"BZh"):
        yield "bzip2", bz2.decompress(data)
    elif start.startswith(b"\xfd7zXZ\0"):
        yield "xz", lzma.decompress(data)
    elif start.startswith(b"\x28\xb5\x2f\xfd"):
        yield "zstd", pa.CompressedInputStream(pa.BufferReader(data), "zstd").read()
    elif start[:2] in (b"\x78\x01", b"\x78\x5e", b"\x78\x9c", b"\x78\xda"):
        yield "zlib", zlib.decompress(data)
    elif start.startswith(b"SQLite format 3\0"):
        yield from _sqlite_parts(data, wal)
    elif data[8:12] == b"DUCK":
        yield from _duckdb_parts(data, wal)
    elif start.startswith(b"PAR1"):
        table = pa.parquet.read_table(pa.BufferReader(data))
        yield from _table_parts("parquet", table)
        yield from _table_parts("parquet", _with_whole_dictionaries(data, table))
    elif start.startswith(b"ARROW1"):
        yield from _table_parts("arrow", pa.ipc.open_file(data).read_all())
    elif start.startswith(b"\xff\xff\xff\xff"):
        yield from _table_parts("arrow", pa.ipc.open_stream(data).read_all())
    else:
        yield from _json_parts(data)
        yield from _encoded_parts(data)


def _with_whole_dictionaries(data: bytes, table: pa.Table) -> pa.Table:
    texts = [f.name for f in table.schema if pa.types.is_string(f.type) or pa.types.is_large_string(f.type)]
    return pa.parquet.read_table(pa.BufferReader(data), columns=texts, read_dictionary=texts)


def _scan(data: bytes, wanted: _Wanted, where: str, wal: bytes, depth: int = 0) -> Iterator[tuple[str, str]]:
    for found in wanted.in_bytes(data):
        yield where, found
    if depth == NEVER_OPENED_DEEPER_THAN:
        return
    parts = _parts(data, wal)
    while True:
        try:
            name, part = next(parts)
        except StopIteration:
            return
        except Exception:
            if depth == 0:
                raise  # a file of the home that cannot be opened was not searched
            return  # bytes that only happen to begin like a container
        yield from _scan(part, wanted, f"{where} > {name}", b"", depth + 1)


def remains(
    home: Path, texts: Iterable[str] = (), codes: Iterable[str] = (), byte_strings: Iterable[bytes] = ()
) -> list[tuple[str, str]]:
    """Where in `home` one of these is left: (file, and the way inside it; what), sorted.

    Texts (names, addresses, sentences) are found anywhere, in either case and however written. Codes are found in
    text as whole words, and in the bytes of binary files only from SHORT_CODE characters on. Byte strings are found
    as they are, also in the memory of columns of numbers. Names of files and folders count as content.
    """
    wanted = _Wanted(texts, codes, byte_strings)
    found, inside = set(), {}  # what is in a file, by its bytes: what is published is a copy of the warehouse
    for path in sorted(home.rglob("*")):
        name = path.relative_to(home).as_posix()
        found |= {(f"name of {name}", what) for what in wanted.in_bytes(path.name.encode())}
        if path.is_symlink():
            found |= {(f"target of {name}", what) for what in wanted.in_bytes(str(path.readlink()).encode())}
        elif path.is_file():
            logs = (path.with_name(f"{path.name}{end}") for end in (".wal", "-wal"))
            wal = b"".join(log.read_bytes() for log in logs if log.is_file())
            data = path.read_bytes()
            if (data, wal) not in inside:
                inside[data, wal] = set(_scan(data, wanted, "", wal))
            found |= {(name + where, what) for where, what in inside[data, wal]}
    return sorted(found)
