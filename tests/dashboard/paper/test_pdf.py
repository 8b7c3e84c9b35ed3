"""PDF: what is saved as HTML, laid out on the academy's paper, from the command and from the pages."""

import html
import shutil
from pathlib import Path

import pytest

import hostile_texts
import pdf_pages
from changed_academies import changed
from command import underfoot_command
from dashboard import handouts, pdf
from dashboard.pages.progress.content import page_of
from dashboard.pages.week.paper import write_review
from warehouse.errors import CallError, UnderfootError
from warehouse.settings import parse_settings

SHEETS = {"lesson": 1, "page": 1, "review": 2}
ENDED = "INSERT INTO academy.consent VALUES ('s01', 'g01', 'family_page', '2026-01-01', '2026-02-01')"
NO_FONTS = (
    '<?xml version="1.0"?><!DOCTYPE fontconfig SYSTEM "fonts.dtd"><fontconfig><dir>/none</dir></fontconfig>'
)


@pytest.fixture(autouse=True)
def _needs_pdf():
    pdf_pages.require()


def on_paper(home, paper):
    """The home with its paper in academy.toml."""
    text = home.settings_file.read_text("utf-8")
    home.settings_file.write_text(f'paper = "{paper}"\n{text}', encoding="utf-8")
    return home


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_every_document_fills_its_number_of_sheets_of_the_academys_paper_and_reads_in_grey(
    homes, paper, tmp_path
):
    home = on_paper(homes(f"paper_{paper}"), paper)
    for verb, sheets in SHEETS.items():
        whom = [] if verb == "review" else ["s01"]
        ran = underfoot_command(verb, *whom, "--pdf", "--to", tmp_path / f"{verb}.pdf", "--home", home.path)
        assert ran.returncode == 0, ran.stderr
        made = (tmp_path / f"{verb}.pdf").read_bytes()
        assert pdf_pages.sheets(made) == [pdf_pages.POINTS[paper]] * sheets
        assert "Sanna Test" in pdf_pages.words(made)
        assert len(made) < 200_000
        assert pdf_pages.alike_in_grey(made) == []


def test_two_colours_that_print_as_one_grey_are_found():
    """What the test above rests on: red and green of the same grey, then the same green beside a dark red."""
    squares = "<p>x</p><svg width='90' height='40'>{}</svg>"
    square = "<rect x='{}' width='40' height='40' fill='{}'/>"
    alike = squares.format(square.format(0, "#d00000") + square.format(50, "#006a00"))
    apart = squares.format(square.format(0, "#500000") + square.format(50, "#00c000"))
    found, none = pdf.pdfs([alike, apart], "A4")
    assert pdf_pages.alike_in_grey(found) == [((0, 106, 0), (208, 0, 0))]
    assert pdf_pages.alike_in_grey(none) == []


def test_paper_is_a4_unless_academy_toml_says_letter_and_no_other_size_is_known():
    head = 'name = "x"\ntime_zone = "UTC"\n'
    assert parse_settings(head.encode()).paper == "A4"
    assert parse_settings(f'{head}paper = "Letter"\n'.encode()).paper == "Letter"
    for other in ('"A5"', '"letter"', "4", '["A4"]'):
        with pytest.raises(UnderfootError, match='write paper = "A4" or "Letter"'):
            parse_settings(f"{head}paper = {other}\n".encode())


@pytest.mark.parametrize(("verb", "kind"), [("lesson", "lesson"), ("page", "progress")])
@pytest.mark.parametrize("ending", ["pdf", "html"])
def test_documents_for_everyone_are_one_file_each_named_by_code_and_about_one_person(
    homes, verb, kind, ending, tmp_path
):
    home, folder = homes("full"), tmp_path / "new" / "folder"
    words = ["--pdf"] if ending == "pdf" else []
    ran = underfoot_command(verb, "--all", *words, "--to", folder, "--home", home.path)
    assert ran.returncode == 0, ran.stderr
    assert ran.stdout.replace("\u00a0", " ").strip() == f"3 files in {folder}."
    names = {"s01": "Sanna Test", "s02": "Sven Probe", "s03": "Sina Einmal"}
    assert sorted(file.name for file in folder.iterdir()) == [f"{kind}-{code}.{ending}" for code in names]
    for code, name in names.items():
        file = folder / f"{kind}-{code}.{ending}"
        text = pdf_pages.words(file.read_bytes()) if ending == "pdf" else file.read_text("utf-8")
        assert [other for other in names.values() if other in text] == [name]


def test_who_may_not_hand_out_a_page_gets_none_and_is_named_and_who_has_left_is_passed_over(homes, tmp_path):
    home = homes("ended")
    changed(homes, "ended", ENDED, "UPDATE academy.person SET \"left\" = '2026-02-01' WHERE person = 's03'")
    ran = underfoot_command("page", "--all", "--pdf", "--to", tmp_path / "all", "--home", home.path)
    assert ran.returncode == 0
    assert [file.name for file in (tmp_path / "all").iterdir()] == ["progress-s02.pdf"]
    assert "The consent to hand out the page of s01 has ended" in ran.stderr
    for words in (["s01"], ["s01", "--pdf"]):
        ran = underfoot_command("page", *words, "--to", tmp_path / "one", "--home", home.path)
        assert ran.returncode == 2
        assert not (tmp_path / "one").exists()


def test_either_every_file_is_written_or_none_and_those_of_before_stay(homes, tmp_path, monkeypatch):
    home, folder = homes("full"), tmp_path / "all"
    folder.mkdir()
    (folder / "progress-s01.html").write_text("before")

    def one_fails(snapshot, student):
        if student == "s03":
            raise CallError("no")
        return student

    with pytest.raises(CallError):
        handouts.write_of_everyone(home, "progress", one_fails, folder)
    write = Path.write_bytes

    def full(path, content):
        if "s03" in path.name:
            raise OSError(28, "No space left on device")
        return write(path, content)

    monkeypatch.setattr(Path, "write_bytes", full)
    with pytest.raises(OSError, match="No space left"):
        handouts.write_of_everyone(home, "progress", page_of, folder)
    assert [(file.name, file.read_text()) for file in folder.iterdir()] == [("progress-s01.html", "before")]


def test_a_call_that_names_nobody_or_both_or_no_folder_writes_nothing(homes, tmp_path):
    home = homes("full")
    for words in ([], ["s01", "--all"]):
        ran = underfoot_command("lesson", *words, "--to", tmp_path / "x", "--home", home.path)
        assert (ran.returncode, ran.stderr.strip()) == (
            2,
            "Name one student, or say --all for every student.",
        )
    for words in (["--link", "5"], ["--all", "--link", "5"], ["s01", "--all", "--end-links"]):
        ran = underfoot_command("page", *words, "--to", tmp_path / "x", "--home", home.path)
        assert (ran.returncode, ran.stderr.strip()) == (
            2,
            "A link opens one student's page: name the student.",
        )
    (tmp_path / "file").write_text("mine")
    ran = underfoot_command("page", "--all", "--to", tmp_path / "file", "--home", home.path)
    assert ran.returncode == 2
    assert "is a file; name a folder" in ran.stderr
    assert [file.name for file in tmp_path.iterdir()] == ["file"]
    assert (tmp_path / "file").read_text() == "mine"


@pytest.mark.parametrize("trouble", ["not installed", "crashes", "no fonts"])
def test_where_no_pdf_can_be_made_one_sentence_says_so_and_nothing_is_written(
    homes, trouble, tmp_path, monkeypatch
):
    if trouble == "not installed":
        monkeypatch.setattr(pdf, "find_spec", lambda _: None)
    elif trouble == "crashes":
        child = tmp_path / "child.py"
        child.write_text("import os, signal; os.kill(os.getpid(), signal.SIGSEGV)")
        monkeypatch.setattr(pdf, "CHILD", child)
    else:
        (tmp_path / "fonts.conf").write_text(NO_FONTS)
        monkeypatch.setenv("FONTCONFIG_FILE", str(tmp_path / "fonts.conf"))
    ran = underfoot_command(
        "lesson", "s01", "--pdf", "--to", tmp_path / "x.pdf", "--home", homes("full").path
    )
    assert ran.returncode == 1
    assert len(ran.stderr.strip().splitlines()) == 1
    said = {
        "not installed": "the package plutoprint is not installed",
        "crashes": "could not be made",
        "no fonts": "no font to print with",
    }
    assert said[trouble] in ran.stderr
    assert not (tmp_path / "x.pdf").exists()


def test_whatever_somebody_wrote_is_printed_and_fetches_nothing():
    texts = [text.text for text in hostile_texts.TEXTS]
    pages = [f"<!doctype html><p>before</p><p>{html.escape(text)}</p><p>after</p>" for text in texts]
    made = pdf.pdfs(pages, "A4")
    assert len(made) == len(texts)
    for text, page in zip(texts, made, strict=True):
        said = pdf_pages.words(page)
        assert said.startswith("before"), text
        assert said.endswith("after"), text


def test_a_document_that_names_files_gets_none_of_them(tmp_path):
    (tmp_path / "secret.css").write_text("p { display: none }")
    shutil.copy(Path(__file__).parents[3] / "dashboard/pictures/lesson-390.png", tmp_path / "seen.png")
    page = f"<link rel=stylesheet href='file://{tmp_path}/secret.css'><img src='file://{tmp_path}/seen.png'><p>text</p>"
    (made,) = pdf.pdfs([page], "A4")
    assert "text" in pdf_pages.words(made)
    assert b"/Image" not in made


def test_pages_offer_pdf_beside_html_and_where_there_is_none_say_why(visit, page_text, monkeypatch):
    for path, person in (("lesson", "c01"), ("progress", "s01"), ("progress", "g01"), ("week", "h01")):
        labels = [button.proto.label for button in visit("full", path, person).get("download_button")]
        where = labels.index("Save to print (PDF)")
        assert labels[where + 1] == "Save to print (HTML)", path
    monkeypatch.setattr(pdf, "find_spec", lambda _: None)
    at = visit("full", "lesson", "c01")
    labels = [button.proto.label for button in at.get("download_button")]
    assert "Save to print (HTML)" in labels
    assert "Save to print (PDF)" not in labels
    assert "No PDF can be made on this machine" in page_text(at)


def test_a_page_whose_consent_has_ended_is_not_offered_to_print(visit, homes):
    changed(homes, "ended_on_page", ENDED)
    labels = [
        b.proto.label for b in visit("ended_on_page", "progress", "c01", student="s01").get("download_button")
    ]
    assert not any("print (" in label for label in labels)


def test_a_review_as_pdf_has_the_name_and_answers_of_the_one_as_html(homes, tmp_path):
    home = homes("full")
    page, whole = write_review(home, None, tmp_path)
    made, same = write_review(home, None, tmp_path, as_pdf=True)
    assert made == page.with_suffix(".pdf")
    assert (whole.week, len(whole.entries)) == (same.week, len(same.entries))
