"""What a PDF holds, read by a library that has nothing to do with the one that made it."""

from importlib.util import find_spec

import numpy as np

import required

POINTS = {"A4": (595, 842), "Letter": (612, 792)}
LEAST_PX = 60  # of a colour that counts
APART = 60  # two colours differ so much, of 441, that an eye sees it
GREY_APART = 20  # two greys, of 255


def require() -> None:
    """Without what makes PDF, or what reads it, the test is skipped by name, and fails in CI."""
    missing = [name for name in ("plutoprint", "pypdfium2") if find_spec(name) is None]
    if missing:
        required.missing(f"{' and '.join(missing)} is not installed.")


def opened(pdf: bytes):
    """A PDF as pypdfium2 reads it."""
    import pypdfium2  # noqa: PLC0415 - required by the tests that come here alone

    return pypdfium2.PdfDocument(pdf)


def sheets(pdf: bytes) -> list[tuple[int, int]]:
    """Width and height of each sheet, points."""
    return [tuple(round(side) for side in page.get_size()) for page in opened(pdf)]


def words(pdf: bytes) -> str:
    """All its text, with single blanks."""
    return " ".join(" ".join(page.get_textpage().get_text_range() for page in opened(pdf)).split())


def alike_in_grey(pdf: bytes) -> list[tuple[tuple[int, ...], tuple[int, ...]]]:
    """Pairs of colours that cover something on the same sheet, look different, and print as the same grey.

    Grey is the luma of ITU-R BT.601, as printer drivers compute it.
    """
    found = []
    for page in opened(pdf):
        drawn = page.render(scale=2, no_smoothtext=True, no_smoothimage=True, no_smoothpath=True)
        packed = drawn.to_numpy()[:, :, 2::-1] @ np.array([1 << 16, 1 << 8, 1])  # sorted far sooner than rows
        numbers, counts = np.unique(packed, return_counts=True)
        shown = numbers[counts >= LEAST_PX, None]
        colours = (shown >> np.array([16, 8, 0]) & 255).astype(float)
        grey = colours @ [0.299, 0.587, 0.114]
        for i, j in zip(*np.triu_indices(len(colours), 1), strict=True):
            if np.linalg.norm(colours[i] - colours[j]) > APART and abs(grey[i] - grey[j]) < GREY_APART:
                found.append((tuple(map(int, colours[i])), tuple(map(int, colours[j]))))
    return found
