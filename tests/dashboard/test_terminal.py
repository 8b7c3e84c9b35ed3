"""Whatever goes wrong is one sentence on stderr and an exit code: no traceback reaches whoever typed the command."""

import click
import pytest

from command import underfoot_command
from dashboard import handouts, terminal
from warehouse.errors import CallError, UnderfootError
from warehouse.home import Home

FULL_DISK = OSError(28, "No space left on device", "/home/x/academy/filed")
ERRORS = {
    "its own": (UnderfootError("So it is."), 1, "So it is."),
    "a wrong call": (CallError("Not so."), 2, "Not so."),
    "a full disk": (FULL_DISK, 1, "/home/x/academy/filed: No space left on device; see that"),
    "no right to write": (
        PermissionError(13, "Permission denied", "/x"),
        1,
        "/x: Permission denied; see that",
    ),
    "a fault of the program": (
        KeyError("lead_n"),
        1,
        "This is a fault of Underfoot itself (KeyError: 'lead_n')",
    ),
    "an interrupt": (KeyboardInterrupt(), 130, ""),
}


@pytest.mark.parametrize("what", ERRORS)
def test_an_error_ends_in_one_sentence_and_its_exit_code(monkeypatch, capsys, what):
    error, code, said = ERRORS[what]

    @click.command()
    def fails():
        raise error

    monkeypatch.setattr("sys.argv", ["underfoot"])
    with pytest.raises(SystemExit) as ended:
        terminal.run(fails)
    shown = capsys.readouterr().err.strip()
    assert ended.value.code == code
    assert said in shown
    assert shown.count("\n") == 0


def test_debug_shows_the_traceback(monkeypatch):
    @click.command()
    @click.option("--debug", is_flag=True)
    def fails(*, debug):
        raise KeyError(debug)

    monkeypatch.setattr("sys.argv", ["underfoot", "--debug"])
    with pytest.raises(KeyError):
        terminal.run(fails)


def test_a_document_for_a_folder_goes_into_it_under_its_usual_name(tmp_path):
    home = Home(tmp_path)
    assert handouts.place(home, tmp_path, "review.html") == tmp_path / "review.html"
    assert handouts.place(home, tmp_path / "mine.html", "review.html") == tmp_path / "mine.html"
    assert handouts.place(home, None, "review.html") == home.pages / "review.html"


@pytest.mark.parametrize("scale", ["0", "-1", "1000"])
def test_a_size_that_no_demo_has_is_refused_before_anything_is_written(tmp_path, scale):
    ran = underfoot_command("demo", "--no-serve", "--scale", scale, "--home", tmp_path / "demo")
    assert ran.returncode == 2
    assert "Traceback" not in ran.stderr
    assert not (tmp_path / "demo").exists()
