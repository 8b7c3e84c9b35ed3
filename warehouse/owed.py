"""Students whose season a load still owes: it landed their rows and did not live to answer for them."""

from collections.abc import Iterator
from contextlib import contextmanager

from warehouse.home import sync
from warehouse.store import Writer

OWED = "answers.owed"


@contextmanager
def owed(writer: Writer) -> Iterator[set[str]]:
    """Around a load and its refresh: yields every student when the one before was cut off, else nobody.

    The file that says so stands from before the first row lands until the block ends well.
    """
    file = writer.home.path / OWED
    if file.exists():
        students = set(writer.sql("SELECT person FROM academy.person WHERE role = 'student'").to_series())
    else:
        students = set()
        file.touch()
        sync(file)
    yield students
    file.unlink(missing_ok=True)
