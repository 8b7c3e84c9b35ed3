"""Where the pages are is said once they answer; a browser opens only in front of somebody."""

import json
import sys
import threading
import webbrowser

import pytest

from dashboard import serving
from warehouse import browsers

ADDRESS = "http://localhost:8501"
HERE = serving.Place(8501)


@pytest.fixture
def announced(monkeypatch, capsys, home):
    """What is printed and opened: announced(on a terminal, with a display, browser asked for)."""

    def go(terminal, display, browser=True, place=HERE):
        opened, answers = [], iter([False, False, True])
        monkeypatch.setattr(serving, "_answers", lambda address: next(answers))
        monkeypatch.setattr(serving, "ASKED_EVERY_S", 0.0)
        monkeypatch.setattr(sys.stdout, "isatty", lambda: terminal, raising=False)
        monkeypatch.setattr(serving, "_has_display", lambda: display)
        monkeypatch.setattr(webbrowser, "open", opened.append)
        serving._announce(home, place, None, threading.Event(), browser=browser)
        assert next(answers, None) is None
        return capsys.readouterr().out, opened

    return go


def test_the_browser_opens_at_the_one_address_that_is_printed_and_lets_one_browser_in(announced, home):
    said, (address,) = announced(terminal=True, display=True)
    assert said == (
        f"The dashboard is at {address} (it works once, in the next 10 minutes; Ctrl-C ends the dashboard).\n"
    )
    assert address.startswith(f"{ADDRESS}/start?key=")
    assert browsers.read(home, address.split("key=")[1]).on_this_machine


def test_the_demo_says_where_it_is_and_asks_nobody_who_they_are(announced, home):
    home.settings_file.write_text('name = "D"\ntime_zone = "UTC"\ndemo = true\n')
    said, opened = announced(terminal=True, display=True)
    assert (said, opened) == (f"The dashboard is at {ADDRESS} (Ctrl-C ends it).\n", [ADDRESS])


def test_pages_that_others_reach_print_no_address_that_lets_anybody_in(announced, home):
    said, _ = announced(True, True, place=serving.Place(8501, None, "https://pages.example.org"))
    assert said == "The dashboard is at https://pages.example.org (Ctrl-C ends it).\n"
    assert browsers.open_browsers(home) == browsers.open_invitations(home) == []


@pytest.mark.parametrize(
    ("terminal", "display", "browser"), [(False, True, True), (True, False, True), (True, True, False)]
)
def test_no_browser_opens_without_a_terminal_a_display_or_the_wish(announced, terminal, display, browser):
    assert announced(terminal, display, browser)[1] == []


def test_nothing_is_said_where_the_pages_ended_first(monkeypatch, capsys, home):
    monkeypatch.setattr(serving, "_answers", lambda address: False)
    ended = threading.Event()
    ended.set()
    serving._announce(home, HERE, None, ended, browser=True)
    assert capsys.readouterr().out == ""


def test_streamlit_keeps_quiet_and_lays_nothing_over_the_pages():
    options = json.loads(serving.streamlit({})[-1])
    assert options["server.headless"] is True
    assert options["logger.hideWelcomeMessage"] is True
    assert options["browser.gatherUsageStats"] is False
