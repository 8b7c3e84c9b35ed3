"""The week's list: its order, its cut, what each signal rests on, and how often chance fills it."""

from datetime import date, datetime, timedelta

import polars as pl
import pytest

from models.season.week import KINDS, week_rows
from models.sql import query

NOW = date(2026, 9, 10)  # a Thursday
MONDAY = date(2026, 9, 7)


class Ground:
    """Fills the tables that the list reads, on top of `Bench`."""

    def __init__(self, bench):
        self.bench, self.w = bench, bench.writer
        bench.reference(
            {"recentre_pts": False, "impact_lead_share_pct": False}, {"late_crossing": ["recentre_pts"]}
        )
        self.w.execute("INSERT INTO academy.season VALUES ('spring', DATE '2026-04-01', DATE '2026-10-01')")

    def student(self, code, *, last=0, coach="c1"):
        self.w.execute(
            "INSERT INTO academy.person (person, role, display_name, joined) VALUES (?, 'student', ?, DATE '2026-01-01')",
            [code, code],
        )
        self.w.execute("INSERT INTO academy.coaching VALUES (?, ?, DATE '2026-01-01', NULL)", [code, coach])
        if last is not None:
            self.bench.session(f"last-{code}", code, day=(NOW - date(2026, 4, 1)).days - last)

    def trend(
        self, student, metric="recentre_pts", *, label="improving", p=0.99, start=5.0, now=9.0, since=0
    ):
        self.w.append(
            "season.student_trend",
            pl.DataFrame(
                {"season": ["spring"], "student": [student], "metric": [metric], "club_family": ["iron"],
                 "n_sessions": [8], "start_value": [start], "value_now": [now], "label": [label],
                 "p_improved": [p if label == "improving" else 1 - p],
                 "p_slipped": [p if label == "slipping" else 0.0]}
            ),
        )  # fmt: skip
        self.w.append(
            "season.change_chance",
            pl.DataFrame(
                {"season": ["spring"], "student": [student], "metric": [metric], "club_family": ["iron"],
                 "day": [NOW - timedelta(days=since)], "p_improved": [p if label == "improving" else 0.0],
                 "p_slipped": [p if label == "slipping" else 0.0]}
            ),
        )  # fmt: skip

    def note(self, student, kind, code, *, day=0, session=None):
        at = datetime(NOW.year, NOW.month, NOW.day, 12) - timedelta(days=day)  # noqa: DTZ001
        self.w.append(
            "academy.note",
            pl.DataFrame(
                {"note": [f"{student}{kind}{code}{day}"], "session": [session], "student": [student], "at": [at],
                 "day": [at.date()], "author": ["c1"], "kind": [kind], "code": [code], "grade": [1],
                 "shared": [False], "delivery": ["d"], "loose": [True]},
                schema_overrides={"session": pl.String},
            ),
        )  # fmt: skip

    def rates(self, student, before, now, p=0.99):
        self.w.append(
            "season.new_fault_chance",
            pl.DataFrame(
                {"season": ["spring"], "student": [student], "fault": ["late_crossing"],
                 "club_family": ["iron"], "day": [NOW], "p": [p]}
            ),
        )  # fmt: skip
        for span, (flagged, usable) in (("before", before), ("now", now)):
            self.w.append(
                "season.student_fault_rate",
                pl.DataFrame(
                    {"season": ["spring"], "student": [student], "fault": ["late_crossing"],
                     "club_family": ["iron"], "span": [span], "flagged": [flagged], "usable": [usable],
                     "rate": [flagged / usable], "p_lower": [0.01], "label": ["worse"], "n_sessions": [3]}
                ),
            )  # fmt: skip

    def weeks(self):
        """Every row of season.signal, the newest week's first."""
        return week_rows(self.w).signal.to_dicts()

    def signals(self):
        return [row for row in self.weeks() if row["week"] == MONDAY]

    def earlier(self, weeks_ago):
        """Student and kind of what was listed in an earlier week."""
        monday = MONDAY - timedelta(weeks=weeks_ago)
        return {(row["student"], row["kind"]) for row in self.weeks() if row["week"] == monday}

    def evidence(self, *names):
        """Rows of evidence in order, as tuples of role, subject and the columns named."""
        return week_rows(self.w).evidence.select("role", "subject", *names).rows()


@pytest.fixture
def ground(bench):
    return Ground(bench)


def test_discomfort_comes_first_whatever_else_there_is_and_ends_when_it_is_over(ground):
    for code in ("s1", "s2", "s3"):
        ground.student(code)
    ground.trend("s1", label="slipping", p=0.999)
    ground.note("s2", "discomfort", "left knee", day=30)
    ground.note("s3", "discomfort", "back", day=9)
    ground.note("s3", "discomfort_over", "back", day=2)
    found = ground.signals()
    assert [row["signal"] for row in found] == ["discomfort:s2:left knee", "slipping:s1:recentre_pts"]
    assert [row["rank"] for row in found] == [1, 2]
    assert ground.evidence("day")[0] == ("main", "left knee", date(2026, 8, 11))
    assert (found[0]["week"], found[0]["as_of"], found[0]["coach"]) == (date(2026, 9, 7), NOW, "c1")
    ground.note("s3", "discomfort", "back", day=1)
    assert {row["student"] for row in ground.signals()[:2]} == {"s2", "s3"}
    ground.note("s2", "discomfort_over", "Left_knee", day=0)  # as a form writes the same place
    assert [row["student"] for row in ground.signals() if row["kind"] == "discomfort"] == ["s3"]


def test_a_student_has_one_entry_with_kindred_metrics_and_the_other_way_beside_it(ground):
    ground.student("s1")
    ground.trend("s1", label="improving", p=0.999)
    ground.trend("s1", "impact_lead_share_pct", label="slipping", p=0.97, start=80.04, now=71.0)
    (row,) = ground.signals()
    assert (row["kind"], row["subject"], row["kindred"], row["p"]) == (
        "slipping",
        "impact_lead_share_pct",
        [],
        0.97,
    )
    assert ground.evidence("club_family", "start_value", "value_now", "p") == [
        ("main", "impact_lead_share_pct", "iron", 80.04, 71.0, 0.97),
        ("against", "recentre_pts", "iron", 5.0, 9.0, 0.999),
    ]
    (week,) = week_rows(ground.w).week.to_dicts()
    assert (week["judged"], week["listed"]) == (2, 2)
    assert week["expected_by_chance"] == pytest.approx(0.031)
    assert (week["entered"], week["entered_now"]) == (2, 2)
    assert week["entered_by_chance"] == pytest.approx(0.031)


def test_what_was_listed_before_stays_and_only_what_came_this_week_is_new(ground):
    for student, since in (("s1", 20), ("s2", 0)):
        ground.student(student)
        ground.trend(student, since=since)
    assert {row["student"]: row["since"] for row in ground.signals()} == {
        "s1": date(2026, 8, 17), "s2": date(2026, 9, 7),
    }  # fmt: skip
    (week,) = week_rows(ground.w).week.to_dicts()
    assert (week["listed"], week["entered"], week["entered_now"]) == (2, 2, 1)


def test_changes_beyond_the_seasons_budget_are_not_listed(ground):
    # 1 − P of 0.04 and 0.15: over 5 % of two rows and the credit of 0.15 together. A new fault counts with them.
    ground.student("s1")
    ground.student("s2")
    ground.trend("s1", p=0.96)
    ground.trend("s2", p=0.78)
    assert [row["student"] for row in ground.signals()] == ["s1"]  # 0.78 is under what is listed at all
    ground.rates("s2", (2, 40), (9, 20), p=0.83)
    assert [row["kind"] for row in ground.signals()] == ["improving", "new_fault"]
    ground.student("s3")
    ground.trend("s3", p=0.90)
    assert [(row["kind"], row["student"]) for row in ground.signals()] == [
        ("improving", "s1"), ("improving", "s3"),
    ]  # fmt: skip


def test_changes_the_students_page_does_not_call_are_not_listed(ground):
    ground.student("s1")
    ground.trend("s1", label="not_clear", p=0.99)
    assert ground.signals() == []


def test_a_student_not_measured_lately_is_said_once_and_claims_nothing_else(ground):
    ground.student("s1")
    ground.student("s2", last=40)
    ground.student("s3", last=21)
    ground.student("s4", last=None)
    ground.trend("s2")
    assert [r["signal"] for r in ground.signals()] == ["unmeasured:s2:sessions", "unmeasured:s4:sessions"]
    assert ground.evidence("days", "day") == [
        ("main", "sessions", 40, date(2026, 8, 1)),
        ("main", "sessions", None, None),
    ]


def test_a_fault_is_new_when_it_was_seldom_before(ground):
    ground.student("s1")
    ground.student("s2")
    ground.rates("s1", (2, 40), (9, 20))
    ground.rates("s2", (12, 40), (16, 20))
    (row,) = ground.signals()
    assert row["signal"] == "new_fault:s1:late_crossing"
    assert row["p"] == pytest.approx(0.99)
    assert ground.evidence("flagged", "usable", "flagged_before", "usable_before") == [
        ("main", "late_crossing", 9, 20, 2, 40)
    ]


def test_holding_outside_the_band_for_six_sessions(ground):
    ground.w.execute("UPDATE academy.metric SET better = 'band'")
    ground.w.execute(
        "INSERT INTO academy.band (metric, club_family, lo, hi, version) VALUES ('impact_lead_share_pct', 'iron', 75, 90, 'v')"
    )
    for student, off in (("s1", 0.0), ("s2", 20.0)):
        ground.student(student)
        ground.trend(student, "impact_lead_share_pct", label="holding", p=0.1, start=70, now=70)
        for k in range(6):
            value = 70.0 + (off if k == 3 else 0.0)
            ground.bench.session(f"{student}-{k}", student, day=10 * k)
            ground.bench.swings(f"{student}-{k}", {"impact_lead_share_pct": [value] * 5})
    ground.bench.touch("s1", "s2")
    ground.w.execute("INSERT INTO season.session_metric BY NAME " + query("season.session_metric"))
    (row,) = ground.signals()
    assert row["signal"] == "outside_band:s1:impact_lead_share_pct"
    assert ground.evidence("club_family", "sessions", "value_now", "side") == [
        ("main", "impact_lead_share_pct", "iron", 6, 70.0, "under")
    ]


def test_a_fault_seen_twice_and_not_measured_is_to_be_looked_at_together(ground):
    ground.student("s1")
    for k in (1, 2, 3):
        ground.bench.session(f"v{k}", "s1", day=(NOW - date(2026, 4, 1)).days - k)
        ground.bench.swings(f"v{k}", {}, faults={"late_crossing": [False] * 10})
        ground.note("s1", "saw", "late_crossing", day=k, session=f"v{k}")
    ground.bench.touch("s1")
    ground.w.execute("INSERT INTO season.session_fault BY NAME " + query("season.session_fault"))
    (row,) = ground.signals()
    assert row["signal"] == "eye_and_plate:s1:late_crossing"
    assert ground.evidence("seen", "sessions", "flagged", "usable") == [
        ("main", "late_crossing", 3, 3, 0, 30)
    ]


def test_a_refused_delivery_stays_until_its_session_loads(ground):
    ground.student("s1")
    ground.w.execute(
        'INSERT INTO academy.refusal (session, reason, sentence, "at", name, student, coach) '
        "VALUES ('late', 'empty_file', 'It is empty.', TIMESTAMP '2026-09-09 10:00', 'late', 's1', 'c1'), "
        "(NULL, 'empty_file', 'Old.', TIMESTAMP '2026-09-01 10:00', 'old', NULL, NULL)"
    )
    (row,) = ground.signals()
    assert (row["signal"], row["coach"]) == ("refused:s1:late", "c1")
    at = datetime(2026, 9, 9, 10)  # noqa: DTZ001 - UTC without a zone, as in the warehouse
    assert ground.evidence("session", "refused_at", "refusals") == [("main", "late", "late", at, 1)]
    ground.bench.session("late", "s1", day=10)
    assert ground.signals() == []


def test_before_the_first_session_there_is_no_list(bench):
    rows = week_rows(bench.writer)
    assert rows.signal.is_empty()
    assert rows.evidence.is_empty()
    assert rows.week.is_empty()


def test_a_quiet_week_has_a_count_and_no_entries(ground):
    ground.student("s1")
    rows = week_rows(ground.w)
    assert rows.signal.is_empty()
    assert rows.evidence.is_empty()
    assert rows.week.select("judged", "listed", "expected_by_chance").row(0) == (0, 0, 0.0)
    assert len(KINDS) == 14


def test_discomfort_noted_two_weeks_ago_is_in_its_third_week_and_one_of_today_in_its_first(ground):
    for student, day in (("s1", 16), ("s2", 0)):
        ground.student(student)
        ground.bench.session(f"first-{student}", student, day=1)
        ground.note(student, "discomfort", "left knee", day=day)
    assert {row["student"]: row["weeks"] for row in ground.signals()} == {"s1": 3, "s2": 1}
    assert [("s1", "discomfort") in ground.earlier(weeks) for weeks in (1, 2, 3)] == [True, True, False]


def test_what_was_over_by_last_week_was_on_no_list_since_and_what_ended_this_week_was_on_the_last(ground):
    for student, day in (("s1", 8), ("s2", 1)):
        ground.student(student)
        ground.bench.session(f"first-{student}", student, day=(NOW - date(2026, 4, 1)).days - 20)
        ground.note(student, "discomfort", "back", day=20)
        ground.note(student, "discomfort_over", "back", day=day)
    assert ground.signals() == []
    assert ground.earlier(1) == {("s2", "discomfort")}
    assert ground.earlier(2) == {("s1", "discomfort"), ("s2", "discomfort")}


def test_a_change_counts_its_weeks_since_it_was_first_listed_while_the_student_is_measured(ground):
    ground.student("s1")
    ground.bench.session("before", "s1", day=(NOW - date(2026, 4, 1)).days - 15)
    ground.trend("s1", label="slipping", since=15)
    (row,) = ground.signals()
    assert (row["since"], row["weeks"]) == (date(2026, 8, 24), 3)
    assert ground.earlier(2) == {("s1", "slipping")}
    assert ground.earlier(3) == set()


def test_a_change_whose_chance_fell_was_on_last_weeks_list_and_one_that_was_never_called_was_not(ground):
    for student in ("s1", "s2"):
        ground.student(student)
        ground.bench.session(f"before-{student}", student, day=(NOW - date(2026, 4, 1)).days - 8)
        ground.trend(student, label="slipping", since=8)
    ground.w.execute("UPDATE season.student_trend SET label = 'not_clear'")
    ground.w.append(
        "season.change_chance",
        pl.DataFrame(
            {"season": ["spring"], "student": ["s1"], "metric": ["recentre_pts"], "club_family": ["iron"],
             "day": [NOW], "p_improved": [0.0], "p_slipped": [0.4]}
        ),
    )  # fmt: skip
    assert ground.signals() == []
    assert ground.earlier(1) == {("s1", "slipping")}


def test_a_drill_to_stop_is_named_only_while_it_is_the_one_set_last(ground):
    ground.w.execute(
        "INSERT INTO academy.drill (drill, name, aim) VALUES ('wall', 'Wall', 'recentre_pts'), "
        "('step', 'Step', 'recentre_pts')"
    )
    ground.w.execute(
        "INSERT INTO season.drill_effect (season, drill, aim, n_students, n_doses, label, advice) VALUES "
        "('spring', 'wall', 'recentre_pts', 20, 50, 'no_clear_effect', 'stop'), "
        "('spring', 'step', 'recentre_pts', 20, 50, 'helps', 'keep')"
    )
    for student, drills in (("s1", ["wall", "wall"]), ("s2", ["wall", "step"]), ("s3", ["step", "wall"])):
        ground.student(student)
        for k, drill in enumerate(drills):
            ground.w.execute(
                'INSERT INTO academy.drill_dose (note, student, drill, "at", day, kind) '
                "VALUES (?, ?, ?, ?::DATE, ?::DATE, 'drill')",
                [f"{student}{k}", student, drill, *[NOW - timedelta(days=3 - k)] * 2],
            )
    assert [(row["student"], row["subject"], row["weeks"]) for row in ground.signals()] == [
        ("s1", "wall", 1), ("s3", "wall", 1),
    ]  # fmt: skip
    assert ground.evidence("doses") == [("main", "wall", 2), ("main", "wall", 1)]


def test_a_met_aim_wants_a_new_one_where_a_fault_surely_shows_and_the_surest_comes_first(ground):
    for student, flagged, lo, reason in (
        ("s1", 10, 0.3, "most_often"), ("s2", 14, 0.5, "earliest_cause"), ("s3", 6, 0.19, "most_often"),
        ("s4", 14, 0.5, "keep"),
    ):  # fmt: skip
        ground.student(student)
        ground.w.execute(
            "INSERT INTO season.aim (season, student, club_family, shared, aim, reason, named, named_met, follows) "
            "VALUES ('spring', ?, 'iron', false, 'late_crossing', ?, 'recentre_pts', true, [])",
            [student, reason],
        )
        ground.w.execute(
            "INSERT INTO season.student_fault_rate (season, student, fault, club_family, span, flagged, usable, "
            "rate, rate_lo, rate_hi, p_lower, label, n_sessions) "
            "VALUES ('spring', ?, 'late_crossing', 'iron', 'now', ?, 20, ?, ?, 1, 0.5, 'not_clear', 3)",
            [student, flagged, flagged / 20, lo],
        )
    assert [(row["kind"], row["student"], row["weeks"]) for row in ground.signals()] == [
        ("aim_met", "s2", None), ("aim_met", "s1", None),
    ]  # fmt: skip
    assert ground.evidence("flagged", "usable")[:2] == [
        ("main", "recentre_pts", None, None), ("next", "late_crossing", 14, 20),
    ]  # fmt: skip


def agree(ground, student, label, *, due, looked=None, agreed=100, metrics=("recentre_pts",), **more):
    """An agreed aim; `due`, `looked`, `agreed`: days before the newest day."""
    day = {name: NOW - timedelta(days=back) for name, back in (("due", due), ("agreed", agreed))}
    nothing = {"weights": [], "worthwhile": [], "changes": [], "ses": []}
    ground.w.append(
        "season.agreed_aim",
        pl.DataFrame(
            [{"note": f"{student}-{due}-{agreed}", "student": student, "season": "spring", "club_family": "iron",
              "metrics": list(metrics), "shared": True, "n_before": 4, "n_since": 3, "label": label,
              "looked": None if looked is None else NOW - timedelta(days=looked)} | day | nothing | more],
            infer_schema_length=None,
        ),
    )  # fmt: skip


@pytest.mark.parametrize(
    ("aim", "kind"),
    [
        ({"label": "reached", "due": -30, "looked": 3}, "agreed_reached"),
        ({"label": "reached", "due": 3, "looked": 28}, None),
        ({"label": "not_reached", "due": 0, "looked": 2}, "agreed_missed"),
        ({"label": "not_reached", "due": 28, "looked": 30}, None),
        ({"label": "too_soon", "due": 5}, "agreed_missed"),
        ({"label": "not_yet", "due": -40, "looked": 2, "would_show": True}, "agreed_silent"),
        ({"label": "not_yet", "due": -40, "looked": 2, "would_show": False}, None),
        ({"label": "not_yet", "due": -14, "looked": 2, "would_show": False}, "agreed_due"),
        ({"label": "too_soon", "due": -15}, None),
    ],
)
def test_an_agreed_aim_is_listed_while_it_shows_is_past_its_day_should_show_or_is_due_soon(ground, aim, kind):
    ground.student("s1")
    agree(ground, "s1", metrics=("recentre_pts", "impact_lead_share_pct"), **aim)
    assert [(row["kind"], row["kindred"], row["weeks"]) for row in ground.signals()] == (
        [] if kind is None else [(kind, ["impact_lead_share_pct"], None)]
    )


def test_agreed_aims_come_after_what_hurts_and_before_everything_else_that_was_found(ground):
    for student in ("s1", "s2", "s3"):
        ground.student(student)
    ground.trend("s1", label="slipping", p=0.999)
    ground.note("s2", "discomfort", "back", day=3)
    agree(ground, "s3", "reached", due=-30, looked=3)
    assert [row["kind"] for row in ground.signals()] == ["discomfort", "agreed_reached", "slipping"]


def test_an_aim_agreed_on_since_takes_the_place_of_one_that_was_reached_or_missed(ground):
    ground.student("s1")
    agree(ground, "s1", "not_reached", due=10, looked=12)
    agree(ground, "s1", "too_soon", due=-60, agreed=8)
    assert ground.signals() == []
    ground.student("s2", last=40)
    agree(ground, "s2", "not_reached", due=10, looked=40)
    assert [row["kind"] for row in ground.signals()] == ["unmeasured"]


@pytest.mark.parametrize(
    ("label", "found"), [("holding", 1), ("not_clear", 1), ("improving", 0), ("too_few", 0)]
)
def test_outside_the_band_counts_while_the_student_does_not_gain(ground, label, found):
    ground.w.execute("UPDATE academy.metric SET better = 'band'")
    ground.w.execute(
        "INSERT INTO academy.band (metric, club_family, lo, hi, version) VALUES ('impact_lead_share_pct', 'iron', 75, 90, 'v')"
    )
    ground.student("s1")
    ground.trend("s1", "impact_lead_share_pct", label=label, p=0.1, start=70, now=70)
    for k in range(6):
        ground.bench.session(f"s1-{k}", "s1", day=10 * k)
        ground.bench.swings(f"s1-{k}", {"impact_lead_share_pct": [95.0] * 5})
    ground.bench.touch("s1")
    ground.w.execute("INSERT INTO season.session_metric BY NAME " + query("season.session_metric"))
    assert [row["kind"] for row in ground.signals()] == ["outside_band"] * found
    assert [side for *_, side in ground.evidence("side")] == ["over"] * found
