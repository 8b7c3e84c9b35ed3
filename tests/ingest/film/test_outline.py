"""Shoes without tape on drawn films: a planted rise comes back roughly, and nothing is said where it can't be."""

import numpy as np
import pytest

from ingest.film.outline import follow_outlines
from rendered_shoes import Scene, rendered

QUICK = {"fps": 20.0, "seconds": 1.2, "at_impact_mm": 30, "shadow": 0.1, "seed": 6}
LEAD_FIRST = [1, 0]  # films are drawn with the near, trail foot first


def followed(tmp_path, **scene):
    """The film, and what its lead and trail foot gave."""
    film = rendered(Scene(**QUICK | scene))
    path = tmp_path / "clip.mp4"
    film.write(path)
    heels, toes = film.heels_px[LEAD_FIRST], film.toes_px[LEAD_FIRST]
    return film, follow_outlines(path, path.name, heels, toes, film.shoe_mm, 0.0)


def test_the_rise_of_both_heels_comes_back_roughly(tmp_path):
    film, (lead, trail) = followed(tmp_path, shoe="slim pump", view="three-quarter", peaks_mm=(60, 40))
    for outline, truth in ((trail, film.rises_mm[0]), (lead, film.rises_mm[1])):
        assert outline.refused is None
        assert max(outline.rises_mm) == pytest.approx(truth.max(), abs=20)
        assert np.corrcoef(outline.rises_mm, truth[: len(outline.rises_mm)])[0, 1] > 0.9


def test_feet_that_stand_still_do_not_rise(tmp_path):
    _, (_, trail) = followed(tmp_path, peaks_mm=(0.5, 0.5), at_impact_mm=0.1)
    assert max(trail.rises_mm) < 6


def test_from_the_side_the_far_heel_is_behind_the_near_leg(tmp_path):
    _, (lead, trail) = followed(tmp_path, peaks_mm=(40, 30))
    assert (lead.refused, lead.rises_mm) == ("heel_hidden", ())
    assert trail.refused is None


@pytest.mark.parametrize(
    ("scene", "why"),
    [
        ({"view": "front"}, {"from_front"}),
        ({"spoilt": "leaves"}, {"shoe_lost", "out_of_picture", "moved"}),
        ({"spoilt": "cut"}, {"cut"}),
        ({"spoilt": "occluded"}, {"shoe_lost", "cut"}),
        ({"spoilt": "camouflaged", "floor": "grass"}, {"no_contrast", "shoe_lost"}),
    ],
)
def test_what_cannot_be_followed_gives_a_reason_and_no_number(tmp_path, scene, why):
    _, (_, trail) = followed(tmp_path, **scene)
    assert trail.refused in why
    assert (trail.times_s, trail.rises_mm) == ((), ())
