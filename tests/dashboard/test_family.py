"""What a family sends from the progress page: practice that loads as a note, films that wait for a coach."""

import json
import shutil
import zipfile
from datetime import UTC, datetime, timedelta

import pytest

import builders
import made_swings as made
from command import underfoot_command
from dashboard import family, inbox
from dashboard.pages.deliveries import content as deliveries
from dashboard.pages.film import content as marking
from dashboard.pages.student.export import write_export
from dashboard.queries import lesson, sessions
from ingest.load import load
from warehouse import family as from_families
from warehouse import links
from warehouse.access import open_by_link, open_reader
from warehouse.deliverer import MARK, Deliverer, mark_text
from warehouse.errors import AccessError, CallError
from warehouse.store import writer

TODAY = datetime.now(UTC).date()
YESTERDAY = TODAY - timedelta(days=1)
FILM = b"\x00\x00\x00\x18ftypmp42" + bytes(2000)
DRILL = '{"student": "%s", "at": "2026-05-05T10:00:00+01:00", "author": "c1", "kind": "drill", "code": "d1", "value": 20, "unit": "reps", "pace": "slow", "shared": true}\n'


@pytest.fixture(scope="module")
def template(tmp_path_factory):
    """The small academy with a drill set for s1 and s2, and consents to share their pages."""
    base = tmp_path_factory.mktemp("family")
    home = builders.make_home(base / "academy")
    drop = made.write_roster(base / "drop")
    with (drop / "consents.csv").open("a") as file:
        file.write("s1,s1,share_page,2026-01-01,\ns2,g2,share_page,2026-01-01,\n")
    (drop / "notes.jsonl").write_text(DRILL % "s1" + DRILL % "s2")
    assert builders.load_all(home, [drop]) == []
    return home


@pytest.fixture
def home(template, tmp_path):
    shutil.copytree(template.path, tmp_path / "academy")
    return type(template)(tmp_path / "academy")


@pytest.fixture
def as_(home):
    """The reader of a person, or of whoever holds a link: as_("s1"), as_(link="s1")."""

    def open_(person=None, *, link=None):
        return open_by_link(home, links.make_link(home, link, 30)) if link else open_reader(home, person)

    return open_


def practise(reader, student, *, drill="d1", pace="slow", reps=15, felt=3, day=TODAY):
    family.log_practice(reader, student, drill, pace, reps, felt, day)


def send(reader, student, data=FILM, *, club="7-iron", day=YESTERDAY):
    return family.send_film(reader, student, data, club, day)


def last_lines(home, n=1):
    return [json.loads(line) for line in home.access_log.read_text("utf-8").splitlines()[-n:]]


@pytest.mark.parametrize(
    ("who", "student", "author"),
    [({"person": "s1"}, "s1", "s1"), ({"person": "g2"}, "s2", "g2"), ({"link": "s2"}, "s2", "s2")],
)
def test_a_logged_practice_loads_as_a_note_under_the_familys_own_name(home, as_, who, student, author):
    practise(as_(**who), student, felt=1)
    wrote = {"viewer": author, "page": "practice", "student": student, "outcome": "wrote"}
    assert last_lines(home)[0].items() >= wrote.items()
    assert builders.load_all(home, [home.inbox]) == []
    rows = open_reader(home, "c1").sql(
        "SELECT student, author, kind, code, grade, value, unit, pace, place, shared, day FROM note "
        "WHERE kind = 'practice'"
    )
    assert rows.rows() == [(student, author, "practice", "d1", 1, 15.0, "reps", "slow", "home", True, TODAY)]
    doses = lesson.doses(open_reader(home, "c1"), student).filter(kind="practice").to_dicts()
    assert [(row["felt"], row["by_family"]) for row in doses] == [(1, True)]
    assert json.loads(home.ledger.read_text().splitlines()[-1])["by"] == author


def test_tapped_twice_within_a_minute_it_is_one_practice(home, as_, monkeypatch):
    now = inbox.this_minute(as_("s1"))
    assert (now.second, now.microsecond) == (0, 0)
    monkeypatch.setattr(inbox, "this_minute", lambda _: now)
    for _ in range(2):
        practise(as_("s1"), "s1")
    assert builders.load_all(home, [home.inbox]) == []
    assert open_reader(home, "c1").sql("SELECT count(*) FROM note WHERE kind = 'practice'").item() == 1


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({"drill": "d9"}, "is not set now"), ({"pace": "hasty"}, "a pace and 1 to 500"), ({"reps": 0}, "a pace and 1 to 500"),
        ({"reps": 501}, "a pace and 1 to 500"), ({"reps": 2.5}, "a pace and 1 to 500"), ({"felt": 4}, "a pace and 1 to 500"),
        ({"day": TODAY - timedelta(days=20)}, "Choose a day of the last 14 days"), ({"day": TODAY + timedelta(days=2)}, "Choose a day of the last 14 days"),
    ],
)  # fmt: skip
def test_practice_that_cannot_be_meant_is_not_logged(home, as_, more, said):
    with pytest.raises(CallError, match=said):
        practise(as_("s1"), "s1", **more)
    assert list(home.inbox.iterdir()) == []


def test_a_day_takes_so_many_practices_and_no_more(home, as_):
    reader = as_("s1")
    for _ in range(from_families.MOST_REPORTS_A_DAY):
        practise(reader, "s1")
    with pytest.raises(CallError, match="which is the limit"):
        practise(reader, "s1")
    assert len(list(home.inbox.iterdir())) == from_families.MOST_REPORTS_A_DAY
    practise(as_("g2"), "s2")  # another student's day is their own


def test_while_something_hurts_no_practice_is_logged(home, as_):
    (home.inbox / "notes.csv").write_text(
        "student,at,author,kind,code\ns1,2026-06-01T10:00:00+01:00,c1,discomfort,knee\n"
    )
    assert builders.load_all(home, [home.inbox]) == []
    assert family.practice_choice(as_("s1"), {"student": "s1", "born": None}) is None
    with pytest.raises(CallError, match="is not set now"):
        practise(as_("s1"), "s1")


def hurts(reader, student, area="knee", words="Since the long walk."):
    family.report_discomfort(reader, student, area, words)


@pytest.mark.parametrize(
    ("who", "student", "author"),
    [({"person": "s1"}, "s1", "s1"), ({"person": "g2"}, "s2", "g2"), ({"link": "s2"}, "s2", "s2")],
)
def test_what_hurts_loads_as_a_note_under_the_familys_own_name_and_comes_first(
    home, as_, who, student, author
):
    hurts(as_(**who), student)
    assert last_lines(home)[0]["outcome"] == "wrote"
    assert builders.load_all(home, [home.inbox]) == []
    coach = open_reader(home, "h1")
    rows = coach.sql("SELECT student, author, code, text, shared, day FROM note WHERE kind = 'discomfort'")
    assert rows.rows() == [(student, author, "knee", "Since the long walk.", True, TODAY)]
    assert sessions.open_discomfort(coach, student)["area"].to_list() == ["knee"]
    assert coach.something_hurts(student)


@pytest.mark.parametrize(
    ("area", "words", "said"),
    [("", "", "where it hurts"), ("heart", "", "where it hurts"), ("knee", "x" * 301, "at most 300")],
)
def test_what_hurts_names_a_place_in_few_words(home, as_, area, words, said):
    with pytest.raises(CallError, match=said):
        hurts(as_("s1"), "s1", area, words)
    assert list(home.inbox.iterdir()) == []


def test_reports_of_what_hurts_count_among_those_of_a_day(home, as_):
    for _ in range(from_families.MOST_REPORTS_A_DAY):
        hurts(as_("s1"), "s1")
    with pytest.raises(CallError, match="within a day"):
        hurts(as_("s1"), "s1")
    hurts(as_("g2"), "s2")


def test_nobody_else_logs_practice_or_sends_films(home, as_):
    for person, student in (("s1", "s2"), ("g2", "s1"), ("c1", "s1"), ("h1", "s1")):
        for write in (practise, hurts, send):
            with pytest.raises(AccessError):
                write(as_(person), student)
            assert last_lines(home)[0]["outcome"] == "refused"
    for write in (practise, hurts, send):
        with pytest.raises(AccessError):
            write(as_(link="s1"), "s2")
    assert list(home.inbox.iterdir()) == []
    assert from_families.films(home, "s1") == from_families.films(home, "s2") == []


LINE = {
    "student": "s1", "at": "2026-05-20T10:00:00+01:00", "author": "s1", "kind": "practice", "code": "d1", "grade": 2,
    "value": 10, "unit": "reps", "pace": "slow", "place": "home", "shared": True,
}  # fmt: skip


SORE = {
    "kind": "discomfort", "code": "knee", "text": "Sore.", "grade": None, "value": None, "unit": None, "pace": None, "place": None,
}  # fmt: skip


@pytest.mark.parametrize(
    ("more", "loads"),
    [
        ({}, True), ({"author": "c1"}, False), ({"student": "s2"}, False), ({"text": "Ask me."}, False),
        ({"value": 501}, False), ({"value": 1.5}, False), ({"unit": "minutes"}, False), ({"pace": None}, False),
        ({"shared": False}, False), ({"place": "lesson"}, False), ({"kind": "plan", "text": "x"}, False),
        ({"kind": "saw", "code": "trail_push", "grade": 1}, False), ({"kind": "drill"}, False),
        ({"kind": "felt", "code": "lead_heel_light", "grade": 1}, False), ({"overruled_by": "h1"}, False),
        (SORE, True), (SORE | {"shared": False}, False), (SORE | {"author": "c1"}, False),
        (SORE | {"student": "s2"}, False), (SORE | {"overruled_by": "h1"}, False), (SORE | {"grade": 1}, False),
        (SORE | {"kind": "discomfort_over"}, False),
    ],
)  # fmt: skip
@pytest.mark.parametrize("link", [None, "x"])
def test_the_loader_takes_nothing_else_of_a_familys_even_from_the_inbox_itself(home, more, loads, link):
    """Whatever the page checks, the mark in the inbox alone binds its deliverer."""
    folder = home.inbox / "dropped-1"
    folder.mkdir()
    (folder / MARK).write_text(mark_text(Deliverer("s1", "2026-05-21T10:00:00+00:00", (), link)))
    (folder / "notes.jsonl").write_text(json.dumps(LINE | more) + "\n")
    refused = builders.load_all(home, [home.inbox])
    assert refused == ([] if loads else ["not_yours"])


def test_a_link_to_the_page_of_one_who_became_a_coach_delivers_no_note_and_no_session(home, tmp_path):
    """The student s3 coaches now; whoever holds an old link to their page is no coach."""
    people = made.write_roster(tmp_path / "drop") / "people.csv"
    people.write_text(people.read_text().replace("s3,student", "s3,coach"))
    (tmp_path / "drop" / "coaching.csv").write_text("student,coach,from,to\ns1,s3,2026-01-01,\n")
    builders.load_all(home, [people, tmp_path / "drop" / "coaching.csv"])
    for link, loads in ((None, True), ("x", False)):
        folder = home.inbox / f"dropped-{link}"
        folder.mkdir()
        (folder / MARK).write_text(mark_text(Deliverer("s3", "2026-05-21T10:00:00+00:00", (), link)))
        note = LINE | {
            "author": "s3",
            "kind": "plan",
            "text": "Slowly.",
            "at": "2026-05-20T10:00:00+01:00",
            "code": None,
        }
        (folder / "notes.jsonl").write_text(
            json.dumps({k: v for k, v in note.items() if v is not None}) + "\n"
        )
        with writer(home) as w:
            assert bool(load(home, w, [home.inbox]).refused) is not loads


def test_a_film_waits_outside_the_inbox_and_nothing_of_it_loads(home, as_):
    film = send(as_("g2"), "s2")
    assert from_families.film_path(home, film).read_bytes() == FILM
    assert builders.load_all(home, [home.inbox]) == []
    assert as_("c1").sql("SELECT count(*) FROM session").item() == 0
    assert [w.film for w in marking.waiting_films(as_("c1"), "s2")] == [film.film]
    assert marking.waiting_films(as_("c2"), "s2") == marking.waiting_films(as_("g2"), "s2") == []
    assert deliveries.films_sent(as_("c1")) == [("s2", "1\u00a0film of Odo Fenn, sent by the family →")]
    assert deliveries.films_sent(as_("c2")) == []
    assert "Tess Fenn" in marking.film_words(as_("c1"), film)
    assert family.film_sentences(as_("g2"), "s2")[0].endswith("waiting for your coach.")


def marked(film):
    moments = [
        {"event": "top", "t_s": 0.2, "lead": "up", "trail": "down"},
        {"event": "impact", "t_s": 0.4, "lead": "down", "trail": "up"},
    ]
    at = f"{film.day}T12:00"
    return {
        "id": "a",
        "film": film.film,
        "moments": moments,
        "club": "7-iron",
        "pace": "full",
        "at": at,
        "offset": 0,
    }


def test_a_film_that_a_coach_marks_is_taken_up_and_the_film_itself_removed(home, as_):
    film = send(as_(link="s1"), "s1")
    assert film.link
    data = marking.form_data(as_("c1"), "s1", None, film)["sent"]
    assert (data["film"], data["kind"], data["day"]) == (film.film, "video/mp4", YESTERDAY.isoformat())
    assert "Saved" in marking.outcome(as_("c1"), "s1", marked(film))["text"]
    assert builders.load_all(home, [home.inbox]) == []
    (session,) = as_("c1").sql("SELECT session FROM heel_seen").to_series().unique()
    (kept,) = from_families.films(home, "s1")
    assert (kept.state, kept.by, kept.session) == ("accepted", "c1", session)
    assert not from_families.film_path(home, film).exists()
    assert family.film_sentences(as_("s1"), "s1")[0].endswith("your coach has looked at it.")
    assert "no longer waiting" in marking.outcome(as_("c1"), "s1", marked(film))["text"]
    assert [line["page"] for line in last_lines(home, 2)].count("film_decision") >= 1


def test_a_film_is_declined_with_a_reason_that_the_family_reads(home, as_):
    film = send(as_("g2"), "s2")
    with pytest.raises(CallError, match="Say why"):
        marking.decline(as_("c1"), "s2", film.film, "  ")
    with pytest.raises(CallError, match="too long"):
        marking.decline(as_("c1"), "s2", film.film, "x" * 301)
    for nobody in ("c2", "g2", "s2"):
        with pytest.raises(AccessError):
            marking.decline(as_(nobody), "s2", film.film, "Blurred.")
    with pytest.raises(AccessError):
        marking.decline(as_(link="s2"), "s2", film.film, "Blurred.")
    marking.decline(as_("c1"), "s2", film.film, "The heels are out of the picture.")
    assert family.film_sentences(as_("g2"), "s2")[0].endswith("not taken. The heels are out of the picture.")
    assert not from_families.film_path(home, film).exists()
    with pytest.raises(CallError, match="no longer waiting"):
        marking.decline(as_("h1"), "s2", film.film, "Blurred.")
    with pytest.raises(CallError, match="no longer waiting"):
        marking.decline(as_("c1"), "s1", film.film, "Blurred.")  # it is another student's


@pytest.mark.parametrize(
    ("data", "more", "said"),
    [
        (b"MZ" + bytes(2000), {}, "not a film"), (b"", {}, "not a film"),
        (FILM + bytes(from_families.MOST_FILM_BYTES), {}, "larger than 40 MB"),
        (FILM, {"club": "umbrella"}, "not one of those offered"), (FILM, {"day": TODAY - timedelta(days=40)}, "Choose a day"),
    ],
)  # fmt: skip
def test_what_is_no_film_of_the_feet_is_not_kept(home, as_, data, more, said):
    with pytest.raises(CallError, match=said):
        send(as_("s1"), "s1", data, **more)
    assert from_families.films(home, "s1") == []


@pytest.mark.parametrize(
    "span", ["s2,g2,film,2026-01-01,2026-02-01", f"s2,g2,film,{TODAY},", f"s2,g2,film,2026-01-01,{YESTERDAY}"]
)
def test_without_consent_on_the_day_it_was_taken_and_today_no_film_is_kept(home, as_, span):
    with writer(home) as w:
        w.execute("DELETE FROM academy.consent WHERE student = 's2' AND purpose = 'film'")
        student, by, purpose, first, last = span.split(",")
        w.execute("INSERT INTO academy.consent BY NAME SELECT $1 AS student, $2 AS given_by, $3 AS purpose, "
                  "CAST($4 AS DATE) AS \"from\", CAST(nullif($5, '') AS DATE) AS \"to\"", [student, by, purpose, first, last])  # fmt: skip
        w.publish()
    with pytest.raises(CallError, match="No consent to film"):
        send(as_("g2"), "s2")


def test_so_many_films_wait_and_so_many_come_a_day(home, as_):
    for _ in range(from_families.MOST_FILMS_WAITING):
        send(as_("s1"), "s1")
    with pytest.raises(CallError, match="Enough films are waiting"):
        send(as_("s1"), "s1")
    for film in marking.waiting_films(as_("c1"), "s1"):
        marking.decline(as_("c1"), "s1", film.film, "Too dark.")
    for _ in range(from_families.MOST_FILMS_A_DAY - from_families.MOST_FILMS_WAITING):
        send(as_("s1"), "s1")
    with pytest.raises(CallError, match="Enough films are waiting"):
        send(as_("s1"), "s1")


def test_a_family_gets_its_films_with_the_export_and_forgetting_removes_them(home, as_, tmp_path):
    film = send(as_("g2"), "s2")
    with zipfile.ZipFile(write_export(home, "s2", tmp_path / "s2.zip")) as archive:
        assert archive.read(f"sent/{film.film}/film.mp4") == FILM
    underfoot_command("forget", "s2", "--yes", "--home", home.path)
    assert not list((home.path / from_families.FOLDER).rglob("*.mp4"))
    assert not any("s2" in path.name for path in (home.path / from_families.FOLDER).rglob("*"))


def test_a_disk_that_takes_no_more_keeps_nothing_of_a_film_and_it_counts_as_none(home):
    data = b"\0\0\0\x18ftyp" + b"0" * (1 << 20)
    more = {"sent_by": "g2", "link": None, "club": "7-iron", "day": "2026-05-05"}
    with builders.no_large_files(), pytest.raises(OSError, match="large"):
        from_families.keep_film(home, "s2", data, **more)
    assert [path for path in (home.path / from_families.FOLDER).rglob("*") if path.is_file()] == []
    assert from_families.films(home, "s2") == []
    kept = from_families.keep_film(home, "s2", data, **more)
    assert from_families.films(home, "s2") == [kept]


def test_an_ended_link_sends_nothing(home, as_):
    reader = as_(link="s1")
    links.end_links(home, "s1", now=datetime.now(UTC) + timedelta(seconds=1))
    for write in (practise, send):
        with pytest.raises(AccessError):
            write(reader, "s1")


def test_a_family_sees_the_two_forms_with_their_cautions_and_staff_do_not(visit, page_text):
    at = visit("full", "progress", "s02")
    assert "Films for your coach" in page_text(at)
    assert "needs a consent to film" in page_text(at)
    at = visit("full", "progress", "g01")
    assert not at.exception
    assert "How did it feel? One tap saves it." in page_text(at)
    assert [button.label for button in at.button if button.key == "hurts-send"] == ["Tell my coach"]
    at = visit("full", "progress", "c01", student="s01")
    assert "How did it feel? One tap saves it." not in page_text(at)
    assert not [button for button in at.button if button.key == "hurts-send"]
