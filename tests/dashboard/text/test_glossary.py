"""The glossary: each term once, in plain words, on a page of its own and beside the term elsewhere."""

from dashboard.text.glossary import FEET, GLOSSARY, LOAD

TERMS = [term for terms in GLOSSARY.values() for term in terms]


def test_each_term_is_said_once_and_in_short_sentences():
    names = [term.name for term in TERMS]
    assert sorted(set(names)) == sorted(names)
    for term in TERMS:
        assert all(len(sentence.split()) <= 26 for sentence in term.meaning.split(". ")), term.meaning


def test_the_words_page_says_every_term_in_either_language(visit, page_text):
    text = page_text(visit("full", "words", "c01"))
    for term in TERMS:
        assert f"**{term.name}:** {term.meaning}" in text
    german = page_text(visit("full", "words", "c01", language="de"))
    assert "**Vorderer Fuß, hinterer Fuß:** Der vordere Fuß ist der näher am Ziel" in german


def test_a_progress_page_says_what_front_foot_and_load_mean_in_the_same_words(visit, page_text):
    text = page_text(visit("full", "progress", "s01"))
    assert FEET.meaning in text
    assert LOAD.meaning in text
