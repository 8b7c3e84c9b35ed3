"""List every message of the pages in `underfoot.pot`: python -m dashboard.text.extract.

Taken from the code and the paper templates is what `_`, `ngettext`, `mark`, `mark_plural` and `Words` hold,
and from the rules the names and explanations of metrics, faults, signs and feelings; from advice.toml what
a coach says of each fault.

To begin a language, copy the list to `<language>.po` and translate it; `pybabel update` brings a translation
up to date with a newer list.
"""

import ast
import tomllib
from collections.abc import Iterator
from io import BytesIO
from pathlib import Path
from typing import Any, BinaryIO

from babel.messages.catalog import Catalog
from babel.messages.extract import extract_from_dir, extract_python
from babel.messages.pofile import write_po

ROOT = Path(__file__).parents[2]
TEMPLATE = Path(__file__).with_name("underfoot.pot")
KEYWORDS = {"_": None, "mark": None, "ngettext": (1, 2), "mark_plural": (1, 2)}
RULES: dict[str, dict[str, tuple[str, ...]]] = {
    "metrics.toml": {"metric": ("label", "unit", "explain")},
    "faults.toml": {"fault": ("name", "looks_like", "instead")},
    "advice.toml": {"advice": ("costs", "feel", "on_film", "drill"), "shared_drill": ("how",)},
    "observations.toml": {"sign": ("name", "looks_like"), "feeling": ("question",)},
}


def of_code(
    opened: BinaryIO, keywords: Any, comments: Any, options: Any
) -> Iterator[tuple[int, str, Any, list[str]]]:
    """Babel's own extractor of Python, and the values of each table of `Words`."""
    found: Any = extract_python(opened, keywords, comments, options)
    yield from found
    opened.seek(0)
    for call in ast.walk(ast.parse(opened.read())):
        if isinstance(call, ast.Call) and isinstance(call.func, ast.Name) and call.func.id == "Words":
            for value in ast.walk(call.args[0]):
                if isinstance(value, ast.Dict):
                    words = ((v.lineno, ast.literal_eval(v)) for v in value.values)
                    yield from ((line, "_", word, []) for line, word in words if word)


def of_rules(opened: BinaryIO, *_keywords: Any, **_options: Any) -> Iterator[tuple[int, str, Any, list[str]]]:
    """The words of each row of a rules file."""
    rules = tomllib.loads(opened.read().decode())
    for table, columns in RULES[Path(opened.name).name].items():
        for row in rules[table]:
            yield from ((0, "_", row[column], []) for column in columns if row.get(column))


def messages() -> Catalog:
    """Every message, without the lines it comes from: those would change at every edit."""
    found = Catalog()
    sources: dict[str, list[tuple[str, Any]]] = {
        "dashboard": [("**.py", of_code), ("**.html", "jinja2"), ("text/advice.toml", of_rules)],
        "warehouse": [(f"**/{name}", of_rules) for name in RULES],
    }
    for folder, methods in sources.items():
        for _file, _line, message, *_more in extract_from_dir(ROOT / folder, methods, keywords=KEYWORDS):
            # A "%" is a unit here, and no place for a value.
            found.add(message).flags.discard("python-format")
    return found


def listed() -> str:
    """The list as it is written: by message, so that two branches that add one seldom meet."""
    written = BytesIO()
    write_po(written, messages(), width=100, omit_header=True, sort_output=True)
    return written.getvalue().decode()


if __name__ == "__main__":
    TEMPLATE.write_text(listed(), encoding="utf-8")
