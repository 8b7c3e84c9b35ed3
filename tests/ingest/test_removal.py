"""Written pages that show somebody: which go when that person's data goes."""

from ingest.redaction import Identity
from ingest.removal import remove_pages

THEIRS = (
    "lesson-s1.pdf",
    "progress-s1.pdf",
    "progress-s1.html",
    "month/progress-s1.pdf",
    "lesson-s1.pdf.part",
)
NAMES_THEM = ("review-2026-10-05.html",)
UNREAD = ("review-2026-10-05.pdf", "review-2026-10-05-c1.pdf", "kept-by-hand.pdf")
OTHERS = (
    "lesson-s2.pdf",
    "progress-s12.pdf",
    "progress-s2.html",
    "month/progress-s2.pdf",
    "review-2026-09-28.html",
)


def test_a_pdf_goes_unless_its_name_says_whose_else_it_is_because_its_words_cannot_be_searched(home):
    for name in (*THEIRS, *NAMES_THEM, *UNREAD, *OTHERS):
        file = home.pages / name
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_text("about Tam Brackley" if name in NAMES_THEM else "about somebody else")
    gone = remove_pages(home, Identity("s1", frozenset({"s1"}), frozenset({"Tam Brackley"})))
    left = {str(file.relative_to(home.pages)) for file in home.pages.rglob("*") if file.is_file()}
    assert left == set(OTHERS)
    assert gone == len(THEIRS) + len(NAMES_THEM) + len(UNREAD)
