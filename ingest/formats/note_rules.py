"""What a line of notes needs: whose it is, who wrote it, and what its kind asks for."""

from collections.abc import Callable, Collection, Sequence
from functools import partial
from typing import Any

from ingest.academy import day_of
from ingest.formats.format import LineContext
from ingest.formats.tables import Problem
from ingest.refusals import shown
from warehouse.definitions import sided_metrics
from warehouse.observations import feeling_codes, sign_codes
from warehouse.vocabulary import (
    DIRECTIONS,
    DOSE_UNITS,
    EVENTS,
    EYES,
    GOALS,
    LONGEST_AIM_DAYS,
    MOST_KINDRED,
    SWING_KINDS,
    UNCERTAIN_SWING,
)

Line = dict[str, Any]


class NoteRules:
    """Settles who and which session a line is about, and checks what its kind needs."""

    def __init__(self, context: LineContext) -> None:
        self.context, self.academy, self.header = context, context.academy, context.header

    def check(self, line: Line) -> Problem | None:
        """The first rule that a line breaks, if any; what it leaves out is filled in."""
        rules = (self._whose, self._author, self._not_theirs, self._swing, self._kind, self._lot)
        return next((problem for rule in rules if (problem := rule(line)) is not None), None)

    def _whose(self, line: Line) -> Problem | None:
        owner: str | None = None
        if self.header is not None:
            if line["session"] not in (None, self.header.session):
                return "unknown_session", f"the line is about another session, {line['session']}", "session"
            line["session"] = self.header.session
            owner = self.header.student
        elif line["session"] is not None:
            owner = self.context.session_student(line["session"])
            if owner is None:
                return "unknown_session", f"there is no session {line['session']} in the warehouse", "session"
        if owner is not None and line["student"] not in (None, owner):
            what = f"session {line['session']} is {owner}'s, not {line['student']}'s"
            return "unknown_person", what, "student"
        line["student"] = line["student"] or owner
        if line["student"] is None:
            return "empty_value", "the line names neither a session nor a student", "student"
        person = self.academy.people.get(line["student"])
        if person is None or person.role != "student":
            return "unknown_person", f"student {line['student']} is not a student in people.csv", "student"
        return None

    def _author(self, line: Line) -> Problem | None:
        if line["author"] not in self.academy.people:
            return "unknown_person", f"author {line['author']} is not in people.csv", "author"
        line["shared"] = bool(line["shared"])
        head = self.academy.people.get(line["overruled_by"])
        if line["overruled_by"] is not None and (head is None or head.role != "head_coach"):
            what = f"overruled_by is {shown(line['overruled_by'])} but must be a head coach of people.csv"
            return "unknown_person", what, "overruled_by"
        return None

    def _not_theirs(self, line: Line) -> Problem | None:
        found = self.context.not_theirs(line) if self.context.not_theirs is not None else None
        return None if found is None else ("not_yours", found[1], found[0])

    def _swing(self, line: Line) -> Problem | None:
        no = line["swing_no"]
        if no is None:
            return None
        if line["session"] is None or no not in self.context.swings_of(line["session"]):
            return "unmatched_swing", f"swing {no} is not a swing of the line's session", "swing_no"
        return None

    def _kind(self, line: Line) -> Problem | None:
        rules: dict[str, Callable[[Line], Problem | None]] = {
            "saw": self._saw, "drill": self._dose, "practice": self._dose, "steadiness": _steadiness,
            "target": self._target, "plan": _text, "felt": self._felt, "goal": _goal,
            "agreed_aim": self._agreed_aim, "reference": self._reference,
            "reference_over": _swing_named,
            "falls": partial(_grade, allowed=(0, 1), words="1 (fell) or 0 (did not)"),
            "swing_kind": _swing_kind, "swing_drill": self._swing_drill, "swing_event": _swing_event,
            "swing_film": _swing_film,
        }  # fmt: skip
        return rules.get(line["kind"], _code)(line)

    def _saw(self, line: Line) -> Problem | None:
        if line["code"] not in self.academy.faults | sign_codes():
            return "unknown_value", f"{shown(line['code'])} is not a fault code, nor a sign's", "code"
        return _grade(line, (0, 1, 2, 3), "1 to 3, or 0: looked for, and not there")

    def _dose(self, line: Line) -> Problem | None:
        if (problem := self._drill(line["code"], "code")) is not None:
            return problem
        if line["value"] is not None and not 0 < line["value"] <= 10_000:
            what = f"value is {line['value']:g} but must be a count of reps or minutes"
            return "out_of_range", what, "value"
        line["unit"] = line["unit"] or "reps"
        if line["unit"] not in DOSE_UNITS:
            return "unknown_value", f"unit is {shown(line['unit'])} but must be reps or minutes", "unit"
        line["place"] = line["place"] or ("home" if line["kind"] == "practice" else "lesson")
        if line["kind"] == "drill":
            return None
        return _grade(line, (None, 1, 2, 3), "1 (felt hard) to 3 (felt easy)")

    def _lot(self, line: Line) -> Problem | None:
        """Drills assigned by random draw: the one drawn is the code, `drawn_against` the other."""
        lost = line["drawn_against"]
        if lost is None:
            return None
        if line["kind"] not in ("plan", "drill"):
            what = f"a random draw assigns a plan or a drill, not a {line['kind']} line"
            return "unknown_value", what, "drawn_against"
        if lost == line["code"]:
            return "unknown_value", f"drill {lost} can't be the other drill of its own draw", "drawn_against"
        return self._drill(line["code"], "code") or self._drill(lost, "drawn_against")

    def _drill(self, drill: str | None, column: str) -> Problem | None:
        if drill in self.academy.drills:
            return None
        return "unknown_drill", f"drill {shown(drill)} is not in drills.csv", column

    def _swing_drill(self, line: Line) -> Problem | None:
        """The drill a swing came after; none where the code is empty."""
        unknown = None if line["code"] is None else self._drill(line["code"], "code")
        return unknown or _of_a_swing(line)

    def _felt(self, line: Line) -> Problem | None:
        """What a player felt in a swing, in the swings after a drill, or in a whole session."""
        problem = _one_of(line, sorted(feeling_codes())) or _grade(line, (0, 1), "1 (yes) or 0 (no)")
        return problem or (None if line["drill"] is None else self._drill(line["drill"], "drill"))

    def _target(self, line: Line) -> Problem | None:
        if line["code"] not in self.academy.metrics:
            return "unknown_value", f"{shown(line['code'])} is not a metric", "code"
        low, high = line["value"], line["value_to"]
        if low is None and high is None:
            return "empty_value", "a target needs value, value_to or both", "value"
        if low is not None and high is not None and low >= high:
            return "out_of_range", f"the target runs from {low:g} to {high:g}, which is no span", "value_to"
        return None

    def _agreed_aim(self, line: Line) -> Problem | None:
        """What coach and student want to see change: metrics with a better side, by a day within a year."""
        if (problem := _lacks(line, "code", "a metric as its code")) is not None:
            return problem
        metrics = [line["code"], *(line["kindred"] or "").split()]
        for number, metric in enumerate(metrics):
            column = "kindred" if number else "code"
            if metric not in sided_metrics():
                what = f"{shown(metric)} is not a metric of which more, or less, is better"
                return "unknown_value", what, column
            if metric in metrics[:number]:
                return "unknown_value", f"{metric} is in the aim twice", column
        if len(metrics) > MOST_KINDRED:
            what = f"the aim has {len(metrics)} metrics but may have {MOST_KINDRED} at most"
            return "out_of_range", what, "kindred"
        line["kindred"] = " ".join(metrics[1:]) or None
        if line["value"] is not None and line["value"] <= 0:
            what = f"value is {line['value']:g} but must be over 0: how much of {line['code']} would matter"
            return "out_of_range", what, "value"
        if (problem := _lacks(line, "due", "the day by which it is to be reached")) is not None:
            return problem
        days = (line["due"] - day_of(line["at"], self.academy.settings.zone)).days
        if not 0 < days <= LONGEST_AIM_DAYS:
            what = f"due is {line['due']} but must be after the day it is agreed, and within a year of it"
            return "out_of_range", what, "due"
        return None

    def _reference(self, line: Line) -> Problem | None:
        """A swing to hold the student's own against: theirs, or another player's who agrees to that."""
        if (problem := _swing_named(line)) is not None:
            return problem
        owner = self.context.session_student(line["code"])
        if owner is None or line["value"] not in self.context.swings_of(line["code"]):
            what = f"swing {line['value']:g} of session {shown(line['code'])} is not in the warehouse"
            return "unmatched_swing", what, "code"
        day = day_of(line["at"], self.academy.settings.zone)
        if owner != line["student"] and not self.academy.has_consent(owner, "show_swing", day):
            return "no_consent", f"no consent to show_swing covers {owner} on {day}", "code"
        return None


def _swing_kind(line: Line) -> Problem | None:
    """What a swing is, whatever it was taken for."""
    kinds = [kind for kind in SWING_KINDS if kind != UNCERTAIN_SWING]
    return _one_of(line, kinds) or _of_a_swing(line)


def _swing_event(line: Line) -> Problem | None:
    """Where an event of a swing is: `value`, in seconds on the plate's clock."""
    problem = _one_of(line, EVENTS, "event_name") or _lacks(line, "value", "the event's time in seconds")
    return problem or _of_a_swing(line)


def _swing_film(line: Line) -> Problem | None:
    """Where a swing's film lies: `value`, by how much plate time is ahead of film time, in seconds."""
    return _lacks(line, "value", "the seconds from film time to plate time") or _of_a_swing(line)


def _one_of(line: Line, codes: Sequence[str], reason: str = "unknown_value") -> Problem | None:
    if line["code"] in codes:
        return None
    return reason, f"code is {shown(line['code'])} but must be {', '.join(codes)}", "code"


def _lacks(line: Line, column: str, what: str) -> Problem | None:
    if line[column] not in (None, ""):
        return None
    article = "an" if line["kind"] == "agreed_aim" else "a"
    return "empty_value", f"{article} {line['kind']} line needs {what}", column


def _grade(line: Line, allowed: Collection[int | None], words: str) -> Problem | None:
    if line["grade"] in allowed:
        return None
    return "out_of_range", f"grade is {shown(line['grade'])} but must be {words}", "grade"


def _of_a_swing(line: Line) -> Problem | None:
    what = "a session and a swing_no"
    return _lacks(line, "session", what) or _lacks(line, "swing_no", what)


def _goal(line: Line) -> Problem | None:
    """What the player came for, in their words; a code says which of the usual goals it is nearest to."""
    if (problem := _lacks(line, "text", "the player's own words")) is not None:
        return problem
    if line["code"] is not None and line["code"] not in GOALS:
        what = f"code is {shown(line['code'])} but must be {', '.join(GOALS)}, or empty"
        return "unknown_value", what, "code"
    return None


def _swing_named(line: Line) -> Problem | None:
    """A line that names a swing of any session: the session in `code`, the swing's number in `value`."""
    if (problem := _lacks(line, "code", "a session as its code")) is not None:
        return problem
    if line["value"] is None or line["value"] < 0 or line["value"] % 1:
        what = f"value is {shown(line['value'])} but must be the number of a swing"
        return "out_of_range", what, "value"
    return None


def _steadiness(line: Line) -> Problem | None:
    """A nudge check: every direction in one line (`held`, `lost`), or a line for each (`code`, `grade`)."""
    whole = line["held"] is not None or line["lost"] is not None
    if whole:
        problem = _directions(line)
    else:
        problem = _one_of(line, DIRECTIONS) or _grade(line, (0, 1), "0 (held) or 1 (lost)")
    if problem is not None:
        return problem
    line["unit"] = (line["unit"] or ("closed" if whole else "open")).lower().removeprefix("eyes").strip()
    if line["unit"] not in EYES:
        return "unknown_value", f"unit is {shown(line['unit'])} but must be eyes open or eyes closed", "unit"
    if whole and line["unit"] == "closed" and not line["stood_by"]:
        return "empty_value", "a check with eyes closed names who stood within reach", "stood_by"
    return None


def _directions(line: Line) -> Problem | None:
    if line["code"] is not None or line["grade"] is not None:
        what = "a check with held and lost has no code and no grade, since these are for one direction"
        return "unknown_value", what, "code" if line["code"] is not None else "grade"
    named: list[str] = []
    for column in ("held", "lost"):
        ways = (line[column] or "").lower().split()
        for way in ways:
            if way not in DIRECTIONS:
                what = f"{column} has {shown(way)} but must be of {', '.join(DIRECTIONS)}"
                return "unknown_value", what, column
            if way in named:
                return "unknown_value", f"{way} is there twice, but a direction is held or lost", column
            named.append(way)
        line[column] = " ".join(way for way in DIRECTIONS if way in ways) or None
    return None


def _text(line: Line) -> Problem | None:
    return None if line["text"] or line["code"] else ("empty_value", "the line says nothing", "text")


def _code(line: Line) -> Problem | None:
    return _lacks(line, "code", "a code")
