"""SQL for whoever keeps the home: all that is published, except what may not be used."""

from contextlib import closing

import polars as pl

from warehouse import consent
from warehouse.home import Home
from warehouse.store import beside, open_snapshot, read_frame, run
from warehouse.tables import table_names


def keepers_sql(home: Home, query: str) -> pl.DataFrame:
    """Run one query on all that may be used of the published warehouse.

    Its tables are academy.session and so on.

    Raises
        CallError: nothing is published, or DuckDB does not accept the query.
    """
    settings = home.settings()
    today = settings.today
    with closing(open_snapshot(home)) as snapshot:
        withheld = consent.withheld(snapshot, today, settings)
        if not withheld:
            return snapshot.sql(query)
        outdated = consent.outdated(snapshot, today, settings)
    with beside(home.published / snapshot.name, "kept") as connection:
        consent.make_tables(connection, withheld, outdated)
        for schema in sorted({name.split(".")[0] for name in table_names()}):
            run(connection, f"CREATE SCHEMA {schema}")
        for name in table_names():
            used = consent.in_use(name, "kept.") or f"SELECT * FROM kept.{name}"
            run(connection, f"CREATE VIEW {name} AS {used}")
        return read_frame(connection, query)
