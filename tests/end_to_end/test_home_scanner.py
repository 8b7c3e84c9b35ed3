"""The scanner that the tests of forgetting trust: it finds what is planted, wherever and however it is written."""

import base64
import bz2
import gzip
import io
import json
import lzma
import sqlite3
import tarfile
import zipfile
import zlib
from contextlib import closing
from pathlib import Path

import duckdb
import numpy as np
import polars as pl
import pyarrow as pa
import pyarrow.ipc
import pytest

from home_scanner import remains

NAME = "Zoé O'Wren"
CODE = "wren-7"
PLAIN = b"Some lines that say nothing of anybody.\n" * 20


def _zip(name: str, data: bytes) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("other.csv", PLAIN)
        archive.writestr(name, data)
    return out.getvalue()


def _tar(name: str, data: bytes, mode: str) -> bytes:
    out = io.BytesIO()
    with tarfile.open(fileobj=out, mode=mode) as archive:
        member = tarfile.TarInfo(name)
        member.size = len(data)
        archive.addfile(member, io.BytesIO(data))
    return out.getvalue()


def _parquet(frame: pl.DataFrame, **how) -> bytes:
    out = io.BytesIO()
    frame.write_parquet(out, **how)
    return out.getvalue()


def _arrow(frame: pl.DataFrame) -> bytes:
    out = io.BytesIO()
    frame.write_ipc(out, compression="zstd")
    return out.getvalue()


def _arrow_stream(table: pa.Table) -> bytes:
    out = io.BytesIO()
    with pa.ipc.new_stream(out, table.schema, options=pa.ipc.IpcWriteOptions(compression="zstd")) as writer:
        writer.write_table(table)
    return out.getvalue()


def _npz(array: np.ndarray) -> bytes:
    out = io.BytesIO()
    np.savez_compressed(out, rows=array)
    return out.getvalue()


TEXT = f"at,who\n2026-03-01,{NAME}\n".encode()
MANY = pl.DataFrame({"who": [f"Person {n}" for n in range(500)] + [NAME], "n": range(501)})
NESTED = pl.DataFrame({"a": [[{"b": "none"}], [{"b": NAME}]]})

NAME_KEPT = {
    "text": TEXT,
    "upper case": TEXT.decode().upper().encode(),
    "lower case": TEXT.decode().lower().encode(),
    "decomposed accents": "Zoe\u0301 O'Wren".encode(),
    "UTF-16": TEXT.decode().encode("utf-16"),
    "UTF-16 without a mark": TEXT.decode().encode("utf-16-be"),
    "latin-1": TEXT.decode().encode("latin-1"),
    "in the middle of other bytes": b"\x00\xff\xfe" * 50 + NAME.encode() + b"\x00" * 50,
    "JSON": json.dumps({"rows": [{"who": NAME}]}).encode(),
    "lines of JSON": PLAIN + json.dumps({"who": f"\t{NAME}"}).encode() + b"\n{}\n",
    "a key of JSON": json.dumps({f"{NAME}\n": 1}, indent=1).encode(),
    "escaped as somebody else would": b'{"who": "Zo\\u00E9 \\u004f\'Wr\\u0065n"}',
    "JSON in JSON": json.dumps({"line": json.dumps({"who": NAME})}).encode(),
    "HTML": b"<p>Zo\xc3\xa9 O&#x27;Wren</p>",
    "an address": b"GET /page?who=Zo%C3%A9%20O%27Wren HTTP/1.1",
    "base64": b"data:text/plain;base64," + base64.b64encode(TEXT),
    "base64 of a link": b"token=" + base64.urlsafe_b64encode(TEXT).rstrip(b"=") + b".aGk",
    "hex": TEXT.hex().encode(),
    "zip": _zip("notes.csv", TEXT),
    "name in a zip": _zip(f"{NAME}.csv", PLAIN),
    "zip in a zip": _zip("inner.zip", _zip("notes.csv", TEXT)),
    "tar": _tar("notes.csv", TEXT, "w"),
    "tar.gz": _tar("notes.csv", TEXT, "w:gz"),
    "tar.xz": _tar("notes.csv", TEXT, "w:xz"),
    "name in a tar.bz2": _tar(f"{NAME}.csv", PLAIN, "w:bz2"),
    "gzip": gzip.compress(TEXT),
    "bzip2": bz2.compress(TEXT),
    "xz": lzma.compress(TEXT),
    "zlib": zlib.compress(TEXT),
    "array of texts": _npz(np.array(["nobody", NAME])),
    "parquet": _parquet(MANY),
    "parquet without compression": _parquet(MANY, compression="uncompressed"),
    "parquet with lists": _parquet(NESTED),
    "parquet with bytes": _parquet(pl.DataFrame({"blob": [b"", gzip.compress(TEXT)]})),
    "parquet with categories": _parquet(MANY.with_columns(pl.col("who").cast(pl.Categorical))),
    "arrow": _arrow(MANY),
    "arrow stream": _arrow_stream(MANY.to_arrow()),
    "arrow with lists": _arrow(NESTED),
    "dictionary whose value no row has": _arrow_stream(
        pa.table({"who": pa.DictionaryArray.from_arrays(pa.array([0, 0], pa.int8()), ["nobody", NAME])})
    ),
}


@pytest.mark.parametrize("kind", NAME_KEPT)
def test_a_name_is_found_wherever_it_is_written(kind: str, tmp_path: Path):
    home = tmp_path / "home"
    (home / "deep" / "down").mkdir(parents=True)
    (home / "nothing.txt").write_bytes(PLAIN)
    file = home / "deep" / "down" / "file"
    file.write_bytes(NAME_KEPT[kind])
    found = remains(home, texts=[NAME])
    assert found
    assert {(where.split(" > ")[0], what) for where, what in found} == {("deep/down/file", NAME)}
    assert remains(home, texts=["Ida Plover"], codes=["wren-8"], byte_strings=[b"nobody at all"]) == []


def test_a_zstandard_file_is_opened(tmp_path: Path):
    sink = tmp_path / "file.zst"
    with pa.CompressedOutputStream(str(sink), "zstd") as stream:
        stream.write(TEXT)
    assert NAME.encode() in TEXT
    assert ("file.zst > zstd", NAME) in remains(tmp_path, texts=[NAME])


def test_names_of_files_folders_and_links_count(tmp_path: Path):
    (tmp_path / f"folder of {NAME}").mkdir()
    (tmp_path / "link").symlink_to(f"/elsewhere/{CODE}")
    found = remains(tmp_path, texts=[NAME], codes=[CODE])
    assert found == [(f"name of folder of {NAME}", NAME), ("target of link", CODE)]


def _databases(folder: Path, value: object) -> None:
    with closing(sqlite3.connect(folder / "rows.sqlite")) as db, db:
        db.execute("CREATE TABLE other (a)")
        db.execute('CREATE TABLE "odd ""table" (n INTEGER, a)')
        db.execute('INSERT INTO "odd ""table" VALUES (1, ?)', [value])
    with duckdb.connect(str(folder / "rows.duckdb")) as db:
        db.execute(
            'CREATE SCHEMA season; CREATE TABLE season."odd table" (n INTEGER, a VARCHAR, b VARCHAR[])'
        )
        rows = pl.DataFrame(
            {"n": range(5000), "a": [f"person {n}" for n in range(4999)] + [value], "b": [[]] * 5000}
        )
        db.execute('INSERT INTO season."odd table" SELECT n, a, [a] FROM rows')
        assert rows.height == 5000


def test_a_name_is_found_in_databases(tmp_path: Path):
    _databases(tmp_path, NAME)
    found = {where for where, _ in remains(tmp_path, texts=[NAME])}
    assert {
        'rows.sqlite > table odd "table',
        "rows.duckdb > table season.odd table, column a",
        "rows.duckdb > table season.odd table, column b",
    } <= found


def test_a_short_code_is_found_in_databases_as_a_whole_word(tmp_path: Path):
    _databases(tmp_path, "s7")
    (tmp_path / "binary").write_bytes(bytes(range(128, 256)) + b"s7" + bytes(8))
    found = remains(tmp_path, codes=["s7"])
    assert {where.split(" > ")[0] for where, _ in found} == {"rows.sqlite", "rows.duckdb"}
    assert remains(tmp_path, codes=["s"]) == []
    assert remains(tmp_path, codes=["s71"]) == []


def test_what_waits_in_a_database_log_is_found(tmp_path: Path):
    with closing(sqlite3.connect(tmp_path / "rows.sqlite")) as db:
        db.execute("PRAGMA journal_mode = wal")
        db.execute("CREATE TABLE t (a)")
        db.execute("INSERT INTO t VALUES (?)", [gzip.compress(TEXT)])
        db.commit()
        assert ("rows.sqlite > table t > gzip", NAME) in remains(tmp_path, texts=[NAME])
    with duckdb.connect(str(tmp_path / "rows.duckdb")) as db:
        db.execute("PRAGMA disable_checkpoint_on_shutdown")
        db.execute("CREATE TABLE t (a BLOB)")
        db.execute("INSERT INTO t VALUES (?)", [gzip.compress(TEXT)])
    assert (tmp_path / "rows.duckdb.wal").exists()
    assert ("rows.duckdb > table main.t, column a > gzip", NAME) in remains(tmp_path, texts=[NAME])


def test_a_row_deleted_from_a_database_but_still_in_its_file_is_found(tmp_path: Path):
    _databases(tmp_path, NAME)
    with closing(sqlite3.connect(tmp_path / "rows.sqlite")) as db, db:
        db.execute("PRAGMA secure_delete = off")
        db.execute('DELETE FROM "odd ""table"')
    assert ("rows.sqlite", NAME) in remains(tmp_path, texts=[NAME])


def test_codes_are_whole_words_in_text_and_any_bytes_in_binary_files(tmp_path: Path):
    (tmp_path / "a.csv").write_text("wren-70,xwren-7,wren-7x\n")
    assert remains(tmp_path, codes=[CODE]) == []
    (tmp_path / "a.csv").write_text("2026-03-01-Wren-7_b1\n")
    assert remains(tmp_path, codes=[CODE]) == [("a.csv", CODE)]
    (tmp_path / "b.bin").write_bytes(b"\xff\x00" + b"student-wren-71" + b"\xff")
    assert ("b.bin", "student-wren-7") in remains(tmp_path, codes=["student-wren-7"])


def test_bytes_and_columns_of_numbers_are_found(tmp_path: Path):
    samples = np.arange(40, dtype=np.float32) * 1.7
    wanted = samples[5:20].tobytes()
    _databases(tmp_path, "nobody")
    (tmp_path / "a.npz").write_bytes(_npz(samples))
    (tmp_path / "a.parquet").write_bytes(_parquet(pl.DataFrame({"x": samples})))
    (tmp_path / "b.arrow").write_bytes(
        _arrow(pl.DataFrame({"x": [samples.tolist()]}, schema={"x": pl.List(pl.Float32)}))
    )
    (tmp_path / "c.zip").write_bytes(_zip("raw", b"!" + samples.tobytes()))
    found = {where.split(" > ")[0] for where, _ in remains(tmp_path, byte_strings=[wanted])}
    assert found == {"a.npz", "a.parquet", "b.arrow", "c.zip"}


def test_a_file_that_cannot_be_opened_is_not_passed_over(tmp_path: Path):
    (tmp_path / "broken.parquet").write_bytes(b"PAR1" + bytes(40))
    with pytest.raises(pa.ArrowInvalid):
        remains(tmp_path, texts=[NAME])
