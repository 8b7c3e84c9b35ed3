"""Files are taken in from staff who have signed in, and from nobody else."""

import pytest

from dashboard import uploads

ADDRESS = "/_stcore/upload_file/test session id/file"  # the visit of Streamlit's own page tests


@pytest.fixture(autouse=True)
def nobody_admitted():
    uploads._admitted.clear()


@pytest.mark.parametrize(
    ("kind", "person", "refused"),
    [
        ("full", "h01", False),
        ("full", "c01", False),
        ("full", "s01", True),
        ("full", "g01", True),
        ("real", "h01", True),
    ],
)
def test_only_staff_who_have_signed_in_are_admitted(visit, kind, person, refused):
    visit(kind, "progress", person)
    assert uploads.refused("PUT", ADDRESS) is refused
    assert uploads.refused("PUT", "/_stcore/upload_file/another visit/file")


def test_a_coach_who_no_longer_is_one_is_admitted_no_longer(visit):
    visit("full", "progress", "c01")
    assert not uploads.refused("PUT", ADDRESS)
    visit("full", "progress", "s01")
    assert uploads.refused("PUT", ADDRESS)
    assert uploads.refused("DELETE", ADDRESS)


def test_a_link_admits_nobody(visit):
    visit("full", "progress", "h01")
    visit("full", "progress", "h01", link="no-good")
    assert uploads.refused("PUT", ADDRESS)


def test_other_addresses_are_not_asked_about():
    for path in ("/", "/deliveries", "/_stcore/stream", "/_stcore/health"):
        assert not uploads.refused("GET", path)
        assert not uploads.refused("PUT", path)
