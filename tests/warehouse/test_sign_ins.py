"""Sign-ins live in the home: each ends for good, and no copy of its cookie opens anything afterwards."""

import sqlite3
import stat
import threading
from datetime import UTC, datetime, timedelta

import pytest

import builders
from warehouse import sign_ins
from warehouse.backup import back_up, restore
from warehouse.errors import UnderfootError
from warehouse.home import Home
from warehouse.settings import parse_settings
from warehouse.sign_in_settings import SignInSettings, fold
from warehouse.store import writer

NOW = 1_790_000_000.0
HEAD = 'name = "A"\ntime_zone = "America/New_York"\n[sign_in]\n'


@pytest.fixture
def clock(monkeypatch):
    """The time of day, to be moved: clock.now."""

    class Clock:
        now = NOW

    monkeypatch.setattr(sign_ins, "now", lambda: Clock.now)
    return Clock


def claims(**changes):
    return {"iss": "https://id.example.org", "sub": "7", "aud": "a", "iat": NOW, "nonce": "n1"} | changes


def is_open(home, person="c1", role="coach", **changes):
    return sign_ins.is_open(home, claims(**changes), person, role)


def test_a_sign_in_is_opened_by_its_first_page_and_stays_open(home, clock):
    assert is_open(home)
    clock.now += sign_ins.LONGEST.total_seconds()
    assert is_open(home)
    clock.now += 1
    assert not is_open(home)
    clock.now -= 100
    assert not is_open(home)  # it has ended, whatever the clock says later
    assert rows(home) == [(clock.now + 100, "too_old")]


@pytest.mark.parametrize(
    ("late", "opens"), [(0, True), (600, True), (601, False), (-600, True), (-601, False)]
)
def test_a_cookie_that_the_home_does_not_know_opens_only_what_was_issued_just_now(home, clock, late, opens):
    clock.now = NOW + late
    assert is_open(home) is opens


@pytest.mark.parametrize("issued", [None, "1790000000", True])
def test_a_sign_in_without_its_time_opens_nothing(home, clock, issued):
    assert not is_open(home, iat=issued)


def test_signing_out_ends_this_sign_in_for_good_and_no_other(home, clock):
    assert is_open(home)
    assert is_open(home, nonce="n2")
    sign_ins.end(home, claims())
    assert not is_open(home)
    assert is_open(home, nonce="n2")


def test_signing_out_before_any_page_ends_it_too(home, clock):
    sign_ins.end(home, claims())
    assert not is_open(home)


def test_losing_access_ends_what_was_open_and_leaves_the_rest_to_be_let_in(home, clock):
    assert is_open(home)
    for nonce in ("n1", "n2"):
        sign_ins.end_opened(home, claims(nonce=nonce), "not named")
    assert not is_open(home)
    assert rows(home) == [(NOW, "not named")]
    assert is_open(home, nonce="n2")


@pytest.mark.parametrize(("person", "role"), [("c1", "head_coach"), ("c2", "coach")])
def test_another_role_or_person_ends_it_even_when_it_is_changed_back(home, clock, person, role):
    assert is_open(home)
    assert not is_open(home, person, role)
    assert not is_open(home)
    assert rows(home) == [(NOW, "another_role")]


@pytest.mark.parametrize("part", ["iss", "sub", "aud", "sid", "iat", "nonce", "jti"])
def test_sign_ins_differ_by_every_part_that_tells_them_apart(home, clock, part):
    assert is_open(home)
    sign_ins.end(home, claims())
    assert is_open(home, **{part: NOW + 1 if part == "iat" else "other"})


def test_an_ended_sign_in_is_remembered_until_no_cookie_of_it_can_be_good(home, clock):
    is_open(home)
    sign_ins.end(home, claims())
    clock.now += sign_ins.KEPT.total_seconds()
    assert is_open(home, iat=clock.now, nonce="n2")
    assert len(rows(home)) == 2
    clock.now += 1
    assert is_open(home, iat=clock.now, nonce="n3")
    assert [ended for ended, _ in rows(home)] == [None, None]
    assert not is_open(home)


def rows(home):
    with sqlite3.connect(home.sign_ins) as table:
        return table.execute("SELECT ended, why FROM sign_in ORDER BY issued").fetchall()


def test_the_first_end_is_the_one_that_is_kept(home, clock):
    is_open(home)
    sign_ins.end(home, claims())
    clock.now += 5
    sign_ins.end(home, claims(), "too_old")
    assert rows(home) == [(NOW, "signed_out")]


def test_the_file_is_its_owners_alone_and_a_damaged_one_lets_nobody_in(home, clock):
    is_open(home)
    assert stat.S_IMODE(home.sign_ins.stat().st_mode) == 0o600
    home.sign_ins.write_bytes(b"no database" * 100)
    with pytest.raises(UnderfootError, match="can't be read or written"):
        is_open(home)


def test_many_first_pages_at_once_open_one_sign_in(home, clock):
    found = []
    threads = [threading.Thread(target=lambda: found.append(is_open(home))) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert found == [True] * 8
    assert len(rows(home)) == 1


def test_a_backup_holds_no_sign_ins(home, clock, tmp_path):
    with writer(home) as w:
        builders.fill(w)
        w.publish()
    is_open(home)
    back_up(home, tmp_path / "b.zip", b"a secret")
    restored = Home(tmp_path / "restored")
    restore(restored, tmp_path / "b.zip", b"a secret")
    assert restored.settings_file.exists()
    assert not restored.sign_ins.exists()


@pytest.mark.parametrize(
    ("line", "moment"),
    [
        ("2026-05-01T08:00:00Z", "2026-05-01T08:00:00+00:00"), ('"2026-05-01T08:00:00Z"', "2026-05-01T08:00:00+00:00"),
        ("2026-05-01T08:00:00+02:00", "2026-05-01T06:00:00+00:00"), ('" 2026-05-01 "', "2026-05-01T04:00:00+00:00"),
        ("2026-05-01", "2026-05-01T04:00:00+00:00"), ("2026-05-01T08:00:00", "2026-05-01T12:00:00+00:00"),
        ('"2026-05-01 08:00"', "2026-05-01T12:00:00+00:00"),
    ],
)  # fmt: skip
def test_the_moment_that_ends_older_sign_ins_is_understood_as_time_day_or_text(line, moment):
    found = parse_settings(f"{HEAD}revoked_before = {line}\n".encode()).sign_in
    assert found.revoked_before == datetime.fromisoformat(moment)
    at = found.revoked_before.timestamp()
    assert sign_ins.is_revoked({"iat": at - 1}, found)
    assert not sign_ins.is_revoked({"iat": at}, found)
    assert sign_ins.is_revoked({}, found)


def test_nothing_is_revoked_where_nothing_says_so():
    assert not sign_ins.is_revoked({}, SignInSettings())


@pytest.mark.parametrize(
    ("lines", "said"),
    [
        ('revoked_before = "soon"', "revoked_before = 'soon' is not a time"), ("revoked_before = 1790000000", "is not a time"),
        ("revoked_before = 08:00:00", "is not a time"), ("revoked_before = true", "is not a time"),
        ("revoked_before = 0001-01-01T00:00:00+14:00", "academy.toml"),
        ("revoked_befor = 2026-05-01", 'unknown line "revoked_befor"'), ('people = "x"', "is not an e-mail address"),
        ('[sign_in.people]\n"a@example.org" = 7', "is not an e-mail address and its person"),
        ('[sign_in.people]\ncoach = "c1"', "is not an e-mail address"),
        ('[sign_in.people]\n"A@example.org" = "c1"\n"a@EXAMPLE.org" = "c2"', "names a@example.org twice"),
    ],
)  # fmt: skip
def test_what_is_not_understood_is_refused_and_never_passed_over(lines, said):
    with pytest.raises(UnderfootError, match=said.replace("[", r"\[")):
        parse_settings(f"{HEAD}{lines}\n".encode())
    parse_settings(f"{HEAD}{lines}\n".encode(), past=True)  # what was in force once can't be changed


def test_each_address_that_is_named_is_its_persons():
    lines = '[sign_in.people]\n"A@example.org" = "c1"\n"b@example.org" = "c2"\n"c@example.org" = "c2"\n'
    found = parse_settings(f"{HEAD}{lines}".encode()).sign_in
    assert found.people == {"a@example.org": "c1", "b@example.org": "c2", "c@example.org": "c2"}
    assert found.revoked_before is None


def test_sign_in_that_is_no_table_is_refused():
    with pytest.raises(UnderfootError, match="write it as"):
        parse_settings(b'name = "A"\ntime_zone = "UTC"\nsign_in = 3\n')


@pytest.mark.parametrize(
    ("given", "folded"),
    [
        (" Coach.AZ@Example.ORG\n", "coach.az@example.org"), ("\u212aim@x.org", "\u212aim@x.org"),
        ("\u0130x@x.org", "\u0130x@x.org"), ("\u00c4@x.org", "\u00c4@x.org"), ("@[`{", "@[`{"),
    ],
)  # fmt: skip
def test_addresses_are_folded_by_a_to_z_alone(given, folded):
    assert fold(given) == folded


def test_a_sign_in_lasts_as_long_as_a_cookie_and_is_remembered_longer():
    assert (timedelta(days=30), timedelta(days=32)) == (sign_ins.LONGEST, sign_ins.KEPT)
    assert datetime.fromtimestamp(sign_ins.now(), UTC) - datetime.now(UTC) < timedelta(seconds=5)
