"""Streamlit for everything here that shows a page: whatever is said is shown as text, whoever wrote it.

Streamlit itself takes labels and sentences as Markdown; a name in one of them could make a reader's browser
fetch a picture from elsewhere. Here only `markdown` of our own (dashboard/text/markdown.py) is Markdown.
"""

import inspect
from base64 import b64encode
from collections.abc import Callable
from functools import wraps
from html import escape
from typing import ParamSpec, TypeVar

import streamlit as st

from dashboard import turns
from dashboard.text.markdown import plain

P = ParamSpec("P")
R = TypeVar("R")
SAID = ("body", "label", "text", "help", "placeholder")  # what Streamlit's elements call what they say


def _saying(function: Callable[P, R]) -> Callable[P, R]:
    """An element of Streamlit's that says what it is given as text."""
    signature = inspect.signature(function)

    @wraps(function)
    def shown(*args: P.args, **kwargs: P.kwargs) -> R:
        given = signature.bind(*args, **kwargs)
        for name in SAID:
            if isinstance(given.arguments.get(name), str):
                given.arguments[name] = plain(given.arguments[name])
        made = function(*given.args, **given.kwargs)
        turns.shown(title=function is st.title)
        return made

    return shown


def style(css: str) -> None:
    """Style of our own for the whole page."""
    st.html(f"<style>{css}</style>")


def drawing(svg: str, words: str, caption: str = "") -> None:
    """A small drawing of our own, what it says to those who can't see it, and a few words below it."""
    data = b64encode(svg.encode()).decode()
    below = f"<br><small>{escape(caption)}</small>" if caption else ""
    st.html(f'<img src="data:image/svg+xml;base64,{data}" alt="{escape(words)}">{below}')


def slider(label: str, low: float, high: float, at: float, step: float, key: str) -> float:
    """A number between two."""
    return float(st.slider(plain(label), low, high, at, step, key=key))


title, header, subheader = _saying(st.title), _saying(st.header), _saying(st.subheader)
write, info, warning = _saying(st.markdown), _saying(st.info), _saying(st.warning)
error, success, toast, progress = (
    _saying(st.error),
    _saying(st.success),
    _saying(st.toast),
    _saying(st.progress),
)
button, form_submit_button, download_button = (
    _saying(st.button), _saying(st.form_submit_button), _saying(st.download_button),
)  # fmt: skip
checkbox, toggle, selectbox = _saying(st.checkbox), _saying(st.toggle), _saying(st.selectbox)
file_uploader, page_link = _saying(st.file_uploader), _saying(st.page_link)
multiselect, time_input = _saying(st.multiselect), _saying(st.time_input)
text_input, text_area = _saying(st.text_input), _saying(st.text_area)
date_input, number_input = _saying(st.date_input), _saying(st.number_input)
expander, popover = _saying(st.expander), _saying(st.popover)

# What says nothing, or takes it as text anyway.
text, altair_chart, dataframe, column_config = st.text, st.altair_chart, st.dataframe, st.column_config
image, code = st.image, st.code
columns, container, form, sidebar = st.columns, st.container, st.form, st.sidebar
navigation, Page, switch_page, set_page_config = st.navigation, st.Page, st.switch_page, st.set_page_config
fragment, rerun, stop, cache_resource = st.fragment, st.rerun, st.stop, st.cache_resource
session_state, query_params, context = st.session_state, st.query_params, st.context
user, secrets, login, logout, get_option = st.user, st.secrets, st.login, st.logout, st.get_option
component = st.components.v2.component
