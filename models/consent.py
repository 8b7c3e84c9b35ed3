"""What consents keep out of the models: rows are put aside for as long as tables are made.

Every query of the models then reads what may be used and nothing else, without a word about consents in it.
All of it is inside the transaction of a build, so that nothing is put aside for good.
"""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager

from models.samples import DERIVED, FROM_POINTS
from warehouse import consent
from warehouse.settings import Settings
from warehouse.store import Writer

# What the academy-wide fits read of a student; everything else comes to them through one of these.
_OF_STUDENT = ("academy.session", "academy.note", "academy.steadiness", "academy.drill_dose")


def keep_left_out(writer: Writer, settings: Settings) -> None:
    """Write down what a build that begins now leaves out: academy.withheld."""
    writer.execute("DELETE FROM academy.withheld")
    writer.append("academy.withheld", consent.left_out_now(writer, settings))


def out_of_figures(writer: Writer) -> list[str]:
    """Students who take no part in what is fitted on the whole academy."""
    return sorted(student for student, purpose in consent.left_out(writer) if purpose == "academy_figures")


@contextmanager
def recordings_aside(writer: Writer) -> Iterator[None]:
    """Within, no recording that is withheld is there to be read."""
    withheld = consent.left_out(writer)
    if not any(purpose in ("measure", "film") for _, purpose in withheld):
        yield
        return
    consent.make_tables(writer.connection, withheld)
    for table, rows in consent.RECORDED.items():
        _put_aside(writer, table, rows.format(source=""))
    keys = {"academy.swing": ("session", "swing_no"), "academy.session": ("session",)}
    for table, key in keys.items():  # swings first: theirs depend on what their session has
        values = consent.VALUES[table]
        names = ", ".join((*key, *values))
        whose = "session IN (SELECT session FROM academy.session SEMI JOIN ended_consent USING (student))"
        writer.execute(
            f"CREATE OR REPLACE TEMP TABLE {_aside(table)} AS SELECT {names} FROM {table} WHERE {whose}"
        )
        changed = ", ".join(f"{name} = {value.format(source='')}" for name, value in values.items())
        writer.execute(f"UPDATE {table} SET {changed} WHERE {whose}")
    yield
    for table in consent.RECORDED:
        made = {"academy.swing_event": DERIVED, "academy.heel_seen": FROM_POINTS}.get(table, "false")
        _put_back(writer, table, f"NOT ({made})")
    for table, key in keys.items():
        same = " AND ".join(f"t.{name} = kept.{name}" for name in key)
        back = ", ".join(f"{name} = kept.{name}" for name in consent.VALUES[table])
        writer.execute(f"UPDATE {table} AS t SET {back} FROM {_aside(table)} AS kept WHERE {same}")


@contextmanager
def students_aside(writer: Writer, students: Sequence[str]) -> Iterator[None]:
    """Within, nothing of these students is there to be read."""
    writer.execute("CREATE OR REPLACE TEMP TABLE set_apart AS SELECT unnest(?) AS student", [list(students)])
    for table in _OF_STUDENT:
        _put_aside(writer, table, "student IN (SELECT student FROM set_apart)")
    yield
    for table in _OF_STUDENT:
        _put_back(writer, table)


def _aside(table: str) -> str:
    return f"aside_{table.split('.')[1]}"


def _put_aside(writer: Writer, table: str, rows: str) -> None:
    writer.execute(f"CREATE OR REPLACE TEMP TABLE {_aside(table)} AS SELECT * FROM {table} WHERE {rows}")
    writer.execute(f"DELETE FROM {table} WHERE {rows}")


def _put_back(writer: Writer, table: str, rows: str = "true") -> None:
    writer.execute(f"INSERT INTO {table} SELECT * FROM {_aside(table)} WHERE {rows}")
