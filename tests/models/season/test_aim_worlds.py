"""An invented academy with one student for each way to today's aim, and a twin for whom that way is closed."""

from dataclasses import dataclass, field
from datetime import date, datetime

import polars as pl
import pytest

from models.season.aim import aim_rows

SWINGS = 40
FAULTS = ("sets_up_low", "turns_late", "drops_early", "stops_short")  # in swing order
START, NOTED = datetime(2026, 4, 1, 9, 0), datetime(2026, 5, 2, 10, 0)  # noqa: DTZ001 - UTC without a zone, as in the warehouse


@dataclass(frozen=True)
class Student:
    """`shows`: swings of 40 with each fault; `links`: earlier and later fault → label; `set_for`: a drill's aim."""

    shows: dict[str, int]
    links: dict[tuple[str, str], str] = field(default_factory=dict)
    set_for: str | None = None
    rarer: str | None = None
    shared: bool = True


LATE_FOLLOWS = {("turns_late", "drops_early"): "goes_together"}
BOTH_FOLLOW = LATE_FOLLOWS | {("sets_up_low", "turns_late"): "goes_together"}
BANDS = {"reach_pct": (45.0, 55.0), "sway_pct": (60.0, 70.0)}
MEAN = 50.0
UNCLEAR = dict.fromkeys(BOTH_FOLLOW, "not_clear")
MANY = {"sets_up_low": 12, "turns_late": 20, "drops_early": 34, "stops_short": 16}
FEW = dict.fromkeys(FAULTS, 2)

WORLDS = {
    "named and not met": (Student(MANY, BOTH_FOLLOW, "stops_short"), "named", "stops_short"),
    "named and met": (Student(MANY | {"stops_short": 2}, BOTH_FOLLOW, "stops_short"), "earliest_cause", "sets_up_low"),
    "the first of two links": (Student(MANY, BOTH_FOLLOW), "earliest_cause", "sets_up_low"),
    "only the second link": (Student(MANY, LATE_FOLLOWS), "earliest_cause", "turns_late"),
    "no link is clear": (Student(MANY, UNCLEAR), "most_often", "drops_early"),
    "links are of too few": (Student(MANY, dict.fromkeys(BOTH_FOLLOW, "too_few")), "most_often", "drops_early"),
    "one fault in a fifth": (Student(FEW | {"stops_short": 8}), "most_often", "stops_short"),
    "one just under a fifth": (Student(FEW | {"stops_short": 7}), "nothing", None),
    "one became rarer": (Student(FEW, rarer="turns_late"), "keep", "turns_late"),
    "one shows, another became rarer": (Student(FEW | {"stops_short": 10}, rarer="turns_late"), "most_often", "stops_short"),
    "a rare cause of a rare fault": (Student(FEW, BOTH_FOLLOW), "nothing", None),
    "all met, also the named": (Student(FEW, BOTH_FOLLOW, "stops_short"), "keep", "stops_short"),
    "named in a note of the coach's own": (Student(MANY, BOTH_FOLLOW, "stops_short", shared=False), "named", "stops_short"),
    "a named measure outside its band": (Student(FEW, set_for="sway_pct"), "named", "sway_pct"),
    "a named measure inside its band": (Student(MANY, BOTH_FOLLOW, "reach_pct"), "earliest_cause", "sets_up_low"),
}  # fmt: skip


def fill(bench, people: dict[str, Student]) -> None:
    writer = bench.writer
    writer.append(
        "academy.season",
        pl.DataFrame({"season": ["spring"], "from": [date(2026, 4, 1)], "to": [date(2026, 6, 30)]}),
    )
    bench.reference(dict.fromkeys((*(f"{fault}_pct" for fault in FAULTS), *BANDS), False))
    writer.append(
        "academy.band",
        pl.DataFrame(
            [
                {"metric": metric, "club_family": "iron", "lo": lo, "hi": hi, "version": "v"}
                for metric, (lo, hi) in BANDS.items()
            ]
        ),
    )
    for position, fault in enumerate(FAULTS, 1):
        row = {
            "fault": fault, "name": fault, "phase": "back", "looks_like": "so", "position": position,
            "metrics": [f"{fault}_pct"], "rule": "above", "limit": [1.0], "clear": 1.0, "in_words": "over {limit}",
        }  # fmt: skip
        writer.append("academy.fault", pl.DataFrame([row]))
    aimed = [*FAULTS, *BANDS]
    writer.append(
        "academy.drill",
        pl.DataFrame({"drill": [f"for_{aim}" for aim in aimed], "name": aimed, "aim": aimed}),
    )
    for name, student in people.items():
        bench.session(f"visit of {name}", name)
        writer.append("season.student_fault_rate", pl.DataFrame(rates(name, student)))
        writer.append("season.session_metric", pl.DataFrame(means(name)))
        if student.links:
            writer.append("season.fault_chain", pl.DataFrame(links(name, student)))
        if student.set_for:
            set_drill(writer, name, f"for_{student.set_for}", shared=student.shared)


def rates(name: str, student: Student) -> list[dict]:
    """Faults in reverse order: the order of the rows is not the order in the swing."""
    return [
        {
            "season": "spring", "student": name, "fault": fault, "club_family": "iron", "span": span,
            "flagged": flagged, "usable": SWINGS, "rate": flagged / SWINGS, "rate_lo": flagged / SWINGS * 0.6,
            "rate_hi": min(flagged / SWINGS * 1.5, 1), "p_lower": 0.99 if fault == student.rarer else 0.5,
            "label": "better" if fault == student.rarer else "not_clear", "n_sessions": 3,
        }
        for fault in reversed(FAULTS)
        for span, flagged in (
            ("now", student.shows[fault]),
            ("before", 30 if fault == student.rarer else student.shows[fault]),
            ("season", student.shows[fault]),
        )
    ]  # fmt: skip


def means(name: str) -> list[dict]:
    """What makes a season a measured one."""
    return [
        {
            "session": f"visit of {name}", "student": name, "coach": "c1", "season": "spring",
            "started_at": START, "day": START.date(), "club_family": "iron", "part": "baseline", "pace": "full",
            "device": "mat", "heel_source": "none", "metric": metric, "mean": MEAN, "sd": 2.0, "n": SWINGS,
        }
        for metric in BANDS
    ]  # fmt: skip


def links(name: str, student: Student) -> list[dict]:
    return [
        {
            "season": "spring", "student": name, "chain": "low_late_early", "place": FAULTS.index(earlier) + 1,
            "earlier": earlier, "later": later, "sessions": 3, "swings_with": 20, "swings_without": 20,
            "share_with": 0.8, "share_without": 0.3, "difference": 0.5, "difference_lo": 0.3, "difference_hi": 0.7,
            "p": 0.001, "q": 0.01, "by_eye": False, "by_visit": False, "label": label,
        }
        for (earlier, later), label in student.links.items()
    ]  # fmt: skip


def set_drill(writer, name: str, drill: str, *, shared: bool) -> None:
    note, session = f"note of {name}", f"visit of {name}"
    at = {
        "student": name,
        "session": session,
        "at": NOTED,
        "day": NOTED.date(),
        "note": note,
        "kind": "drill",
    }
    writer.append(
        "academy.note",
        pl.DataFrame(
            [at | {"author": "c1", "code": drill, "shared": shared, "delivery": "d", "loose": False}]
        ),
    )
    writer.append("academy.drill_dose", pl.DataFrame([at | {"drill": drill, "place": "lesson"}]))


@pytest.fixture
def rows(bench) -> list[dict]:
    fill(bench, {world: student for world, (student, *_) in WORLDS.items()})
    return aim_rows(bench.writer).filter(pl.col("season") == "spring").to_dicts()


@pytest.fixture
def aims(rows) -> dict[str, dict]:
    return {row["student"]: row for row in rows if not row["shared"]}


def test_every_student_gets_the_aim_of_the_first_way_that_is_open(aims):
    got = {world: (aims[world]["reason"], aims[world]["aim"]) for world in WORLDS}
    assert got == {world: tuple(expected) for world, (_, *expected) in WORLDS.items()}


def test_what_follows_from_an_earliest_cause_is_named_in_swing_order(aims):
    assert aims["the first of two links"]["follows"] == ["turns_late", "drops_early"]
    assert aims["only the second link"]["follows"] == ["drops_early"]
    assert aims["no link is clear"]["follows"] == []


def test_a_named_aim_says_whether_it_is_met(aims):
    met = {world: row["named_met"] for world, row in aims.items() if row["named"]}
    assert met == {
        "named and not met": False, "named in a note of the coach's own": False, "named and met": True, "all met, also the named": True,
        "a named measure outside its band": False, "a named measure inside its band": True,
    }  # fmt: skip


def test_nobody_is_sent_to_work_on_a_fault_that_shows_in_under_a_fifth_of_the_swings(aims):
    for world, (student, *_) in WORLDS.items():
        row = aims[world]
        if row["reason"] not in {"keep", "nothing"} and row["aim"] in FAULTS:
            assert student.shows[row["aim"]] >= 0.2 * SWINGS, world
        if row["next_aim"] is not None:
            assert student.shows[row["next_aim"]] >= 0.2 * SWINGS, world


def test_what_a_coach_noted_for_coaches_only_is_not_shown_to_a_student(rows):
    told = {row["student"]: row for row in rows if row["shared"]}
    private = told["named in a note of the coach's own"]
    assert (private["reason"], private["aim"], private["named"]) == ("earliest_cause", "sets_up_low", None)
    assert told["named and not met"]["aim"] == "stops_short"
