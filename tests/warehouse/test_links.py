"""Links to a progress page: good for one student, for a while, until they are ended or consent is."""

import base64
import hmac
import json
import stat
from datetime import UTC, date, datetime, timedelta

import polars as pl
import pytest

import builders
from command import underfoot_command
from dashboard.queries import people, sessions
from warehouse import links
from warehouse.access import open_by_link, open_reader
from warehouse.errors import AccessError, CallError
from warehouse.store import writer

NOW = datetime(2026, 5, 10, 12, tzinfo=UTC)


def consent(home, *students, first="2026-01-01", last=None):
    frame = pl.DataFrame(
        {
            "student": students,
            "given_by": students,
            "purpose": "share_page",
            "from": date.fromisoformat(first),
            "to": last and date.fromisoformat(last),
        }
    )
    with writer(home) as w:
        for student in students:
            w.execute("DELETE FROM academy.consent WHERE student = ?", [student])
        w.append("academy.consent", frame)
        w.publish()


@pytest.fixture
def academy(filled):
    consent(filled, "s1", "s2")
    return filled


def test_a_link_opens_its_students_page_and_reaches_nobody_else(academy):
    reader = open_by_link(academy, links.make_link(academy, "s2", 30, now=NOW), now=NOW)
    assert reader.students == ["s2"]
    assert reader.viewer.role == "student"
    assert set(reader.sql("SELECT student FROM session").to_series()) == {"s2"}
    with pytest.raises(AccessError):
        reader.opened("Progress page", "s1")


@pytest.mark.parametrize("role", ["student", "coach", "head_coach", "guardian"])
def test_whatever_they_become_a_link_opens_their_own_page_and_nothing_more(academy, role):
    token = links.make_link(academy, "s2", 30, now=NOW)
    with writer(academy) as w:
        w.execute("UPDATE academy.person SET role = ?, guardian_of = ['s1'] WHERE person = 's2'", [role])
        w.execute(
            "INSERT INTO academy.coaching BY NAME SELECT 's1' AS student, 's2' AS coach, DATE '2026-01-01' AS \"from\""
        )
        w.publish()
    reader = open_by_link(academy, token, now=NOW)
    assert (reader.viewer.role, reader.students) == ("student", ["s2"])
    assert list(people.students(reader)["student"]) == ["s2"]
    assert reader.sql("SELECT 1 FROM data_health").is_empty()


def test_what_hurts_is_on_a_linked_page_only_when_it_is_shared_and_holds_drills_back_all_the_same(academy):
    token = links.make_link(academy, "s2", 30, now=NOW)
    with writer(academy) as w:
        for note, shared in (("kept", False), ("told", True)):
            w.append(
                "academy.note", builders.note_frame(note, "s2", shared=shared, kind="discomfort", code="knee")
            )
        w.publish()
    linked, own = open_by_link(academy, token, now=NOW), open_reader(academy, "s2", today=NOW.date())
    query = "SELECT note FROM note ORDER BY note"
    assert list(linked.sql(query)["note"]) == ["open-s2", "told"]
    assert list(own.sql(query)["note"]) == ["kept", "open-s2", "told"]
    assert len(sessions.open_discomfort(linked, "s2")) == 1
    with writer(academy) as w:
        w.execute("DELETE FROM academy.note WHERE note = 'told'")
        w.publish()
    linked = open_by_link(academy, token, now=NOW)
    assert sessions.open_discomfort(linked, "s2").is_empty()
    assert linked.something_hurts("s2")
    with writer(academy) as w:
        w.append(
            "academy.note",
            builders.note_frame("over", "s2", shared=False, kind="discomfort_over", code="knee"),
        )
        w.publish()
    assert not open_by_link(academy, token, now=NOW).something_hurts("s2")


def test_an_ended_link_ends_the_page_that_is_open(academy):
    reader = open_by_link(academy, links.make_link(academy, "s2", 30))
    assert reader.anew().students == ["s2"]
    links.end_links(academy, "s2")
    with pytest.raises(AccessError, match="has ended"):
        reader.anew()


def test_a_link_runs_out(academy):
    token = links.make_link(academy, "s1", 7, now=NOW)
    assert open_by_link(academy, token, now=NOW + timedelta(days=6)).students == ["s1"]
    with pytest.raises(AccessError, match="has ended"):
        open_by_link(academy, token, now=NOW + timedelta(days=7))


def test_ended_links_are_dead_at_once_and_newer_ones_live(academy):
    old, other = links.make_link(academy, "s1", 30, now=NOW), links.make_link(academy, "s2", 30, now=NOW)
    links.end_links(academy, "s1", now=NOW + timedelta(minutes=1))
    with pytest.raises(AccessError, match="has ended"):
        open_by_link(academy, old, now=NOW + timedelta(minutes=2))
    assert open_by_link(academy, other, now=NOW + timedelta(minutes=2)).students == ["s2"]
    new = links.make_link(academy, "s1", 30, now=NOW + timedelta(minutes=3))
    assert open_by_link(academy, new, now=NOW + timedelta(minutes=4)).students == ["s1"]


def test_a_link_that_was_changed_or_made_elsewhere_is_not_good(academy, tmp_path):
    token = links.make_link(academy, "s1", 30, now=NOW)
    body, signature = token.split(".")
    told = json.loads(base64.urlsafe_b64decode(body + "=" * (-len(body) % 4)))
    forged = base64.urlsafe_b64encode(json.dumps(told | {"s": "s2"}).encode()).decode().rstrip("=")
    last = "A" if signature[-2] != "A" else "B"
    for bad in (
        "",
        ".",
        token + "x",
        f"{forged}.{signature}",
        f"{body}.{signature[:-2]}{last}{signature[-1]}",
        body,
        "é.ü",
    ):
        with pytest.raises(AccessError, match="This link is not valid"):
            open_by_link(academy, bad, now=NOW)
    (academy.path / links.KEY).write_bytes(b"k" * 32)
    with pytest.raises(AccessError, match="This link is not valid"):
        open_by_link(academy, token, now=NOW)
    (academy.path / links.KEY).unlink()
    with pytest.raises(AccessError, match="This link is not valid"):
        open_by_link(academy, token, now=NOW)
    assert not (academy.path / links.KEY).exists()  # a guess makes no key


def test_a_link_is_signed_by_hmac_sha256_under_the_homes_key_for_this_use_alone(academy):
    body, signature = links.make_link(academy, "s1", 30, now=NOW).split(".")
    own = hmac.digest((academy.path / links.KEY).read_bytes(), b"progress page", "sha256")
    expected = base64.urlsafe_b64encode(hmac.digest(own, body.encode(), "sha256")).decode()
    assert signature == expected.rstrip("=")


def test_without_consent_there_is_no_link_and_withdrawing_it_ends_those_there_are(academy):
    with pytest.raises(CallError, match="No consent to share_page covers s3"):
        links.make_link(academy, "s3", 30, now=NOW)
    token = links.make_link(academy, "s2", 30, now=NOW)
    consent(academy, "s2", last="2026-05-09")
    with pytest.raises(AccessError, match="not shared by link"):
        open_by_link(academy, token, now=NOW)


def test_openings_and_refusals_by_link_are_in_the_access_log(academy):
    token = links.make_link(academy, "s2", 30, now=NOW)
    open_by_link(academy, token, now=NOW).opened("Progress page", "s2")
    with pytest.raises(AccessError):
        open_by_link(academy, "x.y", now=NOW)
    opened, refused = map(json.loads, academy.access_log.read_text("utf-8").splitlines())
    assert opened["student"] == "s2"
    assert len(opened["link"]) == 8
    assert (refused["role"], refused["outcome"]) == ("link", "refused")
    assert token not in academy.access_log.read_text("utf-8")


def test_the_key_is_its_owners_alone(academy):
    links.make_link(academy, "s1", 30, now=NOW)
    assert stat.S_IMODE((academy.path / links.KEY).stat().st_mode) == 0o600


@pytest.mark.parametrize(
    ("student", "days", "said"),
    [
        ("s1", 0, "1 to 400 days"),
        ("s1", 401, "1 to 400 days, not 401"),
        ("c1", 5, "c1 is no student"),
        ("x", 5, "x is no student"),
    ],
)
def test_a_link_that_cannot_be_made_is_refused_in_one_sentence(academy, student, days, said):
    with pytest.raises(CallError, match=said):
        links.make_link(academy, student, days, now=NOW)


@pytest.mark.parametrize(
    ("first", "last", "opens"),
    [("2026-05-10", "2026-05-10", True), ("2026-05-11", None, False), ("2026-01-01", "2026-05-09", False)],
)
def test_a_link_opens_on_the_first_and_the_last_day_of_the_consent(academy, first, last, opens):
    token = links.make_link(academy, "s1", 30, now=NOW)
    consent(academy, "s1", first=first, last=last)
    if opens:
        assert open_by_link(academy, token, now=NOW).students == ["s1"]
    else:
        with pytest.raises(AccessError, match="not shared by link"):
            open_by_link(academy, token, now=NOW)


@pytest.mark.parametrize(("last", "opens"), [("2026-05-10", True), ("2026-05-09", False)])
def test_a_link_opens_to_the_last_day_on_which_the_family_may_have_the_page(academy, last, opens):
    token = links.make_link(academy, "s1", 9, now=NOW)
    with writer(academy) as w:
        w.execute(
            "INSERT INTO academy.consent VALUES ('s1', 's1', 'family_page', '2026-01-01', CAST(? AS DATE))",
            [last],
        )
        w.publish()
    if opens:
        assert open_by_link(academy, token, now=NOW).students == ["s1"]
    else:
        with pytest.raises(AccessError, match="not shared by link"):
            open_by_link(academy, token, now=NOW)
        with pytest.raises(CallError, match="No consent to share_page"):
            links.make_link(academy, "s1", 9, now=NOW)


@pytest.mark.parametrize(("last", "made"), [("2026-05-10", True), ("2026-05-09", False)])
def test_a_link_is_made_to_a_students_last_day(academy, last, made):
    with writer(academy) as w:
        w.execute("UPDATE academy.person SET \"left\" = CAST(? AS DATE) WHERE person = 's1'", [last])
        w.publish()
    if made:
        assert open_by_link(academy, links.make_link(academy, "s1", 9, now=NOW), now=NOW).students == ["s1"]
    else:
        with pytest.raises(CallError, match="no student of the academy today"):
            links.make_link(academy, "s1", 9, now=NOW)


def test_a_link_made_at_the_moment_that_ends_them_is_ended(academy):
    token = links.make_link(academy, "s1", 30, now=NOW)
    links.end_links(academy, "s1", now=NOW)
    with pytest.raises(AccessError, match="has ended"):
        open_by_link(academy, token, now=NOW)


@pytest.mark.parametrize("days", [1, 400])
def test_the_shortest_and_the_longest_link_can_be_made(academy, days):
    assert open_by_link(academy, links.make_link(academy, "s1", days, now=NOW), now=NOW).students == ["s1"]


def test_the_command_makes_and_ends_links(academy):
    made = underfoot_command("page", "s1", "--link", "30", "--home", academy.path)
    assert made.returncode == 0, made.stderr
    token = made.stdout.splitlines()[0].split("link=")[1]
    assert open_by_link(academy, token).students == ["s1"]
    assert underfoot_command("page", "s1", "--end-links", "--home", academy.path).returncode == 0
    with pytest.raises(AccessError, match="has ended"):
        open_by_link(academy, token)
