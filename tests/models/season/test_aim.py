"""What to work on first: the order of reasons, never a metric inside its target, and what a student may know."""

import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from models.season.aim import Named, Season, aim_rows, choose, next_aim
from warehouse.vocabulary import SELDOM

FAULTS = ("heels", "sink", "push", "late", "drift")  # in swing order
DEEP = ("deep", "sink", "late")
PUSH = ("push_and_drift", "push", "drift")


def season(links=(), better=(), **rates):
    return Season({fault: rates.get(fault, 0.0) for fault in FAULTS}, better, tuple(links))


def chosen(*more, **known):
    row = choose(season(**known), *more)
    return row["aim"], row["reason"]


def test_an_aim_that_the_coach_named_and_that_is_not_met_comes_first():
    known = {"links": [DEEP], "sink": 0.6, "late": 0.7}
    assert chosen(Named("drift", "d1", met=False), **known) == ("drift", "named")
    assert chosen(Named("drift", "d1", met=None), **known) == ("drift", "named")
    assert chosen(Named("drift", "d1", met=True), **known) == ("sink", "earliest_cause")


def test_what_was_agreed_on_is_a_change_and_comes_first_until_it_shows():
    assert chosen(Named("heel_pct", None, met=False, agreed=True), links=[DEEP], sink=0.6, late=0.7) == (
        "heel_pct",
        "agreed",
    )


def test_a_named_aim_that_follows_from_something_says_from_what():
    row = choose(season([DEEP], sink=0.6, late=0.7), Named("late", "d1", met=False))
    assert (row["aim"], row["cause"], row["chain"]) == ("late", "sink", "deep")
    by_metric = choose(season([DEEP], sink=0.6, late=0.7), Named("crossing_s", "d1", met=False), ["late"])
    assert (by_metric["aim"], by_metric["cause"]) == ("crossing_s", "sink")
    own = choose(season([DEEP], sink=0.6, late=0.7), Named("sink_pct", "d1", met=False), ["sink"])
    assert own["cause"] is None


def test_the_earliest_fault_from_which_another_follows_comes_before_what_happens_most():
    row = choose(season([DEEP, PUSH], sink=0.3, push=0.4, late=0.5, drift=0.9), None)
    assert (row["aim"], row["reason"], row["chain"], row["follows"]) == (
        "sink",
        "earliest_cause",
        "deep",
        ["late"],
    )
    through = [("long", "heels", "sink"), ("long", "sink", "late")]
    row = choose(season(through, heels=0.25, sink=0.5, late=0.9), None)
    assert (row["aim"], row["follows"]) == ("heels", ["sink", "late"])


@pytest.mark.parametrize(
    ("rates", "aim"),
    [
        ({"sink": 0.1, "late": 0.6}, "late"),  # the cause has gone
        ({"sink": 0.6, "late": 0.1, "drift": 0.7}, "drift"),  # what follows has gone
        ({"sink": 0.4, "drift": 0.4}, "sink"),  # alike: the earlier in the swing
    ],
)
def test_a_link_counts_only_while_both_its_faults_show(rates, aim):
    assert chosen(None, links=[DEEP], **rates) == (aim, "most_often")


def test_what_was_won_is_kept_when_nothing_else_is_open():
    assert chosen(Named("late", "d1", met=True), late=0.1) == ("late", "keep")
    assert chosen(None, better=("push",), push=0.05) == ("push", "keep")
    assert chosen(None, push=0.05) == (None, "nothing")


def second(known, named=None, kin=()):
    return next_aim(known, choose(known, named, kin), kin)


def test_what_comes_second_follows_the_same_rule_and_is_not_the_first_in_other_words():
    known = season([PUSH], sink=0.9, push=0.4, drift=0.5, heels=0.3)
    assert second(known) == "sink"  # push comes first, and drift follows from it
    assert second(known, Named("heels", "d1", met=False)) == "push"
    assert second(known, Named("sink_pct", "d1", met=False), ["sink"]) == "push"
    assert second(season(sink=0.9, heels=0.3), Named("sink_pct", "d1", met=False), ["sink"]) == "heels"
    assert second(season(sink=0.3, drift=0.5, late=0.4)) == "late"
    assert second(season([DEEP], sink=0.6, late=0.7), Named("late", "d1", met=False)) == "sink"


def test_nothing_comes_second_where_nothing_else_shows_or_there_is_nothing_to_work_on():
    assert second(season(sink=0.9, late=0.1)) is None
    assert second(season(better=("push",), sink=0.1)) is None
    assert second(season(sink=0.1), Named("late", "d1", met=True)) is None
    assert second(season()) is None


@given(
    st.dictionaries(st.sampled_from(FAULTS), st.floats(0, 1)),
    st.sets(st.sampled_from([DEEP, PUSH, ("long", "heels", "sink"), ("long", "sink", "push")])),
    st.sampled_from([None, *FAULTS]),
)
def test_no_fault_under_its_target_is_an_aim_and_no_aim_follows_from_a_fault_that_shows(rates, links, named):
    known = season(sorted(links), **rates)
    told = Named(named, "d1", known.rates[named] < SELDOM) if named else None
    row = choose(known, told)
    more = next_aim(known, row)
    if more is not None:
        assert row["reason"] in ("named", "earliest_cause", "most_often")
        assert known.rates[more] >= SELDOM
        assert more not in (row["aim"], *row["follows"])
    if row["reason"] in ("named", "earliest_cause", "most_often"):
        assert known.rates[row["aim"]] >= SELDOM
    if row["reason"] == "earliest_cause":
        assert row["follows"]
        assert not any(later == row["aim"] for _, _, later in known.open_links)
    if row["reason"] in ("keep", "nothing"):
        assert max(known.rates.values()) < SELDOM


METRIC = "recentre_pts"


@pytest.fixture
def measured(bench):
    """Three sessions of a metric with a band from 5 on, a fault in half of the swings, and a drill for the metric."""

    def put(values, *, shared=True, code="d1", kind="drill"):
        bench.reference({METRIC: False}, {"late": [METRIC], "push": ["m"]})
        bench.writer.append(
            "academy.band",
            pl.DataFrame({"metric": [METRIC], "club_family": ["iron"], "lo": [5.0], "hi": [None], "version": ["v"]},
                         schema_overrides={"hi": pl.Float64}),
        )  # fmt: skip
        bench.writer.execute("INSERT INTO academy.season VALUES ('spring', '2026-03-01', '2026-06-30')")
        bench.writer.execute(f"INSERT INTO academy.drill (drill, name, aim) VALUES ('d1', 'One', '{METRIC}')")
        bench.writer.execute(
            'INSERT INTO academy.note (note, student, "at", day, author, kind, code, shared, delivery, loose) VALUES '
            f"('n1', 's1', '2026-04-10', '2026-04-10', 'c1', '{kind}', '{code}', {shared}, 'x', true)"
        )
        if kind == "drill":
            bench.writer.execute(
                'INSERT INTO academy.drill_dose (note, student, drill, "at", day, kind) '
                "VALUES ('n1', 's1', 'd1', '2026-04-10', '2026-04-10', 'drill')"
            )
        for number, value in enumerate(values):
            at = f"2026-04-{1 + number:02} 09:00"
            bench.writer.execute(
                "INSERT INTO season.session_metric (session, student, season, started_at, day, club_family, part, pace, "
                f"heel_source, metric, mean, n) VALUES ('a{number}', 's1', 'spring', '{at}', '{at[:10]}', 'iron', "
                f"'baseline', 'full', 'none', '{METRIC}', {value}, 8)"
            )
        bench.writer.execute(
            "INSERT INTO season.student_fault_rate (season, student, fault, club_family, span, flagged, usable, rate, "
            "label, n_sessions) VALUES ('spring', 's1', 'push', 'iron', 'now', 12, 24, 0.5, 'not_clear', 3)"
        )
        rows = aim_rows(bench.writer)
        return {(r["season"], r["shared"]): r for r in rows.iter_rows(named=True)}

    return put


@pytest.mark.parametrize(
    ("values", "aim", "met"),
    [
        ((1, 2, 2), METRIC, False),
        ((6, 6, 6), "push", True),
        ((1, 2, 6), "push", True),  # the last session, which the sheet's line ends with
        ((9, 9, 3), "push", True),  # one session under the band after two well inside
    ],
)
def test_a_metric_is_no_aim_where_the_last_session_or_the_recent_ones_lie_inside_its_band(
    measured, values, aim, met
):
    row = measured(values)["spring", False]
    assert (row["aim"], row["named"], row["named_met"]) == (aim, METRIC, met)


def test_an_aim_from_a_note_that_is_not_shared_is_not_the_students(measured):
    rows = measured((1, 2, 2), shared=False)
    assert [rows["spring", shared]["aim"] for shared in (False, True)] == [METRIC, "push"]
    assert rows["spring", True]["named"] is None
    assert [rows[None, shared]["aim"] for shared in (False, True)] == [METRIC, None]


def test_a_plan_with_a_code_names_an_aim_too(measured):
    row = measured((1, 2, 2), kind="plan", code="late")["spring", False]
    assert (row["aim"], row["reason"], row["drill"]) == ("late", "named", None)


@pytest.mark.parametrize(
    ("label", "due", "shared", "aims"),
    [
        ("not_yet", "2026-06-01", True, ["late_pct", "late_pct"]),
        ("too_soon", "2026-06-01", False, ["late_pct", METRIC]),  # agreed, but its note is not shared
        ("reached", "2026-06-01", True, [METRIC, METRIC]),
        ("not_reached", "2026-04-02", True, [METRIC, METRIC]),
        ("too_soon", "2026-04-02", True, [METRIC, METRIC]),  # past its day
    ],
)
def test_an_agreed_aim_comes_before_a_drill_set_later_until_it_shows_or_is_past_its_day(
    measured, bench, label, due, shared, aims
):
    measured((1, 2, 2))
    bench.session("a9", "s1", day=2)  # 3 April
    bench.writer.execute(
        'INSERT INTO academy.note (note, student, "at", day, author, kind, code, shared, delivery, loose) VALUES '
        f"('n0', 's1', '2026-03-20', '2026-03-20', 'c1', 'agreed_aim', 'late_pct', {shared}, 'x', true)"
    )
    bench.writer.execute(
        "INSERT INTO season.agreed_aim (note, student, season, metrics, agreed, due, shared, weights, worthwhile, "
        "changes, ses, n_before, n_since, label) "
        f"VALUES ('n0', 's1', 'spring', ['late_pct'], '2026-03-20', '{due}', {shared}, [], [], [], [], 4, 1, '{label}')"
    )
    rows = {(r["season"], r["shared"]): r for r in aim_rows(bench.writer).iter_rows(named=True)}
    assert [rows["spring", known]["aim"] for known in (False, True)] == aims
    assert rows["spring", False]["reason"] == ("agreed" if aims[0] == "late_pct" else "named")
