"""A consent that ends takes out of use what it was about, everywhere and at once; a new one brings it back."""

import json
import zipfile
from datetime import UTC, date, datetime, timedelta

import polars as pl
import pytest

import builders
import made_swings as made
import underfoot
from command import underfoot_command
from dashboard import safety
from dashboard.pages.lesson.content import lesson_sheet
from dashboard.pages.progress.content import progress_page
from dashboard.queries import people
from dashboard.student_season import newest
from warehouse.access import open_reader
from warehouse.errors import AccessError
from warehouse.health import check
from warehouse.home import Home
from warehouse.links import make_link, read_link
from warehouse.store import open_snapshot, writer
from warehouse.tables import table_names

HEAD = "student,given_by,purpose,from,to\n"
YESTERDAY = datetime.now(UTC).date() - timedelta(days=2)  # in any time zone
OF_S2 = ("v2-1", "v2-2")
WIDE = (
    "season.reliability", "season.drill_effect", "season.drill_group", "season.coach_gain", "season.eye_plate",
    "academy.parameter",
)  # fmt: skip
TIMES = {"received_at", "at", "fitted_at", "refused_at"}


def visits(drop, students):
    """Two visits a student, as many with a note on the second as there are students."""
    for student, coach in students:
        for n in (1, 2):
            day = date(2026, 5, 4 + int(student[1])) + timedelta(days=14 * n)
            frame = pl.concat(
                made.swing_frame(k, rate_hz=60, seed=100 * n + 10 * int(student[1]) + k) for k in range(1, 6)
            )
            name = f"v{student[1]}-{n}"
            toml = made.session_toml(name, student, coach=coach, swings=5, started_at=f"{day}T10:00:00Z")
            folder = made.write_session(drop / name, toml, frame)
            (folder / "shots.csv").write_text("swing_no,carry_m,side_m\n1,141.5,3\n2,139,-2\n")
            (folder / "notes.csv").write_text(
                f"at,author,kind,code,grade,text,shared\n{day},{coach},saw,trail_push,2,Better.,true\n"
            )
    return drop


def living(folder, students):
    home = Home(folder / "home")
    home.path.mkdir(parents=True)
    home.settings_file.write_text(builders.SETTINGS)
    home.make_folders()
    made.write_roster(folder / "roster")
    with (folder / "roster" / "consents.csv").open("a") as file:
        file.writelines(f"{s},{s},share_page,2026-01-01,\n" for s in ("s1", "s2", "s3"))
    drop = visits(folder / "drop", students)
    assert underfoot._loader(home, quiet=True).load([folder / "roster", drop], whole=True).refused == []
    return home


def consents(home, *lines):
    (home.inbox / "consents.csv").write_text(HEAD + "".join(f"{line}\n" for line in lines))
    ran = underfoot_command("load", "--home", home.path)
    assert ran.returncode == 0, ran.stdout + ran.stderr


def rows(home, tables=None, *, without=()):
    """Every row of these tables in force, less when it came, and less what names one of these."""
    snapshot = open_snapshot(home)
    found = {}
    for name in tables or table_names():
        if name in ("academy.delivery", "academy.consent"):
            continue
        newest = (
            "QUALIFY version = max(version) OVER (PARTITION BY name)" if name == "academy.parameter" else ""
        )
        frame = snapshot.sql(f"SELECT * FROM {name} {newest}")
        lines = map(
            repr, frame.select(c for c in frame.columns if c not in TIMES | {"version", "rank"}).rows()
        )
        found[name] = sorted(line for line in lines if not any(word in line for word in without))
    snapshot.close()
    return found


@pytest.fixture(scope="module")
def homes(tmp_path_factory):
    """An academy of three; and the same without the sessions of the second."""
    everyone = (("s1", "c1"), ("s2", "c1"), ("s3", "c2"))
    folder = tmp_path_factory.mktemp("consent")
    others = tuple(pair for pair in everyone if pair[0] != "s2")
    return living(folder / "whole", everyone), living(folder / "others", others)


def test_a_withdrawn_consent_to_measure_ends_every_use_at_once_and_a_new_one_brings_it_all_back(homes):
    home, without = homes
    before = rows(home)
    assert underfoot_command("page", "s2", "--home", home.path).returncode == 0
    assert underfoot_command("page", "s1", "--home", home.path).returncode == 0

    # The day alone takes it out of use, before anything is made anew.
    with writer(home) as w:
        w.execute(
            "UPDATE academy.consent SET \"to\" = ? WHERE student = 's2' AND purpose = 'measure'", [YESTERDAY]
        )
        w.publish()
    made_of = ("swing_metric", "swing_fault", "session_metric", "session_fault", "student_fault_rate", "aim")
    for person in ("h1", "c1", "s2", "g2"):
        reader = open_reader(home, person)
        for table in made_of:
            columns = reader.sql(f"SELECT * FROM {table} LIMIT 0").columns
            own = (
                "student = 's2'"
                if "student" in columns
                else "session IN (SELECT session FROM session WHERE student = 's2')"
            )
            assert reader.sql(f"SELECT count(*) FROM {table} WHERE {own}").item() == 0, (person, table)
        with pytest.raises(AccessError, match="consent to measure has ended"):
            reader.trace("v2-1")
        assert reader.out_of_use("s2") == ["measure"]
    query = "SELECT count(*) FROM {} WHERE session LIKE 'v2%' AND {}"
    for table, more in (("academy.swing_metric", "true"), ("season.session_metric", "true"), ("academy.session", "has_plate")):  # fmt: skip
        ran = underfoot_command("sql", query.format(table, more), "--format", "csv", "--home", home.path)
        assert ran.stdout.splitlines()[1] == "0", (table, ran.stderr)
    assert (home.pages / "progress-s2.html").exists()

    # The loader sees it by itself and makes anew what was made of it.
    underfoot._loader(home).chores()
    assert not (home.pages / "progress-s2.html").exists()
    assert (home.pages / "progress-s1.html").exists()
    assert rows(home, WIDE) == rows(without, WIDE)
    ours, theirs = (rows(h, without=("'s2'", "'v2-", ":s2:")) for h in homes)
    for table in (name for name in ours if name != "season.signal_week"):
        assert ours[table] == theirs[table], table
    after = rows(home)
    for table in ("academy.note", "academy.shot", "academy.hold", "academy.session", "season.session_ball"):
        assert after[table] == before[table], table  # what needs no consent, and what is kept
    assert not any("s2" in line for line in after["season.session_metric"] + after["season.aim"])
    person = people.student(open_reader(home, "h1"), "s2")
    assert person["sessions"] == 0
    reader = open_reader(home, "c1")
    assert any("No consent to measure" in said for said in safety.out_of_use(reader, "s2"))
    sheet = lesson_sheet(newest(reader, people.student(reader, "s2")))
    assert any("No consent to measure" in said for said in sheet.cautions)
    page = progress_page(open_reader(home, "s2"), people.student(open_reader(home, "s2"), "s2"))
    assert "not been measured" in page.opening
    assert [found for found in check(home) if not found.ok] == []

    # The family's copy is of all that is kept.
    assert underfoot_command("export", "s2", "--home", home.path).returncode == 0
    with zipfile.ZipFile(home.pages / "export-s2.zip") as archive:
        names = archive.namelist()
    assert {f"samples/{name}.parquet" for name in OF_S2} <= set(names)

    consents(home, "s2,g2,measure,2026-01-01," + str(YESTERDAY), f"s2,g2,measure,{YESTERDAY},")
    assert rows(home) == before


def test_who_takes_no_part_in_academy_figures_is_answered_by_the_others_fits(homes):
    home, without = homes
    before = rows(home)
    consents(home, f"s2,g2,academy_figures,2026-01-01,{YESTERDAY}")
    assert rows(home, WIDE) == rows(without, WIDE)
    after = rows(home)
    for table in ("season.session_metric", "academy.swing_metric", "academy.session", "academy.note"):
        assert after[table] == before[table], table
    assert {r[0] for r in open_reader(home, "h1").sql("SELECT student FROM student_trend").rows()} == {"s1", "s2", "s3"}  # fmt: skip
    consents(home, f"s2,g2,academy_figures,{YESTERDAY},")
    assert rows(home) == before


def family_page(home, last):
    """The consent to the family page as the roster has it; nothing is made anew."""
    with writer(home) as w:
        w.execute("DELETE FROM academy.consent WHERE purpose = 'family_page'")
        w.execute("INSERT INTO academy.consent VALUES ('s2', 'g2', 'family_page', '2026-01-01', ?)", [last])
        w.publish()


def test_a_withdrawn_family_page_closes_it_to_guardians_links_and_paper(homes):
    home, _ = homes
    token = make_link(home, "s2", 300)
    assert open_reader(home, "g2").students == ["s2"]
    family_page(home, YESTERDAY)
    assert open_reader(home, "g2").students == []
    assert open_reader(home, "s2").students == ["s2"]  # the student's own
    snapshot = open_snapshot(home)
    with pytest.raises(AccessError, match="not shared"):
        read_link(home, snapshot, token)
    snapshot.close()
    ran = underfoot_command("page", "s2", "--home", home.path)
    assert ran.returncode == 2
    assert "family_page" in ran.stderr
    family_page(home, None)
    assert open_reader(home, "g2").students == ["s2"]
    assert underfoot_command("page", "s2", "--home", home.path).returncode == 0


def test_what_was_prepared_before_a_withdrawal_is_not_handed_out_after_it(homes):
    home, _ = homes
    reader = open_reader(home, "c1")
    assert reader.still().students == ["s1", "s2"]
    family_page(home, YESTERDAY)
    with pytest.raises(AccessError, match="has changed"):
        reader.still()
    assert json.loads(home.access_log.read_text().splitlines()[-1])["lost"] == ["s2"]
