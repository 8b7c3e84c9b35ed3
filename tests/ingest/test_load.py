"""Loading: what lands, all or nothing, once, replaced, refused, waiting."""

import json
import shutil

import numpy as np
import polars as pl
import pytest

from ingest.load import load, replay, retry
from warehouse.errors import CallError
from warehouse.store import writer


def test_a_roster_and_a_session_land_with_their_rows(bare, made):
    bare.roster()
    made.deliver(bare.inbox / "v1", made.toml(), made.plate())
    report = bare.load()
    assert report.accepted == ["v1"]
    assert report.refused == []
    assert report.rows["person"] == 6
    assert report.rows["swing"] == 2
    assert report.rows["swing_event"] == 10
    assert report.touched == {"s1", "s2", "s3"}
    row = bare.sql(
        "SELECT student, coach, started_at, day, season, device, reduced FROM academy.session"
    ).row(0)
    assert [str(v) for v in row] == ["s1", "c1", "2026-05-05 09:00:00", "2026-05-05", "2026", "mat", "False"]
    assert bare.sql("SELECT club_family, rate_hz, n_samples, heel_source FROM academy.swing").rows() == [
        ("iron", 100.0, 201, "estimated"),
        ("iron", 100.0, 201, "estimated"),
    ]


def test_the_trace_holds_every_sample_as_it_was_delivered(academy, made):
    frame = made.plate()
    made.deliver(academy.inbox / "v1", made.toml(), frame)
    academy.load()
    trace = academy.trace("v1")
    assert trace.swing_no.tolist() == [1, 2]
    assert trace.t_s is None
    for name in ("lead_n", "trail_n", "lead_along_pct", "trail_along_pct"):
        assert np.array_equal(trace.columns[name], frame[name].to_numpy().astype(np.float32))
    assert np.allclose(trace.times(1), frame.filter(pl.col("swing_no") == 2)["t_s"].to_numpy(), atol=1e-12)


def test_accepted_originals_leave_the_inbox_and_stand_in_filed_byte_for_byte(academy, made):
    folder = made.deliver(academy.inbox / "v1", made.toml(), made.plate())
    given = {f.name: f.read_bytes() for f in folder.iterdir()}
    academy.load()
    assert academy.left_in_inbox() == []
    content = academy.sql("SELECT delivery FROM academy.session").item()
    kept = {f.name: f.read_bytes() for f in (academy.home.filed / content).iterdir()}
    assert kept == given


def test_deliveries_outside_the_inbox_are_left_where_they_are(academy, made, tmp_path):
    folder = made.deliver(tmp_path / "elsewhere" / "v1", made.toml(), made.plate())
    bad = made.deliver(tmp_path / "elsewhere" / "v2", made.toml("v2", student="s99"), made.plate())
    report = academy.load(tmp_path / "elsewhere")
    assert (report.accepted, len(report.refused)) == (["v1"], 1)
    assert sorted(p.name for p in folder.iterdir()) == ["plate.csv", "session.toml"]
    assert sorted(p.name for p in bad.iterdir()) == ["plate.csv", "session.toml"]


def test_the_ledger_says_in_which_order_things_came(academy, made):
    made.deliver(academy.inbox / "b", made.toml("late", started_at="2026-05-06T10:00:00Z"), made.plate())
    made.deliver(academy.inbox / "z", made.toml("early"), made.plate())
    academy.load()
    lines = [json.loads(line) for line in academy.home.ledger.read_text().splitlines()]
    assert [line["name"] for line in lines[:5]] == [
        "people.csv",
        "drills.csv",
        "seasons.csv",
        "coaching.csv",
        "consents.csv",
    ]
    assert [line["session"] for line in lines[5:]] == ["early", "late"]
    assert [line["sequence"] for line in lines] == list(range(1, 8))
    assert {line["settings"] for line in lines} == {academy.home.settings().version}


def test_the_same_bytes_again_change_nothing_and_say_so(academy, made, tmp_path):
    made.deliver(
        tmp_path / "d" / "v1",
        made.toml(),
        made.plate(),
        shots__csv="session,swing_no,carry_m,side_m\nv1,1,140,3\n",
    )
    (tmp_path / "d" / "notes.csv").write_text(
        "student,at,author,kind,text,shared\ns1,2026-05-05,c1,plan,Slowly.,true\n"
    )
    for name, text in made.roster.items():
        (tmp_path / "d" / name).write_text(text)
    academy.load(tmp_path / "d")
    before = academy.tables(times=True)
    ledger = academy.home.ledger.read_bytes()
    report = academy.load(tmp_path / "d")
    assert (report.accepted, report.unchanged, report.refused, report.rows) == ([], ["v1"], [], {})
    assert set(report.files.values()) == {"unchanged"}
    assert academy.tables(times=True) == before
    assert academy.home.ledger.read_bytes() == ledger


def test_the_same_bytes_in_a_folder_of_another_name_are_unchanged(academy, made):
    made.deliver(academy.inbox / "v1", made.toml(), made.plate())
    academy.load()
    made.deliver(academy.inbox / "copy of v1", made.toml(), made.plate())
    assert academy.load().unchanged == ["v1"]
    assert academy.left_in_inbox() == []


def test_a_corrected_delivery_replaces_the_session_and_the_earlier_stays_filed(academy, made):
    made.deliver(academy.inbox / "v1", made.toml(swings=3), made.plate(3))
    academy.load()
    first = academy.sql("SELECT delivery FROM academy.session").item()
    made.deliver(academy.inbox / "v1", made.toml(swings=2, student="s2"), made.plate(2))
    report = academy.load()
    assert report.accepted == ["v1"]
    assert report.touched == {"s1", "s2"}
    assert academy.sql("SELECT swing_no FROM academy.swing ORDER BY 1").to_series().to_list() == [1, 2]
    assert academy.sql("SELECT count(*) FROM academy.session").item() == 1
    assert academy.sql(
        "SELECT outcome FROM academy.delivery WHERE session = 'v1' ORDER BY sequence"
    ).rows() == [
        ("accepted",),
        ("replaced",),
    ]
    assert (academy.home.filed / first / "plate.csv").is_file()
    assert academy.trace("v1").swing_no.tolist() == [1, 2]


def test_unchanged_means_equal_to_the_version_that_stands_now(academy, made):
    for swings in (3, 2, 3):
        made.deliver(academy.inbox / "v1", made.toml(swings=swings), made.plate(swings))
        assert academy.load().accepted == ["v1"]
    assert academy.sql("SELECT count(*) FROM academy.swing").item() == 3


def test_loose_notes_and_shots_survive_a_correction(academy, made):
    made.deliver(
        academy.inbox / "v1",
        made.toml(),
        made.plate(),
        notes__csv="at,author,kind,text,shared\n2026-05-05,c1,plan,Own.,true\n",
        shots__csv="session,swing_no,carry_m,side_m\nv1,1,140,3\nv1,2,150,1\n",
    )
    academy.load()
    (academy.inbox / "notes.csv").write_text(
        "session,at,author,kind,text,shared\nv1,2026-05-06,c1,plan,Loose.,true\n"
    )
    (academy.inbox / "shots.csv").write_text("session,swing_no,carry_m,side_m\nv1,2,155,0\n")
    report = academy.load()
    assert report.refused == []
    made.deliver(
        academy.inbox / "v1",
        made.toml(),
        made.plate(rate_hz=200),
        shots__csv="session,swing_no,carry_m,side_m\nv1,1,141,3\nv1,2,150,1\n",
    )
    assert academy.load().accepted == ["v1"]
    assert academy.sql("SELECT text FROM academy.note").rows() == [("Loose.",)]
    assert academy.sql("SELECT swing_no, carry_m, loose FROM academy.shot ORDER BY 1").rows() == [
        (1, 141.0, False),
        (2, 155.0, True),
    ]


def test_a_bad_swing_is_refused_and_the_good_ones_load(academy, made):
    frame = made.plate(3).with_columns(
        lead_n=pl.when((pl.col("swing_no") == 2) & (pl.col("t_s") == 0.5)).then(7000.0).otherwise("lead_n")
    )
    made.deliver(academy.inbox / "v1", made.toml(swings=3), frame)
    report = academy.load()
    assert report.accepted == ["v1"]
    assert academy.sql("SELECT swing_no FROM academy.swing ORDER BY 1").to_series().to_list() == [1, 3]
    assert academy.trace("v1").swing_no.tolist() == [1, 3]
    (refused,) = report.refused
    assert (refused.session, refused.swing_no, refused.file, refused.line, refused.column) == (
        "v1",
        2,
        "plate.csv",
        201 + 50 + 2,
        "lead_n",
    )
    assert refused.sentence == (
        "Swing 2 of v1, plate.csv line 253, column lead_n: lead_n is 7000 but must be -20 to 6000 N; "
        "correct it and deliver the session again."
    )
    stored = academy.sql("SELECT session, swing_no, reason, name, student FROM academy.refusal").rows()
    assert stored == [("v1", 2, "out_of_range", "v1", "s1")]


def test_a_correction_of_the_bad_swing_takes_its_refusal_away(academy, made):
    made.deliver(
        academy.inbox / "v1",
        made.toml(),
        made.plate().with_columns(lead_n=pl.lit(7000.0)).vstack(made.plate([3])),
    )
    made.deliver(academy.inbox / "v1", made.toml(swings=3), made.plate(3).filter(pl.col("swing_no") != 2))
    assert len(academy.load().refused) == 1
    made.deliver(academy.inbox / "v1", made.toml(swings=3), made.plate(3))
    assert academy.load().refused == []
    assert academy.sql("SELECT count(*) FROM academy.refusal").item() == 0


def test_a_refused_session_stands_in_refused_beside_its_why(academy, made):
    made.deliver(academy.inbox / "monday", made.toml(student="s99"), made.plate())
    report = academy.load()
    assert academy.left_in_inbox() == []
    (name,) = academy.waiting()
    assert name == f"monday-{report.refused[0].delivery[:8]}"
    folder = academy.home.refused / name
    assert sorted(p.name for p in folder.iterdir()) == ["plate.csv", "session.toml", "why.json"]
    why = json.loads((folder / "why.json").read_text())
    assert why["reason"] == "unknown_person"
    (told,) = why["refused"]
    assert told["file"] == "session.toml"
    assert told["line"] == 2
    assert told["column"] == "student"
    assert told["sentence"] == report.refused[0].sentence
    assert {"value", "rule", "todo"} <= told.keys()


def test_the_report_as_json_has_the_agreed_keys(academy, made):
    made.deliver(academy.inbox / "v1", made.toml(student="s99"), made.plate())
    said = academy.load().to_json()
    assert list(said) == ["accepted", "unchanged", "rows", "refused", "notices"]
    assert list(said["refused"][0]) == [
        "delivery",
        "session",
        "swing_no",
        "file",
        "line",
        "column",
        "reason",
        "sentence",
    ]
    json.dumps(said)


def test_a_retry_takes_what_has_been_mended_in_the_roster(academy, made):
    made.deliver(academy.inbox / "v1", made.toml(student="s4"), made.plate())
    assert len(academy.load().refused) == 1
    (academy.inbox / "people.csv").write_text(
        made.roster["people.csv"] + "s4,student,Una Teasel,1990-01-01,right,245,club,,2026-01-01,\n"
    )
    (academy.inbox / "consents.csv").write_text(made.roster["consents.csv"] + "s4,s4,measure,2026-01-01,\n")
    academy.load()
    report = academy.with_writer(retry)
    assert report.accepted == ["v1"]
    assert academy.waiting() == []
    assert academy.sql("SELECT count(*) FROM academy.refusal").item() == 0
    assert academy.sql("SELECT name FROM academy.delivery WHERE kind = 'session'").rows() == [("v1",)]


def test_a_retry_passes_over_versions_that_were_replaced_since(academy, made):
    made.deliver(academy.inbox / "v1", made.toml(device="abacus"), made.plate(3))
    academy.load()
    made.deliver(academy.inbox / "v1", made.toml(), made.plate(2))
    academy.load()
    before = academy.tables()
    report = academy.with_writer(retry)
    assert (report.accepted, report.unchanged, report.refused) == ([], [], [])
    assert academy.tables() == before


def test_a_session_waits_for_its_consent_and_loads_when_it_comes(bare, made):
    bare.roster(consents="student,given_by,purpose,from,to\ns2,g2,measure,2026-01-01,\n")
    made.deliver(bare.inbox / "v1", made.toml(), made.plate())
    (refused,) = bare.load().refused
    assert refused.reason == "no_consent"
    assert "consents.csv" in refused.sentence
    assert "kept elsewhere" not in refused.sentence
    assert len(bare.waiting()) == 1
    (bare.inbox / "consents.csv").write_text(made.roster["consents.csv"])
    report = bare.load()
    assert report.accepted == ["v1"]
    assert report.refused == []
    assert bare.waiting() == []
    assert bare.sql("SELECT count(*) FROM academy.refusal").item() == 0


def test_a_session_goes_on_waiting_quietly_when_the_consent_is_not_its_own(bare, made):
    bare.roster(consents="student,given_by,purpose,from,to\ns2,g2,measure,2026-01-01,\n")
    made.deliver(bare.inbox / "v1", made.toml(), made.plate())
    bare.load()
    (bare.inbox / "consents.csv").write_text("student,given_by,purpose,from,to\ns3,s3,measure,2026-01-01,\n")
    report = bare.load()
    assert (report.accepted, report.refused) == ([], [])
    assert len(bare.waiting()) == 1


def test_an_academy_without_any_consent_is_told_once_how(bare, made):
    bare.roster(consents=None)
    made.deliver(bare.inbox / "v1", made.toml(), made.plate())
    made.deliver(bare.inbox / "v2", made.toml("v2"), made.plate())
    sentences = [r.sentence for r in bare.load().refused]
    assert ["kept elsewhere" in s for s in sentences] == [True, False]
    assert all("consents.csv" in s for s in sentences)


def test_an_academy_that_keeps_consents_elsewhere_is_not_asked(tmp_path, made):
    settings = 'consents = "kept elsewhere"\n' + made.settings
    academy = made.make_academy(tmp_path / "academy", settings)
    academy.roster(consents=None)
    made.deliver(academy.inbox / "v1", made.toml(), made.plate())
    assert academy.load().accepted == ["v1"]


@pytest.mark.parametrize(
    ("started_at", "loads"), [("2025-12-31T23:30:00Z", False), ("2026-01-01T00:30:00Z", True)]
)
def test_a_consent_covers_days_of_the_academy_s_own_time_zone(academy, made, started_at, loads):
    made.deliver(academy.inbox / "v1", made.toml(started_at=started_at), made.plate())
    assert bool(academy.load().accepted) is loads


def test_a_session_outside_every_season_belongs_to_none_until_one_covers_it(academy, made):
    made.deliver(academy.inbox / "v1", made.toml(started_at="2026-02-05T10:00:00Z"), made.plate())
    assert academy.load().accepted == ["v1"]
    assert academy.sql("SELECT season FROM academy.session").item() is None
    assert academy.trace("v1", None).swing_no.tolist() == [1, 2]
    (academy.inbox / "seasons.csv").write_text("season,from,to\nwinter,2026-01-01,2026-03-31\n")
    report = academy.load()
    assert report.touched == {"s1"}
    assert academy.sql("SELECT season FROM academy.session").item() == "winter"
    assert academy.trace("v1", "winter").swing_no.tolist() == [1, 2]
    assert not (academy.home.traces / "season=none" / "v1.parquet").exists()


def test_a_corrected_hand_turns_the_sessions_that_were_read_by_the_wrong_one(academy, made):
    sided = made.plate().rename(
        {c: c.replace("lead_", "left_").replace("trail_", "right_") for c in made.plate().columns}
    )
    made.deliver(academy.inbox / "v1", made.toml(), sided)
    academy.load()
    assert academy.trace("v1").columns["lead_n"][0] == np.float32(sided["left_n"][0])
    (academy.inbox / "people.csv").write_text(
        made.roster["people.csv"].replace("1988-02-03,right", "1988-02-03,left")
    )
    report = academy.load()
    assert report.touched == {"s1"}
    assert academy.trace("v1").columns["lead_n"][0] == np.float32(sided["right_n"][0])
    assert academy.sql("SELECT count(*) FROM academy.session").item() == 1
    assert academy.sql("SELECT count(*) FROM academy.delivery WHERE kind = 'session'").item() == 1


def test_a_delivered_academy_toml_takes_force(academy, made):
    settings = made.settings + '\n[device.second]\nkind = "insoles"\n'
    (academy.inbox / "academy.toml").write_text(settings)
    made.deliver(academy.inbox / "v1", made.toml(device="second"), made.plate())
    report = academy.load()
    assert report.accepted == ["v1"]
    assert academy.home.settings_file.read_text() == settings
    assert "second" in academy.sql("SELECT device FROM academy.device").to_series().to_list()


def test_an_academy_toml_that_is_not_right_is_refused_and_the_old_one_stays(academy):
    (academy.inbox / "academy.toml").write_text('name = "x"\ntime_zone = "Nowhere/Land"\n')
    (refused,) = academy.load().refused
    assert "Nowhere/Land" in refused.sentence
    assert academy.home.settings().name == "The Bracken Hill academy"


def test_devices_edited_in_the_home_s_academy_toml_follow_at_the_next_load(academy, made):
    academy.home.settings_file.write_text(
        made.settings.replace('kind = "pressure_mat"', 'kind = "sensor_grid"')
    )
    academy.load()
    assert academy.sql("SELECT kind FROM academy.device WHERE device = 'mat'").item() == "sensor_grid"


def test_a_first_academy_toml_may_come_through_the_inbox(tmp_path, made):
    academy = made.make_academy(tmp_path / "academy")
    academy.home.settings_file.replace(academy.inbox / "academy.toml")
    academy.roster()
    assert academy.load().refused == []
    assert academy.home.settings().name == "The Bracken Hill academy"


def test_a_path_that_is_not_there_is_a_wrong_call(academy, tmp_path):
    with pytest.raises(CallError, match="nothing at"):
        academy.load(tmp_path / "nowhere")


def test_files_of_a_session_named_in_capitals_are_read_alike(academy, made):
    files = {
        "events.csv": "swing_no,event,t_s,clock\n1,address,0.2,plate\n1,top,1.2,plate\n",
        "notes.csv": "at,author,kind,text,shared\n2026-05-05,c1,plan,Feet first.,true\n",
        "shots.csv": "swing_no,carry_m,side_m\n1,150,2\n",
        "clip.csv": "swing_no,frame,point,x_px,y_px,score\n"
        + "".join(f"1,{n},{point},10,{n},1\n" for n in range(3) for point in ("lead_heel", "trail_toe")),
    }
    clip = '\n[clip]\nfps = 60\nshoe_length_mm = 280\nview = "down_line"\n'
    for session, named in (("v1", str.lower), ("v2", str.upper)):
        sheet = made.toml(session, swings=1, events={}, head=clip)
        delivered = {named(name).replace(".", "__"): text for name, text in files.items()}
        made.deliver(academy.inbox / session, sheet, made.plate(1), **delivered)
        assert academy.load().refused == []
    for table in ("swing_event", "note", "shot", "clip_point"):
        counts = academy.sql(
            f"SELECT count(*) FROM academy.{table} WHERE session IN ('v1', 'v2') GROUP BY session"
        ).to_series()
        assert len(counts) == 2
        assert counts[0] == counts[1] > 0


def test_a_stray_file_is_refused_by_name(academy):
    (academy.inbox / "holiday.jpg").write_bytes(b"\xff\xd8\xff")
    (refused,) = academy.load().refused
    assert "holiday.jpg" in refused.sentence
    assert academy.left_in_inbox() == []


def test_a_plate_file_without_a_session_toml_is_refused_and_the_rest_of_the_inbox_stays_readable(
    academy, made
):
    made.plate().write_csv(academy.inbox / "plate.csv")
    (academy.inbox / "seasons.csv").write_text("season,from,to\n2027,2027-04-01,2027-09-30\n")
    report = academy.load()
    assert [r.reason for r in report.refused] == ["no_session_toml"]
    assert report.rows == {"season": 1}
    assert academy.left_in_inbox() == []


def test_the_progress_is_told_delivery_by_delivery(academy, made):
    made.deliver(academy.inbox / "v1", made.toml(), made.plate())
    made.deliver(academy.inbox / "v2", made.toml("v2"), made.plate())
    told = []
    with writer(academy.home) as w:
        load(academy.home, w, [], progress=lambda *step: told.append(step))
    assert told == [(1, 2, "v1"), (2, 2, "v2")]


def test_a_swing_with_a_shot_in_two_files_keeps_the_first_and_is_told(academy, made):
    shots = "session,swing_no,carry_m,side_m\n"
    files = {"shots-1__csv": shots + "v1,1,140,3\n", "shots-2__csv": shots + "v1,1,141,3\nv1,2,150,1\n"}
    made.deliver(academy.inbox / "v1", made.toml(), made.plate(), **files)
    (told,) = academy.load().refused
    assert told.reason == "shot_twice"
    assert "shots-2.csv" in told.sentence
    assert "swing 1 has two shots, the other in shots-1.csv" in told.sentence
    rows = academy.sql("SELECT swing_no, carry_m FROM academy.shot ORDER BY swing_no").rows()
    assert rows == [(1, 140.0), (2, 150.0)]


def test_files_of_a_session_that_nobody_reads_are_named_in_one_notice(academy, made):
    folder = made.deliver(academy.inbox / "v1", made.toml(), made.plate(), **{"clip-1__avi": "x"})
    (folder / "note.csv").write_text("x")
    (folder / "sub").mkdir()
    (folder / "sub" / "notes.csv").write_text("x")
    report = academy.load()
    assert report.refused == []
    (notice,) = report.notices
    assert notice == (
        "Session v1: clip-1.avi, note.csv, sub/notes.csv in the session's folder were not read, as no such "
        "name is known; rename what should be read and deliver the session again."
    )


def test_files_read_by_any_of_their_names_are_not_named_as_unread(academy, made):
    sheet = made.toml().replace("no = 1\n", 'no = 1\nfile = "rep-1.csv"\n')
    sheet = sheet.replace("no = 2\n", 'no = 2\nfile = "rep-2.parquet"\n')
    folder = made.deliver(academy.inbox / "v1", sheet)
    made.plate([1]).drop("swing_no").write_csv(folder / "rep-1.csv")
    made.plate([2]).drop("swing_no").write_parquet(folder / "rep-2.parquet")
    (folder / "EVENTS.csv").write_text("swing_no,event,t_s\n")
    (folder / "Shots.csv").write_text("session,swing_no,carry_m,side_m\nv1,1,140,3\n")
    (folder / "notes-a.csv").write_text("at,author,kind,text\n2026-05-05,c1,plan,Good.\n")
    (folder / "why.json").write_text("{}")
    report = academy.load()
    assert (report.refused, report.notices) == ([], [])
    assert report.accepted == ["v1"]


def agrees_with_its_replay(academy, made, tmp_path):
    twin = made.make_academy(tmp_path / "twin", academy.home.settings_file.read_text()).home
    shutil.rmtree(twin.filed)
    shutil.copytree(academy.home.filed, twin.filed)
    with writer(twin) as w:
        replay(twin, w)
        return academy._rows(w, (), times=True) == academy.tables(times=True)


def outcomes(academy):
    found = academy.sql("SELECT outcome FROM academy.delivery WHERE session = 'v1' ORDER BY sequence")
    return found.to_series().to_list()


def test_the_same_bytes_are_read_again_once_the_drill_they_lacked_is_there(academy, made, tmp_path):
    sheet = made.toml().replace("no = 2\n", 'no = 2\ndrill = "d9"\n')
    made.deliver(academy.inbox / "v1", sheet, made.plate())
    assert [r.reason for r in academy.load().refused] == ["unknown_drill"]
    made.deliver(academy.inbox / "v1", sheet, made.plate())
    ledger = academy.home.ledger.read_bytes()
    report = academy.load()
    assert (report.unchanged, report.accepted, report.refused) == (["v1"], [], [])
    assert academy.home.ledger.read_bytes() == ledger
    (academy.inbox / "drills.csv").write_text(made.roster["drills.csv"] + "d9,Late,rocking_start,So.,,\n")
    made.deliver(academy.inbox / "v1", sheet, made.plate())
    report = academy.load()
    assert (report.unchanged, report.accepted, report.refused) == ([], ["v1"], [])
    assert academy.sql("SELECT drill FROM academy.swing WHERE swing_no = 2").item() == "d9"
    assert academy.sql("SELECT count(*) FROM academy.refusal").item() == 0
    assert outcomes(academy) == ["accepted", "replaced"]
    assert academy.left_in_inbox() == []
    assert agrees_with_its_replay(academy, made, tmp_path)


def test_the_same_bytes_are_read_again_once_their_device_is_mended_and_then_are_unchanged(
    academy, made, tmp_path
):
    columns = '\n[device.own]\nkind = "insoles"\n[device.own.columns]\nlead_n = {{ column = "lead_n"{} }}\n'
    academy.home.settings_file.write_text(made.settings + columns.format(""))
    plate = made.plate().with_columns(lead_n=(pl.col("lead_n") / 9.80665).round(3))
    made.deliver(academy.inbox / "v1", made.toml(device="own"), plate)
    assert academy.load().accepted == ["v1"]
    before = academy.trace("v1").columns["lead_n"].max()
    academy.home.settings_file.write_text(made.settings + columns.format(', unit = "kgf"'))
    made.deliver(academy.inbox / "v1", made.toml(device="own"), plate)
    assert academy.load().accepted == ["v1"]
    assert academy.trace("v1").columns["lead_n"].max() == pytest.approx(before * 9.80665, rel=1e-5)
    with_band = academy.home.settings_file.read_text() + '\n[[fault]]\ncode = "late_crossing"\nlimit = 0.03\n'
    for settings in (academy.home.settings_file.read_text(), with_band):
        academy.home.settings_file.write_text(settings)
        made.deliver(academy.inbox / "v1", made.toml(device="own"), plate)
        assert academy.load().unchanged == ["v1"]
    assert outcomes(academy) == ["accepted", "replaced"]
    assert agrees_with_its_replay(academy, made, tmp_path)


def test_the_same_bytes_that_todays_settings_would_refuse_go_on_standing(academy, made):
    made.deliver(academy.inbox / "v1", made.toml(device="imperial"), imperial(made))
    assert academy.load().accepted == ["v1"]
    academy.home.settings_file.write_text(made.settings.replace('"Clock"', '"Time"'))
    made.deliver(academy.inbox / "v1", made.toml(device="imperial"), imperial(made))
    report = academy.load()
    assert (report.unchanged, report.refused) == (["v1"], [])


def imperial(made):
    plate = made.plate().with_columns(t_s=pl.col("t_s") * 1000)
    plate = plate.with_columns(pl.col("lead_n", "trail_n") / 4.448)
    names = ["Rep", "Clock", "L Force", "R Force", "L Pos", "R Pos"]
    plate = plate.with_columns(pl.col("lead_along_pct", "trail_along_pct") * 2.5 / 25.4)
    return plate.rename(dict(zip(plate.columns, names, strict=True)))
