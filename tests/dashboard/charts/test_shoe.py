"""The shoe from the side: the weight where it should be, where it was, and the same in words."""

import re

import pytest

from dashboard import aim
from dashboard.charts.shoe import Shoe, Weight
from dashboard.text.advice import ADVICE


def circles(shoe):
    found = re.findall(r'<circle cx="(\d+)" cy="\d+" r="(\d+)" fill="([^"]*)"', shoe.svg)
    return [(float(x), float(radius), fill == "none") for x, radius, fill in found]


def test_the_ring_is_where_the_weight_was_and_the_filled_mark_where_it_should_be():
    ring, filled = circles(Shoe("back", Weight(50, 3), Weight(15, 1)))
    assert ring[2]
    assert not filled[2]
    assert ring[0] < filled[0]  # the heel is at the left
    assert ring[1] < filled[1]  # little weight, and most of it
    assert len(circles(Shoe("back", Weight(50, 3)))) == 1


def test_the_drawing_says_the_same_in_words():
    assert Shoe("back", Weight(50, 3), Weight(15, 1)).words == (
        "Back foot: most of the weight on the middle. It was: little weight on the heel."
    )
    assert Shoe("front", Weight(80, 2)).words == "Front foot: weight on the ball of the foot."


def test_apart_it_is_first_what_it_should_not_be():
    (not_so, wrong), (so, right) = Shoe("back", Weight(50, 3), Weight(15, 1)).apart()
    assert (not_so, wrong.should, so, right.should) == (
        "Not like this",
        Weight(15, 1),
        "Like this",
        Weight(50, 3),
    )
    assert Shoe("back", Weight(50, 3)).apart() == ()


@pytest.mark.parametrize("fault", ADVICE)
def test_every_fault_is_said_in_five_words_and_drawn_with_a_difference_to_see(fault):
    short = ADVICE[fault]["in_short"]
    assert 2 <= len(short.split()) <= 5
    assert not re.search(r"\b(lead|trail|centre)\b", short.lower())
    shoe = aim.shoe(fault)
    ring, filled = circles(shoe)
    assert abs(ring[0] - filled[0]) >= 15 or abs(ring[1] - filled[1]) >= 3
    assert shoe.words
