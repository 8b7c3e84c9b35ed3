"""What the Words page says: every term of the pages in plain words, under the heading it belongs to."""

from dashboard.text.catalogue import _
from dashboard.text.glossary import GLOSSARY


def words() -> dict[str, list[tuple[str, str]]]:
    """Heading → each term and its meaning, in the language in use."""
    return {
        _(heading): [(_(term.name), _(term.meaning)) for term in terms] for heading, terms in GLOSSARY.items()
    }
