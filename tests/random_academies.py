"""Small random academies with everything that the rules of access turn on, and the roster files that make them."""

import csv
import io
import random
from collections.abc import Iterable
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from naive_access import Academy, Coaching, Consent, Link, Note, Person, Session, naive_comes_of_age

FIRST_DAY, LAST_DAY = date(2026, 1, 1), date(2026, 9, 30)
# Far east and west of UTC, with half and quarter hours, with and without summer time.
TIME_ZONES = (
    "Pacific/Kiritimati", "Pacific/Auckland", "Asia/Kathmandu", "Europe/Dublin", "UTC", "America/St_Johns",
    "America/Los_Angeles", "Pacific/Pago_Pago",
)  # fmt: skip


def days_of_change(academy: Academy) -> list[date]:
    """The days from which an answer of the rules may be another; between them none changes."""
    a_day = timedelta(days=1)
    days: set[date] = set()
    for span in (*academy.coaching, *academy.consents):
        days |= {span.first} | ({span.last + a_day} if span.last else set())
    for person in academy.people:
        if person.left:
            days.add(person.left + a_day)
        if person.role == "student" and person.born:
            days.add(naive_comes_of_age(person.born))
    return sorted(days)


def days_to_check(academy: Academy) -> list[date]:
    """Each day of change and the days around it."""
    return sorted({d + timedelta(days=n) for d in days_of_change(academy) for n in (-1, 0, 1)})


def moments_to_check(academy: Academy) -> list[datetime]:
    """The seconds on either side of the midnights, in the academy's time zone, at which an answer changes, in UTC."""
    midnights = [datetime.combine(d, time(), ZoneInfo(academy.time_zone)) for d in days_of_change(academy)]
    return [m.astimezone(UTC) + timedelta(seconds=n) for m in midnights for n in (-1, 0)]


def _day(rng: random.Random, first: date = FIRST_DAY, last: date = LAST_DAY) -> date:
    return first + timedelta(days=rng.randint(0, max((last - first).days, 0)))


def _spans(rng: random.Random, most: int) -> list[tuple[date, date | None]]:
    """Spans in order that share no day: of one day, next to each other, with gaps, the last one sometimes open."""
    free_from, spans = FIRST_DAY, []
    for _ in range(rng.randint(1, most)):
        if free_from > LAST_DAY:
            break
        first = free_from if rng.random() < 0.3 else _day(rng, free_from)
        last = first if rng.random() < 0.15 else _day(rng, first)
        spans.append((first, last))
        free_from = last + timedelta(days=rng.choice((1, 1, 2, 30)))
    if rng.random() < 0.5:
        spans[-1] = (spans[-1][0], None)
    return spans


def _born(rng: random.Random) -> date | None:
    """Of a child, of somebody who comes of age within the season (born on a leap day or not), of a grown-up."""
    kind = rng.choice(
        ("child", "child", "turns_18", "turns_18", "leap_day", "leap_day", "grown", "grown", "unknown")
    )
    if kind == "unknown":
        return None
    if kind == "child":
        return _day(rng, date(2010, 1, 1), date(2018, 12, 31))
    if kind == "turns_18":
        return _day(rng, date(2008, 1, 1), date(2008, 9, 30))
    return date(2008, 2, 29) if kind == "leap_day" else _day(rng, date(1950, 1, 1), date(2007, 6, 30))


def _moment(rng: random.Random, zone: str) -> datetime:
    """At a usual hour, or close to midnight."""
    at = rng.choice((time(0, 5), time(10, 0), time(16, 30), time(23, 55)))
    return datetime.combine(_day(rng), at, ZoneInfo(zone))


def _people(rng: random.Random) -> list[Person]:
    joined = date(2025, 1, 1)

    def left() -> date | None:
        return _day(rng) if rng.random() < 0.25 else None

    people = [Person("h1", "head_coach", joined)]
    if rng.random() < 0.4:
        people.append(Person("h2", "head_coach", joined, left()))
    people += [Person(f"c{n}", "coach", joined, left()) for n in range(1, rng.randint(1, 4) + 1)]
    students = [
        Person(f"s{n}", "student", joined, left(), _born(rng)) for n in range(1, rng.randint(2, 6) + 1)
    ]
    for n in range(1, rng.randint(0, 4) + 1):
        wards = rng.sample(students, rng.randint(1, min(3, len(students))))
        people.append(Person(f"g{n}", "guardian", joined, left(), None, tuple(sorted(w.code for w in wards))))
    return people + students


def _consents(rng: random.Random, people: list[Person]) -> list[Consent]:
    """A guardian's consents end before the ward comes of age; what becomes of others is not described."""
    consents = []
    for student in (p for p in people if p.role == "student"):
        guardians = [p.code for p in people if student.code in p.guardian_of]
        of_age = naive_comes_of_age(student.born or FIRST_DAY)
        for purpose in ("measure", "film", "keep_film", "share_page", "family_page", "academy_figures"):
            spans = _spans(rng, 2) if rng.random() < 0.7 else []
            own = [(first, last) for first, last in spans if first >= of_age]
            consents += [Consent(student.code, student.code, purpose, *span) for span in own]
            if guardians:
                end = of_age - timedelta(days=1)
                young = [(first, min(last or end, end)) for first, last in spans if first < of_age]
                consents += [Consent(student.code, guardians[0], purpose, *span) for span in young]
    return consents


def _note(rng: random.Random, student: str, author: str, at: datetime) -> Note:
    text = rng.choice(("", "", "Less than last time.", "Slept badly."))
    kind, code, grade = rng.choice(
        (
            ("saw", "trail_push", 2),
            ("discomfort", "back", None),
            ("discomfort_over", "back", None),
            ("falls", "", 1),
            ("plan", "", None),
        )
    )
    if kind == "plan":
        text = text or "Feet together first."
    return Note(student, at, author, kind, code, grade, text, rng.random() < 0.5)


def _session(
    rng: random.Random, code: str, student: str, coaches: list[str], heads: list[str], zone: str
) -> Session:
    coach = rng.choice(coaches)
    filed_by = coach if rng.random() < 0.7 else rng.choice(heads + coaches)
    recorded = rng.choice(((), ("measure",), ("measure",), ("film",), ("measure", "film")))
    return Session(code, student, coach, _moment(rng, zone), filed_by, recorded)


def random_academy(rng: random.Random) -> Academy:
    """A small academy with everything the rules turn on; all its days lie in the first nine months of 2026.

    For Hypothesis: `st.randoms(use_true_random=False).map(random_academy)`. Everyone joined long before, only
    guardians have wards.
    """
    zone = rng.choice(TIME_ZONES)
    people = _people(rng)
    students = [p.code for p in people if p.role == "student"]
    coaches = [p.code for p in people if p.role == "coach"]
    heads = [p.code for p in people if p.role == "head_coach"]
    coaching = [
        Coaching(student, coach, first, last)
        for student in students for coach in coaches if rng.random() < 0.5
        for first, last in _spans(rng, 3)
    ]  # fmt: skip
    sessions = [
        _session(rng, f"v{n}-{s}", s, coaches, heads, zone)
        for s in students
        for n in range(rng.randint(0, 3))
    ]
    notes = [
        _note(rng, student, rng.choice(coaches + heads), _moment(rng, zone))
        for student in students for _ in range(rng.randint(0, 4))
    ]  # fmt: skip
    links = []
    for student in students:
        if rng.random() < 0.5:
            made = _moment(rng, zone).astimezone(UTC)
            until = made + timedelta(days=rng.randint(1, 60))
            ended = made + timedelta(days=rng.randint(0, 60), hours=1) if rng.random() < 0.4 else None
            links.append(Link(student, made, until, ended))
    consents = _consents(rng, people)
    return Academy(
        zone, tuple(people), tuple(coaching), tuple(consents), tuple(sessions), tuple(notes), tuple(links)
    )


def _csv(header: str, rows: Iterable[Iterable[object]]) -> str:
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(header.split(","))
    writer.writerows([["" if cell is None else cell for cell in row] for row in rows])
    return out.getvalue()


def as_roster(academy: Academy) -> dict[str, str]:
    """The contents of academy.toml and of the roster files, by file name. Everyone may sign in as CODE@example.org."""
    hand = {"student": ("right", 250)}
    sign_in = "".join(f'"{p.code}@example.org" = "{p.code}"\n' for p in academy.people)
    return {
        "academy.toml": f'name = "The Hollow Oak academy"\ntime_zone = "{academy.time_zone}"\n\n'
        f'[device.mat]\nkind = "pressure_mat"\n\n[sign_in.people]\n{sign_in}',
        "people.csv": _csv(
            "person,role,display_name,born,handed,foot_length_mm,guardian_of,joined,left",
            [
                (p.code, p.role, f"Person {p.code}", p.born, *hand.get(p.role, ("", "")), " ".join(p.guardian_of),
                 p.joined, p.left)
                for p in academy.people
            ],
        ),
        "coaching.csv": _csv(
            "student,coach,from,to", [(c.student, c.coach, c.first, c.last) for c in academy.coaching]
        ),
        "consents.csv": _csv(
            "student,given_by,purpose,from,to",
            [(c.student, c.given_by, c.purpose, c.first, c.last) for c in academy.consents],
        ),
        "seasons.csv": _csv("season,from,to", [("2026", FIRST_DAY, LAST_DAY)]),
    }  # fmt: skip


def as_deliveries(academy: Academy) -> dict[str, str]:
    """The sessions and notes as files, by their path in one folder to load; the roster has to be loaded before.

    Each session is a folder with one note of what was seen, so it needs no device and no consent.
    """
    files = {}
    for s in academy.sessions:
        files[f"{s.code}/session.toml"] = (
            f'session = "{s.code}"\nstudent = "{s.student}"\ncoach = "{s.coach}"\n'
            f'started_at = {s.started_at.isoformat()}\nclub = "7-iron"\n'
        )
        seen = [(s.started_at.isoformat(), s.coach, "saw", "trail_push", 1)]
        files[f"{s.code}/notes.csv"] = _csv("at,author,kind,code,grade", seen)
    if academy.notes:
        files["notes.csv"] = _csv(
            "student,at,author,kind,code,grade,text,shared",
            [
                (
                    n.student,
                    n.at.isoformat(),
                    n.author,
                    n.kind,
                    n.code,
                    n.grade,
                    n.text,
                    str(n.shared).lower(),
                )
                for n in academy.notes
            ],
        )
    return files
