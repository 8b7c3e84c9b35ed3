"""Who may see and write what, as plainly as can be: a second statement of the rules to compare the real one with.

Written from the description of the rules alone. Above each function stands its rule in words; a rule that is not in
them is not here either. All days are days in the academy's own time zone, and a span from-to holds both its days.
"""

from dataclasses import dataclass
from datetime import date, datetime
from zoneinfo import ZoneInfo

ABOUT_A_STUDENT = ("progress_page", "student_page", "lesson_sheet", "sessions", "films", "notes", "trends")
ABOUT_A_COACH = ("own_week", "own_deliveries", "own_students")
OF_THE_ACADEMY = ("coaches_page", "data_quality")
WRITINGS = ("session", "note", "draw", "talk", "film_decision")
FAMILY_WRITINGS = ("practice", "discomfort", "film")
COMMANDS = ("page", "page_link", "lesson", "review", "export", "draw", "invite", "sql", "refused", "health")
ROLES = ("head_coach", "coach", "student", "guardian")


@dataclass(frozen=True)
class Person:
    code: str
    role: str
    joined: date
    left: date | None = None  # the last day in the academy
    born: date | None = None  # of students
    guardian_of: tuple[str, ...] = ()


@dataclass(frozen=True)
class Coaching:
    student: str
    coach: str
    first: date
    last: date | None


@dataclass(frozen=True)
class Consent:
    student: str
    given_by: str
    purpose: str
    first: date
    last: date | None


@dataclass(frozen=True)
class Session:
    """`filed_by` is who delivered it, `coach` whose name it is under, `recorded` how: "measure", "film" or both."""

    code: str
    student: str
    coach: str
    started_at: datetime
    filed_by: str
    recorded: tuple[str, ...] = ()


@dataclass(frozen=True)
class Note:
    student: str
    at: datetime
    author: str
    kind: str
    code: str = ""
    grade: int | None = None
    text: str = ""
    shared: bool = False


@dataclass(frozen=True)
class Link:
    """A family link; `until` is the moment at which it runs out."""

    student: str
    made_at: datetime
    until: datetime
    ended_at: datetime | None = None


@dataclass(frozen=True)
class Academy:
    time_zone: str
    people: tuple[Person, ...]
    coaching: tuple[Coaching, ...] = ()
    consents: tuple[Consent, ...] = ()
    sessions: tuple[Session, ...] = ()
    notes: tuple[Note, ...] = ()
    links: tuple[Link, ...] = ()

    def person(self, code: str) -> Person | None:
        return next((p for p in self.people if p.code == code), None)

    def of_role(self, *roles: str) -> list[str]:
        return [p.code for p in self.people if p.role in roles]


# A moment belongs to the day that the academy's own clocks show.
def naive_day(academy: Academy, moment: date | datetime) -> date:
    if isinstance(moment, datetime):
        return moment.astimezone(ZoneInfo(academy.time_zone)).date()
    return moment


# A span holds its first day, its last day and all between; without a last day it goes on.
def _holds(first: date, last: date | None, day: date) -> bool:
    if day < first:
        return False
    return last is None or day <= last


# An ended person is in the academy on the last day, and no more from the day after.
def naive_has_ended(person: Person, day: date) -> bool:
    return person.left is not None and day > person.left


# One comes of age on the 18th birthday; born on 29 February, on 1 March if that year has no 29 February.
def naive_comes_of_age(born: date) -> date:
    if (born.month, born.day) == (2, 29):
        year = born.year + 18
        leap = year % 4 == 0 and (year % 100 != 0 or year % 400 == 0)
        return date(year, 2, 29) if leap else date(year, 3, 1)
    return date(born.year + 18, born.month, born.day)


# A coach coaches a student on a day when one of their spans holds it.
def naive_coaches(academy: Academy, coach: str, student: str, day: date) -> bool:
    for span in academy.coaching:
        if (span.coach, span.student) == (coach, student) and _holds(span.first, span.last, day):
            return True
    return False


# A guardian stands for a ward until the day before the ward's 18th birthday. Whether a grown student can let a
# guardian look on is not described, so nobody can; nor does anybody stand for a ward of unknown age.
def naive_is_guardian_of(academy: Academy, guardian: str, student: str, day: date) -> bool:
    person, ward = academy.person(guardian), academy.person(student)
    if person is None or ward is None or student not in person.guardian_of:
        return False
    return ward.born is not None and day < naive_comes_of_age(ward.born)


def naive_may_see(academy: Academy, viewer: str, subject: str | None, what: str, on: date | datetime) -> bool:
    """Whether the viewer sees this of the subject: a student, a coach, or None for the academy as a whole."""
    if what not in ABOUT_A_STUDENT + ABOUT_A_COACH + OF_THE_ACADEMY:
        raise ValueError(f"no rule speaks of {what}")
    day = naive_day(academy, on)
    person = academy.person(viewer)
    # Somebody the academy does not know sees nothing.
    if person is None:
        return False
    # An ended person sees nothing from the day after their end.
    if naive_has_ended(person, day):
        return False
    # There is nothing to see of somebody who does not exist, or of a person in a role they do not have.
    if what in ABOUT_A_STUDENT and subject not in academy.of_role("student"):
        return False
    if what in ABOUT_A_COACH and subject not in academy.of_role("coach", "head_coach"):
        return False
    # A head coach sees everything in the academy.
    if person.role == "head_coach":
        return True
    if person.role == "coach":
        # A coach sees what concerns the students they coach on that day, and nothing of the others.
        if what in ABOUT_A_STUDENT:
            return naive_coaches(academy, viewer, subject, day)
        # Of other coaches a coach sees nothing but what the academy's overall page shows.
        if what in ABOUT_A_COACH:
            return subject == viewer
        return what == "coaches_page"
    # A student sees their own progress page only.
    if person.role == "student":
        return what == "progress_page" and subject == viewer
    # A guardian sees the progress page of a ward, and nothing else, and not while it is withdrawn from the family.
    if person.role == "guardian":
        if what != "progress_page" or not naive_is_guardian_of(academy, viewer, subject, day):
            return False
        return naive_in_use(academy, subject, "family_page", day)
    return False


# The students of whom somebody sees this.
def naive_students_seen(academy: Academy, viewer: str, what: str, on: date | datetime) -> set[str]:
    return {s for s in academy.of_role("student") if naive_may_see(academy, viewer, s, what, on)}


# A consent for a purpose covers a day when one of its spans holds it.
def naive_consent_covers(academy: Academy, student: str, purpose: str, day: date) -> bool:
    for span in academy.consents:
        if (span.student, span.purpose) == (student, purpose) and _holds(span.first, span.last, day):
            return True
    return False


# One is a minor until the day before the 18th birthday, and as long as no birth date is known.
def naive_is_minor(academy: Academy, student: str, day: date) -> bool:
    born = academy.person(student).born
    return born is None or day < naive_comes_of_age(born)


# What is there already stays in use for a purpose unless it was withdrawn: consents for it are written down, and none
# of them covers the day. When nothing is written down for it, it stays in use, except films of a minor.
def naive_in_use(academy: Academy, student: str, purpose: str, day: date) -> bool:
    if any((c.student, c.purpose) == (student, purpose) for c in academy.consents):
        return naive_consent_covers(academy, student, purpose, day)
    return purpose != "film" or not naive_is_minor(academy, student, day)


# The recordings of a session that may be used on a day.
def naive_recordings(academy: Academy, session: Session, day: date) -> set[str]:
    return {how for how in session.recorded if naive_in_use(academy, session.student, how, day)}


# Numbers were made on some day from all recordings of a student that could be used then. Since numbers do not tell
# which recording they come from, they are all shown as long as each recording they were made of may be used.
def naive_numbers_in_use(academy: Academy, student: str, made_on: date, day: date) -> bool:
    own = [s for s in academy.sessions if s.student == student]
    return all(naive_recordings(academy, s, made_on) <= naive_recordings(academy, s, day) for s in own)


# A family link opens that one student's page and nothing more, whatever role its opener has: until it runs out, until
# it is ended, and while a consent to share_page covers the day and the page is not withdrawn from the family. Who
# opens it is not asked.
def naive_link_opens(academy: Academy, link: Link, student: str, what: str, at: datetime) -> bool:
    if what != "progress_page" or student != link.student:
        return False
    if at >= link.until:
        return False
    if link.ended_at is not None and at >= link.ended_at:
        return False
    day = naive_day(academy, at)
    if not naive_in_use(academy, student, "family_page", day):
        return False
    return naive_consent_covers(academy, student, "share_page", day)


# Discomfort and falls are on the progress page only when shared.
def naive_note_on_progress_page(note: Note) -> bool:
    return note.shared or note.kind not in ("discomfort", "discomfort_over", "falls")


# What somebody wrote in their own words is on the progress page only when shared.
def naive_text_on_progress_page(note: Note) -> bool:
    return note.shared and note.text != ""


def naive_may_write(
    academy: Academy, writer: str, what: str, student: str, on: date | datetime, *,
    under: str | None = None, replaces: Session | None = None,
) -> bool:  # fmt: skip
    """Whether the writer may deliver this of the student on this day, under a coach's name (their own by default).

    A draw for several students is allowed if it is for each of them. `replaces` is the session filed before under
    the same code.
    """
    if what not in WRITINGS + FAMILY_WRITINGS:
        raise ValueError(f"no rule speaks of {what}")
    day = naive_day(academy, on)
    person = academy.person(writer)
    if person is None or naive_has_ended(person, day) or student not in academy.of_role("student"):
        return False
    # A student reports their own practice, a guardian that of a ward whose page they see, under their own name; nobody
    # else does. A film is sent likewise, while a consent to film covers the day.
    if what in FAMILY_WRITINGS:
        if under is not None and under != writer:
            return False
        if what == "film" and not naive_consent_covers(academy, student, "film", day):
            return False
        if person.role == "student":
            return student == writer
        return person.role == "guardian" and naive_may_see(academy, writer, student, "progress_page", day)
    # A head coach writes for every student, also under another coach's name and over another's session.
    if person.role == "head_coach":
        return True
    # Students and guardians deliver nothing else.
    if person.role != "coach":
        return False
    # A coach writes only for students within reach on that day.
    if not naive_coaches(academy, writer, student, day):
        return False
    # A coach writes only under their own name.
    if under is not None and under != writer:
        return False
    if replaces is not None:
        # A coach never writes over a session that someone else filed.
        if replaces.filed_by != writer:
            return False
        # The session that goes away is a student's too, who must be within reach like the new one.
        if not naive_coaches(academy, writer, replaces.student, day):
            return False
    return True


# Whoever holds a link that opens a student's page does there what the student might: reports practice, and sends a
# film while a consent to film covers the day. They write nothing else, and of nobody else.
def naive_link_may_write(academy: Academy, link: Link, what: str, student: str, at: datetime) -> bool:
    if what not in FAMILY_WRITINGS or not naive_link_opens(academy, link, student, "progress_page", at):
        return False
    return what in ("practice", "discomfort") or naive_consent_covers(
        academy, student, "film", naive_day(academy, at)
    )


# Whoever keeps the home runs the command, and is not asked who they are. What it makes is for somebody, though, and
# shows them nobody else.
def naive_command_shows(
    academy: Academy, verb: str, named: str | None, on: date | datetime
) -> set[str] | None:
    """The students in what a command makes about the person it names; None where it is refused."""
    if verb not in COMMANDS:
        raise ValueError(f"no rule speaks of {verb}")
    day = naive_day(academy, on)
    # Questions about the whole home are the keeper's own: what is in it, what was refused of whom, and how it fares.
    if verb in ("sql", "refused", "health"):
        return set(academy.of_role("student"))
    person = academy.person(named)
    if person is None:
        return None
    gone = naive_has_ended(person, day)
    # An invitation is for whoever may look.
    if verb == "invite":
        return None if gone else set()
    # A review is for one of the staff, and of the students they see.
    if verb == "review":
        if gone or person.role not in ("head_coach", "coach"):
            return None
        return naive_students_seen(academy, named, "student_page", day)
    # The others are about one student. A lesson sheet and an export can be made of everyone a head coach sees.
    if person.role != "student":
        return None
    if verb in ("lesson", "export"):
        return {named}
    # A drill is drawn, and a page handed out or shared, only for who is in the academy.
    if gone:
        return None
    if verb in ("page", "page_link") and not naive_in_use(academy, named, "family_page", day):
        return None
    if verb == "page_link" and not naive_consent_covers(academy, named, "share_page", day):
        return None
    return {named}
