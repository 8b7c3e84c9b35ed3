"""Invitations and the browsers they let in: each works once, in time, for one person, until it is ended."""

import sqlite3
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta

import pytest

from warehouse import browsers, links, sign_ins
from warehouse.errors import AccessError


class Clock:
    now = 1_800_000_000.0


@pytest.fixture
def clock(monkeypatch):
    Clock.now = 1_800_000_000.0
    monkeypatch.setattr(browsers, "now", lambda: Clock.now)
    return Clock


def key_of(home, secret):
    return browsers.find(home, secret).key


def test_an_invitation_lets_one_browser_in_and_no_second(home, clock):
    token = browsers.invite(home, "c01", made_by="h01")
    secret = browsers.let_in(home, token, "a phone")
    found = browsers.find(home, secret)
    assert (found.person, found.role, found.device, found.on_this_machine) == ("c01", None, "a phone", False)
    assert found.opened == found.seen == clock.now
    for _ in range(2):
        with pytest.raises(AccessError, match="already been used"):
            browsers.let_in(home, token, "another")
    assert len(browsers.open_browsers(home)) == 1
    browsers.withdraw(home, found_by(home, "name", "invitation")[0][0])
    with pytest.raises(AccessError, match="already been used"):
        browsers.read(home, token)


def found_by(home, columns, table):
    with sqlite3.connect(home.sign_ins) as kept:
        return kept.execute(f"SELECT {columns} FROM {table} ORDER BY rowid").fetchall()


def test_an_invitation_is_good_for_three_days_the_printed_one_for_ten_minutes(home, clock):
    assert browsers.read(home, browsers.invite(home, "c01")).until == clock.now + 3 * 86_400
    assert timedelta(minutes=10) == browsers.START_GOOD


def test_an_invitation_is_forgotten_once_no_browser_of_it_can_be_open(home, clock):
    browsers.invite(home, "c01")
    clock.now += 3 * 86_400 + sign_ins.KEPT.total_seconds()
    browsers.invite(home, "c02")
    assert found_by(home, "person", "invitation") == [("c01",), ("c02",)]
    clock.now += 1
    browsers.invite(home, "c02")
    assert found_by(home, "person", "invitation") == [("c02",), ("c02",)]


def test_the_first_end_of_a_browser_and_its_reason_are_kept(home, clock, monkeypatch):
    monkeypatch.setattr(sign_ins, "now", lambda: clock.now)
    start = clock.now
    one, two, three = (browsers.let_in(home, browsers.invite(home, "c01"), "") for _ in range(3))
    browsers.end(home, key_of(home, one))
    assert not browsers.is_open(home, key_of(home, two), "c02", "coach")
    clock.now += sign_ins.LONGEST.total_seconds() + 1
    browsers.end(home, browsers._hash(one), "again")
    assert browsers.find(home, three) is None
    assert found_by(home, "ended, why", "browser") == [
        (start, "signed_out"), (start, "another_role"), (clock.now, "too_old"),
    ]  # fmt: skip
    assert not browsers.is_open(home, "unknown", "c01", "coach")


def test_of_many_browsers_at_the_same_moment_one_gets_in(home):
    token = browsers.invite(home, "c01")

    def attempt(n):
        try:
            return browsers.let_in(home, token, str(n))
        except AccessError:
            return None

    with ThreadPoolExecutor(8) as pool:
        secrets = [s for s in pool.map(attempt, range(8)) if s]
    assert len(secrets) == 1
    assert len(browsers.open_browsers(home)) == 1


def test_what_becomes_of_an_invitation_between_reading_and_using_it_counts(home, clock, monkeypatch):
    used, withdrawn, over = (browsers.invite(home, "c01", timedelta(days=7)) for _ in range(3))
    as_read = {token: browsers.read(home, token) for token in (used, withdrawn, over)}
    monkeypatch.setattr(browsers, "read", lambda _, token: as_read[token])
    browsers.let_in(home, used, "the faster one")
    browsers.withdraw(home, as_read[withdrawn].name)
    for token in (used, withdrawn):
        with pytest.raises(AccessError):
            browsers.let_in(home, token, "")
    clock.now += timedelta(days=7).total_seconds() + 1
    with pytest.raises(AccessError):
        browsers.let_in(home, over, "")
    assert [b.device for b in browsers.open_browsers(home)] == ["the faster one"]


def test_an_invitation_runs_out_and_the_printed_one_soon(home, clock):
    week = browsers.invite(home, "c01", timedelta(days=7))
    printed = browsers.invite(home, None, browsers.START_GOOD, on_this_machine=True)
    clock.now += browsers.START_GOOD.total_seconds() + 1
    with pytest.raises(AccessError, match="expired"):
        browsers.let_in(home, printed, "")
    clock.now += timedelta(days=7).total_seconds()
    with pytest.raises(AccessError, match="expired"):
        browsers.read(home, week)


def test_open_invitations_are_listed_to_their_last_moment_the_newest_first_and_the_printed_one_never(
    home, clock
):
    first = browsers.read(home, browsers.invite(home, "c01", timedelta(days=2), made_by="h01"))
    browsers.invite(home, None, on_this_machine=True)
    clock.now += 1
    token = browsers.invite(home, "c02", timedelta(days=1))
    second = browsers.read(home, token)
    assert browsers.open_invitations(home) == [second, first]
    clock.now = second.until
    assert browsers.open_invitations(home) == [second, first]
    assert browsers.read(home, token) == second
    clock.now += 1
    assert browsers.open_invitations(home) == [first]
    browsers.withdraw(home, first.name)
    assert browsers.open_invitations(home) == []
    assert browsers.let_in(home, browsers.invite(home, "c02"), "a phone")
    assert browsers.open_invitations(home) == []


def test_an_invitation_opens_to_its_last_moment(home, clock):
    token = browsers.invite(home, "c01", timedelta(days=2))
    clock.now = browsers.read(home, token).until
    assert browsers.find(home, browsers.let_in(home, token, "a phone")).person == "c01"


def test_a_withdrawn_changed_or_foreign_invitation_is_not_good(home, clock, tmp_path):
    token = browsers.invite(home, "c01")
    withdrawn = browsers.open_invitations(home)[0].name
    another = browsers.invite(home, "c02")
    browsers.withdraw(home, withdrawn)
    other = type(home)(tmp_path / "other")
    other.make_folders()
    for bad in (
        token,
        "x" + token,
        token[:-2],
        "",
        browsers.invite(other, "c01"),
        links.signed(home, "progress page", "x"),
    ):
        with pytest.raises(AccessError, match="not valid"):
            browsers.let_in(home, bad, "")
    assert browsers.open_browsers(home) == []
    assert browsers.let_in(home, another, "")


def test_a_browser_ends_for_good_wherever_its_secret_was_copied_to(home, clock):
    secret = browsers.let_in(home, browsers.invite(home, "c01"), "")
    browsers.let_in(home, browsers.invite(home, "c02"), "")
    browsers.end(home, key_of(home, secret))
    assert browsers.find(home, secret) is None
    assert [b.person for b in browsers.open_browsers(home)] == ["c02"]


def test_when_a_browser_was_last_seen_is_kept_to_the_minute_and_the_last_seen_comes_first(home, clock):
    first, second = (
        browsers.let_in(home, browsers.invite(home, "c01"), name) for name in ("first", "second")
    )
    for later, seen in ((60, [0, 0]), (61, [61, 0]), (100, [61, 0])):
        clock.now = 1_800_000_000.0 + later
        browsers.find(home, first)
        assert [b.seen - 1_800_000_000.0 for b in browsers.open_browsers(home)] == seen
    assert browsers.open_browsers(home)[0].device == "first"
    clock.now += 1
    browsers.find(home, second)
    assert [b.device for b in browsers.open_browsers(home)] == ["second", "first"]


def test_a_browser_is_let_in_for_thirty_days(home, clock):
    secret = browsers.let_in(home, browsers.invite(home, "c01"), "")
    clock.now += sign_ins.LONGEST.total_seconds()
    assert browsers.find(home, secret) is not None
    assert len(browsers.open_browsers(home)) == 1
    clock.now += 1
    assert browsers.open_browsers(home) == []
    assert browsers.find(home, secret) is None
    clock.now -= 10
    assert browsers.find(home, secret) is None


@pytest.mark.parametrize("later", [("c01", "head_coach"), ("c02", "coach")])
def test_another_person_or_role_ends_a_browser(home, clock, later):
    key = key_of(home, browsers.let_in(home, browsers.invite(home, "c01"), ""))
    assert browsers.is_open(home, key, "c01", "coach")
    assert not browsers.is_open(home, key, *later)
    assert not browsers.is_open(home, key, "c01", "coach")


def test_an_invitation_for_one_person_never_opens_for_another(home, clock):
    key = key_of(home, browsers.let_in(home, browsers.invite(home, "c01"), ""))
    assert not browsers.is_open(home, key, "h01", "head_coach")


def test_the_printed_one_is_settled_by_its_first_page(home, clock):
    token = browsers.invite(home, None, browsers.START_GOOD, on_this_machine=True)
    key = key_of(home, browsers.let_in(home, token, ""))
    assert browsers.is_open(home, key, "h01", "head_coach")
    assert not browsers.is_open(home, key, "c01", "coach")


def test_what_is_kept_holds_neither_secret_nor_token(home):
    token = browsers.invite(home, "c01")
    secret = browsers.let_in(home, token, "")
    kept = home.sign_ins.read_bytes()
    assert secret.encode() not in kept
    assert token.encode() not in kept


def test_nothing_of_a_forgotten_person_is_left(home):
    for person in ("student-x", "c01"):
        browsers.let_in(home, browsers.invite(home, person, made_by="c01"), "")
    browsers.invite(home, "c02", made_by="student-x")
    sign_ins.remove(home, {"student-x"})
    assert [b.person for b in browsers.open_browsers(home)] == ["c01"]
    assert b"student-x" not in home.sign_ins.read_bytes()
    assert [i.person for i in browsers.open_invitations(home)] == ["c02"]
