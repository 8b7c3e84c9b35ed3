"""What somebody wrote into a note or a name stays text on paper, in the terminal and in a spreadsheet."""

import csv
import io

import pytest

import builders
import made_swings as made
from command import underfoot_command

SCRIPT = '<script>alert("x")</script><img src=x onerror=alert(1)>'


@pytest.fixture
def home(tmp_path):
    home = builders.make_home(tmp_path / "academy")
    drop = made.write_roster(tmp_path / "drop")
    people = (drop / "people.csv").read_text().replace("Petra Quill", "<b>Petra</b>")
    (drop / "people.csv").write_text(people)
    made.write_session(drop / "v1", made.session_toml("v1"), made.swing_frame())
    quoted = SCRIPT.replace('"', '""')
    (drop / "notes.csv").write_text(
        "student,at,author,kind,code,text,shared\n"
        f's1,2026-05-06,c1,plan,,"{quoted}",true\ns1,2026-05-06,c1,discomfort,back,"{quoted}",true\n'
        's1,2026-05-07,c1,plan,,"=HYPERLINK(""http://x"")",true\n'
    )
    assert underfoot_command("load", drop, "--home", home.path).returncode == 0
    return home


def test_html_in_notes_and_names_is_escaped_on_the_progress_page(home, tmp_path):
    file = tmp_path / "page.html"
    assert underfoot_command("page", "s1", "--home", home.path, "--to", file).returncode == 0
    text = file.read_text()
    assert "&lt;b&gt;Petra&lt;/b&gt;" in text
    assert "&lt;script&gt;alert(" in text
    assert "<script" not in text
    assert "<b>Petra" not in text
    assert "<img src=x" not in text


def test_a_formula_in_a_note_is_led_by_an_apostrophe_in_csv(home):
    ran = underfoot_command(
        "sql", "SELECT text FROM academy.note ORDER BY text", "--format", "csv", "--home", home.path
    )
    cells = [row["text"] for row in csv.DictReader(io.StringIO(ran.stdout))]
    assert '\'=HYPERLINK("http://x")' in cells
    assert not [cell for cell in cells if cell[:1] in "=+-@"]
