"""Colour: each stands in one file, and what the file says of contrast is true."""

import json
import re
from pathlib import Path

import pytest

from dashboard import serving, theme

ROOT = Path(__file__).parents[2]
SOURCES = {".py", ".css", ".js", ".html", ".toml"}


def luminance(color):
    parts = [int(color[k : k + 2], 16) / 255 for k in (1, 3, 5)]
    red, green, blue = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


@pytest.mark.parametrize("color", [theme.INK, theme.ACCENT, theme.SIGNAL, theme.QUIET])
def test_a_color_stands_out_from_white_enough_for_text(color):
    """WCAG 2.2, 1.4.3: text at least 4.5 to 1."""
    assert 1.05 / (luminance(color) + 0.05) >= 4.5


def test_no_color_stands_anywhere_else():
    files = [
        p for folder in ("dashboard", ".streamlit") for p in (ROOT / folder).rglob("*") if p.suffix in SOURCES
    ]
    found = {
        str(p.relative_to(ROOT)): hexes
        for p in files
        if p != Path(theme.__file__)
        if (hexes := re.findall(r"#(?:[0-9A-Fa-f]{6}|[0-9A-Fa-f]{3})\b", p.read_text(encoding="utf-8")))
    }
    assert len(files) > 60
    assert found == {}


def test_every_variable_of_a_style_sheet_is_one_of_the_themes():
    known = set(re.findall(r"--([a-z]+):", theme.CSS))
    for sheet in (ROOT / "dashboard").rglob("*.css"):
        used = set(re.findall(r"var\(--(?!st-)([a-z]+)\)", sheet.read_text(encoding="utf-8")))
        assert used <= known, sheet.name


def test_the_pages_are_served_in_the_themes_colors():
    options = json.loads(serving.streamlit({"server.port": 1})[-1])
    assert options["theme.textColor"] == theme.INK
    assert options["server.port"] == 1
