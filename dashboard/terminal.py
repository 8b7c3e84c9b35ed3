"""What the command says in a terminal: progress bars, tables, the report of a load."""

import io
import json
import os
import sys
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import closing, contextmanager, suppress
from typing import Any

import click
from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn
from rich.table import Table

from dashboard.downloads import csv_text
from dashboard.text import catalogue
from dashboard.text.catalogue import _, mark
from dashboard.text.numbers import count, listed, number
from warehouse import links
from warehouse.errors import UnderfootError
from warehouse.home import Home
from warehouse.journal import steps_are_shown
from warehouse.keeper import keepers_sql
from warehouse.store import open_snapshot
from warehouse.vocabulary import DRAW_LOOKS, DRAW_STUDENTS

err = Console(stderr=True, highlight=False)
out = Console(highlight=False)
PUBLISHED = mark(
    "Published {file}: {students} students, {sessions} sessions, {swings} swings ({usable} usable), {flags} "
    "fault flags, {notes} notes, {refusals} refusals."
)
MOST_COLUMNS = 12  # of an explained file: what fits on a screen
# What `PUBLISHED` counts, each by its table and a condition.
COUNTED = {
    "students": "person WHERE role = 'student'", "sessions": "session", "swings": "swing",
    "usable": "swing WHERE usable", "flags": "swing_fault WHERE flagged", "notes": "note",
    "refusals": "refusal",
}  # fmt: skip


def show_draw(drawn: Any) -> None:
    """Who was assigned which drill, and where that is recorded."""
    rows = [(lot.student, lot.name, lot.drill, drawn.drills[lot.drill]) for lot in drawn.lots]
    show_rows([_("student"), _("name"), _("drill"), _("its name")], rows)
    so_far = _(
        "{n} of {planned} students planned have been drawn between these two; the result is first looked at "
        "when {first} of them have been measured twice since."
    ).format(n=drawn.so_far, planned=DRAW_STUDENTS, first=round(DRAW_LOOKS[0] * DRAW_STUDENTS))
    say([_("Recorded in {file}; the next load takes it in.").format(file=drawn.file), so_far])


def show_left_out(report: Any) -> None:
    """Sessions that a rebuild leaves out, on stderr."""
    for notice in report.notices:
        if "is left out now" in notice:
            err.print(notice, markup=False, soft_wrap=True)


def find_home(_context: click.Context, _option: click.Parameter, path: str | None) -> Home:
    """The academy home, its language in use if it has one; each verb says what else is wrong with it."""
    home, language = Home.find(path), catalogue.ENGLISH
    with suppress(UnderfootError):
        language = home.settings().language
    catalogue.use(language)
    return home


def run(cli: click.Group) -> None:
    """Run the command; errors are one sentence on stderr, with the exit code the error carries."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")  # a terminal that can't show a letter shows a ? for it
    try:
        cli.main(standalone_mode=False)
    except click.exceptions.Exit as ended:
        sys.exit(ended.exit_code)
    except click.Abort:
        sys.exit(130)
    except click.ClickException as error:
        say([error.format_message()], err)
        sys.exit(2)
    except BrokenPipeError:  # whoever read has had enough, as `head` does
        sys.stdout = open(os.devnull, "w", encoding="utf-8")  # noqa: SIM115, PTH123 - for what is flushed at exit
        sys.exit(1)
    except Exception as error:
        if "--debug" in sys.argv:
            raise
        say([_in_a_sentence(error)], err)
        sys.exit(error.exit_code if isinstance(error, UnderfootError) else 1)


def _in_a_sentence(error: Exception) -> str:
    """What is said of an error: its own sentence, the disk's, or that it is a fault of the program."""
    if isinstance(error, UnderfootError):
        return str(error)
    if isinstance(error, OSError):
        what = error.strerror or type(error).__name__
        where = f"{error.filename}: " if error.filename else ""
        return _(
            "{where}{what}; see that there is room and that it may be written, then run the same again."
        ).format(where=where, what=what)
    said = str(error).strip().splitlines()
    return _(
        "This is a fault of Underfoot itself ({kind}: {what}); what was published stays as it was. "
        "Run the same with --debug and report what it prints."
    ).format(kind=type(error).__name__, what=said[0] if said else "")


@contextmanager
def progress(title: str, *, quiet: bool = False) -> Iterator[Callable[[int, int, str], None]]:
    """A progress bar on stderr; `step(done, total, name)` moves it. Silent when asked or off a terminal."""
    silent = quiet or not err.is_terminal or steps_are_shown()
    bar = Progress(
        TextColumn(title), BarColumn(), MofNCompleteColumn(), TimeElapsedColumn(),
        TextColumn("{task.fields[name]}"), console=err, disable=silent,
    )  # fmt: skip
    started = time.monotonic()
    try:
        with bar:
            task = bar.add_task(title, total=None, name="")

            def step(done: int, total: int, name: str = "") -> None:
                bar.update(task, completed=done, total=total, name=name)

            yield step
    finally:
        if not quiet and not err.is_terminal:
            err.print(f"{title}: {time.monotonic() - started:.1f} s")


home_option = click.option(
    "--home",
    metavar="DIR",
    callback=find_home,
    help="The academy home; else UNDERFOOT_HOME, else ./academy.",
)


def say(lines: Iterable[str], console: Console | None = None) -> None:
    """Plain lines, broken by the terminal alone."""
    for line in lines:
        (console or out).print(line, markup=False, soft_wrap=True)


def say_waiting() -> None:
    """Why nothing happens yet, on stderr."""
    say([_("Another load or build is at work; waiting for it to end.")], err)


def say_problems(refreshed: Any) -> None:
    """Sessions whose samples can't be read, on stderr; they are tried again next time."""
    say(refreshed.problems, err)


def print_json(value: object) -> None:
    """One JSON object for scripts."""
    print(json.dumps(value, ensure_ascii=False))


def show_rows(columns: Sequence[str], rows: Iterable[Sequence[Any]]) -> None:
    """A table; null is an empty cell."""
    table = Table(*columns)
    for row in rows:
        table.add_row(*("" if value is None else str(value) for value in row))
    Console(highlight=False, markup=False, width=None if out.is_terminal else 200).print(table)


def show_query(home: Home, query: str, shape: str) -> None:
    """Rows of a query on the published warehouse, as a table, as CSV or as JSON."""
    rows = keepers_sql(home, query)
    if shape == "json":
        print(rows.write_json())
    elif shape == "csv":
        print(csv_text(rows), end="")
    else:
        show_rows(rows.columns, rows.rows())


def show_report(report: Any, *, brief: bool = False, as_json: bool = False) -> None:
    """What a load accepted, found unchanged and refused; `brief` leaves out what went well by name."""
    if as_json:
        print_json(report.to_json())
        return
    summary = _("Accepted {accepted}, unchanged {unchanged}, refused {refused}.")
    counts = {name: len(getattr(report, name)) for name in ("accepted", "unchanged", "refused")}
    say([summary.format(**counts)])
    if not brief and (report.accepted or report.unchanged):
        outcomes = [(name, _("accepted")) for name in report.accepted]
        outcomes += [(name, _("unchanged")) for name in report.unchanged]
        show_rows([_("session"), _("outcome")], outcomes)
    if report.rows and not brief:
        show_rows([_("rows of"), _("number")], sorted(report.rows.items()))
    if report.refused:
        reasons = [(r.session or r.file or r.delivery, r.sentence) for r in report.refused]
        show_rows([_("refused"), _("why")], reasons)
    say(report.notices)


def show_refused(home: Home, *, as_json: bool) -> int:
    """What was refused, and why; returns how many that is."""
    with closing(open_snapshot(home)) as snapshot:
        rows = snapshot.sql(
            'SELECT name, delivery, session, swing_no, file, line, "column", reason, sentence '
            'FROM academy.refusal ORDER BY "at", name, session, swing_no'
        )
    if as_json:
        print_json({"refused": rows.to_dicts()})
    else:
        show_rows([_("delivery"), _("why")], rows.select("name", "sentence").rows())
    return len(rows)


def show_health(checks: list[Any], *, as_json: bool) -> bool:
    """One line a check; returns whether all are well."""
    ok = all(check.ok for check in checks)
    if as_json:
        print_json({"ok": ok, "checks": [vars(check) for check in checks]})
        return ok
    states = {True: _("ok"), False: _("attention")}
    rows = [(check.name, states[check.ok], check.said) for check in checks]
    show_rows([_("check"), _("state"), _("what was found")], rows)
    return ok


def show_backup(found: Any, what: str) -> None:
    """What a backup or restore holds.

    Raises
        UnderfootError: some of the filed deliveries in it are damaged.
    """
    said = _("{what}: {files}, {size}, every hash compared.")
    say([said.format(what=what, files=count(found.files, "file"), size=number(found.n_bytes / 1e6, "MB", 1))])
    if found.problems:
        damaged = _("It holds damaged filed deliveries: {names}; underfoot health says more.")
        raise UnderfootError(damaged.format(names=listed(found.problems[:3])))


def show_forgotten(receipts: Sequence[Any]) -> None:
    """What was removed, and which backups still hold it."""
    for receipt in receipts:
        counts = ", ".join(
            f"{name.replace('_', ' ')} {n}" for name, n in sorted(receipt.removed.items()) if n
        )
        say([_("Forgotten. Removed: {counts}. The signed list is forgotten.jsonl.").format(counts=counts)])
        if receipt.backups:
            say([_("These backups still hold the student; remove them, or restoring forgets again:")])
            say(f"  {file}" for file in receipt.backups)


def show_published(home: Home) -> None:
    """The newest published snapshot in one line of counts."""
    counts = [f"(SELECT count(*) FROM academy.{rows}) AS {name}" for name, rows in COUNTED.items()]
    with closing(open_snapshot(home)) as snapshot:
        row = snapshot.sql(f"SELECT {', '.join(counts)}").row(0, named=True)
    say([_(PUBLISHED).format(file=home.published / snapshot.name, **row)])


def show_link(home: Home, student: str | None, days: int | None, *, end: bool) -> None:
    """End the links to a student's progress page, or make a new one and print it.

    Raises
        UsageError: no one student was named.
    """
    if student is None:
        raise click.UsageError(_("A link opens one student's page: name the student."))
    if end:
        links.end_links(home, student)
        say([_("Every link to the page of {student} has ended.").format(student=student)])
    if days is not None:
        print(f"http://localhost:8501/progress?link={links.make_link(home, student, days)}")
        valid = _(
            "Valid for {days}. It opens this page only. Put the address of your own dashboard in the place "
            "of http://localhost:8501"
        )
        say([valid.format(days=count(days, "day"))])


def show_explanation(found: dict[str, Any], answers: Sequence[str] = (), *, as_json: bool) -> None:
    """What a file would be read as: facts, columns, questions with how to answer, and the recipe to paste."""
    if as_json:
        print_json(found)
        return
    say([f"{found['file']}: {found['kind']}."])
    if found["facts"]:
        say(["; ".join(f"{name}: {fact}" for name, fact in found["facts"].items()) + "."])
    columns = found["columns"]
    if columns:
        rows = [
            (c["column"], c["ours"] or _("not used"), c["how"], _number(c["low"]), _number(c["high"]))
            for c in columns[:MOST_COLUMNS]
        ]
        show_rows([_("column"), _("read as"), _("how decided"), _("least"), _("most")], rows)
    if len(columns) > MOST_COLUMNS:
        say([_("and {number} more columns; --json lists all").format(number=len(columns) - MOST_COLUMNS)])
    for question in found["questions"]:
        choices = ", ".join(question["choices"]) or _("a number")
        say([_("Question: {what}? ({choices})").format(what=question["sentence"], choices=choices)])
    if found["questions"]:
        given = [*answers, *(f"{question['key']}=…" for question in found["questions"])]
        words = " ".join(f'--answer "{answer}"' for answer in given)
        say([_("Answer with: {command}").format(command=f"underfoot load --explain {found['file']} {words}")])
    say(_("Open: {doubt}.").format(doubt=doubt) for doubt in found["doubts"])
    if found["device_table"]:
        say(
            [
                _("For academy.toml (correct the kind; then set device to its name in session.toml):"),
                found["device_table"],
            ]
        )


def _number(value: float | None) -> str:
    return "" if value is None else f"{value:.5g}"
