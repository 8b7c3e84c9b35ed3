"""The access log: a line that is missing, changed or moved shows, and what is taken out on purpose is said."""

import hmac
import json
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta

import pytest

from warehouse import access_log
from warehouse.errors import UnderfootError


def wrote(home, count=6):
    for n in range(count):
        access_log.write(home, {"viewer": "c1", "page": "Student", "student": f"s{n}", "outcome": "opened"})
    return home.access_log.read_text("utf-8").splitlines(keepends=True)


def test_a_whole_log_is_followed_from_its_first_line_to_its_last(home):
    assert access_log.check(home) == 0
    wrote(home)
    assert access_log.check(home) == 6
    assert [line["student"] for line in access_log.lines(home)] == [f"s{n}" for n in range(6)]
    assert home.access_log.stat().st_mode & 0o777 == 0o600


def test_each_line_has_its_number_and_the_hmac_of_itself_and_the_chain_before_under_the_homes_key(home):
    chain = ""
    for number, text in enumerate(wrote(home), start=1):
        line = json.loads(text)
        said = line.pop("chain")
        words = chain + json.dumps(line, sort_keys=True)
        chain = hmac.new((home.path / access_log.KEY).read_bytes(), words.encode(), "sha256").hexdigest()
        assert (line["n"], said) == (number, chain)


@pytest.mark.parametrize("place", range(6))
def test_a_missing_line_shows(home, place):
    text = wrote(home)
    home.access_log.write_text("".join(text[:place] + text[place + 1 :]))
    with pytest.raises(UnderfootError, match=r"a line is missing|lines were written"):
        access_log.check(home)


@pytest.mark.parametrize("place", range(6))
def test_a_changed_line_shows(home, place):
    text = wrote(home)
    text[place] = text[place].replace('"c1"', '"c2"')
    home.access_log.write_text("".join(text))
    with pytest.raises(UnderfootError, match=f"changed at line {place + 1}"):
        access_log.check(home)


def test_a_moved_line_a_removed_log_and_one_without_a_chain_show(home):
    text = wrote(home)
    plain = json.dumps({"viewer": "c1"}) + "\n"
    for changed in ([text[1], text[0], *text[2:]], [], [*text, plain], text[3:], [*text, text[-1]]):
        home.access_log.write_text("".join(changed))
        with pytest.raises(UnderfootError):
            access_log.check(home)
    home.access_log.unlink()
    with pytest.raises(UnderfootError, match="6 lines were written"):
        access_log.check(home)


def test_lines_from_before_there_was_a_chain_are_kept(home):
    home.access_log.write_text('{"viewer": "h1", "outcome": "opened"}\n')
    assert [json.loads(line).get("n") for line in wrote(home)] == [None, 1, 2, 3, 4, 5, 6]
    assert access_log.check(home) == 7
    assert next(access_log.lines(home))["viewer"] == "h1"


def test_many_at_once_leave_one_chain(home):
    with ThreadPoolExecutor(8) as pool:
        list(pool.map(lambda n: access_log.write(home, {"viewer": f"v{n}"}), range(60)))
    assert access_log.check(home) == 60
    assert len({line["viewer"] for line in access_log.lines(home)}) == 60


def test_lines_past_their_time_go_and_the_log_says_so(home, monkeypatch):
    wrote(home, 3)
    with home.settings_file.open("a") as settings:
        settings.write("\n[retention]\naccess_log_days = 30\n")
    assert access_log.shorten(home) == 0

    class Later(datetime):
        @classmethod
        def now(cls, tz=None):
            return datetime.now(UTC) + timedelta(days=31)

    monkeypatch.setattr(access_log, "datetime", Later)
    access_log.write(home, {"viewer": "c2"})
    assert access_log.shorten(home) == 3
    found = list(access_log.lines(home))
    assert len(found) == 2
    assert found[0]["viewer"] == "c2"
    assert found[1].pop("at")
    assert found[1] == {
        "viewer": None, "role": None, "page": None, "student": None, "outcome": "rewritten", "lines": 3,
        "why": "past its time",
    }  # fmt: skip
    assert access_log.check(home) == 2


def test_where_somebody_came_from_is_written_where_it_is_known(home):
    token = access_log.came_from.set("192.0.2.7")
    access_log.write(home, {"viewer": "c1"})
    access_log.came_from.reset(token)
    access_log.write(home, {"viewer": "c1"})
    assert [line.get("from") for line in access_log.lines(home)] == ["192.0.2.7", None]
