"""A plate file format nobody has seen: its class and its registration are all that a load needs."""

import polars as pl
import pytest

from ingest import reading_process
from ingest.formats.explanation import Explanation
from ingest.formats.format import FORMATS, SampleFormat, explain
from ingest.plate_rows import SampleFile
from ingest.refusals import refuse

NAMES = ("t_s", "lead_n", "trail_n", "lead_along_pct", "trail_along_pct")


class Steps(SampleFormat):
    """Lines of five numbers with bars between them, one swing a file: plate.steps."""

    title = "Steps, one swing"
    names = ("plate*.steps",)
    endings = (".steps",)
    orphans = names

    def read(self, name, swing_no, context):
        rows = [line.split("|") for line in context.held[name].decode().splitlines()]
        if any(len(row) != len(NAMES) for row in rows):
            raise refuse("unreadable", "a line has not five numbers", "export it again", file=name)
        samples = pl.DataFrame(rows, schema=NAMES, orient="row").cast(pl.Float64)
        return SampleFile.of(name, samples.with_columns(swing_no=pl.lit(swing_no)))

    def explain(self, path, knowing):
        return Explanation(path.name, self.title, {"rows": str(len(path.read_text().splitlines()))})


@pytest.fixture
def steps(monkeypatch):
    """The format, registered for one test in this process, which therefore reads it itself."""
    monkeypatch.setattr(reading_process, "PLAIN_TEXT", (*reading_process.PLAIN_TEXT, ".steps"))
    FORMATS.insert(0, Steps())
    yield
    del FORMATS[0]


def written(frame):
    return "\n".join("|".join(str(value) for value in row) for row in frame.select(NAMES).iter_rows())


def test_a_registered_format_loads_like_a_plate_file(academy, made, steps):
    frame = made.plate(2)
    made.deliver(academy.inbox / "table", made.toml("table", swings=2), frame)
    sheet = made.toml("steps", swings=2).replace("no = 1\n", 'no = 1\nfile = "first.steps"\n')
    folder = made.deliver(
        academy.inbox / "steps", sheet.replace("no = 2\n", 'no = 2\nfile = "plate2.steps"\n')
    )
    for no, name in ((1, "first.steps"), (2, "plate2.steps")):
        (folder / name).write_text(written(frame.filter(pl.col("swing_no") == no)))
    report = academy.load()
    assert report.refused == []
    assert report.notices == []
    assert sorted(report.accepted) == ["steps", "table"]
    ours, theirs = academy.trace("steps"), academy.trace("table")
    assert all((ours.columns[name] == theirs.columns[name]).all() for name in theirs.columns)
    swings = "SELECT * EXCLUDE (session) FROM academy.swing WHERE session = ? ORDER BY swing_no"
    assert academy.sql(swings, ["steps"]).equals(academy.sql(swings, ["table"]))


def test_its_refusals_its_orphans_and_its_explanation_are_its_own(academy, made, steps):
    made.deliver(academy.inbox / "v1", made.toml(swings=1), plate__steps="1|2|3")
    assert [r.sentence for r in academy.load().refused] == [
        "Session v1, plate.steps: a line has not five numbers; export it again."
    ]
    (academy.inbox / "alone").mkdir()
    orphan = academy.inbox / "alone" / "plate.steps"
    orphan.write_text(written(made.plate(1)))
    assert explain(orphan).facts == {"rows": "201"}
    assert academy.load().refused[0].reason == "no_session_toml"


def test_without_its_registration_the_file_is_only_noticed(academy, made):
    made.deliver(academy.inbox / "v1", made.toml(), made.plate(), plate__steps="1|2|3|4|5")
    assert "plate.steps in the session's folder was not read" in academy.load().notices[0]
