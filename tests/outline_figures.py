"""How far rough rises of shoes without tape are off, on shapes that nothing was built on: a line for each foot.

    python tests/outline_figures.py [FIRST LAST]

draws the films of `rendered_shoes.scenes` whose shapes are not in BUILT_ON, follows them, and prints what was true and
what was found (mm, at the highest and at impact) or why nothing was. tests/FIGURES.md has what came of it.
"""

import sys
import tempfile
import time
from pathlib import Path

import numpy as np

from drawn_shoes import BUILT_ON, SHOES
from ingest.film.outline import follow_outlines
from rendered_shoes import Scene, rendered, scenes


def measured(scene: Scene, folder: Path) -> list[str]:
    """A line for the near (trail) and the far (lead) foot of a film."""
    film, path = rendered(scene), folder / "clip.mp4"
    film.write(path)
    began = time.process_time()
    found = follow_outlines(path, path.name, film.heels_px[::-1], film.toes_px[::-1], film.shoe_mm, 0.0)[::-1]
    spent = time.process_time() - began
    lines = []
    for foot, outline, truth in zip(("near", "far"), found, film.rises_mm, strict=True):
        at_impact = np.interp(film.impact_s, film.times_s, truth)
        said = f"refused: {outline.refused}"
        if outline.refused is None:
            impact = np.interp(film.impact_s, outline.times_s, outline.rises_mm) - at_impact
            said = f"highest {max(outline.rises_mm) - truth.max():+.1f}, at impact {impact:+.1f}"
        where = f"{scene.shoe}, {scene.floor}, {scene.view}, {scene.spoilt or 'good'}, {foot}"
        lines.append(f"{where}: true {truth.max():.0f} and {at_impact:.0f}; {said}; CPU {spent:.1f} s")
    return lines


if __name__ == "__main__":
    first, last = (int(word) for word in sys.argv[1:3]) if len(sys.argv) > 2 else (0, None)
    held_out = tuple(name for name in SHOES if name not in BUILT_ON)
    with tempfile.TemporaryDirectory() as made:
        for scene in scenes(held_out, 29)[first:last]:
            print(*measured(scene, Path(made)), sep="\n", flush=True)
