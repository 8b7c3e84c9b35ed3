"""Pages reach Streamlit through dashboard/elements.py, where everything that is said is text."""

import ast
import inspect
from pathlib import Path

import pytest
import streamlit as st

from app_test import AppTest
from dashboard import elements

ROOT = Path(elements.__file__).parent
CODE = sorted(ROOT.rglob("*.py"))
ITSELF = {ROOT / name for name in ("elements.py", "server.py", "uploads.py")}
SAID_AS_TEXT = elements.title.__code__  # every element that goes through `_saying` has it
SAYING = {name for name, it in vars(elements).items() if getattr(it, "__code__", None) is SAID_AS_TEXT}
HOSTILE = "![x](http://other.example/p.png) **b**"


def calls(file):
    return [node for node in ast.walk(ast.parse(file.read_text())) if isinstance(node, ast.Call)]


@pytest.mark.parametrize("file", CODE, ids=lambda file: str(file.relative_to(ROOT)))
def test_no_page_reaches_past_it(file):
    tree = ast.parse(file.read_text())
    imported = {alias.name for node in ast.walk(tree) if isinstance(node, ast.Import) for alias in node.names}
    imported |= {node.module or "" for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)}
    known = {"streamlit.errors"}
    shows = {
        f"{node.module}.{alias.name}"
        for node in ast.walk(tree)
        if isinstance(node, ast.ImportFrom)
        for alias in node.names
    }
    past = {name for name in imported if name.split(".")[0] == "streamlit"} - known
    assert not past or file in ITSELF
    for call in calls(file):
        assert "unsafe_allow_html" not in {keyword.arg for keyword in call.keywords}
        method = call.func.attr if isinstance(call.func, ast.Attribute) else ""
        # An element of a column or of the sidebar would be Streamlit's own: they are filled in with blocks.
        if "dashboard.elements" in shows and method in SAYING - {"write", "title"} | {
            "markdown",
            "caption",
            "html",
        }:
            assert isinstance(call.func.value, ast.Name)
            assert call.func.value.id == "st"


def test_each_element_that_says_something_says_it_as_text():
    # Streamlit shows the first two, and what the last says for an empty cell, as text; the others say what is ours.
    unsaid = {"text", "code", "style", "Page", "dataframe"}
    for name, element in vars(elements).items():
        if name.startswith("_") or name in unsaid or name in SAYING or not callable(element):
            continue
        if getattr(element, "__module__", "").startswith("streamlit"):
            assert not set(elements.SAID) & set(inspect.signature(element).parameters), name
    assert {"write", "title", "warning", "toast", "page_link", "progress"} <= SAYING


def test_hostile_words_are_text_in_every_element():
    def page():
        from dashboard import elements as st  # noqa: PLC0415
        from dashboard.text.markdown import markdown  # noqa: PLC0415

        said = "![x](http://other.example/p.png) **b**"
        for element in (
            st.title,
            st.header,
            st.subheader,
            st.write,
            st.info,
            st.warning,
            st.error,
            st.success,
        ):
            element(said)
        for element in (st.button, st.checkbox, st.toggle):
            element(said, help=said)
        st.selectbox(said, [said])
        st.toast(said)
        st.progress(0.5, text=said)
        st.write(markdown("**ours** {said}", said=said))

    at = AppTest.from_function(page).run()
    assert not at.exception
    kinds = (at.title, at.header, at.subheader, at.info, at.warning, at.error, at.success, at.toast)
    said = [element.value for kind in kinds for element in kind] + [at.markdown[0].value]
    said += [widget.label for kind in (at.button, at.checkbox, at.toggle, at.selectbox) for widget in kind]
    said += [widget.help for kind in (at.button, at.checkbox, at.toggle) for widget in kind]
    assert len(said) == 16
    assert set(said) == {r"!\[x\](http:⁠//other.example/p.png) \*\*b\*\*"}
    assert at.markdown[1].value.startswith(r"**ours** !\[x\]")
    assert st.title is not elements.title
