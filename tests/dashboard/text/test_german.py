"""German: an academy or one visitor chooses it, every page opens in it, and nothing on it is left in English."""

import re
from string import Formatter

import pytest
from babel.messages.pofile import read_po

from dashboard import app
from dashboard.text import catalogue, extract
from dashboard.text.catalogue import _
from dashboard.text.numbers import count, lowered

FILE = catalogue.FOLDER / "de.po"
WALK = [(page.path, "h01") for page in app.PAGES] + [
    ("student", "c01"),
    ("progress", "s01"),
    ("progress", "g01"),
]


def translations():
    with FILE.open("rb") as opened:
        return [
            message
            for message in read_po(opened, locale="de")
            if message.id and message.string and all(message.string)
        ]


def forms(message):
    """A message's English and German forms, one beside the other."""
    if isinstance(message.id, str):
        return [(message.id, message.string)]
    return list(zip(message.id, message.string, strict=True))


def places(text):
    """The names in a message's braces; what asks for the dative is the same place."""
    return {name for _text, name, _spec, _how in Formatter().parse(text) if name is not None}


@pytest.fixture(scope="module")
def german_home(homes):
    home = homes("german")
    text = home.settings_file.read_text(encoding="utf-8")
    home.settings_file.write_text(text.replace("[device", 'language = "de"\n[device', 1), encoding="utf-8")
    yield home
    catalogue.use("en")


@pytest.fixture
def german():
    catalogue.use("de")
    yield
    catalogue.use("en")


@pytest.fixture(scope="module")
def english_parts():
    """Runs of English words of every message that is another in German, and is no name of a file or command."""
    found = set()
    for message in translations():
        for english, german in forms(message):
            parts = [part.strip(" .,:;“”*") for part, *_place in Formatter().parse(english)]
            found |= {part for part in parts if part.count(" ") >= 2 and part not in german}
    return found


def test_an_academy_that_names_german_has_german_pages_and_numbers(german_home, visit, page_text):
    at = visit("german", "coaches", "h01")
    text = page_text(at)
    assert not at.exception
    assert at.title[0].value == "Trainer"
    assert "Diese Seite kann nicht zeigen, wer am besten unterrichtet." in text
    assert "Gesehen als Hedda Quist." in text
    drawn = "".join(str(element.proto) for element in at.get("vega_lite_chart"))
    assert "Zuwachs in 90 Tagen, in kleinsten erkennbaren" in drawn
    assert '"decimal": ","' in drawn.replace("\\", "")


def test_a_visitor_switches_the_language_for_themselves_and_back(visit):
    at = visit("full", "coaches", "h01")
    assert at.title[0].value == "Coaches"
    at.selectbox(key="language").set_value("de").run()
    assert (at.title[0].value, at.query_params["language"]) == ("Trainer", "de")
    assert visit("full", "coaches", "h01").title[0].value == "Coaches"
    at.selectbox(key="language").set_value("en").run()
    assert at.title[0].value == "Coaches"
    assert "language" not in at.query_params


def test_an_address_may_ask_for_a_language_that_there_is(visit):
    assert visit("full", "coaches", "h01", language="de").title[0].value == "Trainer"
    assert visit("full", "coaches", "h01", language="../de").title[0].value == "Coaches"


@pytest.mark.parametrize(("path", "person"), WALK)
def test_every_page_is_german_from_top_to_bottom(visit, page_text, english_parts, path, person):
    at = visit("full", path, person, language="de")
    text = page_text(at) + "".join(chart.proto.spec + chart.proto.alt for chart in at.get("vega_lite_chart"))
    assert [e.message for e in at.exception] == []
    assert sorted(part for part in english_parts if part in text) == []
    assert re.findall(r"\d\.\d+\u00a0(?:%|s|points|Punkte)", page_text(at)) == []  # 1,5 and never 1.5
    assert not re.search(r"\b\d+ (?:January|March|May|June|July|October|December) \d{4}", text)


def test_a_translation_has_the_places_of_its_message_and_a_form_for_one_and_for_many():
    for message in translations():
        for english, german in forms(message):
            assert places(english) == places(german), english
            assert english.count("**") == german.count("**"), english


def test_a_count_is_put_in_the_dative_where_german_asks_for_it(german):
    said = _("{n} of {students}")
    assert said.format(n=2, students=count(48, "student")) == "2 von 48\u00a0Schülern"
    assert said.format(n=1, students=count(1200, "clean_swing")) == "1 von 1.200\u00a0sauberen Schwüngen"
    assert said.format(n=1, students=count(1, "clean_swing")) == "1 von 1\u00a0sauberen Schwung"
    assert said.format(n=3, students=count(3, "session")) == "3 von 3\u00a0Einheiten"


def test_a_german_noun_keeps_its_capital_inside_a_sentence(german):
    assert lowered("Hintere Ferse") == "Hintere Ferse"
    catalogue.use("en")
    assert lowered("Late onto the Front foot") == "late onto the front foot"


# What is lowered there is no label: file names, headers, and codes that somebody typed.
LOWERS = {
    "downloads.py", "inbox.py", "location.py", "pages/deliveries/whose.py", "pages/session/content.py", "prompts.py",
    "server.py", "spreadsheet.py", "student_list.py", "text/numbers.py", "uploads.py",
}  # fmt: skip


def test_labels_are_lowered_and_capitalized_by_the_rule_that_spares_german_nouns():
    pages = catalogue.FOLDER.parent
    found = {str(file.relative_to(pages)): file.read_text(encoding="utf-8") for file in pages.rglob("*.py")}
    assert {name for name, code in found.items() if ".lower()" in code} == LOWERS
    assert [name for name, code in found.items() if ".capitalize()" in code] == []


def test_german_has_every_message_of_the_pages_and_none_that_is_gone():
    assert extract.missing(extract.translated(FILE)) == []
    with FILE.open("rb") as opened:
        known = {message.id for message in read_po(opened, locale="de") if message.id}
    assert known == {message.id for message in extract.messages() if message.id}
