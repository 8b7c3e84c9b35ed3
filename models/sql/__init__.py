"""Queries of the models, each in a file named after the table whose rows it makes."""

import re
from pathlib import Path


def query(name: str) -> str:
    """The text of one query; a line `-- NAME.sql` in it stands for another."""
    text = (Path(__file__).parent / f"{name}.sql").read_text(encoding="utf-8")
    return re.sub(r"^ +-- (\w+)\.sql$", lambda line: query(line[1]), text, flags=re.MULTILINE)
