"""Warming the compiled kernel at set-up."""

from models.warm import warm


def test_warming_reduces_one_swing():
    assert warm() == 1
