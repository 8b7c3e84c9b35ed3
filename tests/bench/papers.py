"""Progress pages as HTML, beside what their pictures alone cost."""

from contextlib import closing
from itertools import cycle, islice
from pathlib import Path

import vl_convert

from bench.crowds import make_demo
from bench.table import Row, pairs_of, spent_s
from dashboard import document
from dashboard.pages.progress.content import page_of
from warehouse.home import Home
from warehouse.reach import students_on
from warehouse.store import open_snapshot

MOST_BYTES = 200_000


def progress_pages(folder: Path, pages: int = 1000, turns: int = 4, home: Home | None = None) -> Row:
    """Whole progress pages, from the published tables to HTML, against drawing their pictures as SVG alone.

    Raises
        ValueError: a page is too large, or has no picture to compare with.
    """
    if home is None:
        make_demo(folder / "demo")
        home = Home(folder / "demo")
    drawn: list[dict] = []
    draw = vl_convert.vegalite_to_svg

    def noted(chart: dict) -> str:
        drawn.append(chart)
        return draw(chart)

    found, largest = [], 0
    with closing(open_snapshot(home)) as snapshot:
        students = students_on(snapshot, home.settings().today)
        page_of(snapshot, students[0])  # what is compiled and imported once
        whom = cycle(students)
        try:
            document.vl_convert.vegalite_to_svg = noted
            for turn in range(turns):
                share, texts = list(islice(whom, pages * (turn + 1) // turns - pages * turn // turns)), []
                drawn.clear()
                ours = spent_s(
                    lambda share=share, texts=texts: texts.extend(page_of(snapshot, s) for s in share)
                )
                largest = max(largest, *(len(text.encode()) for text in texts))
                if not drawn:
                    raise ValueError("no page has a picture")
                base = spent_s(lambda: [draw(chart) for chart in tuple(drawn)])
                found.append((ours / len(share), base / len(share)))
        finally:
            document.vl_convert.vegalite_to_svg = draw
    if largest >= MOST_BYTES:
        raise ValueError(f"a page has {largest} bytes")
    pairs = pairs_of(found)
    what = (
        f"(k) {pages:,} progress pages as HTML, {1 / pairs.ours:.2g} a second, at most {largest / 1000:.0f} kB "
        "/ drawing their pictures alone, CPU a page"
    )
    ratio = pairs.ours_by_base
    return Row(what, pairs.ours * 1e3, pairs.base * 1e3, "ms", ratio, "≤ 4 ×, < 200 kB", ratio <= 4)
