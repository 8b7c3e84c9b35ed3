"""device.toml as it is delivered: who may bring one, what becomes of academy.toml, and what a rebuild reads."""

import pytest

from ingest import filing, ledger
from ingest.load import replay
from warehouse.deliverer import MARK, Deliverer, mark_text
from warehouse.store import writer

NOON = "2026-05-12T12:00:00+00:00"
POUND_FORCE_N, FOOT_IN = 4.4482216152605, 250 / 25.4
PLATES = """\
[device.plates]
kind = "force_plates"
[device.plates.columns]
swing_no = { column = "Rep" }
t_s      = { column = "Clock", unit = "ms" }
left_n   = { column = "L Force", unit = "lbf" }
right_n  = { column = "R Force", unit = "lbf" }
left_along_pct  = { column = "L Pos", unit = "in" }
right_along_pct = { column = "R Pos", unit = "in" }
"""


def export_of(frame) -> str:
    """What such plates write of a right-handed player, whose lead foot is the left."""
    return frame.select(
        frame["swing_no"].alias("Rep"), (frame["t_s"] * 1000).alias("Clock"),
        (frame["lead_n"] / POUND_FORCE_N).alias("L Force"), (frame["trail_n"] / POUND_FORCE_N).alias("R Force"),
        (frame["lead_along_pct"] / 100 * FOOT_IN).alias("L Pos"),
        (frame["trail_along_pct"] / 100 * FOOT_IN).alias("R Pos"),
    ).write_csv()  # fmt: skip


@pytest.fixture
def bring(academy):
    """Deliver files as somebody, and load them: bring(by, {path: text}) → the report."""

    def go(by, files, name="dropped-1"):
        folder = academy.inbox / name
        for path, text in files.items():
            (folder / path).parent.mkdir(parents=True, exist_ok=True)
            (folder / path).write_text(text, encoding="utf-8")
        if by is not None:
            (folder / MARK).write_text(mark_text(Deliverer(by, NOON)))
        return academy.load()

    return go


def visit(made, session="v1", device="plates", **more):
    return {
        f"{session}/session.toml": made.toml(session, device=device, **more),
        f"{session}/plate.csv": export_of(made.plate()),
    }


def settings(academy) -> bytes:
    return academy.home.settings_file.read_bytes()


@pytest.mark.parametrize("by", ["c1", "h1", None])
def test_a_session_loads_by_the_recipe_that_came_with_it_and_everything_else_stays(academy, bring, made, by):
    before = settings(academy)
    report = bring(by, {**visit(made), "device.toml": PLATES})
    assert (report.accepted, report.refused) == (["v1"], [])
    assert academy.trace("v1").columns["lead_n"] == pytest.approx(made.plate()["lead_n"].to_numpy(), abs=0.01)
    assert settings(academy).startswith(before.rstrip())
    assert settings(academy).count(b"[device.plates]") == 1
    assert bring(by, visit(made, "v2", started_at="2026-05-06T10:00:00+01:00")).accepted == ["v2"]


def test_without_its_recipe_the_same_session_is_refused(academy, bring, made):
    report = bring("c1", visit(made))
    assert report.accepted == []
    assert report.refused


@pytest.mark.parametrize("by", ["s1", "g2", "nobody"])
def test_only_staff_bring_a_recipe(academy, bring, by):
    before = settings(academy)
    assert [found.reason for found in bring(by, {"device.toml": PLATES}).refused] == ["not_yours"]
    assert settings(academy) == before


@pytest.mark.parametrize(
    "text",
    [
        PLATES.replace('unit = "lbf"', 'unit = "N"'),
        PLATES.replace("force_plates", "insoles"),
        PLATES.replace("plates", "mat"),  # named in the settings as another kind
        PLATES + '[sign_in.people]\n"me@example.org" = "h1"\n',
        PLATES + "[retention]\nsessions_days = 1\n",
    ],
)
def test_a_recipe_that_is_there_and_other_settings_are_never_written_over(academy, bring, text):
    assert bring("c1", {"device.toml": PLATES}).refused == []
    before = settings(academy)
    [refused] = bring("c1", {"device.toml": text}).refused
    assert (refused.reason, refused.file) == ("settings", "device.toml")
    assert settings(academy) == before


def test_the_same_recipe_again_changes_nothing(academy, bring):
    bring("c1", {"device.toml": PLATES})
    before, lines = settings(academy), len(list(ledger.entries(academy.home)))
    assert bring("h1", {"device.toml": f"# of the bay\n{PLATES}"}).files == {"device.toml": "unchanged"}
    assert (settings(academy), len(list(ledger.entries(academy.home)))) == (before, lines)


def rebuilt(academy, path):
    """Every row of a rebuild, and the academy.toml that it leaves."""
    twin = academy.twin(path)
    with writer(twin) as w:
        assert replay(twin, w).notices == []
        return academy._rows(w, ("academy.device",), times=False), twin.settings_file.read_bytes()


def test_a_rebuild_reads_each_session_by_the_recipe_of_its_day(academy, bring, made, tmp_path):
    bring("c1", {**visit(made), "device.toml": PLATES})
    academy.home.settings_file.write_text(settings(academy).decode().replace('"L Force"', '"Left"'))
    later = {**visit(made, "v2", started_at="2026-05-06T10:00:00+01:00")}
    later["v2/plate.csv"] = later["v2/plate.csv"].replace("L Force", "Left")
    assert bring("c1", later).accepted == ["v2"]
    now = settings(academy)
    assert rebuilt(academy, tmp_path / "twin") == (academy.tables(without=("academy.device",)), now)


class Crash(BaseException):
    """Stands for a power cut: nothing in the product catches it."""


def crash(*_args, **_more):
    raise Crash


@pytest.mark.parametrize(
    ("place", "name"),
    [(filing, "keep"), (ledger, "mark_pending"), (ledger, "finish"), (ledger, "keep_settings"), (filing, "take_away")],
)  # fmt: skip
def test_a_recipe_outlives_a_crash_whole(academy, bring, made, monkeypatch, tmp_path, place, name):
    with monkeypatch.context() as patched:
        patched.setattr(place, name, crash)
        with pytest.raises(Crash):
            bring("c1", {**visit(made), "device.toml": PLATES})
    assert academy.load().refused == []
    assert settings(academy).count(b"[device.plates]") == 1
    assert academy.sql("SELECT session FROM academy.session").to_series().to_list() == ["v1"]
    assert academy.left_in_inbox() == []
    assert rebuilt(academy, tmp_path / "twin")[0] == academy.tables(without=("academy.device",))


def test_settings_that_a_crash_left_to_be_written_are_those_of_the_next_load(
    academy, bring, made, monkeypatch
):
    with monkeypatch.context() as patched:
        patched.setattr(ledger, "finish", crash)
        with pytest.raises(Crash):
            bring(None, {**visit(made), "academy.toml": settings(academy).decode() + PLATES})
    assert academy.load().accepted == ["v1"]


def test_a_recipe_written_by_hand_after_a_crash_counts(academy, bring, monkeypatch):
    with monkeypatch.context() as patched:
        patched.setattr(ledger, "finish", crash)
        with pytest.raises(Crash):
            bring("c1", {"device.toml": PLATES})
    academy.home.settings_file.write_text(settings(academy).decode() + PLATES.replace("lbf", "kgf"))
    before = settings(academy)
    assert [found.reason for found in academy.load().refused] == ["settings"]
    assert settings(academy) == before
