"""The only place that opens DuckDB: the writer's transactions, publishing, and read-only snapshots."""

import json
import logging
import re
import shutil
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cached_property
from pathlib import Path
from typing import Any

import duckdb
import polars as pl

from warehouse import journal, swap
from warehouse.definitions import metric_codes
from warehouse.errors import CallError, UnderfootError
from warehouse.home import Home, sync
from warehouse.queries import first_line, read_frame, run, spoken

log = logging.getLogger(__name__)
SCHEMA_FOLDER = Path(__file__).parent / "schema"
SNAPSHOTS_KEPT = 3
# Readers reach no file but the snapshot they opened (traces are read by `traces`, not through DuckDB). Given
# at opening: connections of one process to one file share them, and a later SET would be locked out.
READER_CONFIG: dict[str, str | bool | int | float | list[str]] = {
    "memory_limit": "1GB",
    "enable_external_access": "false",
    "lock_configuration": "true",
}
POINTER = "current.json"


def table_names() -> list[str]:
    """Every table as schema.table, in file order."""
    return sorted(file.name.removesuffix(".sql") for file in SCHEMA_FOLDER.glob("*.sql"))


def table_sql(name: str) -> str:
    """The statement that makes a table; academy.swing_metric has a column for every metric of its rules."""
    text = (SCHEMA_FOLDER / f"{name}.sql").read_text(encoding="utf-8")
    if name != "academy.swing_metric":
        return text
    columns = ",\n".join(f"    {metric} DOUBLE" for metric in metric_codes())
    return text.replace("\n);", f",\n{columns}\n);")


def make_tables(connection: duckdb.DuckDBPyConnection) -> None:
    """Create the schemas, tables and metric columns that are missing."""
    names = "schema_name || '.' || table_name"
    found = read_frame(
        connection,
        f"SELECT {names} AS name FROM duckdb_tables() UNION ALL "
        f"SELECT column_name FROM duckdb_columns() WHERE {names} = 'academy.swing_metric'",
    )
    wanted = {*table_names(), *metric_codes()}
    if wanted <= set(found["name"].to_list()):
        return
    for schema in sorted({name.split(".")[0] for name in table_names()}):
        run(connection, f"CREATE SCHEMA IF NOT EXISTS {schema}")
    for name in table_names():
        run(connection, table_sql(name))
    for metric in set(metric_codes()) - set(found["name"].to_list()) if len(found) else ():
        run(connection, f"ALTER TABLE academy.swing_metric ADD COLUMN IF NOT EXISTS {metric} DOUBLE")


class Writer:
    """The one open connection that may change the warehouse. Made by `writer`."""

    def __init__(self, home: Home, connection: duckdb.DuckDBPyConnection) -> None:
        self.home = home
        self.connection = connection
        self._changed = False

    def sql(self, query: str, params: Sequence[Any] | None = None) -> pl.DataFrame:
        """Run a SELECT and return its rows."""
        return read_frame(self.connection, query, params)

    def execute(self, query: str, params: Sequence[Any] | None = None) -> None:
        """Run a statement that returns nothing."""
        run(self.connection, query, params)

    def append(self, table: str, frame: pl.DataFrame) -> None:
        """Insert a frame's rows by column name; columns the frame lacks become null.

        Raises
            UnderfootError: the frame has a column that the table lacks.
        """
        if frame.is_empty():
            return
        strangers = [name for name in frame.columns if name not in self.columns[table]]
        if strangers:
            raise UnderfootError(
                f"Table {table} has no column {', '.join(strangers)}; "
                f"it has {', '.join(self.columns[table])}."
            )
        names = ", ".join(f'"{name}"' for name in frame.columns)
        self.connection.register("_incoming", frame.to_arrow())
        try:
            run(self.connection, f"INSERT INTO {table} ({names}) SELECT {names} FROM _incoming")
        finally:
            self.connection.unregister("_incoming")

    @cached_property
    def columns(self) -> dict[str, list[str]]:
        """The columns of every table, by schema.table."""
        rows = self.connection.execute(
            "SELECT schema_name || '.' || table_name, list(column_name ORDER BY column_index) "
            "FROM duckdb_columns() WHERE NOT internal AND schema_name IN ('academy', 'season') GROUP BY 1"
        ).fetchall()
        return {str(name): list(columns) for name, columns in rows}

    @contextmanager
    def transaction(self) -> Iterator[None]:
        """All or nothing: commit at the end of the block, roll back when it raises."""
        run(self.connection, "BEGIN TRANSACTION")
        try:
            yield
        except BaseException:
            with suppress(duckdb.Error):  # a full disk may have ended the transaction already
                run(self.connection, "ROLLBACK")
            raise
        run(self.connection, "COMMIT")

    def publish(self) -> Path:
        """Copy the warehouse to a new numbered file, point readers at it, keep the last three.

        The number only ever grows: a reader that still holds a replaced file of the same name would keep
        serving its old rows.
        """
        started = time.monotonic()
        self.home.published.mkdir(parents=True, exist_ok=True)
        target = self.home.published / f"warehouse-{_next_number(self.home):06d}.duckdb"
        with journal.step(log, "published %s", target.name):
            run(self.connection, "CHECKPOINT")
            self._copy_to(target)
        seconds = round(time.monotonic() - started, 3)
        journal.record(self.home, "publish", seconds=seconds, file=target.name, n_bytes=target.stat().st_size)
        return target

    def _copy_to(self, target: Path) -> None:
        part = target.with_suffix(".part")
        try:
            shutil.copyfile(self.home.warehouse_file, part)
            sync(part)
            part.replace(target)
        finally:
            part.unlink(missing_ok=True)
        write_synced(
            self.home.published / POINTER,
            json.dumps({"file": target.name, "at": datetime.now(UTC).isoformat(timespec="seconds")}) + "\n",
        )
        for old in _snapshots(self.home)[:-SNAPSHOTS_KEPT]:
            with suppress(OSError):
                old.unlink()


def write_synced(path: Path, text: str) -> None:
    """Write a small file so that after a crash it is either the old one or the new one, whole."""
    part = path.with_name(path.name + ".part")
    part.write_text(text, encoding="utf-8")
    sync(part)
    part.replace(path)
    sync(path.parent)


def _snapshots(home: Home) -> list[Path]:
    return sorted(home.published.glob("warehouse-*.duckdb"))


def _next_number(home: Home) -> int:
    numbers = [int(path.stem.removeprefix("warehouse-")) for path in _snapshots(home)]
    pointer = _pointed_name(home)
    if pointer is not None:
        numbers.append(int(pointer.removesuffix(".duckdb").removeprefix("warehouse-")))
    return max(numbers, default=0) + 1


@contextmanager
def writer(home: Home, on_wait: Callable[[], None] | None = None) -> Iterator[Writer]:
    """Take the writer's lock, open the warehouse, create what is missing, close on the way out.

    Raises
        UnderfootError: the file is damaged, another program holds it, or the disk is full or read-only.
    """
    with home.lock(on_wait), spoken(home):
        swap.settle(home)
        with _opened(home) as opened:
            yield opened


@contextmanager
def rebuilding(home: Home, on_wait: Callable[[], None] | None = None) -> Iterator[Writer]:
    """A writer of an empty warehouse beside the standing one, which it replaces at the end; then publish.

    Its `home` is the one made beside. When the block raises, the standing warehouse stays as it was.

    Raises
        UnderfootError: as `writer`.
    """
    with home.lock(on_wait), spoken(home):
        swap.settle(home)
        try:
            with _opened(home.made_beside()) as beside:
                yield beside
                run(beside.connection, "CHECKPOINT")
        except BaseException:
            swap.clear(home)
            raise
        swap.mark(home)
        swap.settle(home)
        with _opened(home) as opened:
            opened.publish()


@contextmanager
def _opened(home: Home) -> Iterator[Writer]:
    home.make_folders()
    try:
        connection = duckdb.connect(str(home.warehouse_file))
    except duckdb.Error as error:
        raise UnderfootError(
            f"{home.warehouse_file} could not be opened ({first_line(error)}); close the program that "
            "holds it, or rebuild it from the filed deliveries: underfoot build --from-filed"
        ) from error
    try:
        run(connection, "SET TimeZone = 'UTC'")
        make_tables(connection)
        yield Writer(home, connection)
    finally:
        connection.close()


@dataclass(frozen=True)
class Snapshot:
    """One published state of the warehouse, read-only, for as long as it is held."""

    home: Home
    name: str
    connection: duckdb.DuckDBPyConnection

    def sql(self, query: str, params: Sequence[Any] | None = None) -> pl.DataFrame:
        """Run a SELECT on a cursor of its own.

        Raises
            CallError: DuckDB does not accept the query; its first line says why.
        """
        cursor = self.connection.cursor()
        try:
            return read_frame(cursor, query, params)
        finally:
            cursor.close()

    def close(self) -> None:
        """Let the file go."""
        self.connection.close()


def current_name(home: Home) -> str:
    """Name of the snapshot that readers should open now.

    Raises
        CallError: nothing was published yet.
    """
    name = _pointed_name(home)
    if name is None:
        home.settings()  # says so when there is no academy at all
        raise CallError(
            f"Nothing is published in {home.path} yet; "
            f"load a delivery first: underfoot load --home {home.path}"
        )
    return name


def _pointed_name(home: Home) -> str | None:
    """The name in the pointer file, else the newest snapshot when the pointer cannot be read."""
    try:
        name = json.loads((home.published / POINTER).read_text(encoding="utf-8"))["file"]
        if re.fullmatch(r"warehouse-\d+\.duckdb", name) and (home.published / name).is_file():
            return str(name)
    except (OSError, ValueError, KeyError, TypeError):
        pass
    files = _snapshots(home)
    return files[-1].name if files else None


def open_snapshot(home: Home) -> Snapshot:
    """Open the published state read-only; try again when it was pruned in between.

    Raises
        CallError: nothing was published yet.
    """
    for attempt in range(5):
        name = current_name(home)
        try:
            connection = duckdb.connect(str(home.published / name), read_only=True, config=READER_CONFIG)
        except duckdb.Error as error:
            if attempt == 4:
                raise UnderfootError(
                    f"The published warehouse {name} can't be opened ({first_line(error)}); publish it "
                    "again with: underfoot load"
                ) from error
            continue
        return Snapshot(home, name, connection)
    raise CallError(f"The published warehouse in {home.published} keeps changing; try again.")
