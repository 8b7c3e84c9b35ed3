"""One [[fault]] table in academy.toml adds a fault: notes, drills, tables and every page take it up by themselves."""

import polars as pl
import pytest
from streamlit.testing.v1.element_tree import UnknownElement

import builders
import made_swings as made
from command import underfoot_command
from warehouse.store import open_snapshot

CODE, NAME = "quick_down", "Rushes from the top"
INSTEAD = "you take your time from the top"
FEEL = "The club is heavy and falls by itself."
FAULT = f"""
[[fault]]
code = "{CODE}"
name = "{NAME}"
phase = "back"
looks_like = "The club is at the ball almost before it has reached the top."
metrics = ["downswing_s"]
when = "below"
limit = 0.36
clear = 0.2
club_families = ["wedge", "iron"]
in_words = "Downswing under {{limit}} s"
instead = "{INSTEAD}"
costs = "The arms outrun the feet."
feel = "{FEEL}"
on_film = "Count the frames from the top to the ball."
drill = "Say one at the top, two at the ball."
"""
DAYS = ("2026-05-05", "2026-05-12", "2026-05-19", "2026-05-26")


@pytest.fixture(scope="module")
def home(tmp_path_factory):
    """Four sessions of five swings whose downswing takes 0.26 s, a drill that aims at the fault, and notes."""
    base = tmp_path_factory.mktemp("own_fault")
    home = builders.make_home(
        base / "academy", builders.SETTINGS.replace('"\n', '"\ndemo = true\n', 1) + FAULT
    )
    drop = made.write_roster(base / "drop")
    (drop / "drills.csv").write_text(
        f"drill,name,aim,how,cautions,min_age\nd1,Slow from the top,{CODE},Wait at the top for a breath.,,\n"
    )
    for number, day in enumerate(DAYS, start=1):
        swings = pl.concat([made.swing_frame(no, seed=10 * number + no) for no in range(1, 6)])
        toml = made.session_toml(f"v{number}", swings=5, started_at=f"{day}T10:00:00+01:00")
        folder = made.write_session(drop / f"v{number}", toml, swings)
        (folder / "notes.csv").write_text(
            "session,student,at,author,kind,code,grade,value,unit,place,text,shared\n"
            f"v{number},,{day}T10:20:00+01:00,c1,saw,{CODE},2,,,,,true\n"
            f"v{number},,{day}T10:25:00+01:00,c1,drill,d1,,20,reps,lesson,,true\n"
        )
    for words in (("load", drop), ("build",)):
        ran = underfoot_command(*words, "--home", home.path)
        assert ran.returncode == 0, ran.stdout + ran.stderr
    return home


@pytest.fixture
def homes(home):
    return lambda _: home


def rows(home, query):
    snapshot = open_snapshot(home)
    try:
        return snapshot.sql(query).rows(named=True)
    finally:
        snapshot.close()


def test_the_tables_hold_it(home):
    about = rows(home, f"SELECT * FROM academy.fault WHERE fault = '{CODE}'")
    assert [(row["name"], row["rule"], row["limit"], row["instead"]) for row in about] == [
        (NAME, "below", [0.36], INSTEAD)
    ]
    order = [row["fault"] for row in rows(home, "SELECT fault FROM academy.fault ORDER BY position")]
    assert order.index("lead_heel_high") < order.index(CODE) < order.index("no_recentre")
    judged = rows(home, f"SELECT flagged, severity FROM academy.swing_fault WHERE fault = '{CODE}'")
    assert len(judged) == 20
    assert all(row["flagged"] for row in judged)
    assert all(row["severity"] == pytest.approx(0.5) for row in judged)  # (0.36 − 0.26) / 0.2
    noted = rows(home, f"SELECT kind FROM academy.note WHERE code = '{CODE}'")
    assert [row["kind"] for row in noted] == ["saw"] * 4
    assert rows(home, f"SELECT drill FROM academy.drill WHERE aim = '{CODE}'") == [{"drill": "d1"}]
    rates = rows(
        home,
        f"SELECT span, flagged, usable FROM season.student_fault_rate WHERE fault = '{CODE}' ORDER BY span",
    )
    assert {"span": "now", "flagged": 20, "usable": 20} in rates


@pytest.mark.parametrize(
    ("path", "words"),
    [
        ("students", NAME),
        ("student", NAME),
        ("student", FEEL),
        ("lesson", NAME),
        ("lesson", FEEL),
        ("progress", NAME),
        ("progress", FEEL),
        ("drills", NAME),
        ("notes", NAME),
    ],
)
def test_every_page_that_shows_faults_shows_it(visit, page_text, path, words):
    at = visit("own_fault", path, "c1", student="s1", on=CODE, fault=CODE)
    assert [e.message for e in at.exception] == []
    shown = page_text(at) + "".join(str(box.options) for box in (*at.selectbox, *at.radio))
    shown += "".join(
        str(part.proto) for part in at.main.children.values() if isinstance(part, UnknownElement)
    )
    assert words in shown
