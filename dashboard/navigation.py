"""The way to every page: who is looking, which pages they have, and what a refused link shows."""

import logging
from collections.abc import Sequence
from dataclasses import dataclass
from importlib import import_module
from types import ModuleType
from typing import Any
from urllib.parse import urlencode

from dashboard import admitted, family, gate, layout, location, readers, signin, theme, turns, uploads
from dashboard import elements as st
from dashboard.first_page import screen as first_page
from dashboard.text.catalogue import _, languages, own_name, use
from warehouse import access_log, journal
from warehouse.access import Reader
from warehouse.errors import UnderfootError
from warehouse.vocabulary import STAFF

log = logging.getLogger(__name__)
EVERYONE = (*STAFF, "student", "guardian")
# Less blank space than Streamlit's own, above a page and around its headings.
# A picture wider than its window scrolls sideways; what a box says is in full ink; on a phone no row of
# buttons lies over a table, and what is tapped is 44 px high (WCAG 2.2, target size enhanced; from memory).
# A table's own small buttons only search and enlarge: to save there are ours, which escape formulas. On A4
# and Letter: the page alone, without what only a screen needs.
STYLE = """
[data-testid="stMainBlockContainer"] { padding: 3.25rem clamp(1rem, 2.5vw, 3rem) 3rem; }
.st-key-look-as { margin-bottom: -.75rem; }
.st-key-aside p { line-height: 1.4; margin-bottom: .1rem; }
@media (min-width: 769px) {
  [data-testid="stMainBlockContainer"] { padding-top: 1.75rem; }
  [data-testid="stSidebar"] { min-width: 13.5rem; width: 13.5rem !important; }
}
[data-testid="stHeading"] :is(h1, h2, h3) { padding: .25rem 0 0; }
[data-testid="stHeading"] h2 { margin-top: .5rem; padding-bottom: .65rem; }
[class*="st-key-line-"] { border-bottom: 1px solid var(--hairline); padding: .2rem 0 .25rem; }
[class*="st-key-line-"] img { max-width: 100%; }
[class*="st-key-line-"] :is(p, [data-testid="stText"]) { font-size: .875rem; line-height: 1.35; }
[class*="st-key-line-"] [data-testid="stPageLink-NavLink"] { padding-left: 0; }
[class*="st-key-line-"] [data-testid="stPageLink"] p { font-weight: 600; }
[data-testid="stVegaLiteChart"] { overflow-x: auto; }
[data-testid="stAlert"] p, [data-testid="stAlert"] strong { color: var(--ink); }
[data-testid="stElementToolbarButton"]:not(:has([aria-label^="Fullscreen"], [aria-label^="Search"])) {
  display: none; }
@media (prefers-reduced-motion: reduce) {
  *, *::before, *::after { animation: none !important; transition: none !important; }
}
@media (hover: none) {
  [data-testid="stElementToolbar"] { display: none; }
  [data-testid="stMain"] :is([data-testid="stPageLink-NavLink"], [data-testid="stCheckbox"] label,
    [data-testid^="stBaseButton"], summary) { min-height: 2.75rem; }
  [data-testid="stMain"] [data-testid="stCheckbox"] label { align-items: center; }
}
@media print {
  [data-testid="stSidebar"], [data-testid="stHeader"], [data-testid="stExpander"],
  [data-testid="stSelectbox"], [data-testid="stPageLink"], [data-testid="stForm"],
  [data-testid="stCheckbox"], [data-testid="stDownloadButton"],
  .st-key-look-as { display: none !important; }
  [data-testid="stMainBlockContainer"] { padding: 0 !important; }
  [data-testid="stVegaLiteChart"] { break-inside: avoid; }
}"""


@dataclass(frozen=True)
class Page:
    """One line of the page table: address and folder in pages/, name and group (marked), and who has it."""

    path: str
    name: str
    group: str
    roles: Sequence[str]

    def show(self, reader: Reader) -> None:
        """Show it to whoever is looking."""
        self.load().show(reader)

    def load(self) -> ModuleType:
        """Import its code, where that has not been done."""
        return import_module(f"dashboard.pages.{self.path}.screen")


@turns.turn()
def run(pages: Sequence[Page]) -> None:
    """Show the page that was asked for, to whoever is looking."""
    st.set_page_config(page_title="Underfoot", page_icon="⛳", layout="wide")
    st.style(theme.CSS + STYLE)
    staff = films = False
    access_log.came_from.set(location.peer())
    try:
        home = readers.home()
        if admitted.is_new(home):
            founder = admitted.founder(home)
            staff = True
            first_page.show(home, founder)
            st.stop()
        settings = home.settings()
        _speak(settings.language)
        reader = signin.let_in(home, settings)
        staff, films = reader.viewer.role in STAFF, family.may_send_films(reader)
    except UnderfootError as error:
        layout.say(str(error))
        st.stop()
    finally:
        uploads.admit(staff=staff, films=films)
    gate.enter(reader)
    own = [page for page in pages if reader.viewer.role in page.roles]
    start = st.Page(
        lambda: _start(own), title="Underfoot", url_path="start", default=True, visibility="hidden"
    )
    entries = {page.path: _entry(page, reader, own) for page in pages}
    groups: dict[str, list[Any]] = {"": [start]}
    for page in pages:
        groups.setdefault(_(page.group), []).append(entries[page.path])
    st.session_state["pages"] = entries
    st.navigation(groups, position="sidebar" if len(own) > 1 else "hidden", expanded=True).run()


def _speak(usual: str) -> None:
    """Speak the academy's usual language, or the one that the visitor or the address has chosen."""
    use(usual)
    known = languages()
    asked = st.query_params.get("language")
    start = asked if asked in known else usual
    chosen = st.session_state.get("language", start)
    use(chosen)
    with st.sidebar:
        st.selectbox(_("Language"), known, index=known.index(start), format_func=own_name, key="language")
    if chosen != usual:
        st.query_params["language"] = chosen
    elif asked:
        del st.query_params["language"]


def link(path: str, label: str, **address: str) -> None:
    """A link to another page of the viewer's, with its choices in the address."""
    st.page_link(st.session_state["pages"][path], label=label, query_params=address)


def address(path: str, **choices: str) -> str:
    """Another page's address for a link in a picture; it keeps who is looking, and in which language."""
    kept = {name: st.query_params[name] for name in ("as", "language") if name in st.query_params}
    return f"{path}?{urlencode(kept | choices)}"


def _start(own: Sequence[Page]) -> None:
    """The bare address: go on to the first page the viewer has, keeping what the address says."""
    if not own:
        who_to_ask = _("Ask the head coach which role the roster gives you.")
        layout.say(f"{_('There is no page for you here.')} {who_to_ask}")
        st.stop()
    st.switch_page(st.session_state["pages"][own[0].path], query_params=st.query_params.to_dict())


def _entry(page: Page, reader: Reader, own: Sequence[Page]) -> Any:
    visible = page in own

    def show() -> None:
        if not visible:
            key = (reader.viewer.person, reader.viewer.link, page.path)
            layout.once("refused", key, lambda: reader.refused(page.name))
            layout.say(_("This page is not for you; use the pages you were given, or ask the head coach."))
            for mine in own:
                link(mine.path, _(mine.name))
            return
        with layout.part(), journal.step(log, "showed the page %s to a %s", page.path, reader.viewer.role):
            page.show(reader)

    title = _(page.name)
    return st.Page(show, title=title, url_path=page.path, visibility="visible" if visible else "hidden")
