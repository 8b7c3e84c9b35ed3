"""Balance, what was seen by eye, and what was felt: on the student's page and the lesson sheet, or nowhere."""

from datetime import UTC, date, datetime, timedelta

import pytest

from changed_academies import ASKED, changed, falls
from dashboard import observed
from dashboard.pages.lesson.content import lesson_sheet
from dashboard.pages.student import content
from dashboard.queries import people
from dashboard.student_season import newest
from dashboard.text.cautions import BALANCE, EYES_CLOSED
from dashboard.text.numbers import on

NUDGE = (
    'INSERT INTO academy.steadiness (note, student, "at", day, author, direction, lost, eyes, announced, stood_by) VALUES '
    "('{note}', 's01', '{day} 10:00:00', '{day}', 'c01', '{way}', {lost}, '{eyes}', {announced}, 'Wren')"
)


def check(day, lost=(), held=(), eyes="closed", announced="false"):
    return [
        NUDGE.format(
            note=f"n{day}", day=day, way=way, lost=str(way in lost).lower(), eyes=eyes, announced=announced
        )
        for way in (*lost, *held)
    ]


def season_of(reader_of, kind, viewer="c01", student="s01"):
    reader = reader_of(kind, viewer)
    return newest(reader, people.student(reader, student))


def part(sheet, title):
    return next((part.sentences for part in sheet.parts if part.title == title), None)


def test_a_student_of_whom_nothing_was_noted_has_no_such_parts(reader_of):
    chosen = season_of(reader_of, "full")
    assert content.observed_parts(chosen) == {}
    sheet = lesson_sheet(chosen)
    assert part(sheet, "Balance") is None
    assert part(sheet, "Seen and felt") is None


def test_the_last_nudge_check_and_the_last_three_with_eyes_closed_are_said(reader_of, homes):
    ways = ("forward", "back", "toward", "away")
    changed(
        homes, "nudged",
        *check("2026-01-10", lost=["back"], held=["forward"]),
        *check("2026-02-10", lost=["back", "away"], held=["forward", "toward"]),
        *check("2026-03-10", held=ways), *check("2026-03-12", held=["back"], eyes="open", announced="true"),
        "UPDATE academy.person SET born = '1990-01-01' WHERE person = 's01'", falls("s01"),
    )  # fmt: skip
    chosen = season_of(reader_of, "nudged")
    last, lately = observed.nudge_sentences(chosen.reader, "s01")
    assert last == "Nudge check of 12 March 2026, eyes open, said beforehand: held backward."
    assert lately == (
        "Of the last 3 checks with eyes closed, balance was lost backward in 2 and away from the target in 1."
    )
    table = observed.nudge_table(chosen.reader, "s01")
    assert table["Backward"].to_list() == ["held", "held", "lost", "lost"]
    assert table["Toward the target"].to_list() == ["–", "held", "held", "–"]
    sheet = lesson_sheet(chosen)
    again = on(ASKED + timedelta(days=365))
    no_fall = f"No fall in the year before {on(ASKED)}. Asked again from {again}."
    assert part(sheet, "Balance")[:3] == (no_fall, last, lately)
    assert EYES_CLOSED in sheet.cautions


@pytest.mark.parametrize(
    ("kind", "answers", "first", "against"),
    [
        ("unasked_falls", [], "Ask before you start: “Have you fallen in the past year?”", "falls in the past year not asked about yet"),
        ("old_falls", [falls("s01", day=ASKED - timedelta(days=335))], "Ask before you start", "falls in the past year not asked about yet"),
        ("fallen", [falls("s01", fell=True)], f"A fall in the year before {on(ASKED)}. Nothing with eyes closed", "not within a year of a fall"),
    ],
)  # fmt: skip
def test_an_older_players_sheet_asks_about_falls_first_and_rules_out_eyes_closed(
    reader_of, homes, kind, answers, first, against
):
    older = "UPDATE academy.person SET born = '1960-01-01' WHERE person = 's01'"
    changed(homes, kind, older, *check("2026-03-10", held=["back"], eyes="open"), *answers)
    sheet = lesson_sheet(season_of(reader_of, kind))
    said = part(sheet, "Balance")
    assert said[0].startswith(first)
    assert said[-1] == f"With eyes closed it is ruled out now: {against}."
    assert EYES_CLOSED not in sheet.cautions
    assert BALANCE in sheet.cautions


def test_a_young_players_sheet_says_that_eyes_closed_is_not_for_them(reader_of, homes):
    changed(homes, "nudged_young", *check("2026-03-10", held=["back"], eyes="open"),
            "UPDATE academy.person SET born = '2015-01-01' WHERE person = 's01'")  # fmt: skip
    sheet = lesson_sheet(season_of(reader_of, "nudged_young"))
    assert part(sheet, "Balance")[-1] == "With eyes closed it is ruled out now: for ages 14 and over."
    assert EYES_CLOSED not in sheet.cautions
    assert BALANCE in sheet.cautions


HOLD = (
    "INSERT INTO academy.hold (session, swing_no, eyes, seconds, n_samples, rocking, speed_mm_s, ellipse_mm2, steady_s, "
    "lead_along_pct, trail_along_pct) VALUES ('2026-03-23-s01', {no}, '{eyes}', 20, 2000, {rocking}, {speed}, {area}, "
    "{steady}, {along}, {along})"
)
TARGET = (
    "INSERT INTO academy.setup_target VALUES ('s01', 'address_{foot}_along_pct', '2026-03-23', 6, 2, {at}, {lo}, {hi}, "
    "{lo} - 5, {hi} + 5)"
)
BAND = "INSERT INTO academy.band VALUES ('address_{foot}_along_pct', 'iron', NULL, NULL, 's01', 40, 52, '{version}', '{day}')"


def rocked(n, along=44):
    return [
        HOLD.format(no=100 + k, eyes="open", rocking="true", speed="NULL", area="NULL", steady=4, along=along)
        for k in range(n)
    ]


@pytest.mark.parametrize(
    ("n", "said"),
    [
        (
            3,
            "Rocking to find the steady place: 3\u00a0steady stands so far; from 5 on it is the own set-up target.",
        ),
        (
            6,
            "Rocking to find the steady place: 6\u00a0steady stands, too far apart for a set-up target of their own.",
        ),
    ],
)
def test_without_a_target_the_stands_so_far_are_said(reader_of, homes, n, said):
    changed(homes, f"rocked{n}", *rocked(n))
    assert observed.setup_sentences(reader_of(f"rocked{n}", "c01"), "s01") == (said,)


def test_an_own_target_is_said_with_its_doubt_and_what_it_replaces(reader_of, homes):
    targets = [
        TARGET.format(foot="lead", at=44, lo=42, hi=46),
        TARGET.format(foot="trail", at=48, lo=47, hi=50),
    ]
    stood = [
        BAND.format(foot=foot, version="steady stands 6", day="2026-03-23") for foot in ("lead", "trail")
    ]
    changed(homes, "own_target", *rocked(6), *targets, *stood)
    said, stead = observed.setup_sentences(reader_of("own_target", "c01"), "s01")
    assert said == (
        "Own set-up target from 6\u00a0steady stands, since 23 March 2026: pressure at 44\u00a0% of the lead foot from the "
        "heel (90 % sure: 42 to 46\u00a0%) and 48\u00a0% of the trail foot (90 % sure: 47 to 50\u00a0%)."
    )
    assert stead == (
        "The target is 37 to 51\u00a0% and 42 to 55\u00a0% for this student, in place of the academy's own."
    )
    own = "The target is this student's own, from where they stand most steadily."
    reader = reader_of("own_target", "c01")
    assert observed.own_band_sentence(reader, "s01", "address_lead_along_pct") == own
    assert observed.own_band_sentence(reader, "s01", "mid_back_trail_share_pct") == ""
    agreed = BAND.format(foot="lead", version="target n9", day="2026-03-24")
    changed(homes, "agreed_target", *rocked(6), *targets, *stood, agreed)
    assert (
        observed.setup_sentences(reader_of("agreed_target", "c01"), "s01")[1]
        == "A target agreed with the coach goes before it."
    )


def test_quiet_stands_are_said_by_eyes_and_listed(reader_of, homes):
    stood = [
        HOLD.format(no=91, eyes="open", rocking="false", speed=6.2, area=90, steady="NULL", along="NULL"),
        HOLD.format(no=92, eyes="closed", rocking="false", speed=9.4, area=180, steady="NULL", along="NULL"),
    ]
    changed(homes, "stood", *stood)
    chosen = season_of(reader_of, "stood")
    said = "Standing still on 23 March 2026, the pressure wandered at 6\u00a0mm/s with eyes open and 9\u00a0mm/s with eyes closed."
    assert observed.stand_sentences(chosen.reader, "s01") == (said,)
    assert observed.stand_table(chosen.reader, "s01")["Area"].to_list() == ["90\u00a0mm²", "180\u00a0mm²"]
    assert list(content.observed_parts(chosen)) == ["Balance"]


EYE = "INSERT INTO season.eye_rate VALUES ('2026', 's01', '{code}', '{span}', {seen}, {looked}, {rate}, 0.2, 0.9, '2026-03-01')"
FELT = (
    "INSERT INTO season.felt_agreement VALUES ('2026', 's01', 'lead_heel_light', '{span}', {n}, {agreed}, 2, 1, 0.5, 0.3, 0.9, "
    "0.97, 'better')"
)
LAST = "INSERT INTO season.felt VALUES ('f1', 's01', '2026', 'v', '2026-03-20', 'lead_heel_light', NULL, 'd01', true, false, 9, 6)"


def test_faults_and_signs_seen_by_eye_are_listed_with_what_they_are_and_how_often(reader_of, homes):
    rates = [
        EYE.format(code=code, span=span, seen=seen, looked=looked, rate=seen / looked)
        for code, seen, looked in (("hips_wind", 3, 5), ("trail_heel_down", 2, 5), ("trail_knee_upright", 0, 5))
        for span in ("now", "season")
    ] + [EYE.format(code="hips_wind", span="before", seen=1, looked=4, rate=0.25)]  # fmt: skip
    changed(homes, "seen", *rates)
    chosen = season_of(reader_of, "seen")
    table = {row["Seen by eye"]: row for row in observed.eye_table(chosen).to_dicts()}
    assert list(table) == ["Trail heel still down at impact", "Hips wind going back"]
    assert table["Hips wind going back"] == {
        "Seen by eye": "Hips wind going back", "What it is": "good sign", "Lately": "in 3 of 5\u00a0visits (20–90\u00a0%)",
        "Before": "in 1 of 4\u00a0visits", "Last seen": date(2026, 3, 1),
    }  # fmt: skip
    assert table["Trail heel still down at impact"]["What it is"] == "not wanted"
    assert part(lesson_sheet(chosen), "Seen and felt") == (
        "By eye lately: Hips wind going back (good sign), in 3 of 5\u00a0visits.",
    )


def test_what_was_felt_is_said_beside_what_was_measured_with_its_doubt_and_its_change(reader_of, homes):
    changed(
        homes, "felt", FELT.format(span="now", n=8, agreed=7), FELT.format(span="before", n=9, agreed=3),
        FELT.format(span="season", n=17, agreed=10), LAST,
    )  # fmt: skip
    chosen = season_of(reader_of, "felt")
    (said,) = part(lesson_sheet(chosen), "Seen and felt")
    assert said == (
        "Lead heel felt light going back: agreed with the plates 7 of 8 times lately (30–90\u00a0%). Against before: "
        "▲ Better. Last on 20 March 2026: felt yes, measured no (in 3 of 9\u00a0swings)."
    )
    (row,) = observed.felt_table(chosen).to_dicts()
    assert (row["Agreed lately"], row["Before"]) == ("7 of 8 (30–90\u00a0%)", "3 of 9 (30–90\u00a0%)")


def test_notes_say_what_they_are_about_and_who_overruled(reader_of, homes):
    note = {"student": "s01", "at": datetime(2026, 3, 1, 12, tzinfo=UTC).replace(tzinfo=None), "day": date(2026, 3, 1), "author": "c01", "delivery": "x",
            "loose": False, "shared": False, "text": None, "code": None, "grade": None, "held": None, "lost": None,
            "overruled_by": None}  # fmt: skip
    changed(
        homes, "noted", "DELETE FROM academy.note",
        notes=[
            note | {"note": "a", "kind": "steadiness", "held": "forward away", "lost": "back", "unit": "closed"},
            note | {"note": "b", "kind": "felt", "code": "lead_heel_light", "grade": 0},
            note | {"note": "c", "kind": "saw", "code": "hips_wind", "grade": 2},
            note | {"note": "d", "kind": "drill", "code": "d01", "overruled_by": "h01"},
        ],
    )  # fmt: skip
    assert content.notes(season_of(reader_of, "noted"))["About"].to_list() == [
        "lost backward; held forward and away from the target", "Lead heel felt light going back: no",
        "Hips wind going back", "Heel-off strikes (overruled by Hedda Quist)",
    ]  # fmt: skip


def test_the_students_page_shows_all_of_it_under_its_own_headings(visit, page_text, homes):
    changed(
        homes, "all_observed", *check("2026-03-10", lost=["back"], held=["forward"]), *rocked(3),
        EYE.format(code="hips_wind", span="now", seen=3, looked=5, rate=0.6),
        EYE.format(code="hips_wind", span="season", seen=3, looked=5, rate=0.6),
        FELT.format(span="now", n=8, agreed=7), FELT.format(span="season", n=8, agreed=7), LAST,
    )  # fmt: skip
    text = page_text(visit("all_observed", "student", "c01", student="s01"))
    for words in (
        "Balance", "lost backward; held forward", "Seen by eye", "Hips wind going back", "Felt and measured",
        "someone within reach",
    ):  # fmt: skip
        assert words in text
