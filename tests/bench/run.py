"""`make bench`: every row, measured, printed beside its last ratio, and added to the history; `make bench ROWS=ij`: some."""

import sys
import tempfile
from datetime import UTC, datetime
from pathlib import Path

from bench.rows import ROWS
from bench.table import last_ratios, letter, remember

wanted, before = "".join(sys.argv[1:]), last_ratios()
print("| what | ours | baseline | ratio | goal | met |\n|---|---|---|---|---|---|")
for name, measure in ROWS.items():
    if wanted and name not in wanted:
        continue
    with tempfile.TemporaryDirectory() as folder:
        row = measure(Path(folder))
        print(row.line(before.get(letter(row))), flush=True)
        remember(row, datetime.now(UTC).date())
