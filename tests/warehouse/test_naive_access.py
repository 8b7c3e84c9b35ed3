"""The plain statement of who may see and write what keeps to its words, and its random academies are real ones."""

import random
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import naive_access as naive
import random_academies as made
from command import underfoot_command
from naive_access import Academy, Coaching, Consent, Link, Note, Person, Session
from warehouse.reach import WRITINGS

LONG_AGO = date(2025, 1, 1)
ACADEMIES = st.randoms(use_true_random=False).map(made.random_academy)
cheap = settings(max_examples=6, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))


def small(**changes):
    academy = Academy(
        time_zone="Pacific/Auckland",
        people=(
            Person("h1", "head_coach", LONG_AGO), Person("c1", "coach", LONG_AGO), Person("c2", "coach", LONG_AGO),
            Person("s1", "student", LONG_AGO, born=date(2008, 2, 29)), Person("s2", "student", LONG_AGO, born=date(1990, 1, 1)),
            Person("g1", "guardian", LONG_AGO, guardian_of=("s1",)),
        ),
        coaching=(Coaching("s1", "c1", date(2026, 3, 1), date(2026, 3, 10)), Coaching("s2", "c2", date(2026, 1, 1), None)),
        consents=(Consent("s1", "s1", "share_page", date(2026, 3, 1), date(2026, 3, 10)),),
    )  # fmt: skip
    return replace(academy, **changes)


def answers(academy, on):
    """Everything that anybody in the academy may see at a time."""
    return {
        (viewer.code, subject, what)
        for viewer in academy.people
        for what, subjects in (
            *((what, academy.of_role("student")) for what in naive.ABOUT_A_STUDENT),
            *((what, academy.of_role("coach", "head_coach")) for what in naive.ABOUT_A_COACH),
            *((what, [None]) for what in naive.OF_THE_ACADEMY),
        )
        for subject in subjects
        if naive.naive_may_see(academy, viewer.code, subject, what, on)
    }


@pytest.mark.parametrize(("day", "seen"), [(1, True), (10, True), (11, False)])
def test_a_coach_sees_a_student_from_the_first_to_the_last_day_of_coaching(day, seen):
    assert naive.naive_may_see(small(), "c1", "s1", "student_page", date(2026, 3, day)) is seen
    assert not naive.naive_may_see(small(), "c1", "s1", "student_page", date(2026, 2, 28))
    assert not naive.naive_may_see(small(), "c1", "s2", "student_page", date(2026, 3, day))


def test_a_day_is_the_academys_own():
    # 11:00 UTC is midnight in Auckland's summer.
    before, after = datetime(2026, 3, 10, 10, 59, tzinfo=UTC), datetime(2026, 3, 10, 11, 0, tzinfo=UTC)
    assert naive.naive_may_see(small(), "c1", "s1", "sessions", before)
    assert not naive.naive_may_see(small(), "c1", "s1", "sessions", after)


def test_a_guardian_sees_a_page_until_the_day_before_the_ward_comes_of_age():
    assert naive.naive_may_see(small(), "g1", "s1", "progress_page", date(2026, 2, 28))
    assert not naive.naive_may_see(small(), "g1", "s1", "progress_page", date(2026, 3, 1))
    assert not naive.naive_may_see(small(), "g1", "s2", "progress_page", date(2026, 2, 28))
    assert naive.naive_comes_of_age(date(2008, 3, 1)) == date(2026, 3, 1)
    assert naive.naive_comes_of_age(date(2008, 2, 28)) == date(2026, 2, 28)


def test_a_link_opens_one_page_until_it_runs_out_is_ended_or_the_consent_is():
    made_at = datetime(2026, 3, 2, tzinfo=UTC)
    link = Link("s1", made_at, until=made_at + timedelta(days=5))
    at = made_at + timedelta(days=1)
    assert naive.naive_link_opens(small(), link, "s1", "progress_page", at)
    assert not naive.naive_link_opens(small(), link, "s1", "student_page", at)
    assert not naive.naive_link_opens(small(), link, "s2", "progress_page", at)
    assert not naive.naive_link_opens(small(), link, "s1", "progress_page", link.until)
    assert not naive.naive_link_opens(small(), replace(link, ended_at=at), "s1", "progress_page", at)
    assert not naive.naive_link_opens(small(consents=()), link, "s1", "progress_page", at)


def test_recordings_are_used_until_they_are_withdrawn_and_a_minors_films_once_somebody_agreed():
    day, on = date(2026, 2, 1), (date(2026, 3, 1), date(2026, 3, 10))
    young, grown = Session("v1", "s1", "c1", day, "c1", ("measure", "film")), small().person("s2")
    assert naive.naive_recordings(small(), young, day) == {"measure"}
    assert naive.naive_recordings(small(), young, date(2026, 3, 1)) == {"measure", "film"}  # grown up today
    assert naive.naive_recordings(small(), replace(young, student=grown.code), day) == {"measure", "film"}
    ended = small(consents=(Consent("s1", "s1", "measure", *on),), sessions=(young,))
    for n, used in ((0, False), (1, True), (10, True), (11, False)):
        at = date(2026, 3, 1) + timedelta(days=n - 1)
        assert naive.naive_in_use(ended, "s1", "measure", at) is used
        assert naive.naive_numbers_in_use(ended, "s1", on[0], at) is used
        assert naive.naive_numbers_in_use(ended, "s1", date(2026, 2, 1), at)  # without what was withheld then
    withdrawn = small(consents=(Consent("s1", "g1", "family_page", day, day),))
    assert naive.naive_may_see(withdrawn, "g1", "s1", "progress_page", day)
    assert not naive.naive_may_see(withdrawn, "g1", "s1", "progress_page", day + timedelta(days=1))
    assert naive.naive_may_see(withdrawn, "s1", "s1", "progress_page", day + timedelta(days=1))


def test_a_coach_writes_under_their_own_name_of_students_within_reach_and_over_their_own_sessions():
    academy, day = small(), date(2026, 3, 5)
    theirs = Session("v1", "s1", "c1", datetime(2026, 3, 4, 9, tzinfo=UTC), filed_by="c1")
    assert set(naive.WRITINGS + naive.FAMILY_WRITINGS) >= set(WRITINGS)  # no kind of writing without a rule
    for what in naive.WRITINGS:
        assert naive.naive_may_write(academy, "c1", what, "s1", day, under="c1")
        assert not naive.naive_may_write(academy, "c1", what, "s1", day, under="c2")
        assert not naive.naive_may_write(academy, "c1", what, "s2", day)
        assert not naive.naive_may_write(academy, "c1", what, "s1", date(2026, 3, 11))
        assert naive.naive_may_write(academy, "h1", what, "s2", day, under="c2")
        assert not any(naive.naive_may_write(academy, who, what, "s1", day) for who in ("s1", "g1", "nobody"))
    assert naive.naive_may_write(academy, "c1", "session", "s1", day, replaces=theirs)
    assert not naive.naive_may_write(
        academy, "c1", "session", "s1", day, replaces=replace(theirs, filed_by="h1")
    )
    assert not naive.naive_may_write(
        academy, "c1", "session", "s1", day, replaces=replace(theirs, student="s2")
    )
    assert naive.naive_may_write(academy, "h1", "session", "s1", day, replaces=theirs)


def test_a_family_reports_practice_of_its_own_and_sends_films_under_consent():
    academy, day = small(), date(2026, 2, 27)
    film = (Consent("s1", "g1", "film", date(2026, 2, 1), date(2026, 2, 27)),)
    for writer in ("s1", "g1"):
        assert naive.naive_may_write(academy, writer, "practice", "s1", day)
        assert naive.naive_may_write(academy, writer, "discomfort", "s1", day)
        assert not naive.naive_may_write(academy, writer, "discomfort", "s2", day)
        assert not naive.naive_may_write(academy, writer, "practice", "s2", day)
        assert not naive.naive_may_write(academy, writer, "practice", "s1", day, under="c1")
        assert not naive.naive_may_write(academy, writer, "film", "s1", day)
        assert naive.naive_may_write(small(consents=film), writer, "film", "s1", day)
    assert not naive.naive_may_write(academy, "g1", "practice", "s1", date(2026, 3, 1))  # of age
    assert not any(
        naive.naive_may_write(academy, who, what, "s1", day)
        for who in ("h1", "c1", "s2")
        for what in ("practice", "discomfort")
    )
    link = Link("s1", datetime(2026, 3, 2, tzinfo=UTC), until=datetime(2026, 3, 7, tzinfo=UTC))
    at = datetime(2026, 3, 3, tzinfo=UTC)
    assert naive.naive_link_may_write(small(), link, "practice", "s1", at)
    assert not naive.naive_link_may_write(small(), link, "film", "s1", at)
    assert not any(naive.naive_link_may_write(small(), link, what, "s1", at) for what in naive.WRITINGS)


def test_discomfort_and_free_text_are_on_the_page_only_when_shared():
    note = Note("s1", datetime(2026, 3, 4, tzinfo=UTC), "c1", "discomfort", "back", text="Since Monday.")
    assert not naive.naive_note_on_progress_page(note)
    assert naive.naive_note_on_progress_page(replace(note, shared=True))
    seen = replace(note, kind="saw", code="trail_push", grade=1)
    assert naive.naive_note_on_progress_page(seen)
    assert not naive.naive_text_on_progress_page(seen)


@cheap
@given(ACADEMIES)
def test_answers_change_on_days_of_change_only(academy):
    days = made.days_of_change(academy)
    for day, following in zip(days, [*days[1:], days[-1] + timedelta(days=50)], strict=True):
        assert answers(academy, day) == answers(academy, following - timedelta(days=1))


@cheap
@given(ACADEMIES)
def test_nobody_but_head_coaches_and_coaches_sees_more_than_progress_pages_and_the_ended_see_nothing(academy):
    for day in made.days_to_check(academy):
        seen = answers(academy, day)
        for viewer in academy.people:
            own = {(subject, what) for code, subject, what in seen if code == viewer.code}
            if naive.naive_has_ended(viewer, day):
                assert not own
            elif viewer.role == "student":
                assert own == {(viewer.code, "progress_page")}
            elif viewer.role == "guardian":
                assert own <= {(ward, "progress_page") for ward in viewer.guardian_of}
            elif viewer.role == "coach":
                assert {s for s, what in own if what in naive.ABOUT_A_COACH} == {viewer.code}
                others = set(academy.of_role("student")) - {
                    c.student for c in academy.coaching if c.coach == viewer.code
                }
                assert not others & {s for s, _ in own}


@cheap
@given(ACADEMIES)
def test_an_answer_changes_at_midnight_in_the_academys_time_zone(academy):
    for moment in made.moments_to_check(academy):
        assert answers(academy, moment) == answers(academy, naive.naive_day(academy, moment))
    assert len({naive.naive_day(academy, m) for m in made.moments_to_check(academy)}) > 1


def test_the_random_academies_have_what_the_rules_turn_on():
    found = dict.fromkeys(
        ("coach_left_while_coaching", "ward_comes_of_age", "leap_day", "gap", "one_day", "next_day", "two_coaches",
         "filed_by_another", "not_shared", "link_outlives_consent", "utc_day_differs", "ward_of_unknown_age",
         "withdrawn", "renewed", "never_agreed"), 0
    )  # fmt: skip
    for seed in range(100):
        academy = made.random_academy(random.Random(seed))
        wards = {w for p in academy.people for w in p.guardian_of}
        spans = {}
        for c in academy.coaching:
            spans.setdefault((c.student, c.coach), []).append(c)
            left = academy.person(c.coach).left
            found["coach_left_while_coaching"] += left is not None and c.last is None and c.first <= left
            found["one_day"] += c.first == c.last
        for own in spans.values():
            for before, after in pairwise(own):
                assert before.last < after.first
                found["next_day"] += after.first - before.last == timedelta(days=1)
                found["gap"] += after.first - before.last > timedelta(days=1)
        found["two_coaches"] += len(spans) > len({student for student, _ in spans})
        for ward in map(academy.person, wards):
            found["ward_of_unknown_age"] += ward.born is None
            if ward.born is None:
                continue
            found["ward_comes_of_age"] += (
                made.FIRST_DAY < naive.naive_comes_of_age(ward.born) <= made.LAST_DAY
            )
            found["leap_day"] += (ward.born.month, ward.born.day) == (2, 29)
        for session in academy.sessions:
            for how in session.recorded:
                days = made.days_to_check(academy)
                used = [naive.naive_in_use(academy, session.student, how, day) for day in days]
                turns = [after for before, after in pairwise(used) if before != after]
                found["withdrawn"] += False in turns
                found["renewed"] += turns[-1:] == [True] and False in turns
                found["never_agreed"] += not any(used)
        found["filed_by_another"] += any(s.filed_by != s.coach for s in academy.sessions)
        found["not_shared"] += any(n.text and not n.shared for n in academy.notes)
        found["utc_day_differs"] += any(
            s.started_at.astimezone(UTC).date() != s.started_at.date() for s in academy.sessions
        )
        for link in academy.links:
            opens = [
                naive.naive_link_opens(academy, link, link.student, "progress_page", at)
                for at in (link.made_at, link.until - timedelta(seconds=1))
            ]
            found["link_outlives_consent"] += opens == [True, False] and link.ended_at is None
    assert min(found.values()) > 3, found


def test_a_random_academy_loads_as_a_roster_with_its_sessions_and_notes(tmp_path):
    academy = made.random_academy(random.Random(1))
    home, roster, drop = (tmp_path / name for name in ("home", "roster", "drop"))
    for folder in (home, roster, drop):
        folder.mkdir()
    files = made.as_roster(academy)
    (home / "academy.toml").write_text(files.pop("academy.toml"))
    for folder, contents in ((roster, files), (drop, made.as_deliveries(academy))):
        for name, text in contents.items():
            (folder / name).parent.mkdir(exist_ok=True)
            (folder / name).write_text(text)
        ran = underfoot_command("load", folder, "--home", home)
        assert ran.returncode == 0, ran.stdout + ran.stderr
    count = (
        "SELECT (SELECT count(*) FROM academy.person) AS people, (SELECT count(*) FROM academy.coaching) AS coaching, "
        "(SELECT count(*) FROM academy.consent) AS consents, (SELECT count(*) FROM academy.session) AS sessions"
    )
    ran = underfoot_command("sql", count, "--format", "csv", "--home", home)
    wanted = [len(x) for x in (academy.people, academy.coaching, academy.consents, academy.sessions)]
    assert ran.stdout.splitlines()[1] == ",".join(map(str, wanted))
