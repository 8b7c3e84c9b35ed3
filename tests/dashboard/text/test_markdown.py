"""Whatever somebody wrote is shown letter by letter, by the rules of CommonMark and of the browser's additions."""

import re
from dataclasses import replace
from html import unescape

import pytest
from hypothesis import given
from hypothesis import strategies as some
from markdown_it import MarkdownIt

import hostile_texts
from dashboard.text.markdown import JOINER, UNSEEN, Markdown, markdown, plain
from hostile_checks import elements, got_through, is_shown_as_written

READ = MarkdownIt("commonmark").enable(["strikethrough", "table"])
SIGNS = some.text("ab1 \n\t_*#+-=.)(]![<>&;:\\`~$|/\"'@…é", max_size=40)
WRITTEN = (
    "![x](http://other.example/p.png)", "[x](https://other.example)", "<img src=x onerror=alert(1)>", "a *b* __c__",
    "# Title", "Title\n===", "- item", "12. item", "> quote", "```mermaid\nx\n```", "`code`", "$x^2$", "$$x$$",
    "    code", "a|b\n-|-\nc|d", "~~gone~~", "&lt;b&gt; &#x41;", "[^1]", "[x]: http://other.example", "\\*", "a\\",
    "*", "**", "_", "x_y", "<http://other.example>", "***", "-----",
)  # fmt: skip


def seen(source):
    """What a reader sees, and the elements it is in."""
    page = READ.render(source).strip()
    return unescape(re.sub(r"<[^>]*>", "", page)).replace(JOINER, ""), set(re.findall(r"<(\w+)", page))


@pytest.mark.parametrize("written", WRITTEN)
def test_markdown_that_somebody_wrote_is_read_as_it_was_written(written):
    assert seen(plain(written)) == (" ".join(written.split()), {"p"})


@pytest.mark.parametrize("text", hostile_texts.TEXTS, ids=lambda text: text.name)
def test_a_hostile_text_is_read_as_it_was_written_and_leads_nowhere(text):
    page = (
        MarkdownIt("commonmark", {"html": True}).enable(["table", "strikethrough"]).render(plain(text.text))
    )
    assert got_through(page) == []
    assert set(elements(page)) <= {"p"}
    unseen = UNSEEN.sub("", text.text).replace(JOINER, "")  # left out: it could turn its line around
    assert is_shown_as_written(replace(text, text=unseen), page.replace(JOINER, ""))


@given(SIGNS)
def test_any_signs_are_read_as_they_were_written(written):
    text, made = seen(plain(written))
    assert text == " ".join(written.split())
    assert made <= {"p"}


@given(SIGNS, SIGNS)
def test_what_is_put_into_our_own_markdown_stays_text(name, note):
    text, made = seen(markdown("**{name}.** x {note}", name=f"x{name}", note=note))
    assert text == re.sub(" +", " ", f"x{name}. x {note}".replace("\n", " ").replace("\t", " ")).strip() or (
        name != name.strip() or note != note.strip()
    )
    assert made <= {"p", "strong"}


@pytest.mark.parametrize(
    ("written", "looked_for"),
    [
        ("see http://other.example/x", r"https?://"),
        ("see HTTPS://other.example/x", r"(?i)https?://"),
        ("see www.other.example", r"www\."),
        ("a@other.example", r"[-.\w+]+@[-\w]+\.[-\w]+"),
        (":smile: :material/home: :streamlit: :+1:", r":[\w+/-]+:"),
        ("-> a -- b >= <- <-> ~=", r"(^|\s)(<->|->|<-|--|>=|<=|~=)(\s|$)"),
    ],
)
def test_what_the_browser_itself_would_turn_into_something_is_parted(written, looked_for):
    shown = seen(plain(written))[0]
    assert shown == written
    assert re.search(looked_for, written)
    assert not re.search(looked_for, re.sub(r"\\([!-/:-@\[-`{-~])", r"\1", plain(written)))


def test_a_sentence_is_not_touched_where_nothing_acts():
    sentence = (
        "Fix feet_checked = true in session.toml (line 3), at 10:30; or run: underfoot serve --port 8502"
    )
    assert plain(sentence) == sentence


def test_a_text_cannot_turn_its_line_around():
    assert plain("a\u202eb\u2066c") == "abc"


def test_our_own_markdown_is_kept():
    assert plain(Markdown("**a**")) == "**a**"
    assert isinstance(markdown("{a}", a="*"), Markdown)
