"""What a page was made of is looked up anew at every touch: between two clicks a student or all may be lost."""

import ast
import json
from pathlib import Path

import pytest

from dashboard import gate, inbox, readers, signin
from dashboard.pages.week.content import tick_off
from dashboard.text import catalogue
from warehouse import links, sign_ins
from warehouse.errors import AccessError
from warehouse.store import writer

ROOT = Path(__file__).parents[2]
NAMED = '"coach@example.org" = "c01"\n'


def change(home, statement):
    with writer(home) as w:
        w.execute(statement)
        w.publish()


def sign_in(home, nonce, people=NAMED):
    """A coach's visit to a home where sign-in is set up."""
    text = home.settings_file.read_text("utf-8").split("[sign_in")[0]
    home.settings_file.write_text(f"{text}[sign_in.people]\n{people}", "utf-8")
    claims = {"email": "coach@example.org", "email_verified": True, "iat": sign_ins.now(), "nonce": nonce}
    return signin.SignedIn(claims)


def lines(home):
    return (
        list(map(json.loads, home.access_log.read_text("utf-8").splitlines()))
        if home.access_log.exists()
        else []
    )


@pytest.fixture
def real(homes, request):
    """A home of the test's own where everyone signs in."""
    home = homes(request.node.name)
    home.settings_file.write_text(home.settings_file.read_text("utf-8").replace("demo = true\n", ""), "utf-8")
    return home


def test_a_tab_left_open_writes_nothing_once_its_person_is_taken_off_the_list(real):
    visit = sign_in(real, "1")
    reader = visit.reader(real)
    tick_off(reader, "s01", "slipping:s01:x")
    before = len(list(real.inbox.iterdir()))
    sign_in(real, "1", people='"other@example.org" = "c01"\n')
    with pytest.raises(AccessError, match="not named"):
        tick_off(reader, "s01", "slipping:s01:y")
    assert len(list(real.inbox.iterdir())) == before
    assert lines(real)[-1]["outcome"] == "refused"
    sign_in(real, "1")  # named again: this sign-in has ended all the same
    with pytest.raises(AccessError, match="sign-in has ended"):
        visit.reader(real)


def test_a_tab_left_open_delivers_nothing_once_its_sign_in_has_ended(real):
    visit = sign_in(real, "1")
    reader = visit.reader(real)
    sign_ins.end(real, visit.claims)
    with pytest.raises(AccessError, match="sign-in has ended"):
        inbox.deliver(reader, [("notes.csv", b"x")])
    assert not list(real.inbox.iterdir())


@pytest.mark.parametrize("line", ["revoked_before = 2100-01-01", 'revoked_before = "2100-01-01"'])
def test_revoking_ends_open_tabs(real, line):
    reader = sign_in(real, "1").reader(real)
    text = real.settings_file.read_text("utf-8")
    real.settings_file.write_text(
        text.replace("[sign_in.people]", f"[sign_in]\n{line}\n[sign_in.people]"), "utf-8"
    )
    with pytest.raises(AccessError, match="sign-in has ended"):
        reader.anew()


def test_signing_out_ends_the_copy_in_another_browser(real):
    visit = sign_in(real, "1")
    copied = signin.SignedIn(dict(visit.claims))
    reader = copied.reader(real)
    sign_ins.end(real, visit.claims)
    for late in (reader.anew, reader.still, lambda: copied.reader(real)):
        with pytest.raises(AccessError, match="sign-in has ended"):
            late()


@pytest.mark.parametrize(
    "end",
    [
        "UPDATE academy.person SET \"left\" = DATE '2026-01-01' WHERE person = 'c01'",
        "DELETE FROM academy.person WHERE person = 'c01'",
        "UPDATE academy.person SET role = 'head_coach' WHERE person = 'c01'",
        "UPDATE academy.person SET role = 'student' WHERE person = 'c01'",
    ],
)
def test_leaving_the_roster_or_another_role_ends_the_sign_in(real, end):
    visit = sign_in(real, "1")
    reader = visit.reader(real)
    change(real, end)
    with pytest.raises(AccessError):
        reader.anew()
    with pytest.raises(AccessError):
        visit.reader(real)


def test_a_coach_who_loses_a_student_between_two_clicks_writes_of_the_others_only(real):
    reader = sign_in(real, "1").reader(real)
    change(real, "DELETE FROM academy.coaching WHERE student = 's01'")
    with pytest.raises(AccessError, match="no student s01 that you may see"):
        tick_off(reader, "s01", "slipping:s01:x")
    tick_off(reader, "s03", "slipping:s03:x")
    with pytest.raises(AccessError, match="has changed"):
        reader.still()


def test_a_file_that_is_made_later_is_not_made_of_what_is_lost(real):
    gate.enter(sign_in(real, "1").reader(real))
    catalogue.use("de")
    made = gate.later(lambda: f"rows of s01 and s03 in {catalogue.language()}")
    catalogue.use("en")  # as the thread that is asked for the file
    assert made() == "rows of s01 and s03 in de"
    catalogue.use("en")
    change(real, "DELETE FROM academy.coaching WHERE student = 's01'")
    with pytest.raises(AccessError, match="has changed"):
        made()


def test_a_linked_page_makes_no_file_once_its_links_are_ended(homes, monkeypatch):
    monkeypatch.setattr(links, "shared", lambda *_: True)
    home = homes("ended-link")
    gate.enter(signin.ByLink(links.make_link(home, "s02", 30)).reader(home))
    made = gate.later(lambda: "file")
    assert made() == "file"
    links.end_links(home, "s02")
    with pytest.raises(AccessError, match="has ended"):
        made()


def test_a_ward_who_comes_of_age_today_is_gone_at_the_next_click(real, monkeypatch):
    reader = readers.reader(real, "g01")
    assert reader.students == ["s01"]
    change(
        real, "UPDATE academy.person SET born = CAST(today() - INTERVAL 18 YEAR AS DATE) WHERE person = 's01'"
    )
    with pytest.raises(AccessError, match="has changed"):
        reader.still()
    change(
        real,
        "UPDATE academy.person SET born = CAST(today() + INTERVAL 2 DAY - INTERVAL 18 YEAR AS DATE) WHERE person = 's01'",
    )
    assert reader.still().students == ["s01"]


def linked(at):
    return {link.proto.label for link in at.get("page_link")}


def test_a_box_of_the_week_runs_the_page_again_when_its_student_is_lost(visit, homes):
    at = visit("lost-in-the-week", "week", "c01")
    box = next(box for box in at.checkbox if box.label == "Talked about" and ":s01:" in str(box.key))
    assert "Sanna Test →" in linked(at)
    change(homes("lost-in-the-week"), "DELETE FROM academy.coaching WHERE student = 's01'")
    box.check().run()
    assert not at.exception
    assert "Sanna Test →" not in linked(at)


@pytest.fixture
def fragments(monkeypatch):
    """Each part of a page as Streamlit is given it: how often it runs by itself, and what is run."""
    made = []
    monkeypatch.setattr(
        gate.st, "fragment", lambda run_every: lambda run: made.append((run_every, run)) or run
    )
    yield made
    catalogue.use("en")


def test_a_fragment_runs_with_the_reader_and_language_of_now_and_else_runs_the_page_again(
    real, fragments, monkeypatch
):
    class Again(Exception):
        pass

    def rerun(scope):
        raise Again(scope)

    monkeypatch.setattr(gate.st, "rerun", rerun)
    ran = []
    show = gate.fragment(lambda what: ran.append((what, gate.reader().students, catalogue.language())), 5)
    ((every_s, touch),) = fragments
    visit = sign_in(real, "1")
    gate.enter(visit.reader(real))
    catalogue.use("de")
    show("first")
    change(real, "UPDATE academy.coaching SET coach = 'c01' WHERE student = 's02'")
    catalogue.use("en")  # as a thread that has shown no page yet
    touch(visit.reader(real), "de", "touched")
    assert every_s == 5
    assert ran == [("first", ["s01", "s03"], "de"), ("touched", ["s01", "s02", "s03"], "de")]
    before = visit.reader(real)
    change(real, "DELETE FROM academy.coaching WHERE student = 's01'")
    with pytest.raises(Again, match=r"^app$"):
        touch(before, "en", "touched")
    assert len(ran) == 2


def test_a_page_for_nobody_yet_looks_at_once_and_again_by_itself(fragments):
    looked = []
    gate.before_anyone(lambda: looked.append("looked"), 2.5)
    assert looked == ["looked"]
    ((every_s, look),) = fragments
    look()
    assert (every_s, looked) == (2.5, ["looked"] * 2)


def calls(tree):
    return [
        node for node in ast.walk(tree) if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute)
    ]


def imported_from(tree, module):
    return {
        name.name
        for node in ast.walk(tree)
        if isinstance(node, ast.ImportFrom) and node.module == module
        for name in node.names
    }


def test_fragments_files_made_later_and_writes_go_through_the_gate_alone():
    """`st.fragment` and `st.download_button` are called in one place each; pages write by `inbox.deliver` alone.

    A home that has no academy yet has nobody to deliver: its first page alone makes one.
    """
    found = {"fragment": set(), "download_button": set(), "put": set(), "found": set()}
    for path in sorted((ROOT / "dashboard").rglob("*.py")):
        name = path.relative_to(ROOT / "dashboard").as_posix()
        tree = ast.parse(path.read_text("utf-8"))
        for node in calls(tree):
            of = node.func.value.id if isinstance(node.func.value, ast.Name) else ""
            if (of, node.func.attr) in (("st", "fragment"), ("st", "download_button")):
                found[node.func.attr].add(name)
            assert of not in {"deliverer", "founding"} or node.func.attr not in {"put", "found"}, name
        for module, writing in (("warehouse.deliverer", "put"), ("warehouse.founding", "found")):
            found[writing] |= {name} if writing in imported_from(tree, module) else set()
        for node in ast.walk(tree):
            if isinstance(node, (ast.FunctionDef, ast.ClassDef)):
                marks = {ast.unparse(mark) for mark in node.decorator_list}
                assert "st.fragment" not in marks, name
    assert found == {
        "fragment": {"gate.py"},
        "download_button": {"layout.py"},
        "put": {"inbox.py"},
        "found": {"first_page/content.py"},
    }
