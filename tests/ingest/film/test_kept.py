"""The film kept for the pages: its marks and their names."""

from collections import deque

import numpy as np
import pytest

from ingest.film.kept import draw_marks


def drawn(marks, width=240):
    plain = np.full((160, width, 3), 90, np.uint8)
    trails = {"lead": deque(maxlen=9), "trail": deque(maxlen=9)}
    return (draw_marks(plain.copy(), np.array(marks, dtype=float), trails) != plain).any(axis=2)


@pytest.mark.parametrize("toward", [1, -1], ids=["toes to the right", "toes to the left"])
def test_names_of_a_foot_s_marks_stay_apart_where_feet_are_small(toward):
    heel, toe = (100, 60), (100 + toward * 40, 62)
    changed = drawn([heel, toe, (100, 130), (100 + toward * 40, 132)])
    between = sorted((heel[0] + toward * 10, toe[0] - toward * 10))
    names = changed[36:50]  # above the rings
    assert not names[:, between[0] : between[1]].any()
    assert names[:, : between[0]].any()
    assert names[:, between[1] :].any()


def test_names_stay_in_the_picture_and_a_lost_mark_has_none():
    changed = drawn([(4, 60), (236, 62), (120, 130), (np.nan, np.nan)])
    assert changed[36:50, 2:54].any()
    assert changed[38:52, 186:].any()
    assert not changed[104:120, 140:].any()
