"""What the command says in a terminal: progress bars, tables, the report of a load."""

import json
import sys
import time
from collections.abc import Callable
from typing import Any

import click
import polars as pl
from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn
from rich.table import Table

from dashboard.downloads import csv_text
from warehouse import links
from warehouse.errors import UnderfootError
from warehouse.home import Home
from warehouse.journal import steps_are_shown
from warehouse.store import open_snapshot

err = Console(stderr=True, highlight=False)
out = Console(highlight=False)


class progress:  # noqa: N801 - read as a phrase: with progress("Loading") as step
    """A progress bar on stderr; `step(done, total, name)` moves it. Silent when asked or not a terminal."""

    def __init__(self, title: str, *, quiet: bool = False) -> None:
        self._title, self._quiet = title, quiet
        silent = quiet or not err.is_terminal or steps_are_shown()
        self._bar = Progress(
            TextColumn(title), BarColumn(), MofNCompleteColumn(), TimeElapsedColumn(),
            TextColumn("{task.fields[name]}"), console=err, disable=silent,
        )  # fmt: skip

    def __enter__(self) -> Callable[[int, int, str], None]:
        self._started = time.monotonic()
        self._bar.start()
        task = self._bar.add_task(self._title, total=None, name="")

        def step(done: int, total: int, name: str = "") -> None:
            self._bar.update(task, completed=done, total=total, name=name)

        return step

    def __exit__(self, *caught: object) -> None:
        self._bar.stop()
        if not self._quiet and not err.is_terminal:
            err.print(f"{self._title}: {time.monotonic() - self._started:.1f} s")


def show_frame(rows: pl.DataFrame, shape: str) -> None:
    """Rows of a query as a table, as CSV or as JSON."""
    if shape == "json":
        print(rows.write_json())
    elif shape == "csv":
        print(csv_text(rows), end="")
    else:
        show_rows(rows.columns, rows.rows())


def show_rows(columns: list[str], rows: list[tuple[Any, ...]]) -> None:
    """A table; null is an empty cell."""
    table = Table(*columns)
    for row in rows:
        table.add_row(*("" if value is None else str(value) for value in row))
    Console(highlight=False, markup=False, width=None if out.is_terminal else 200).print(table)


def show_report(report: Any, *, brief: bool = False) -> None:
    """What a load accepted, found unchanged and refused; `brief` leaves out what went well by name."""
    out.print(
        f"Accepted {len(report.accepted)}, unchanged {len(report.unchanged)}, refused {len(report.refused)}."
    )
    if not brief and (report.accepted or report.unchanged):
        rows = [(name, "accepted") for name in report.accepted]
        show_rows(["session", "outcome"], rows + [(name, "unchanged") for name in report.unchanged])
    if report.rows and not brief:
        show_rows(["rows of", "n"], sorted(report.rows.items()))
    if report.refused:
        show_rows(
            ["refused", "why"], [(r.session or r.file or r.delivery, r.sentence) for r in report.refused]
        )
    for sentence in report.notices:
        out.print(sentence, markup=False, soft_wrap=True)


def show_refused(home: Home, *, as_json: bool) -> int:
    """What was refused, and why; returns how many that is."""
    snapshot = open_snapshot(home)
    rows = snapshot.sql(
        'SELECT "at", name, delivery, session, swing_no, file, line, "column", reason, sentence '
        'FROM academy.refusal ORDER BY "at", name, session, swing_no'
    )
    snapshot.close()
    if as_json:
        print(json.dumps({"refused": json.loads(rows.drop("at").write_json())}, ensure_ascii=False))
    else:
        show_rows(["delivery", "sentence"], rows.select("name", "sentence").rows())
    return len(rows)


def say_problems(refreshed: Any) -> None:
    """Sessions whose samples can't be read: said on stderr, tried again next time."""
    for sentence in refreshed.problems:
        err.print(sentence, markup=False, soft_wrap=True)


def show_health(checks: list[Any], *, as_json: bool) -> None:
    """One line a check."""
    if as_json:
        well = all(found.ok for found in checks)
        print(json.dumps({"ok": well, "checks": [vars(found) for found in checks]}, ensure_ascii=False))
        return
    rows = [(found.name, "ok" if found.ok else "attention", found.said) for found in checks]
    show_rows(["check", "state", "what was found"], rows)


def show_backup(found: Any, what: str) -> None:
    """What a backup or restore kept, and which filed deliveries were damaged in it."""
    out.print(
        f"{what}: {found.files} files, {found.n_bytes / 1e6:.1f} MB, every hash compared.", soft_wrap=True
    )
    if found.problems:
        named = ", ".join(found.problems[:3])
        raise UnderfootError(
            f"It holds filed deliveries that are not whole: {named}; underfoot health says more."
        )


def show_published(home: Home) -> None:
    """The newest published snapshot in one line of counts."""
    snapshot = open_snapshot(home)
    counts = snapshot.sql(
        "SELECT (SELECT count(*) FROM academy.person WHERE role = 'student') AS students, "
        "(SELECT count(*) FROM academy.session) AS sessions, (SELECT count(*) FROM academy.swing) AS swings, "
        "(SELECT count(*) FROM academy.swing WHERE usable) AS usable, "
        "(SELECT count(*) FROM academy.swing_fault WHERE flagged) AS flags, "
        "(SELECT count(*) FROM academy.note) AS notes, (SELECT count(*) FROM academy.refusal) AS refused"
    ).row(0, named=True)
    out.print(
        f"Published {home.published / snapshot.name}: {counts['students']} students, "
        f"{counts['sessions']} sessions, {counts['swings']} swings ({counts['usable']} usable), "
        f"{counts['flags']} fault flags, {counts['notes']} notes, {counts['refused']} refusals.",
        soft_wrap=True,
    )
    snapshot.close()


def run(cli: click.Group) -> None:
    """Run the command; errors are one sentence on stderr, with the exit code the error carries."""
    try:
        cli.main(standalone_mode=False)
    except click.exceptions.Exit as ended:
        sys.exit(ended.exit_code)
    except click.Abort:
        sys.exit(130)
    except click.ClickException as error:
        error.show()
        sys.exit(2)
    except UnderfootError as error:
        if "--debug" in sys.argv:
            raise
        err.print(str(error), markup=False, soft_wrap=True)
        sys.exit(error.exit_code)


def show_link(home: Home, student: str, days: int | None, *, end: bool) -> None:
    """End the links to a student's progress page, or make a new one and print it."""
    if end:
        links.end_links(home, student)
        say([f"Every link to the page of {student} has ended."])
    if days is not None:
        token = links.make_link(home, student, days)
        print(f"http://localhost:8501/progress?link={token}")
        say([f"Good for {days} days. It opens this page alone; put the address your pages stand at first."])


def say(lines: list[str]) -> None:
    """Plain lines, broken by the terminal alone."""
    for line in lines:
        out.print(line, markup=False, soft_wrap=True)


def show_explanation(told: dict[str, Any], *, as_json: bool) -> None:
    """What a file would be read as: facts, columns, what is open, and the device table to paste."""
    if as_json:
        print(json.dumps(told, ensure_ascii=False))
        return
    out.print(f"{told['file']}: {told['kind']}.", markup=False, soft_wrap=True)
    show_rows(["", ""], list(told["facts"].items()))
    if told["columns"]:
        rows = [
            (c["column"], c["ours"] or "not taken", c["how"], _number(c["low"]), _number(c["high"]))
            for c in told["columns"]
        ]
        show_rows(["column", "read as", "how decided", "least", "most"], rows)
    for doubt in told["doubts"]:
        out.print(f"Open: {doubt}.", markup=False, soft_wrap=True)
    if told["device_table"]:
        out.print("For academy.toml (then set device to its name in session.toml):")
        out.print(told["device_table"], markup=False, soft_wrap=True)


def _number(value: float | None) -> str:
    return "" if value is None else f"{value:.5g}"
