"""The command: one thin function a verb. It ties the wings together and holds no logic of its own."""

import os
import sys
import threading
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from dashboard import handout_command, prompts, terminal
from dashboard.pages.notes import command as note_command
from dashboard.serving import MOST_PORTS, Place, run_pages
from dashboard.text import catalogue
from warehouse import browsers, forgotten, journal
from warehouse.access import check_viewer
from warehouse.browsers import INVITATION_DAYS, MOST_INVITATION_DAYS
from warehouse.home import Home
from warehouse.store import publish_new_columns
from warehouse.vocabulary import HANDS, VIEWS

if TYPE_CHECKING:
    from ingest.loader import Loader

file_type = click.Path(path_type=Path, exists=True, dir_okay=False)
student_argument = click.argument("student")
json_option = click.option("--json", "as_json", is_flag=True, help="Print one JSON object for scripts.")
browser_option = click.option("--browser/--no-browser", default=True, help="Open the browser.")
port_option = click.option("--port", type=click.IntRange(1, MOST_PORTS), default=8501, show_default=True)


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
@click.option("--debug", is_flag=True, expose_value=False, help="Show the traceback of an error.")
@click.option("-v", "--verbose", is_flag=True, help="Show every step and its duration, on stderr.")
@click.version_option(package_name="underfoot")
def cli(*, verbose: bool) -> None:
    """Footwork measurements of a golf-coaching academy: load them, reduce them, look at them."""
    if verbose:
        journal.show_steps()


def verb(function: Callable[..., None]) -> click.Command:
    """A command of this name that works on an academy home."""
    return cli.command()(terminal.home_option(function))


@verb
@click.option("--no-serve", is_flag=True, help="Stop before opening the dashboard.")
@click.option(
    "--scale",
    type=click.FloatRange(0, 100, min_open=True),
    default=1.0,
    help="Its size, 1 for a whole season.",
)
@port_option
@browser_option
def demo(home: Home, *, no_serve: bool, scale: float, port: int, browser: bool) -> None:
    """Make the demo academy from files, load it, build, and open the dashboard."""
    from demo_academy.planted import check_refusals
    from demo_academy.write import check_place, write_academy

    check_place(home)
    if not home.settings_file.exists():
        with terminal.progress("Writing the demo academy") as step:
            write_academy(home.path, scale=scale, progress=lambda done, total: step(done, total, ""))
    terminal.show_report(_loader(home).load(whole=True), brief=True)
    terminal.show_published(home)
    n = check_refusals(home)
    terminal.say([f"Exactly the {n} planted bad deliveries were refused; underfoot refused lists them."])
    if not no_serve:
        _serve(home, Place(port), browser=browser)


@verb
@click.argument("paths", nargs=-1, type=click.Path(path_type=Path, exists=True))
@json_option
@click.option(
    "--explain",
    type=file_type,
    metavar="FILE",
    help="Load nothing; say what FILE would be read as, ask what it leaves open, and propose its recipe.",
)
@click.option(
    "--answer",
    "answers",
    multiple=True,
    metavar="WHAT=ANSWER",
    help="With --explain: the answer to one of its questions, as in origin=heel.",
)
@click.option("--device", default="mine", metavar="NAME", help="With --explain: the device's name.")
@click.option("--yes", is_flag=True, help="Do not ask first when PATH does not look like a delivery.")
def load(
    paths: tuple[Path, ...],
    home: Home,
    explain: Path | None,
    answers: tuple[str, ...],
    device: str,
    *,
    as_json: bool,
    yes: bool,
) -> None:
    """Validate and load deliveries (default: the inbox), then publish."""
    if explain is not None:
        from ingest.formats.proposal import explain_file

        found = explain_file(explain, device, answers).to_json()
        terminal.show_explanation(found, answers, as_json=as_json)
        sys.exit(1 if found["questions"] or found["doubts"] else 0)
    home.settings()
    if not yes:
        prompts.ask_about(home, paths)
    report = _loader(home, quiet=as_json).load(paths)
    terminal.show_report(report, as_json=as_json)
    sys.exit(1 if report.refused else 0)


@verb
@click.option("--from-filed", is_flag=True, help="Make the whole warehouse again from the filed originals.")
@click.option("--plan", is_flag=True, help="Print which tables are made, from what, when, by which module.")
@click.option("--cluster", metavar="ADDRESS", help="Read the traces on a Dask scheduler's workers.")
@click.option(
    "--federate", "lenders", multiple=True, metavar="HOME", help="Borrow variances from this academy too."
)
def build(home: Home, cluster: str | None, lenders: tuple[str, ...], *, from_filed: bool, plan: bool) -> None:
    """Refit everything academy-wide and publish."""
    if plan:
        from models.plan import plan_rows

        terminal.show_rows(["table", "made from", "when", "by"], plan_rows())
        return
    from models.cluster import workers_at
    from models.federation import borrow

    home.settings()
    borrow(home, lenders)
    loader = _loader(home)
    with workers_at(cluster, home):
        loader.rebuild() if from_filed else loader.build()
    terminal.show_published(home)


@verb
@port_option
@browser_option
@click.option("--as", "person", metavar="PERSON", help="Whom its address signs in; else the head coach.")
@click.option(
    "--tls", type=file_type, nargs=2, metavar="CERT KEY", help="Serve over TLS, beyond this machine."
)
@click.option(
    "--address", metavar="URL", help="Where others reach the pages: the name in CERT, or a proxy's."
)
@click.option("--no-loader", is_flag=True, help="Leave the inbox alone.")
def serve(home: Home, person: str | None, *, browser: bool, no_loader: bool, **place: Any) -> None:
    """Serve the dashboard on this machine, and load what is dropped in the inbox.

    In an empty folder its first page makes a new academy. With --tls, or with the --address of a proxy on
    this machine that speaks TLS, others reach the pages too; underfoot invite lets the first of them in.
    """
    found = Place(**place)
    if found.is_public or not home.is_new():
        home.settings()
        publish_new_columns(home)
    if person is not None:
        check_viewer(home, person)
    _serve(home, found, browser=browser, person=person, loader=not no_loader)


@verb
@click.argument("person")
@click.option("--address", metavar="URL", default="http://localhost:8501", show_default=True)
@click.option(
    "--days", type=click.IntRange(1, MOST_INVITATION_DAYS), default=INVITATION_DAYS, show_default=True
)
def invite(person: str, home: Home, address: str, days: int) -> None:
    """Print a link that lets one browser look as PERSON; it works once."""
    check_viewer(home, person)
    click.echo(f"{address.rstrip('/')}/invitation?key={browsers.invite(home, person, timedelta(days=days))}")


@cli.command()
@click.argument("home_path", metavar="HOME", required=False)
@click.option("--name", help="The academy's name; with it and --head-coach, no page opens.")
@click.option("--head-coach", metavar="NAME", help="Your name.")
@click.option("--time-zone", help="As in Europe/Berlin; else this machine's.")
@click.option("--coach", "coaches", multiple=True, metavar="NAME", help="Another coach; may be repeated.")
@click.option("--students", type=file_type, metavar="FILE", help="Students, as csv, xlsx or ods.")
@click.option("--consents-elsewhere", is_flag=True, help="Consents are kept elsewhere.")
@click.option("--no-drills", is_flag=True, help="Without the starter set of drills.")
@port_option
@browser_option
def new(home_path: str | None, port: int, *, browser: bool, **given: Any) -> None:
    """Make a new academy in the folder HOME: in the browser, or here with --name and --head-coach."""
    from dashboard.first_page import content as first_page

    home = Home.find(home_path)
    first_page.check_new(home)
    if given["name"] or given["head_coach"]:
        terminal.say(first_page.make_from_options(home, **given))
        _loader(home).load()
        terminal.show_published(home)
        return
    home.make_folders()
    _serve(home, Place(port), browser=browser)


@verb
@handout_command.options
@click.option("--link", "days", type=int, metavar="DAYS", help="Print a link to it, good for so many days.")
@click.option("--end-links", is_flag=True, help="End every link to it.")
def page(home: Home, days: int | None, *, end_links: bool, **for_whom: Any) -> None:
    """Write a student's progress page as one self-contained HTML file or as PDF, or share it by link."""
    if end_links or days is not None:
        whose = None if for_whom["everyone"] else for_whom["student"]
        terminal.show_link(home, whose, days, end=end_links)
        return
    from dashboard.pages.progress.content import page_of

    handout_command.write(home, "progress", page_of, **for_whom)


@cli.command()
@click.argument("file", type=file_type)
@click.option("--preview", is_flag=True, help="Write a contact sheet beside the film, FILE.png, to check it.")
@click.option("--view", type=click.Choice(VIEWS), help="Else as session.toml says.")
@click.option("--hand", type=click.Choice(HANDS), default="right", show_default=True)
def film(file: Path, view: str | None, hand: str, *, preview: bool) -> None:
    """Follow the tape in a foot-level film, before it is delivered."""
    from ingest.film.contact_sheet import follow

    with terminal.progress("Following the marks") as step:
        terminal.say(follow(file, view=view, handed=hand, sheet=preview, progress=step).lines())


@verb
@student_argument
@note_command.options
def note(student: str, home: Home, **given: Any) -> None:
    """Write a note on STUDENT, by the rules of the form on the pages, and load it."""
    terminal.say([note_command.write(home, student, **given)])
    terminal.show_report(_loader(home).load(), brief=True)


@verb
@handout_command.options
def lesson(home: Home, **for_whom: Any) -> None:
    """Write a student's lesson sheet, one page to print, as HTML or PDF."""
    from dashboard.pages.lesson.content import sheet_of

    handout_command.write(home, "lesson", sheet_of, **for_whom)


@verb
@click.option("--as", "person", metavar="PERSON", help="Whose review; else the head coach's.")
@handout_command.pdf_option
@handout_command.to_option
def review(home: Home, person: str | None, target: Path | None, *, as_pdf: bool) -> None:
    """Show this week's review here, and write it as one self-contained HTML file or as PDF, to print."""
    from dashboard.pages.week.content import NO_REVIEW
    from dashboard.pages.week.paper import write_review

    file, whole = write_review(home, person, target, as_pdf=as_pdf)
    terminal.say([*(whole.lines() if whole else [catalogue._(NO_REVIEW)]), f"To print: {file}"])


@verb
@click.argument("query")
@click.option("--format", "shape", type=click.Choice(["table", "csv", "json"]), default="table")
def sql(query: str, home: Home, shape: str) -> None:
    """Run a read-only QUERY on the published warehouse."""
    terminal.show_query(home, query, shape)


@verb
@json_option
@click.option("--retry", "again", is_flag=True, help="Try every refused delivery again first.")
@click.option("--drop", "dropped", multiple=True, metavar="NAME", help="Drop one for good; may be repeated.")
def refused(home: Home, dropped: tuple[str, ...], *, as_json: bool, again: bool) -> None:
    """Say what was refused, and why."""
    loader = _loader(home, quiet=as_json)
    if dropped:
        folders = loader.drop(dropped)
        if not as_json:
            terminal.say([f"Dropped: {', '.join(folders)}."])
    if again and (report := loader.load(None)) and not as_json:
        terminal.show_report(report, brief=True)
    if terminal.show_refused(home, as_json=as_json):
        sys.exit(1)


@verb
@json_option
def health(home: Home, *, as_json: bool) -> None:
    """Check that everything is whole and fresh; exit 1 when something is wrong."""
    from warehouse.health import check

    sys.exit(0 if terminal.show_health(check(home), as_json=as_json) else 1)


@verb
@click.argument("file", type=click.Path(path_type=Path))
@prompts.key_file_option
def backup(file: Path, home: Home, key_file: Path | None) -> None:
    """Write the whole home to FILE, sealed with a passphrase or a key file, and check it."""
    from warehouse.backup import back_up

    secret = prompts.secret(key_file, new=True)
    found = back_up(home, file, secret, on_wait=terminal.say_waiting)
    terminal.show_backup(found, f"Backed up to {file}")


@verb
@click.argument("file", type=click.Path(path_type=Path))
@prompts.key_file_option
def restore(file: Path, home: Home, key_file: Path | None) -> None:
    """Make a home again from the backup FILE; nothing is overwritten."""
    from warehouse.backup import restore as restore_home
    from warehouse.sealed import is_sealed

    secret = prompts.secret(key_file) if file.is_file() and is_sealed(file) else None
    terminal.show_backup(restore_home(home, file, secret), f"Restored to {home.path}")
    terminal.show_forgotten(_loader(home).forget_asked())


@verb
@student_argument
@handout_command.to_option
def export(student: str, home: Home, target: Path | None) -> None:
    """Write everything about STUDENT to one zip, in open formats, with a page that explains it."""
    from dashboard.pages.student.export import write_export

    click.echo(write_export(home, student, target))


@verb
@student_argument
@click.option("--yes", is_flag=True, help="Do not ask first.")
def forget(student: str, home: Home, *, yes: bool) -> None:
    """Remove everything of STUDENT for good, and name the backups that still hold it."""
    from ingest.forgetting import check

    check(home, student)
    if not yes:
        prompts.ask_to_forget(student)
    forgotten.ask(home, student)
    terminal.show_forgotten(_loader(home).forget_asked())


@verb
@click.argument("drills", nargs=2, metavar="DRILL DRILL")
@click.option("--student", "students", multiple=True, metavar="S", help="Whom to draw for; may be repeated.")
def draw(drills: tuple[str, str], students: tuple[str, ...], home: Home) -> None:
    """Assign one of two drills to each student by random draw, and record who got which."""
    from ingest.lots import draw_lots

    terminal.show_draw(draw_lots(home, drills, students))


def _loader(home: Home, *, quiet: bool = False) -> "Loader":
    from ingest.loader import Loader
    from models import build as models

    return Loader(home, models, terminal, quiet)


def _serve(
    home: Home, place: Place, *, browser: bool, person: str | None = None, loader: bool = True
) -> None:
    def load_inbox(ended: threading.Event) -> None:
        from ingest.watch import watch

        loader = _loader(home, quiet=True)
        watch(home, loader.load, ended, loader.chores)

    run_pages(home, place, browser=browser, person=person, beside=load_inbox if loader else None)


def serve_pages(options: str) -> None:
    """The server of the pages, in a process of its own; it is handed what reads files."""
    from dashboard import readers, server
    from ingest.preview import preview_apart
    from models.samples import published_moments

    server.serve(options, lambda brought: preview_apart(brought, published_moments(readers.home())))


def main() -> None:
    """Run the command; what it writes is its user's alone."""
    os.umask(0o077)
    terminal.run(cli)


if __name__ == "__main__":
    main()
