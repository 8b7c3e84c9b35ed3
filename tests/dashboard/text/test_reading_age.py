"""What a family reads is for a reader of about twelve: the progress page's texts, in every form they may take."""

import re
from datetime import date
from pathlib import Path

import pytest
import textstat
from babel.messages.extract import extract_from_file

from dashboard import safety
from dashboard.aim import ADVICE, ONE_THING
from dashboard.pages.progress.content import progress_page
from dashboard.queries import people
from dashboard.text import cautions, extract, labels, sentences
from warehouse.definitions import usual_faults
from warehouse.swing_load import SwingLoad

# Flesch–Kincaid grade: 0.39 words a sentence + 11.8 syllables a word − 15.59, a year of school in the United
# States. Source: Kincaid, Fishburne, Rogers and Chissom (1975), Navy Research Branch report 8-75. Twelve-year-olds
# are in the sixth and seventh. It was made for passages, so a text counts as a whole, and a heading of a few words not.
HIGHEST_GRADE = 7.0
FEWEST_WORDS = 5
DASHBOARD = Path(extract.__file__).parents[1]
PAGE = (
    "content.py",
    "home_practice.py",
    "next_pace.py",
    "pictures.py",
    "screen.py",
    "sending.py",
    "paper.html",
)
FOR_THE_STAFF = "The consent to hand out the page"  # said to whoever runs the command
VALUES = {
    "day": "6 May", "first": "6 May", "last": "12 May", "month": "May", "name": "Tam", "academy": "Our Club",
    "drill": "Light heels", "area": "left knee", "swings": "ten swings", "sessions": "six sessions", "clean": "you stay tall",
    "good": "7 of 10", "clubs": "irons", "value": "62 %", "aim": "55 to 65 %", "pace": "a slow pace",
    "next_pace": "half pace", "reps": "15 times", "dose": "ten times", "felt": "easy", "how": "easy",
    "minutes": "20 minutes", "days": "two days", "fault": "heel stays down", "error": "The disk is full.",
}  # fmt: skip


def grade(text: str) -> float:
    """The school year a text is for; 0 of one too short to say."""
    words = re.findall(r"[^\W\d_]+(?:['’][^\W\d_]+)*", text)
    return textstat.flesch_kincaid_grade(text) if len(words) >= FEWEST_WORDS else 0.0


def hard(texts) -> dict[str, float]:
    """The texts that are too hard, with the year they are for."""
    found = {text: round(grade(text), 1) for text in texts if text}
    return {text: year for text, year in found.items() if year > HIGHEST_GRADE}


def filled(template: str) -> str:
    return re.sub(r"\{(\w+)\}", lambda place: VALUES.get(place[1], "six"), template)


def templates(file: Path) -> set[str]:
    """Every message of a file, singular and plural."""
    method = "jinja2" if file.suffix == ".html" else extract.of_code
    found = extract_from_file(method, file, keywords=extract.KEYWORDS)
    messages = [message for _line, message, *_more in found]
    return {text for one in messages for text in (one if isinstance(one, tuple) else (one,))}


def test_the_measure_tells_easy_from_hard():
    easy = "Keep your heel down. Swing slowly ten times."
    hard_text = (
        "Insufficient observations preclude a determination regarding improvement of your deceleration."
    )
    assert grade(easy) < 4
    assert grade(hard_text) > 15
    assert hard([easy, hard_text]) == {hard_text: pytest.approx(grade(hard_text), abs=0.1)}


@pytest.mark.parametrize("file", PAGE)
def test_every_template_of_the_progress_page_reads_at_twelve(file):
    found = {text for text in templates(DASHBOARD / "pages" / "progress" / file) if FOR_THE_STAFF not in text}
    assert found
    assert hard(map(filled, found)) == {}


def test_verdicts_and_the_one_thing_read_at_twelve():
    assert hard([*labels.VERDICTS.values(), *labels.PLAINLY.values(), *ONE_THING.values()]) == {}
    short = [about["in_short"] for about in ADVICE.values() if about.get("in_short")]
    assert len(short) > 15
    assert hard(f"One thing: {text}." for text in short) == {}


@pytest.mark.parametrize("part", ["feel", "drill"])
def test_what_to_feel_and_the_usual_drill_of_every_fault_read_at_twelve(part):
    texts = {about[part] for about in ADVICE.values() if about.get(part)}
    assert len(texts) > 8
    assert hard(texts) == {}


def test_what_a_swing_is_like_without_each_fault_reads_at_twelve():
    faults = usual_faults()
    assert len(faults) > 15
    assert hard(f"In about 7 of 10 swings lately, {fault.instead}." for fault in faults) == {}


def test_safety_and_what_to_do_when_it_hurts_read_at_twelve():
    said = [text for name, text in vars(cautions).items() if name.isupper() and isinstance(text, str)]
    assert len(said) > 10
    assert hard([*said, *cautions.CAMERA, *cautions.OUT_OF_USE.values()]) == {}


@pytest.mark.parametrize("limit", [None, 60.0])
@pytest.mark.parametrize("untimed", [0, 1, 3])
@pytest.mark.parametrize("minutes", [0.0, 45.0, 90.0])
def test_a_young_players_week_reads_at_twelve_whatever_is_known_of_it(minutes, untimed, limit):
    week = sentences.week_sentence(minutes, untimed, date(2026, 5, 4), date(2026, 5, 10), limit, staff=False)
    assert hard([week]) == {}


@pytest.mark.parametrize("swings", [0, 40, 100, 250])
@pytest.mark.parametrize("before", [0, 20])
def test_a_growing_players_full_swings_read_at_twelve_within_and_over_the_limits(swings, before):
    load = SwingLoad(date(2026, 5, 10), swings, swings, swings, (before,) * 4, 2, 100, 300)
    assert hard(safety.swing_sentences(load)) == {}


@pytest.mark.parametrize("kind", ["full", "one_session", "empty"])
@pytest.mark.parametrize("student", ["s01", "s02", "s03"])
def test_every_sentence_of_a_page_in_the_planted_academies_reads_at_twelve(reader_of, kind, student):
    reader = reader_of(kind, student)
    page = progress_page(reader, people.student(reader, student), narrow=True)
    focus = page.focus
    texts = [
        page.opening,
        page.week,
        page.nothing_yet,
        page.if_it_hurts,
        *page.discomfort,
        *page.cautions,
        *page.goal,
    ]
    if focus:
        texts += [focus.verdict, focus.feel, *focus.sentences, *focus.how, *focus.cautions]
        texts += focus.pace.sentences if focus.pace else ()
    assert hard(texts) == {}
