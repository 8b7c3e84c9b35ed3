"""German, begun with one page and every caution: an academy that names it sees it there, and no code knows of it."""

import pytest

from dashboard.text import catalogue, extract
from dashboard.text.catalogue import _, ngettext

PAGE = (
    *(extract.ROOT / "dashboard" / "pages" / "coaches").glob("*.py"),
    extract.ROOT / "dashboard" / "charts" / "coach_funnel.py",
    extract.ROOT / "dashboard" / "text" / "cautions.py",
    extract.ROOT / "dashboard" / "safety.py",
)


@pytest.fixture(scope="module")
def german_home(homes):
    home = homes("german")
    text = home.settings_file.read_text(encoding="utf-8")
    home.settings_file.write_text(text.replace("[device", 'language = "de"\n[device', 1), encoding="utf-8")
    yield home
    catalogue.use("en")


def test_the_coaches_page_is_german_where_the_academy_says_so(german_home, visit, page_text):
    at = visit("german", "coaches", "h01")
    text = page_text(at)
    assert not at.exception
    assert at.title[0].value == "Trainer"
    assert "Diese Seite kann nicht zeigen, wer am besten unterrichtet." in text
    assert "Sie sehen die Seiten als Hedda Quist." in text
    drawn = "".join(str(element.proto) for element in at.get("vega_lite_chart"))
    assert "Zuwachs in 90 Tagen, in kleinsten erkennbaren" in drawn
    assert '"decimal": ","' in drawn.replace("\\", "")


def test_a_page_that_is_not_translated_stays_english(german_home, visit, page_text):
    text = page_text(visit("german", "drills", "h01"))
    assert "These data are not a trial" in text


def test_the_next_page_of_an_english_academy_is_english_again(german_home, visit, page_text):
    assert visit("german", "coaches", "h01").title[0].value == "Trainer"
    assert visit("full", "coaches", "h01").title[0].value == "Coaches"


def test_nothing_of_the_page_and_of_the_cautions_is_left_in_english(german_home):
    catalogue.use("de")
    for file in PAGE:
        with file.open("rb") as opened:
            for _line, name, message, _comments in extract.of_code(opened, extract.KEYWORDS, (), {}):
                found = [part for part in (message if isinstance(message, tuple) else (message,)) if part]
                if not found:
                    continue
                said = ngettext(*found[:2], 2) if name in {"ngettext", "mark_plural"} else _(found[0])
                assert said != found[-1], f"{file.name}: {found[0]}"
