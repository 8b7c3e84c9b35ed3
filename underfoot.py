"""The command: one thin function a verb. It ties the wings together and holds no logic of its own."""

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import click

from dashboard import terminal
from dashboard.terminal import err, out
from warehouse.errors import CallError, UnderfootError
from warehouse.home import Home
from warehouse.store import open_snapshot, writer

HERE = Path(__file__).parent

home_option = click.option(
    "--home",
    "home_path",
    metavar="DIR",
    help="The academy home; else UNDERFOOT_HOME, else ./academy.",
)


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
@click.option("--debug", is_flag=True, help="Show the traceback of an error.")
@click.version_option(package_name="underfoot")
def cli(*, debug: bool) -> None:
    """Footwork measurements of a golf-coaching academy: load them, reduce them, look at them."""
    click.get_current_context().obj = {"debug": debug}


@cli.command()
@home_option
@click.option("--no-serve", is_flag=True, help="Stop before opening the dashboard.")
@click.option("--scale", default=1.0, show_default=True, help="Size of the academy; 1 is the whole season.")
@click.option("--port", default=8501, show_default=True)
def demo(home_path: str | None, *, no_serve: bool, scale: float, port: int) -> None:
    """Make the demo academy from files, load it, build, and open the dashboard."""
    from demo_academy.write import write_academy  # noqa: PLC0415 - a slow import, used here only

    home = Home.find(home_path)
    if home.settings_file.exists() and not home.settings().demo:
        raise CallError(
            f"{home.path} holds an academy of its own; name another folder for the demo: --home DIR"
        )
    if not home.settings_file.exists():
        with terminal.progress("Writing the demo academy") as step:
            write_academy(home.path, scale=scale, progress=lambda done, total: step(done, total, ""))
    report = _load(home, [home.inbox], whole=True)
    terminal.show_report(report, brief=True)
    terminal.show_published(home)
    _check_refusals(home)
    if not no_serve:
        _serve(home, port, browser=True)


@cli.command()
@click.argument("paths", nargs=-1, type=click.Path(path_type=Path))
@home_option
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object for scripts.")
def load(paths: tuple[Path, ...], home_path: str | None, *, as_json: bool) -> None:
    """Validate and load deliveries (default: the inbox), then publish."""
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
    if report.refused:
        sys.exit(1)


@cli.command()
@home_option
def build(home_path: str | None) -> None:
    """Refit everything academy-wide and publish."""
    home = Home.find(home_path)
    home.settings()
    with writer(home, on_wait=_say_waiting) as w:
        _build(home, w)
        w.publish()
    terminal.show_published(home)


@cli.command()
@home_option
@click.option("--port", default=8501, show_default=True)
@click.option("--browser/--no-browser", default=True, help="Open the browser.")
def serve(home_path: str | None, port: int, *, browser: bool) -> None:
    """Serve the dashboard on this machine."""
    home = Home.find(home_path)
    home.settings()
    _serve(home, port, browser=browser)


@cli.command()
@click.argument("student")
@home_option
@click.option("--to", "target", type=click.Path(path_type=Path), help="File to write; else HOME/pages/…")
def page(student: str, home_path: str | None, target: Path | None) -> None:
    """Write a student's progress page as one self-contained HTML file."""
    from dashboard.paper.progress_page import write_page  # noqa: PLC0415 - a slow import, used here only

    click.echo(write_page(Home.find(home_path), student, target))


@cli.command()
@click.argument("student")
@home_option
@click.option("--to", "target", type=click.Path(path_type=Path), help="File to write; else HOME/pages/…")
def lesson(student: str, home_path: str | None, target: Path | None) -> None:
    """Write a student's lesson sheet, one page to print."""
    from dashboard.paper.lesson_sheet import write_sheet  # noqa: PLC0415 - a slow import, used here only

    click.echo(write_sheet(Home.find(home_path), student, target))


@cli.command()
@home_option
@click.option("--as", "person", metavar="PERSON", help="Whose review; else the head coach's.")
@click.option("--to", "target", type=click.Path(path_type=Path), help="File to write; else HOME/pages/…")
def review(home_path: str | None, person: str | None, target: Path | None) -> None:
    """Show this week's review here, and write it as one self-contained HTML file to print."""
    from dashboard.paper.review_page import NEVER, write_review  # noqa: PLC0415 - slow, used here only
    from dashboard.review import lines  # noqa: PLC0415

    file, whole = write_review(Home.find(home_path), person, target)
    for line in lines(whole) if whole else [NEVER]:
        out.print(line, markup=False, soft_wrap=True)
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
    terminal.show_frame(rows, shape)


@cli.command()
@home_option
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object for scripts.")
def refused(home_path: str | None, *, as_json: bool) -> None:
    """Say what was refused, and why."""
    snapshot = open_snapshot(Home.find(home_path))
    rows = snapshot.sql(
        'SELECT "at", name, delivery, session, swing_no, file, line, "column", reason, sentence '
        'FROM academy.refusal ORDER BY "at", name, session, swing_no'
    )
    snapshot.close()
    if as_json:
        click.echo(json.dumps({"refused": json.loads(rows.drop("at").write_json())}, ensure_ascii=False))
    else:
        terminal.show_rows(["delivery", "sentence"], rows.select("name", "sentence").rows())
    if not rows.is_empty():
        sys.exit(1)


@cli.command()
@click.argument("drills", nargs=2, metavar="DRILL DRILL")
@click.option("--student", "students", multiple=True, metavar="S", help="Whom to draw for; may be repeated.")
@home_option
def draw(drills: tuple[str, str], students: tuple[str, ...], home_path: str | None) -> None:
    """Draw lots between two drills, when either would do, and record who drew which."""
    from ingest.lots import draw_lots  # noqa: PLC0415 - a slow import, used here only

    drawn = draw_lots(Home.find(home_path), drills, students)
    rows = [(lot.student, lot.name, lot.drill, drawn.drills[lot.drill]) for lot in drawn.lots]
    terminal.show_rows(["student", "name", "drill", "its name"], rows)
    click.echo(f"Recorded in {drawn.file}; the next load takes it in.")


def _say_waiting() -> None:
    err.print("Another load or build is at work; waiting for it to end.")


def _load(home: Home, paths: list[Path], *, quiet: bool = False, whole: bool = False) -> Any:
    """Load, answer for the touched students (or, `whole`, for the academy), publish."""
    from ingest.load import load as load_paths  # noqa: PLC0415 - a slow import, used here only
    from models.build import refresh  # noqa: PLC0415

    with writer(home, on_wait=_say_waiting) as w:
        with terminal.progress("Loading deliveries", quiet=quiet) as step:
            report = load_paths(home, w, paths, progress=step)
        if whole:
            _build(home, w)
        else:
            with terminal.progress("Reducing swings", quiet=quiet) as step:
                _say_problems(refresh(home, w, touched=report.touched, progress=step))
        w.publish()
    return report


def _say_problems(refreshed: Any) -> None:
    """Sessions whose samples can't be read: said on stderr, tried again next time."""
    for sentence in refreshed.problems:
        err.print(sentence, markup=False, soft_wrap=True)


def _build(home: Home, w: Any) -> None:
    from models.build import build as build_all  # noqa: PLC0415 - a slow import, used here only

    with terminal.progress("Building the season") as step:
        _say_problems(build_all(home, w, progress=step))


def _serve(home: Home, port: int, *, browser: bool) -> None:
    call = [
        sys.executable, "-m", "streamlit", "run", str(HERE / "dashboard" / "app.py"),
        "--server.port", str(port), "--server.address", "localhost",
        "--server.headless", "false" if browser else "true", "--browser.gatherUsageStats", "false",
        "--client.showErrorDetails", "none",
    ]  # fmt: skip
    out.print(f"The dashboard is at http://localhost:{port} (Ctrl-C ends it).")
    environment = {**os.environ, "UNDERFOOT_HOME": str(home.path), "PYTHONPATH": str(HERE)}
    try:
        subprocess.run(call, check=False, env=environment, cwd=HERE)  # noqa: S603 - our own fixed command
    except KeyboardInterrupt:
        err.print("Closed.")


def _check_refusals(home: Home) -> None:
    """Exactly the planted bad deliveries, by name and swing, must have been refused."""
    planted = json.loads((home.path / "planted_truth.json").read_text(encoding="utf-8"))["expected_refusals"]
    expected = {(entry["delivery"], entry["swing_no"]) for entry in planted}
    snapshot = open_snapshot(home)
    found = {
        (str(name), swing)
        for name, swing in snapshot.sql("SELECT name, swing_no FROM academy.refusal").rows()
    }
    snapshot.close()
    if found != expected:
        missed, extra = sorted(map(str, expected - found)), sorted(map(str, found - expected))
        raise UnderfootError(
            "The demo's planted refusals did not come out: "
            f"missed {missed or 'none'}, unexpected {extra or 'none'}."
        )
    said = f"Exactly the {len(expected)} planted bad deliveries were refused; underfoot refused lists them."
    out.print(said, soft_wrap=True)


def main() -> None:
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


if __name__ == "__main__":
    main()
