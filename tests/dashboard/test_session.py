"""New session: what a saved visit has become is told by the newest snapshot, also when a load just ends."""

from datetime import datetime
from zoneinfo import ZoneInfo

import pytest

from dashboard import readers
from dashboard.pages.session import content
from warehouse.errors import CallError
from warehouse.preview import Preview, PreviewedSwing
from warehouse.store import writer


@pytest.fixture
def opened(homes):
    home = homes("new-session")
    return readers.reader(home, "h01").by(lambda: readers.reader(home, "h01"))


def landing(reader, session):
    """What a load does as its last: a session is published."""
    with writer(reader.home) as w:
        w.execute(
            "INSERT INTO academy.session BY NAME "
            "SELECT * REPLACE (? AS session) FROM academy.session LIMIT 1", [session]
        )  # fmt: skip
        w.publish()


@pytest.mark.parametrize("at_work", [True, False])
def test_a_load_that_ends_while_somebody_looks_is_seen(opened, monkeypatch, at_work):
    def ends(path):
        landing(opened, f"new-{at_work}")
        return {} if at_work else None

    monkeypatch.setattr(content, "holder", ends)
    assert content.became(opened, f"new-{at_work}", "taken-from-the-inbox") == content.LOADED


def test_a_visit_waits_in_the_inbox_and_while_a_load_is_at_work(opened, monkeypatch):
    (opened.home.inbox / "there").mkdir(parents=True)
    assert content.became(opened, "another", "there") == content.WAITING
    monkeypatch.setattr(content, "holder", lambda path: {})
    assert content.became(opened, "another", "taken") == content.WAITING
    monkeypatch.setattr(content, "holder", lambda path: None)
    assert content.became(opened, "another", "taken") == content.NOTHING_NEW


def test_the_same_files_are_saved_once(opened):
    began = datetime(2026, 1, 20, 10, 0, tzinfo=ZoneInfo("UTC"))
    visit = content.Visit("s01", "7-iron", "full", "mat", "pressure_mat", began)
    files = content.Opened(Preview({}, swings=(PreviewedSwing(1, None),)), {"plate.csv": b"swing_no"})
    session, folder = content.save(opened, visit, files, {})
    assert (folder / session / "plate.csv").read_bytes() == b"swing_no"
    landing(opened, session)
    with pytest.raises(CallError, match="nothing was saved twice"):
        content.save(opened, visit, files, {})
