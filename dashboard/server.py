"""The server of the pages; `python -m dashboard.server run dashboard/app.py …` takes Streamlit's own options.

Everything the pages need is imported before the first visitor comes. Otherwise the first visitors' threads
import pandas at the same moment, and one of them may be given a half-made module: an exception box.
"""

import altair as alt
import pandas as pd  # noqa: F401 - Streamlit and Altair import it only when a table or picture is shown
from streamlit.runtime.pages_manager import PagesManager
from streamlit.web.cli import main

import dashboard.app  # noqa: F401 - the same for the pages and what they need

if __name__ == "__main__":
    alt.utils.schemapi.disable_debug_mode()  # the tests check every picture against its schema
    # dashboard/pages holds no scripts; the first visitor by a deep link would be told there is no such page.
    PagesManager.uses_pages_directory = False
    main(prog_name="streamlit")
