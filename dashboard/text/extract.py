"""Bring each language's file up to date with the messages of the pages: python -m dashboard.text.extract.

Taken from the code and the paper templates is what `_`, `ngettext`, `mark`, `mark_plural` and `Words` hold,
and from the rules the names and explanations of metrics, faults, signs and feelings; from advice.toml what
a coach says of each fault; and what the holder of an invalid link or invitation reads.

Each `<language>.po` gains the new messages, untranslated, and loses those that are gone; what it still lacks
is printed. To begin a language, add an empty file of that name.
"""

import ast
import tomllib
from collections.abc import Iterator
from io import BytesIO
from pathlib import Path
from typing import Any, BinaryIO

from babel.messages.catalog import Catalog
from babel.messages.extract import extract_from_dir
from babel.messages.plurals import get_plural
from babel.messages.pofile import read_po, write_po

ROOT = Path(__file__).parents[2]
LANGUAGES = sorted(Path(__file__).parent.glob("*.po"))
KEYWORDS = {"_": None, "mark": None, "ngettext": (1, 2), "mark_plural": (1, 2)}
HEADER = """msgid ""
msgstr ""
"Language: {language}\\n"
"Plural-Forms: {plurals}\\n"
"Content-Type: text/plain; charset=utf-8\\n"

"""
RULES: dict[str, dict[str, tuple[str, ...]]] = {
    "metrics.toml": {"metric": ("label", "unit", "explain", "null", "source")},
    "faults.toml": {"fault": ("name", "looks_like", "in_words", "instead")},
    "advice.toml": {"advice": ("in_short", "costs", "feel", "on_film", "drill"), "shared_drill": ("how",)},
    "observations.toml": {"sign": ("name", "looks_like"), "feeling": ("question",)},
}


def of_code(opened: BinaryIO, *_keywords: Any, **_options: Any) -> Iterator[tuple[int, str, Any, list[str]]]:
    """The messages of each call of a keyword, also one within an f-string, and of each table of `Words`."""
    for call in ast.walk(ast.parse(opened.read())):
        if not isinstance(call, ast.Call) or not isinstance(call.func, ast.Name):
            continue
        name = call.func.id
        if name == "Words":
            for table in (part for part in ast.walk(call.args[0]) if isinstance(part, ast.Dict)):
                words = ((value.lineno, ast.literal_eval(value)) for value in table.values)
                yield from ((line, "_", word, []) for line, word in words if word)
        elif name in KEYWORDS:
            said = [arg.value for arg in call.args if isinstance(arg, ast.Constant)]
            if said and all(isinstance(message, str) for message in said):
                yield call.lineno, name, tuple(said) if KEYWORDS[name] else said[0], []


def of_rules(opened: BinaryIO, *_keywords: Any, **_options: Any) -> Iterator[tuple[int, str, Any, list[str]]]:
    """The words of each row of a rules file."""
    rules = tomllib.loads(opened.read().decode())
    for table, columns in RULES[Path(opened.name).name].items():
        for row in rules[table]:
            yield from ((0, "_", row[column], []) for column in columns if row.get(column))


def of_refusals(
    opened: BinaryIO, *_keywords: Any, **_options: Any
) -> Iterator[tuple[int, str, Any, list[str]]]:
    """A module's sentences that are constants: what the holder of a bad link or invitation reads."""
    for node in ast.parse(opened.read()).body:
        if isinstance(node, ast.Assign) and isinstance(node.value, ast.Constant):
            said = node.value.value
            if isinstance(said, str) and said.endswith("."):
                yield node.lineno, "_", said, []


def messages() -> Catalog:
    """Every message, without the lines it comes from: those would change at every edit."""
    found = Catalog()
    sources: dict[str, list[tuple[str, Any]]] = {
        "dashboard": [("**.py", of_code), ("**.html", "jinja2"), ("text/advice.toml", of_rules)],
        "warehouse": [
            *((f"**/{name}", of_rules) for name in RULES),
            ("browsers.py", of_refusals),
            ("links.py", of_refusals),
        ],
    }
    for folder, methods in sources.items():
        for _file, _line, message, *_more in extract_from_dir(ROOT / folder, methods, keywords=KEYWORDS):
            # A "%" is a unit here, and no place for a value.
            found.add(message).flags.discard("python-format")
    return found


def listed(catalog: Catalog) -> str:
    """The list as it is written: by message, so that two branches that add one seldom meet."""
    written = BytesIO()
    write_po(written, catalog, width=100, omit_header=True, sort_output=True)
    return written.getvalue().decode()


def translated(file: Path) -> Catalog:
    """Every message with its translation in a language's file; empty where it has none."""
    with file.open("rb") as opened:
        known = read_po(opened, locale=file.stem)
    found = messages()
    for message in found:
        old = known.get(message.id) if message.id else None
        if old is not None:
            message.string = old.string
    return found


def missing(catalog: Catalog) -> list[str]:
    """The messages without a translation, or without one of its plural forms."""
    return [
        message.id if isinstance(message.id, str) else message.id[0]
        for message in catalog
        if message.id and not (message.string and all(message.string))
    ]


def update(file: Path) -> list[str]:
    """Bring a language's file up to date, under the comment and header that it has; what is missing in it."""
    catalog = translated(file)
    text = file.read_text(encoding="utf-8")
    head = text[: text.find("\n\n") + 2] or HEADER.format(language=file.stem, plurals=get_plural(file.stem))
    file.write_text(head + listed(catalog), encoding="utf-8")
    return missing(catalog)


if __name__ == "__main__":
    for file in LANGUAGES:
        for lacking in update(file):
            print(f"{file.name}: {lacking}")
