"""Consents by their first and last days, and what a build that begins now leaves out."""

from dataclasses import replace
from datetime import date

import pytest

from warehouse import consent
from warehouse.store import writer

DAY = date(2026, 5, 10)
FIRST, LAST = date(2026, 5, 1), date(2026, 5, 31)
ENDED = (date(2026, 1, 1), date(2026, 5, 9))


@pytest.mark.parametrize(
    ("spans", "day", "holds", "until"),
    [
        ([(FIRST, LAST)], date(2026, 4, 30), False, date(2026, 4, 29)), ([(FIRST, LAST)], FIRST, True, LAST),
        ([(FIRST, LAST)], LAST, True, LAST), ([(FIRST, LAST)], date(2026, 6, 1), False, LAST),
        ([(FIRST, None)], FIRST, True, date.max), ([(FIRST, None)], date(2026, 4, 30), False, date(2026, 4, 29)),
        ([ENDED, (DAY, LAST)], DAY, True, LAST), ([(DAY, LAST), ENDED], date(2026, 5, 9), True, ENDED[1]),
        ([(FIRST, LAST), ENDED], DAY, True, LAST),
    ],
)  # fmt: skip
def test_a_consent_holds_from_its_first_day_to_its_last(spans, day, holds, until, home):
    assert consent.covers(spans, day) is holds
    assert consent.last_day(spans, day) == until
    for elsewhere in (True, False):
        settings = replace(home.settings(), consents_kept_elsewhere=elsewhere)
        assert consent.is_given(iter(spans), day, settings) is holds
        assert consent.is_given([], day, settings) is elsewhere
        assert consent.last_day([], day) < day
        for born, kept in (
            (date(2008, 5, 31), holds or day >= LAST),
            (None, holds),
            (date(1990, 1, 1), True),
        ):
            assert consent.keeps_film(born, spans, day, settings) is kept


def test_what_a_build_owes_is_what_has_ended_since_of_that_of_which_there_is_something(filled):
    settings = filled.settings()
    with writer(filled) as w:
        assert not consent.is_owed(w, settings)
        for student, purpose in (
            ("s3", "academy_figures"), ("s2", "family_page"), ("s1", "measure"), ("s1", "film"), ("s2", "share_page"),
        ):  # fmt: skip
            w.execute(
                "INSERT INTO academy.consent VALUES (?, ?, ?, ?, ?)", [student, student, purpose, *ENDED]
            )
        owed = consent.left_out_now(w, settings)
        # Of s1 there is no film, and a link to the page of s2 is no use of what is kept.
        assert owed.rows() == [("s1", "measure"), ("s2", "family_page"), ("s3", "academy_figures")]
        assert consent.is_owed(w, settings)
        assert consent.ended_since(w, settings) == ["s1", "s2"]
        assert consent.outdated(w, settings.today, settings) == ["s1"]
        assert consent.outdated(w, ENDED[1], settings) == []
        w.append("academy.withheld", owed)
        assert consent.left_out(w) == set(owed.rows())
        assert not consent.is_owed(w, settings)
        assert consent.ended_since(w, settings) == consent.outdated(w, settings.today, settings) == []
        w.execute("DELETE FROM academy.consent WHERE purpose = 'measure'")
        assert consent.is_owed(w, settings)
        assert consent.ended_since(w, settings) == []
