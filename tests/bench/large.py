"""An academy of as many swings as wanted, in rows: a built academy's people and visits, copied under other codes.

No trace is written. Every measure of a swing is moved by up to 1 %, so that no two swings are alike.
`python -m bench.large DEMO_HOME NEW_HOME SWINGS`; with `--season` the models make the season's tables anew from them.
"""

import re
import shutil
import sys
import time
from pathlib import Path

from models.plan import PLAN, Run
from models.samples import temporary
from models.swing.faults import load_rules
from peak import peak_mb
from warehouse.home import Home
from warehouse.invented import people_digest
from warehouse.publishing import current_name
from warehouse.store import Writer, writer
from warehouse.tables import table_names

ACADEMY_WIDE = {
    "academy.metric", "academy.fault", "academy.season", "academy.drill", "academy.device",
    "academy.device_check", "academy.device_accuracy", "academy.parameter",
    "season.reliability", "season.calibration", "season.drill_effect", "season.drill_group", "season.signal_week",
    "season.eye_plate", "season.self_audit",
}  # fmt: skip
NOBODYS = {  # rows of no student are not copied
    "academy.band": "student IS NULL",
    "season.signal": "student IS NULL",
    "season.signal_evidence": "signal LIKE '%::%'",
}
CODES = frozenset({
    "student", "person", "coach", "author", "given_by", "delivered_by", "overruled_by", "session", "delivery", "note",
})  # fmt: skip
BY_STUDENT = "academy.swing_fault"  # a build keeps a student's rows together
WEEKS, ROW_GROUP = 24, 122_880  # of a season; of DuckDB, rows that it keeps together
OF_SAMPLES = {"academy.swing_metric", "academy.swing_fault"}  # what a build makes from traces; copied here
KEYED = r"'^([a-z_]+):([^:]+):', '\1:\2' || tail || ':'"  # a signal's student, in its key


def value_of(table: str, column: str, kind: str) -> str:
    """A column of copy `k` as SQL; the first copy, 0, keeps its codes."""
    if column == "display_name":
        return "CASE WHEN k = 0 THEN display_name ELSE display_name || ' ' || k END"
    if column == "role":
        return "CASE WHEN k > 0 AND role = 'head_coach' THEN 'coach' ELSE role END"
    if column == "guardian_of":
        return "list_transform(guardian_of, lambda one: one || tail)"
    if column == "sequence":
        return "sequence + 100000 * k"
    if column == "rank":
        return "rank * 100000 + k"
    if column == "signal":
        return f"regexp_replace(signal, {KEYED})"
    if table == "academy.note" and column == "code":
        return (
            f"CASE WHEN kind = 'talked' THEN regexp_replace(code, {KEYED}) "
            "WHEN kind IN ('reference', 'reference_over') THEN code || tail ELSE code END"
        )
    if table == "academy.swing_metric" and kind == "DOUBLE":
        return f'"{column}" * (0.99 + 0.02 * (hash(session, swing_no, k) % 1000) / 1000)'
    return f'"{column}" || tail' if column in CODES else f'"{column}"'


def copy_table(w: Writer, table: str) -> None:
    """Every copy of a table's rows, week by week of the demo as loads leave them; an academy's own rows once.

    A week of every copy, then the next: sorting all of them would take as long as writing, and the disk twice.
    """
    schema, name = table.split(".")
    columns = w.connection.execute(
        "SELECT column_name, data_type FROM duckdb_columns() WHERE database_name = 'small' AND schema_name = ? "
        "AND table_name = ? ORDER BY column_index", [schema, name],
    ).fetchall()  # fmt: skip
    if not columns:
        return  # the demo was made before there was such a table
    names = [column for column, _ in columns]
    by = ("student", "session") if table == BY_STUDENT else ("at", "session", "student", "swing_no")
    order = ", ".join(f'"{column}"' for column in by if column in names) or "1"
    w.execute(
        f"CREATE OR REPLACE TEMP TABLE part AS SELECT *, ntile(?) OVER (ORDER BY {order}) AS nth "
        f"FROM small.{table} ORDER BY nth, {order}", [WEEKS],
    )  # fmt: skip
    values = ", ".join(f'{value_of(table, column, kind)} AS "{column}"' for column, kind in columns)
    once = "k = 0" if table in ACADEMY_WIDE else f"(k = 0 OR NOT ({NOBODYS.get(table, 'false')}))"
    many = w.sql("SELECT (SELECT count(*) FROM part) * (SELECT count(*) FROM copy)").item() > ROW_GROUP
    for week in [f"nth = {nth}" for nth in range(1, WEEKS + 1)] if many else ["true"]:
        w.execute(
            f"INSERT INTO {table} BY NAME SELECT {values} FROM part, copy WHERE {once} AND {week}"
            + (f" ORDER BY {order}" if table == BY_STUDENT else "")
        )


def copy_rows(demo: Home, w: Writer, swings: int) -> None:
    """The copies of all tables."""
    w.execute(f"ATTACH '{demo.published / current_name(demo)}' AS small (READ_ONLY)")
    copies = -(-swings // w.sql("SELECT count(*) FROM small.academy.swing").item())
    w.execute(
        "CREATE TEMP TABLE copy AS SELECT k, CASE WHEN k = 0 THEN '' ELSE '.' || k END AS tail FROM range(?) t(k)",
        [copies],
    )
    for table in table_names():
        with w.transaction():
            copy_table(w, table)
    w.execute("DROP TABLE part")
    w.execute("DETACH small")


def build_season(home: Home, w: Writer) -> dict[str, float]:
    """All that a build makes from swings that are reduced and judged; processor seconds of each step, by its first table."""
    run = Run(home, w, load_rules(home.settings()), whole=True, sessions=[], progress=None)
    temporary(w, "place", "time_zone", [home.settings().time_zone])
    students = w.sql("SELECT DISTINCT student FROM academy.session ORDER BY 1")["student"].to_list()
    temporary(w, "touched", "student", students)
    took = {}
    for step in PLAN:
        if OF_SAMPLES.isdisjoint(step.tables):
            started = time.process_time()
            step.run(run)
            took[step.tables[0]] = time.process_time() - started
    return took


def make(demo: Home, target: Path, swings: int, *, season: bool = False) -> tuple[Home, dict[str, float]]:
    """The academy, published, in a new folder; and processor seconds of each part of it."""
    home = Home(target)
    home.make_folders()
    shutil.copy(demo.settings_file, home.settings_file)
    started = time.process_time()
    with writer(home) as w:
        w.execute("SET memory_limit = '6GB'")
        copy_rows(demo, w, swings)
        people = w.sql("SELECT person, display_name, born FROM academy.person").rows()
        settings = re.sub("(?m)^demo_people.*\n", "", home.settings_file.read_text(encoding="utf-8"))
        demo = f'demo = true\ndemo_people = "{people_digest(people)}"\n'
        home.settings_file.write_text(settings.replace("demo = true\n", demo), encoding="utf-8")
        took = {"rows": time.process_time() - started}
        if season:
            with w.transaction():
                took |= build_season(home, w)
        w.publish()
    return home, took | {"all": time.process_time() - started}


if __name__ == "__main__":
    season = "--season" in sys.argv
    _, took = make(Home(Path(sys.argv[1])), Path(sys.argv[2]), int(sys.argv[3]), season=season)
    for part, seconds in took.items():
        print(f"{part}: {seconds:.1f} s")
    print(f"{peak_mb():.0f} MB at most")
