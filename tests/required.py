"""What a test requires beside the code: where it is missing the test is skipped by name, and fails in CI."""

import os
from typing import NoReturn

import pytest


def missing(reason: str) -> NoReturn:
    """Say what is missing, in a sentence; CI sets everything up, so there it is an error."""
    if os.environ.get("CI") == "true":
        pytest.fail(reason)
    pytest.skip(reason)
