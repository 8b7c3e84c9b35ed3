"""Colour and type, here and nowhere else: charts, pages, their components and paper all take them from here.

The feet have no colours of their own: a solid line is the lead foot, a dashed one the trail foot.
"""

ACCENT = "#0B5C8E"  # what a picture is about, links, and what is chosen
BAND = "#DDE6E0"
INK = "#22302B"
SIGNAL = "#7A3E9D"
GROUND = "#FFFFFF"
ASIDE = "#F2F5F3"  # the ground of the sidebar and of boxes
QUIET = "#5B6661"  # axis labels and what came before
HAIRLINE = "#E6EAE7"

FONT = "'Source Sans', system-ui, 'Segoe UI', Roboto, 'DejaVu Sans', sans-serif"
TITLE_SIZE = 15
LABEL_SIZE = 12
HEADINGS = ("1.75rem", "1.125rem", "1rem")  # a page's title, a section's, and what stands below one

# As CSS, for whatever has a style sheet: color: var(--ink).
_COLORS = {
    "accent": ACCENT, "band": BAND, "ink": INK, "signal": SIGNAL, "ground": GROUND,
    "quiet": QUIET, "hairline": HAIRLINE,
}  # fmt: skip
CSS = f":root, :host {{ {' '.join(f'--{name}: {color};' for name, color in _COLORS.items())} }}\n"
# As Streamlit's own theme, in options of its command.
STREAMLIT = {
    "theme.base": "light", "theme.font": "sans-serif", "theme.primaryColor": ACCENT,
    "theme.linkColor": ACCENT, "theme.textColor": INK, "theme.backgroundColor": GROUND,
    "theme.secondaryBackgroundColor": ASIDE, "theme.headingFontSizes": list(HEADINGS),
}  # fmt: skip
