"""A crash at any step: the next plain load ends where an undisturbed one would have ended."""

import pytest

from ingest import filing, landing, ledger, outcomes, sessions
from ingest.load import replay
from ingest.refusals import refuse
from warehouse.errors import UnderfootError
from warehouse.store import Writer, writer
from warehouse.traces import read_trace


class Crash(BaseException):
    """Stands for a power cut: nothing in the product catches it."""


def crashing(real, nth=1, *, after=False):
    """The real function, but its nth call crashes before (or after) it has done its work."""
    calls = []

    def call(*args, **more):
        calls.append(1)
        if len(calls) == nth and not after:
            raise Crash
        found = real(*args, **more)
        if len(calls) == nth:
            raise Crash
        return found

    return call


STEPS = {
    "before filing": (filing, "keep", False),
    "after filing": (filing, "keep", True),
    "before the pending file": (ledger, "mark_pending", False),
    "after the pending file": (ledger, "mark_pending", True),
    "before the trace": (outcomes, "write_trace", False),
    "after the trace": (outcomes, "write_trace", True),
    "before the rows": (landing, "land_sessions", False),
    "after the rows, before the commit": (landing, "land_sessions", True),
    "after the commit": (ledger, "finish", False),
    "before the ledger line": (ledger.Ledger, "append", False),
    "after the ledger line": (ledger.Ledger, "append", True),
    "after everything but the inbox": (ledger, "finish", True),
    "before the originals leave": (filing, "take_away", False),
    "after the originals left": (filing, "take_away", True),
}


def fill(academy, made):
    made.deliver(academy.inbox / "v1", made.toml(), made.plate())
    made.deliver(
        academy.inbox / "v2",
        made.toml("v2", started_at="2026-05-06T10:00:00Z"),
        made.plate(rate_hz=200),
        notes__csv="at,author,kind,text,shared\n2026-05-06,c1,plan,On.,true\n",
    )


def state(academy):
    traces = {
        p.relative_to(academy.home.path).as_posix(): read_trace(p).columns["lead_n"].tolist()
        for p in academy.home.traces.rglob("*")
        if p.is_file()
    }
    lines = [(e["sequence"], e["content"], e["outcome"]) for e in ledger.entries(academy.home)]
    filed = sorted(p.name for p in academy.home.filed.iterdir() if not p.name.startswith("pending"))
    left = [p.name for p in academy.home.filed.glob("pending*")]
    return academy.tables(without=("academy.delivery",)), traces, lines, filed, left, academy.left_in_inbox()


@pytest.fixture(scope="module")
def undisturbed(made, tmp_path_factory):
    """Where a load of the same deliveries ends that nothing disturbs."""
    academy = made.make_academy(tmp_path_factory.mktemp("undisturbed") / "academy")
    academy.roster()
    academy.load()
    fill(academy, made)
    academy.load()
    return state(academy)


@pytest.mark.parametrize(("nth", "group"), [(1, 1), (2, 1), (1, 16), (2, 16)])
@pytest.mark.parametrize("step", STEPS)
def test_the_next_load_finishes_what_a_crash_left(step, nth, group, academy, made, undisturbed, monkeypatch):
    fill(academy, made)
    place, name, after = STEPS[step]
    if name == "land_sessions" and group > 1:
        nth = 1  # both sessions land in one call
    monkeypatch.setattr(sessions, "GROUP", group)
    with monkeypatch.context() as patched:
        patched.setattr(place, name, crashing(getattr(place, name), nth, after=after))
        with pytest.raises(Crash):
            academy.load()
    report = academy.load()
    assert report.refused == []
    assert state(academy) == undisturbed


@pytest.mark.parametrize("step", STEPS)
def test_a_crash_in_a_correction_leaves_one_version_whole(step, academy, made, monkeypatch):
    made.deliver(academy.inbox / "v1", made.toml(swings=3), made.plate(3))
    academy.load()
    made.deliver(academy.inbox / "v1", made.toml(swings=2), made.plate(2, rate_hz=200))
    place, name, after = STEPS[step]
    with monkeypatch.context() as patched:
        patched.setattr(place, name, crashing(getattr(place, name), after=after))
        with pytest.raises(Crash):
            academy.load()
    swings = academy.sql("SELECT swing_no FROM academy.swing ORDER BY 1").to_series().to_list()
    assert swings in ([1, 2, 3], [1, 2])
    academy.load()
    assert academy.sql("SELECT swing_no FROM academy.swing ORDER BY 1").to_series().to_list() == [1, 2]
    assert academy.trace("v1").rate_hz.tolist() == [200.0, 200.0]
    assert [p.name for p in academy.home.traces.rglob("*.parquet*")] == ["v1.parquet"]
    assert academy.left_in_inbox() == []


def test_a_crash_while_refusing_refuses_once(academy, made, monkeypatch):
    for place, name in (
        (filing, "keep_refused"),
        (landing, "land_refusals"),
        (ledger.Ledger, "append"),
        (filing, "take_away"),
    ):
        made.deliver(academy.inbox / "v1", made.toml(student=f"s9-{name}"), made.plate())
        with monkeypatch.context() as patched:
            patched.setattr(place, name, crashing(getattr(place, name)))
            with pytest.raises(Crash):
                academy.load()
        assert len(academy.load().refused) == 1
    assert academy.left_in_inbox() == []
    assert len(academy.waiting()) == 4
    assert academy.sql("SELECT count(*), count(DISTINCT delivery) FROM academy.refusal").rows() == [(4, 4)]


def test_a_hand_corrected_just_before_a_crash_still_turns_the_sessions(academy, made, monkeypatch):
    sided = made.plate().rename(lambda c: c.replace("lead_", "left_").replace("trail_", "right_"))
    made.deliver(academy.inbox / "v1", made.toml(), sided)
    academy.load()
    people = made.roster["people.csv"].replace("1988-02-03,right", "1988-02-03,left")
    (academy.inbox / "people.csv").write_text(people)
    with monkeypatch.context() as patched:
        again = outcomes.AcceptedDeliveries.read_again
        patched.setattr(outcomes.AcceptedDeliveries, "read_again", crashing(again))
        with pytest.raises(Crash):
            academy.load()
    academy.load()
    assert academy.trace("v1").columns["lead_n"][0] == pytest.approx(sided["right_n"][0])
    assert academy.left_in_inbox() == []


def test_a_torn_ledger_line_is_written_again(academy, made, monkeypatch):
    made.deliver(academy.inbox / "v1", made.toml(), made.plate())
    with monkeypatch.context() as patched:
        patched.setattr(ledger.Ledger, "append", crashing(ledger.Ledger.append))
        with pytest.raises(Crash):
            academy.load()
    with academy.home.ledger.open("a") as file:
        file.write('{"sequence": 6, "conte')
    academy.load()
    assert [e["sequence"] for e in ledger.entries(academy.home)] == [1, 2, 3, 4, 5, 6]


def test_replaying_the_ledger_gives_the_same_rows_and_traces(academy, made, tmp_path):
    fill(academy, made)
    made.deliver(academy.inbox / "bad", made.toml("bad", student="s99"), made.plate())
    made.deliver(academy.inbox / "half", made.toml("half", swings=3), made.plate(2))
    academy.load()
    made.deliver(academy.inbox / "v1", made.toml(swings=3), made.plate(3))
    (academy.inbox / "shots.csv").write_text("session,swing_no,carry_m,side_m\nv2,1,150,2\nv2,9,1,1\n")
    (academy.inbox / "people.csv").write_text(made.roster["people.csv"].replace("club", "low"))
    (academy.inbox / "seasons.csv").write_text(
        "season,from,to\n2026,2026-04-01,2026-05-05\nlate,2026-05-06,2026-12-31\n"
    )
    (academy.inbox / "academy.toml").write_text(made.settings + '\n[club_families]\n"7-iron" = "hybrid"\n')
    made.deliver(academy.inbox / "v3", made.toml("v3", started_at="2026-06-06T10:00:00Z"), made.plate())
    academy.load()

    twin = academy.twin(tmp_path / "twin")
    with writer(twin) as w:
        report = replay(twin, w)
        rebuilt = academy._rows(w, (), times=True)
    assert rebuilt == academy.tables(times=True)
    assert report.accepted == ["half", "v1", "v2", "v1", "v3"]

    def traces(home):
        return {p.relative_to(home.traces).as_posix(): p.read_bytes() for p in home.traces.rglob("*.parquet")}

    assert traces(twin) == traces(academy.home)


def test_a_replay_says_which_session_todays_rules_leave_out(academy, made, tmp_path, monkeypatch):
    fill(academy, made)
    academy.load()
    real = sessions.read_session

    def stricter(contents, delivery, *rest):
        if delivery.session == "v2":
            raise refuse("hold", "it is not accepted any more", "correct it")
        return real(contents, delivery, *rest)

    monkeypatch.setattr(sessions, "read_session", stricter)
    twin = academy.twin(tmp_path / "twin")
    with writer(twin) as w:
        report = replay(twin, w)
    assert [said.split(":")[0] for said in report.notices if "left out" in said] == [
        "Session v2 was accepted once and is left out now"
    ]


def test_a_writer_that_fails_leaves_the_tables_as_they_were(academy, made, monkeypatch):
    made.deliver(academy.inbox / "v1", made.toml(), made.plate())
    before = academy.tables()
    real = Writer.append

    def full(self, table, frame):
        if table == "academy.swing_event":
            raise OSError(28, "No space left on device")
        real(self, table, frame)

    with monkeypatch.context() as patched:
        patched.setattr(Writer, "append", full)
        with pytest.raises(UnderfootError, match="No space"):
            academy.load()
    assert academy.tables() == before
    assert academy.load().accepted == ["v1"]
