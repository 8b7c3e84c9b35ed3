"""The hostile texts do harm where nothing is done about them, and the checks beside them notice it."""

import csv
import html
import io

import jinja2
import pytest
from markdown_it import MarkdownIt

import hostile_checks as checks
import hostile_texts as hostile

ALL = [pytest.param(text, id=text.name) for text in hostile.TEXTS]
MARKDOWN = MarkdownIt("commonmark", {"html": True}).enable(["table", "strikethrough"])
# Bare links need a renderer that looks for them.
BARE = {"bare_link", "bare_link_without_scheme"}
# These close what others opened or are text already; alone they do nothing.
HARMLESS_ALONE = {
    "out_of_a_double_quoted_attribute", "out_of_a_single_quoted_attribute", "escaped_before", "wide_angle_brackets",
    "less_than", "closes_our_own_link", "script_link", "script_link_in_disguise", "data_link",
}  # fmt: skip


def test_each_text_has_a_name_of_its_own_and_says_what_must_never_happen():
    assert len(hostile.BY_NAME) == len(hostile.TEXTS) == len({t.text for t in hostile.TEXTS})
    assert len({text.kind for text in hostile.TEXTS}) == 14
    for text in hostile.TEXTS:
        assert text.text
        assert text.never.endswith(".")
        assert text.text.encode("utf-8").decode("utf-8") == text.text
    assert len([text for text in hostile.TEXTS if text.one_line]) > 150


@pytest.mark.parametrize("text", ALL)
def test_escaped_text_is_shown_as_written_and_nothing_gets_through(text):
    page = f'<p title="{html.escape(text.text)}">{html.escape(text.text)}</p>'
    assert checks.is_shown_as_written(text, page)
    assert checks.got_through(page) == []
    assert checks.elements(page) == ["p"]


@pytest.mark.parametrize(
    "text", [p for p in ALL if p.values[0].kind == "markdown" and p.id not in BARE | HARMLESS_ALONE]
)
def test_markdown_that_is_not_escaped_is_noticed(text):
    page = MARKDOWN.render(f"Noted: {text.text}" if text.name in ("comment", "entity") else text.text)
    assert not checks.is_shown_as_written(text, page) or set(checks.elements(page)) - {"p"}


@pytest.mark.parametrize(
    "text", [p for p in ALL if p.values[0].kind == "html" and p.id not in HARMLESS_ALONE]
)
def test_html_that_is_not_escaped_is_noticed(text):
    page = f"<p>{text.text}</p>"
    assert not checks.is_shown_as_written(text, page)
    assert (
        checks.got_through(page)
        or checks.elements(page) != ["p"]
        or text.name in ("closing_tags", "out_of_cdata")
    )


@pytest.mark.parametrize("quote", ['"', "'"])
def test_a_text_that_leaves_its_attribute_is_noticed(quote):
    name = "out_of_a_double_quoted_attribute" if quote == '"' else "out_of_a_single_quoted_attribute"
    assert checks.got_through(f"<p title={quote}{hostile.BY_NAME[name].text}{quote}>heels</p>")


@pytest.mark.parametrize("text", [p for p in ALL if p.values[0].kind == "spreadsheet"])
def test_a_formula_is_noticed_in_one_of_the_cells_that_it_fills(text):
    out = io.StringIO()
    csv.writer(out).writerow([text.text])
    (whole,) = next(csv.reader(io.StringIO(out.getvalue(), newline="")))
    careless = [
        cell
        for line in text.text.splitlines()
        for part in line.split("\t")
        for cell in part.replace(";", ",").split(",")
    ]
    assert whole == text.text
    assert any(checks.is_calculated(cell.strip('"')) for cell in careless) or text.name in (
        "apostrophe_before",
        "separator_line",
    )
    assert not checks.is_calculated("'" + text.text)


def test_plain_words_and_numbers_in_words_are_not_taken_for_formulas():
    for cell in ("heels", "'=7", "", "3 - 2", "\u00a0heels", "1986"):
        assert not checks.is_calculated(cell), cell


def test_templates_that_are_evaluated_give_themselves_away():
    assert hostile.PRODUCT in jinja2.Template(hostile.BY_NAME["jinja_sum"].text, autoescape=True).render()
    assert str(7 * 7191) == hostile.PRODUCT
    for name in ("brace_field", "brace_not_closed", "brace_field_number"):
        with pytest.raises((KeyError, ValueError, IndexError)):
            hostile.BY_NAME[name].text.format()
    for name in ("percent_s", "percent_at_the_end", "percent_name"):
        with pytest.raises((TypeError, ValueError)):
            _ = hostile.BY_NAME[name].text % ()
