"""Files are taken in from staff who have signed in, small films from families with a consent to film, and no others."""

import pytest

from changed_academies import changed
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


def sized(n):
    return [(b"content-length", str(n).encode())]


@pytest.fixture
def family_visit(visit, homes):
    """The visit of a student with a consent to film."""
    consent = "INSERT INTO academy.consent VALUES ('s02', 's02', 'film', '2025-01-01', NULL)"
    changed(homes, "consent-to-film", consent)
    return visit("consent-to-film", "progress", "s02")


def test_a_family_with_a_consent_to_film_sends_small_films_and_few(family_visit):
    assert uploads.refused("PUT", ADDRESS)  # a size is not said
    assert uploads.refused("PUT", ADDRESS, sized(uploads.MOST_BYTES + 1))
    assert uploads.refused("PUT", ADDRESS, [(b"content-length", b"-1")])
    for _ in range(uploads.MOST_FILES):
        assert not uploads.refused("PUT", ADDRESS, sized(2_000_000))
    assert uploads.refused("PUT", ADDRESS, sized(2_000_000))
    assert not uploads.refused("DELETE", ADDRESS)
    family_visit.run()
    assert uploads.refused("PUT", ADDRESS, sized(2_000_000))  # running the page again gives no more


def test_a_family_without_that_consent_sends_none(visit):
    visit("full", "progress", "s02")
    assert uploads.refused("PUT", ADDRESS, sized(2_000_000))
