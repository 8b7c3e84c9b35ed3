"""The catalogue: the academy's language on every page, English where a translation is missing."""

from datetime import date

import pytest

from dashboard.text import catalogue, extract, numbers
from dashboard.text.catalogue import _, mark, mark_plural, ngettext
from warehouse.errors import UnderfootError
from warehouse.settings import parse_settings

GERMAN = """
msgid ""
msgstr "Content-Type: text/plain; charset=utf-8\\nPlural-Forms: nplurals=2; plural=(n != 1);\\n"

msgid "Students"
msgstr "Schüler"

msgid "{n} swing"
msgid_plural "{n} swings"
msgstr[0] "{n} Schwung"
msgstr[1] "{n} Schwünge"
"""


@pytest.fixture
def german(tmp_path, monkeypatch):
    (tmp_path / "de.po").write_text(GERMAN, encoding="utf-8")
    monkeypatch.setattr(catalogue, "FOLDER", tmp_path)
    catalogue._translations.cache_clear()
    catalogue.use("de")
    yield
    catalogue.use("en")
    catalogue._translations.cache_clear()


def test_a_message_is_looked_up_and_stays_english_where_it_has_no_translation(german):
    assert (_("Students"), _("Not translated"), _("")) == ("Schüler", "Not translated", "")


def test_numbers_days_lists_and_counts_are_written_as_the_language_writes_them(german):
    assert numbers.number(-1.25, "s", 2) == "−1,25\u00a0s"
    assert (numbers.count(1, "swing"), numbers.count(1200, "swing")) == (
        "1\u00a0Schwung",
        "1.200\u00a0Schwünge",
    )
    assert numbers.listed(["a", "b", "c"]) == "a, b und c"
    assert numbers.on(date(2026, 4, 7)) == "7. April 2026"


def test_a_table_of_words_speaks_the_language_in_use_when_it_is_asked(german):
    words = catalogue.Words({"s": mark("Students")})
    assert words["s"] == "Schüler"
    catalogue.use("en")
    assert (words["s"], words.get("t", "none"), len(words)) == ("Students", "none", 1)


def test_what_is_made_later_is_made_in_the_language_of_the_page_that_offered_it(german):
    make = catalogue.keeping_language(lambda: _("Students"))
    catalogue.use("en")
    assert make() == "Schüler"


def test_a_language_without_a_catalogue_is_refused_with_those_there_are():
    with pytest.raises(UnderfootError, match=r'language = "xx" has no catalogue; use one of en'):
        catalogue.use("xx")


@pytest.mark.parametrize(("line", "language"), [("", "en"), ('language = "de"', "de")])
def test_an_academy_names_its_language(line, language):
    text = f'name = "A"\ntime_zone = "UTC"\n{line}\n'
    assert parse_settings(text.encode()).language == language


def test_a_language_that_is_not_a_code_is_refused_with_what_to_write():
    text = 'name = "A"\ntime_zone = "UTC"\nlanguage = "Deutsch"\n'
    with pytest.raises(UnderfootError, match=r"language = .Deutsch. is not the code of a language"):
        parse_settings(text.encode())


def test_what_is_extracted_has_code_constants_plurals_metrics_and_faults():
    found = {message.id for message in extract.messages() if message.id}
    assert {"Weight on the front foot, at address", "Set up on the heels"} <= found
    assert ("{n} swing", "{n} swings") in found


def test_a_mark_changes_nothing():
    assert (mark("a"), mark_plural("a", "b"), ngettext("one", "many", 2)) == ("a", ("a", "b"), "many")
