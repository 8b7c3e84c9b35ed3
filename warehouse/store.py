"""The only place that opens DuckDB: the writer's transactions, publishing, and read-only snapshots."""

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

import duckdb
import polars as pl

from warehouse.errors import CallError, UnderfootError
from warehouse.home import Home, sync
from warehouse.publishing import clear_rebuild, current_name, mark_rebuild, publish, settle_rebuild
from warehouse.tables import column_additions, table_names, table_sql

# Readers reach no file but the snapshot they opened (traces are read by `traces`, not through DuckDB). Given
# at opening: connections of one process to one file share them, and a later SET would be locked out.
READER_CONFIG: dict[str, str | bool | int | float | list[str]] = {
    "memory_limit": "1GB",
    "enable_external_access": "false",
    "lock_configuration": "true",
}
# Most of over a hundred tables are short: in DuckDB's usual blocks of 256 kB they take three times the room.
# Only a new file takes the setting; an older one keeps its blocks until it is rebuilt.
WRITER_CONFIG: dict[str, str | bool | int | float | list[str]] = {"default_block_size": "32768"}
UNANSWERED = "answers.owed"


def first_line(error: Exception) -> str:
    """First line of what DuckDB says; the rest repeats the query."""
    return str(error).strip().splitlines()[0]


def run(connection: duckdb.DuckDBPyConnection, query: str, params: Sequence[Any] | None = None) -> None:
    """Run a statement and drop what it returns: a pending result would block the connection's next call."""
    (connection.execute(query, list(params)) if params is not None else connection.execute(query)).fetchall()


def read_frame(
    connection: duckdb.DuckDBPyConnection, query: str, params: Sequence[Any] | None = None
) -> pl.DataFrame:
    """Run one query on a connection and return its rows (none for a statement that returns nothing)."""
    try:
        relation = connection.sql(query, params=list(params)) if params else connection.sql(query)
        frame: pl.DataFrame = pl.DataFrame() if relation is None else relation.pl()
    except duckdb.IOException:
        raise  # the disk, not the query
    except duckdb.Error as error:
        raise CallError(f"The query was not accepted: {first_line(error)}") from error
    return frame


@contextmanager
def disk_errors_in_words(home: Home) -> Iterator[None]:
    """What a full, read-only or failing disk does to a writer, as one sentence."""
    try:
        yield
    except (OSError, duckdb.Error) as error:
        said = getattr(error, "strerror", None) or first_line(error)
        raise UnderfootError(
            f"{home.path} could not be written to the end ({said}); what is published stays as it was and no "
            "delivery is lost: make room or repair the disk, then run the same command again."
        ) from error


def make_tables(connection: duckdb.DuckDBPyConnection) -> None:
    """Create what is missing: schemas, tables, and columns that tables have gained since a home was made."""
    known = table_columns(connection)
    missing = [name for name in table_names() if name not in known]
    added = [column_additions(name, known[name]) for name in table_names() if name in known]
    if not missing and not any(added):
        return
    schemas = sorted({name.split(".")[0] for name in missing})
    statements = [
        "BEGIN TRANSACTION;\n",
        *(f"CREATE SCHEMA IF NOT EXISTS {schema};\n" for schema in schemas),
        *map(table_sql, missing),
        *added,
        "COMMIT",
    ]
    run(connection, "".join(statements))  # flushed once, not table by table


def table_columns(connection: duckdb.DuckDBPyConnection) -> dict[str, list[str]]:
    """The columns of every table there is, by schema.table."""
    rows = connection.execute(
        "SELECT schema_name || '.' || table_name, list(column_name ORDER BY column_index) "
        "FROM duckdb_columns() WHERE NOT internal AND schema_name IN ('academy', 'season') GROUP BY 1"
    ).fetchall()
    return {str(name): list(columns) for name, columns in rows}


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
        unknown = [name for name in frame.columns if name not in self.columns[table]]
        if unknown:
            raise UnderfootError(
                f"Table {table} has no column {', '.join(unknown)}; it has {', '.join(self.columns[table])}."
            )
        names = ", ".join(f'"{name}"' for name in frame.columns)
        with self.given(frame):
            run(self.connection, f"INSERT INTO {table} ({names}) SELECT {names} FROM _given")

    @contextmanager
    def given(self, frame: pl.DataFrame) -> Iterator[None]:
        """A frame's rows as the view _given, for the statements of the block."""
        self.connection.register("_given", frame.to_arrow())
        try:
            yield
        finally:
            self.connection.unregister("_given")

    @cached_property
    def columns(self) -> dict[str, list[str]]:
        """As of `table_columns`."""
        return table_columns(self.connection)

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
        """Copy the warehouse to a new numbered file, point readers at it, keep the last three."""
        return publish(self.home, self.connection)


@contextmanager
def writer(home: Home, on_wait: Callable[[], None] | None = None) -> Iterator[Writer]:
    """Take the writer's lock, open the warehouse, create what is missing, close on the way out.

    Raises
        UnderfootError: the file is damaged, another program holds it, or the disk is full or read-only.
    """
    with home.lock(on_wait), disk_errors_in_words(home):
        settle_rebuild(home)
        with opened(home) as found:
            yield found


@contextmanager
def rebuilding(home: Home) -> Iterator[Writer]:
    """A writer of an empty warehouse beside the one in use, which it replaces at the end; then publish.

    Its `home` is the one made beside. When the block raises, the warehouse in use stays as it was. Only under
    the home's lock.

    Raises
        UnderfootError: as `writer`.
    """
    with disk_errors_in_words(home):
        settle_rebuild(home)
        try:
            with opened(home.made_beside()) as beside:
                yield beside
                run(beside.connection, "CHECKPOINT")
        except BaseException:
            clear_rebuild(home)
            raise
        mark_rebuild(home)
        settle_rebuild(home)
        with opened(home) as new:
            new.publish()


@contextmanager
def opened(home: Home) -> Iterator[Writer]:
    """The warehouse, opened by whoever holds the lock already; `writer` takes the lock first."""
    home.make_folders()
    try:
        connection = duckdb.connect(str(home.warehouse_file), config=WRITER_CONFIG)
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


def publish_new_columns(home: Home) -> None:
    """Publish again where tables or columns have come since, empty as yet, so that pages find them."""
    try:
        snapshot = open_snapshot(home)
    except CallError:  # nothing was published yet
        return
    known = table_columns(snapshot.connection)
    snapshot.close()
    if any(name not in known or column_additions(name, known[name]) for name in table_names()):
        with writer(home) as opened_anew:
            opened_anew.publish()


@contextmanager
def unanswered(writer: Writer) -> Iterator[set[str]]:
    """Around a load and its refresh: yields every student when the one before was cut off, else nobody.

    The file that says so is there from before the first row lands until the block ends well.
    """
    file = writer.home.path / UNANSWERED
    if file.exists():
        students = set(writer.sql("SELECT person FROM academy.person WHERE role = 'student'").to_series())
    else:
        students = set()
        file.touch()
        sync(file)
    yield students
    file.unlink(missing_ok=True)


def beside(published: Path, name: str) -> duckdb.DuckDBPyConnection:
    """An empty database in memory with a published one attached under a name, closed off as a reader is."""
    connection = duckdb.connect()
    run(connection, f"ATTACH '{published}' AS {name} (READ_ONLY)")
    for option, value in READER_CONFIG.items():
        run(connection, f"SET {option} = '{value}'")
    return connection
