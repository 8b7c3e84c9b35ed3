"""The command: one thin function a verb. It ties the wings together and holds no logic of its own."""

import json
import os
import sys
import threading
from pathlib import Path
from typing import Any

import click

from dashboard import terminal
from dashboard.serving import MOST_PORTS, run_pages
from dashboard.terminal import err, out
from dashboard.text import catalogue
from warehouse import access_log, forgotten, journal
from warehouse.errors import CallError
from warehouse.home import Home
from warehouse.publishing import current_name
from warehouse.reach import check_student
from warehouse.store import open_snapshot, opened, rebuilding, rebuilt, unanswered, writer

home_option = click.option(
    "--home",
    "home_path",
    metavar="DIR",
    callback=terminal.use_language,
    help="The academy home; else UNDERFOOT_HOME, else ./academy.",
)

to_option = click.option("--to", "target", type=click.Path(path_type=Path), help="File; else HOME/pages/…")
browser_option = click.option("--browser/--no-browser", default=True, help="Open the browser.")
key_file_option = click.option(
    "--key-file",
    type=click.Path(path_type=Path, exists=True, dir_okay=False),
    help="A file of at least 16 bytes in the place of a passphrase.",
)
port_option = click.option("--port", type=click.IntRange(1, MOST_PORTS), default=8501, show_default=True)


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
@click.option("--debug", is_flag=True, help="Show the traceback of an error.")
@click.option("-v", "--verbose", is_flag=True, help="Show every step and its duration, on stderr.")
@click.version_option(package_name="underfoot")
def cli(*, debug: bool, verbose: bool) -> None:
    """Footwork measurements of a golf-coaching academy: load them, reduce them, look at them."""
    if verbose:
        journal.show_steps()
    click.get_current_context().obj = {"debug": debug}


@cli.command()
@home_option
@click.option("--no-serve", is_flag=True, help="Stop before opening the dashboard.")
@click.option("--scale", default=1.0, show_default=True, help="Size of the academy; 1 is the whole season.")
@port_option
@browser_option
def demo(home_path: str | None, *, no_serve: bool, scale: float, port: int, browser: bool) -> None:
    """Make the demo academy from files, load it, build, and open the dashboard."""
    from demo_academy.planted import check_refusals  # noqa: PLC0415 - a slow import, used here only
    from demo_academy.write import check_place, write_academy  # noqa: PLC0415

    home = Home.find(home_path)
    check_place(home)
    if not home.settings_file.exists():
        with terminal.progress("Writing the demo academy") as step:
            write_academy(home.path, scale=scale, progress=lambda done, total: step(done, total, ""))
    report = _load(home, [home.inbox], whole=True)
    terminal.show_report(report, brief=True)
    terminal.show_published(home)
    n = check_refusals(home)
    terminal.say([f"Exactly the {n} planted bad deliveries were refused; underfoot refused lists them."])
    if not no_serve:
        _serve(home, port, browser=browser)


@cli.command()
@click.argument("paths", nargs=-1, type=click.Path(path_type=Path))
@home_option
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object for scripts.")
@click.option(
    "--explain",
    type=click.Path(path_type=Path, exists=True, dir_okay=False),
    metavar="FILE",
    help="Load nothing; say what FILE would be read as, and propose a device table for it.",
)
def load(paths: tuple[Path, ...], home_path: str | None, explain: Path | None, *, as_json: bool) -> None:
    """Validate and load deliveries (default: the inbox), then publish."""
    if explain is not None:
        from ingest.formats.format import explain as explained  # noqa: PLC0415 - a slow import, used here only

        return terminal.show_explanation(explained(explain).to_json(), as_json=as_json)
    home = Home.find(home_path)
    home.settings()
    missing = [path for path in paths if not path.exists()]
    if missing:
        raise CallError(f"There is no file or folder {missing[0]}; name a delivery that exists.")
    report = _load(home, list(paths) or [home.inbox], quiet=as_json)
    if as_json:
        click.echo(json.dumps(report.to_json(), ensure_ascii=False))
    else:
        terminal.show_report(report)
    sys.exit(1 if report.refused else 0)


@cli.command()
@home_option
@click.option("--from-filed", is_flag=True, help="Make the whole warehouse again from the filed originals.")
@click.option("--plan", is_flag=True, help="Print which tables are made, from what, when, by which module.")
def build(home_path: str | None, *, from_filed: bool, plan: bool) -> None:
    """Refit everything academy-wide and publish."""
    if plan:
        from models.build import plan_rows  # noqa: PLC0415 - a slow import, used here only

        terminal.show_rows(["table", "made from", "when", "by"], plan_rows())
        return
    home = Home.find(home_path)
    home.settings()
    if from_filed:
        _rebuild(home)
    else:
        with journal.recorded(home, "build"), writer(home, on_wait=_say_waiting) as w:
            _build(home, w)
            w.publish()
    terminal.show_published(home)


@cli.command()
@home_option
@port_option
@browser_option
@click.option("--no-loader", is_flag=True, help="Leave the inbox alone.")
def serve(home_path: str | None, port: int, *, browser: bool, no_loader: bool) -> None:
    """Serve the dashboard on this machine, and load what is dropped in the inbox."""
    home = Home.find(home_path)
    home.settings()
    _serve(home, port, browser=browser, loader=not no_loader)


@cli.command()
@click.argument("student")
@home_option
@to_option
@click.option("--link", "days", type=int, metavar="DAYS", help="Print a link to it, good for so many days.")
@click.option("--end-links", is_flag=True, help="End every link to it.")
def page(
    student: str, home_path: str | None, target: Path | None, days: int | None, *, end_links: bool
) -> None:
    """Write a student's progress page as one self-contained HTML file, or share it by link."""
    if end_links or days is not None:
        terminal.show_link(Home.find(home_path), student, days, end=end_links)
        return
    from dashboard.pages.progress.content import write_page  # noqa: PLC0415 - the other commands don't wait for it

    click.echo(write_page(Home.find(home_path), student, target))


@cli.command()
@click.argument("file", type=click.Path(path_type=Path, exists=True, dir_okay=False))
@click.option("--preview", is_flag=True, help="Write a contact sheet beside the film, FILE.png, to check it.")
@click.option("--view", type=click.Choice(["down_line", "face_on"]), help="Else as session.toml says.")
@click.option("--hand", type=click.Choice(["right", "left"]), default="right", show_default=True)
def film(file: Path, view: str | None, hand: str, *, preview: bool) -> None:
    """Follow the tape in a foot-level film, before it is delivered."""
    from ingest.film.contact_sheet import follow  # noqa: PLC0415 - a slow import, used here only

    with terminal.progress("Following the marks") as step:
        terminal.say(follow(file, view=view, handed=hand, sheet=preview, progress=step).lines())


@cli.command()
@click.argument("student")
@home_option
@to_option
def lesson(student: str, home_path: str | None, target: Path | None) -> None:
    """Write a student's lesson sheet, one page to print."""
    from dashboard.pages.lesson.content import write_sheet  # noqa: PLC0415 - the other commands don't wait for it

    click.echo(write_sheet(Home.find(home_path), student, target))


@cli.command()
@home_option
@click.option("--as", "person", metavar="PERSON", help="Whose review; else the head coach's.")
@to_option
def review(home_path: str | None, person: str | None, target: Path | None) -> None:
    """Show this week's review here, and write it as one self-contained HTML file to print."""
    from dashboard.pages.week.content import NO_REVIEW, write_review  # noqa: PLC0415 - the other commands don't wait for it

    file, whole = write_review(Home.find(home_path), person, target)
    terminal.say(whole.lines() if whole else [catalogue._(NO_REVIEW)])
    out.print(f"To print: {file}", soft_wrap=True)


@cli.command()
@click.argument("query")
@home_option
@click.option("--format", "shape", type=click.Choice(["table", "csv", "json"]), default="table")
def sql(query: str, home_path: str | None, shape: str) -> None:
    """Run a read-only QUERY on the published warehouse."""
    snapshot = open_snapshot(Home.find(home_path))
    rows = snapshot.sql(query)
    snapshot.close()
    terminal.show_query(rows, shape)


@cli.command()
@home_option
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object for scripts.")
@click.option("--retry", "again", is_flag=True, help="Try every refused delivery again first.")
def refused(home_path: str | None, *, as_json: bool, again: bool) -> None:
    """Say what was refused, and why."""
    if again and (report := _load(Home.find(home_path), None, quiet=as_json)) and not as_json:
        terminal.show_report(report, brief=True)
    if terminal.show_refused(Home.find(home_path), as_json=as_json):
        sys.exit(1)


@cli.command()
@home_option
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object for scripts.")
def health(home_path: str | None, *, as_json: bool) -> None:
    """Check that everything is whole and fresh; exit 1 when something is wrong."""
    from warehouse.health import check  # noqa: PLC0415 - used here only

    checks = check(Home.find(home_path))
    terminal.show_health(checks, as_json=as_json)
    sys.exit(0 if all(found.ok for found in checks) else 1)


@cli.command()
@click.argument("file", type=click.Path(path_type=Path))
@home_option
@key_file_option
def backup(file: Path, home_path: str | None, key_file: Path | None) -> None:
    """Write the whole home to FILE, sealed with a passphrase or a key file, and check it."""
    from warehouse.backup import back_up  # noqa: PLC0415 - used here only

    secret = terminal.secret(key_file, new=True)
    found = back_up(Home.find(home_path), file, secret, on_wait=_say_waiting)
    terminal.show_backup(found, f"Backed up to {file}")


@cli.command()
@click.argument("file", type=click.Path(path_type=Path))
@home_option
@key_file_option
def restore(file: Path, home_path: str | None, key_file: Path | None) -> None:
    """Make a home again from the backup FILE; nothing is overwritten."""
    from warehouse.backup import restore as restore_home  # noqa: PLC0415 - used here only
    from warehouse.sealed import is_sealed  # noqa: PLC0415

    home = Home.find(home_path)
    secret = terminal.secret(key_file) if file.is_file() and is_sealed(file) else None
    terminal.show_backup(restore_home(home, file, secret), f"Restored to {home.path}")
    terminal.show_forgotten(_forget_asked(home))


@cli.command()
@click.argument("student")
@home_option
@to_option
def export(student: str, home_path: str | None, target: Path | None) -> None:
    """Write everything about STUDENT to one zip, in open formats, with a page that explains it."""
    from dashboard.pages.student.export import write_export  # noqa: PLC0415 - the other commands don't wait for it

    click.echo(write_export(Home.find(home_path), student, target))


@cli.command()
@click.argument("student")
@home_option
@click.option("--yes", is_flag=True, help="Do not ask first.")
def forget(student: str, home_path: str | None, *, yes: bool) -> None:
    """Remove everything of STUDENT for good, and name the backups that still hold it."""
    from ingest.forgetting import check_archives  # noqa: PLC0415 - a slow import, used here only

    home = Home.find(home_path)
    snapshot = open_snapshot(home)
    check_student(snapshot, student)
    snapshot.close()
    check_archives(home)
    if not yes:
        terminal.ask_to_forget(student)
    forgotten.ask(home, student)
    terminal.show_forgotten(_forget_asked(home))


@cli.command()
@click.argument("drills", nargs=2, metavar="DRILL DRILL")
@click.option("--student", "students", multiple=True, metavar="S", help="Whom to draw for; may be repeated.")
@home_option
def draw(drills: tuple[str, str], students: tuple[str, ...], home_path: str | None) -> None:
    """Assign one of two drills to each student by random draw, and record who got which."""
    from ingest.lots import draw_lots  # noqa: PLC0415 - a slow import, used here only

    terminal.show_draw(draw_lots(Home.find(home_path), drills, students))


def _say_waiting() -> None:
    err.print("Another load or build is at work; waiting for it to end.")


def _load(home: Home, paths: list[Path] | None, *, quiet: bool = False, whole: bool = False) -> Any:
    """Load (without paths: retry what was refused), answer for the touched students or all, publish.

    Whoever is to be forgotten is forgotten first where that has begun, else afterwards.
    """
    from ingest import load as job  # noqa: PLC0415 - a slow import, used here only
    from models.build import refresh  # noqa: PLC0415

    _forget_asked(home, begun=True)
    with (
        journal.recorded(home, "load" if paths is not None else "retry") as facts,
        writer(home, on_wait=_say_waiting) as w,
        unanswered(w) as students,
    ):
        with terminal.progress("Loading deliveries", quiet=quiet) as step:
            report = job.load(home, w, paths, progress=step) if paths else job.retry(home, w, progress=step)
        facts.update(report.counts())
        if whole:
            _build(home, w)
        else:
            with terminal.progress("Reducing swings", quiet=quiet) as step:
                terminal.say_problems(refresh(home, w, touched=report.touched | students, progress=step))
        w.publish()
    for facts in report.refusals():
        journal.record(home, "refused", **facts)
    _chores(home)
    return report


def _chores(home: Home) -> None:
    """What the loader does between loads: forget whoever is to be forgotten, drop old log lines."""
    _forget_asked(home)
    days = home.settings().access_log_days
    if days is not None:
        access_log.shorten(home, days)


def _forget_asked(home: Home, *, begun: bool = False) -> list[forgotten.Receipt]:
    """Forget whoever is to be forgotten, those alone with whom it has `begun`; returns what was removed."""
    if not any(request.noted or not begun for request in forgotten.asked(home)):
        return []
    from ingest import forgetting, removal  # noqa: PLC0415 - slow imports, used here only
    from ingest import load as job  # noqa: PLC0415

    with journal.recorded(home, "forget") as facts, home.lock(_say_waiting):
        job.settle(home)
        with opened(home) as w:
            gone = forgetting.begin(home, w)
        for who, removed in gone:
            removal.take_out(home, who, removed)
        with rebuilt(home) as w:
            with terminal.progress("Reading filed deliveries") as step:
                terminal.show_left_out(job.replay(w.home, w, progress=step))
            forgetting.check_nobody_else_went(home, w, [who for who, _ in gone])
            _build(w.home, w)
        for who, removed in gone:
            forgetting.clear_rest(home, who, current_name(home), removed)
        receipts = [forgotten.done(home, who.student, r.counts, r.deliveries) for who, r in gone]
        facts.update(students=len(receipts))
    return receipts


def _rebuild(home: Home) -> None:
    """The warehouse from filed/, made beside the one in use and put in its place."""
    from ingest import load as job  # noqa: PLC0415 - a slow import, used here only

    with journal.recorded(home, "rebuild") as facts:
        job.settle_interrupted(home, _say_waiting)
        with rebuilding(home, on_wait=_say_waiting) as w:
            with terminal.progress("Reading filed deliveries") as step:
                report = job.replay(w.home, w, progress=step)
            terminal.show_left_out(report)
            facts.update(report.counts())
            _build(w.home, w)


def _build(home: Home, w: Any) -> None:
    from models.build import build as build_all  # noqa: PLC0415 - a slow import, used here only

    with terminal.progress("Building the season") as step:
        terminal.say_problems(build_all(home, w, progress=step))


def _serve(home: Home, port: int, *, browser: bool, loader: bool = True) -> None:
    def load_inbox(ended: threading.Event) -> None:
        from ingest.watch import watch  # noqa: PLC0415 - a slow import, used here only

        watch(home, lambda paths: _load(home, paths, quiet=True), ended, chores=lambda: _chores(home))

    run_pages(home, port, browser=browser, beside=load_inbox if loader else None)


def main() -> None:
    """Run the command; what it writes is its user's alone."""
    os.umask(0o077)
    terminal.run(cli)


if __name__ == "__main__":
    main()
