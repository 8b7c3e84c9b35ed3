"""Films in deliveries: their points land as those of clip.csv, and what is kept of them."""

import json
from datetime import timedelta

import av
import numpy as np
import pytest

import made_films
from ingest import filing
from ingest.load import load, replay, retry
from ingest.retention import carry_out
from models.samples import reduce_into
from warehouse import forgotten, health
from warehouse.backup import back_up, restore
from warehouse.filed import FILM_FOLDER, content_hash, films_not_kept, kept_film, kept_tracks
from warehouse.home import Home
from warehouse.store import writer

CLIP = f'\n[clip]\nfps = 60\nshoe_length_mm = {made_films.SHOE_MM:g}\nview = "down_line"\n'
FILM_OF_A_MINOR = "student,given_by,purpose,from,to\ns2,g2,film,2026-01-01,\n"


@pytest.fixture(scope="module")
def filmed(tmp_path_factory):
    """One short film of a right-hander and one of a left-hander."""
    folder = tmp_path_factory.mktemp("films")
    return {
        hand: made_films.film(folder / f"{hand}.mp4", seconds=0.8, handed=hand, body=True, seed=4)
        for hand in ("right", "left")
    }


def deliver(academy, made, *films_, student="s1", session="v1", swings=1, more="", clip=CLIP):
    tables = "".join(f"\n[[swing]]\nno = {no}\n{more if no == 1 else ''}" for no in range(1, swings + 1))
    sheet = made.toml(session, student=student, device=None, swings=[], more=tables + clip)
    folder = made.deliver(academy.inbox / session, sheet)
    for name, source in films_:
        (folder / name).write_bytes(source.path.read_bytes() if hasattr(source, "path") else source)
    return folder


def filed(academy, session="v1"):
    return (
        academy.home.filed
        / academy.sql("SELECT delivery FROM academy.session WHERE session = ?", [session]).item()
    )


def write_points(folder, places):
    rows = ["swing_no,frame,point,x_px,y_px,score"]
    for n, four in enumerate(places):
        for point, (x, y) in zip(("lead_heel", "lead_toe", "trail_heel", "trail_toe"), four, strict=True):
            rows.append(f"1,{n},{point},{x:.2f},{y:.2f},1")
    (folder / "clip.csv").write_text("\n".join(rows) + "\n")


def allow_minor(academy, more=""):
    (academy.inbox / "consents.csv").write_text(FILM_OF_A_MINOR + more)


@pytest.mark.parametrize(("student", "hand"), [("s1", "right"), ("s2", "left")])
def test_a_film_lands_as_points_of_lead_and_trail(academy, made, filmed, student, hand):
    allow_minor(academy)
    deliver(academy, made, ("clip.mp4", filmed[hand]), student=student)
    assert academy.load().refused == []
    rows = academy.sql("SELECT point, x_px, y_px FROM academy.clip_point WHERE frame = 3").rows()
    truth = filmed[hand].places[3]
    for point, x_px, y_px in rows:
        there = truth[("lead_heel", "lead_toe", "trail_heel", "trail_toe").index(point)]
        assert abs(x_px - there[0]) < 2
        assert abs(y_px - there[1]) < 2
    assert len(rows) == 4
    assert academy.sql("SELECT has_clip, has_plate FROM academy.session").row(0) == (True, False)


def test_the_film_kept_is_cut_to_the_feet_plays_at_the_clips_clock_and_is_h264(academy, made, filmed):
    deliver(academy, made, ("clip.mp4", filmed["right"]))
    academy.load()
    with av.open(str(kept_film(filed(academy), 1))) as held:
        stream = held.streams.video[0]
        times = [frame.time for frame in held.decode(stream)]
        assert stream.codec_context.name == "h264"
        assert stream.height < filmed["right"].look.height
    assert times == pytest.approx([*filmed["right"].times_s], abs=1e-3)


def test_an_adults_film_is_kept_as_delivered_and_a_minors_is_not(academy, made, filmed):
    allow_minor(academy)
    deliver(academy, made, ("clip.mp4", filmed["right"]), session="v1")
    deliver(academy, made, ("clip.mp4", filmed["left"]), session="v2", student="s2")
    assert academy.load().refused == []
    assert (filed(academy, "v1") / "clip.mp4").read_bytes() == filmed["right"].path.read_bytes()
    young = filed(academy, "v2")
    assert sorted(path.name for path in young.iterdir()) == [FILM_FOLDER, "session.toml"]
    assert kept_film(young, 1).is_file()
    assert content_hash(young) == young.name  # still told by the content that came
    assert not [
        p
        for p in academy.home.path.rglob("*.mp4")
        if p.stat().st_size == films_not_kept(young)["clip.mp4"].size
    ]


def test_a_minors_film_is_kept_whole_where_consent_says_so(academy, made, filmed):
    allow_minor(academy, "s2,g2,keep_film,2026-01-01,\n")
    deliver(academy, made, ("clip.mp4", filmed["left"]), student="s2")
    academy.load()
    assert (filed(academy) / "clip.mp4").is_file()


def test_the_same_film_again_is_unchanged_though_the_original_was_not_kept(academy, made, filmed):
    allow_minor(academy)
    for _ in range(2):
        deliver(academy, made, ("clip.mp4", filmed["left"]), student="s2")
        report = academy.load()
    assert report.unchanged == ["v1"]


def test_filed_films_are_read_again_by_their_tracks(academy, made, filmed):
    allow_minor(academy)
    deliver(academy, made, ("clip.mp4", filmed["left"]), student="s2")
    academy.load()
    before = academy.sql("SELECT * FROM academy.clip_point ORDER BY ALL")
    academy.roster(
        people="person,role,display_name,born,handed,foot_length_mm,level,guardian_of,joined,left\n"
        "s2,student,Tam Brackley,2012-05-06,left,245,junior,,2025-03-01,\n"
    )
    assert academy.load().refused == []
    assert academy.sql("SELECT * FROM academy.clip_point ORDER BY ALL").equals(before)


def test_a_corrected_hand_names_the_marks_anew(academy, made, filmed):
    deliver(academy, made, ("clip.mp4", filmed["left"]), student="s1")  # the roster has them right-handed
    academy.load()
    heel = "SELECT x_px FROM academy.clip_point WHERE frame = 0 AND point = 'trail_heel'"
    wrong = academy.sql(heel).item()
    academy.roster(
        people="person,role,display_name,born,handed,foot_length_mm,level,guardian_of,joined,left\n"
        "s1,student,Ada Fennimore,1988-02-03,left,250,club,,2025-03-01,\n"
    )
    academy.load()
    assert academy.sql(heel).item() == pytest.approx(filmed["left"].places[0, 2, 0], abs=2)
    assert wrong == pytest.approx(filmed["left"].places[0, 3, 0], abs=2)


def test_points_in_a_file_count_and_the_film_beside_them_is_only_kept(academy, made, filmed):
    folder = deliver(academy, made, ("clip-1.mp4", filmed["right"]))
    write_points(folder, filmed["right"].places + np.array([0.25, 0.0]))
    assert academy.load().refused == []
    first = academy.sql("SELECT x_px FROM academy.clip_point WHERE frame = 0 AND point = 'lead_heel'").item()
    assert first == pytest.approx(filmed["right"].places[0, 0, 0] + 0.25, abs=0.006)
    assert kept_film(filed(academy), 1).is_file()


def test_a_film_beside_points_that_was_filmed_on_its_side_is_cut_as_it_is_shown(
    academy, made, filmed, tmp_path
):
    shown = filmed["right"]
    made_films.on_its_side(shown.path, tmp_path / "turned.mp4", 90)
    sizes = []
    for session, path in (("v1", shown.path), ("v2", tmp_path / "turned.mp4")):
        folder = deliver(academy, made, ("clip-1.mp4", path.read_bytes()), session=session)
        write_points(folder, shown.places)
        assert academy.load().refused == []
        with av.open(str(kept_film(filed(academy, session), 1))) as held:
            sizes.append((held.streams.video[0].width, held.streams.video[0].height))
    assert sizes[1] == sizes[0]


def test_a_film_without_a_picture_beside_points_refuses_its_swing(academy, made, filmed, tmp_path):
    whole = filmed["right"].path.read_bytes()
    folder = deliver(academy, made, ("clip-1.mp4", whole[: whole.index(b"mdat") + 4]))
    write_points(folder, filmed["right"].places)
    said = academy.load().refused[0].sentence
    assert said.startswith("Swing 1 of v1, clip-1.mp4: no ")
    assert said.endswith("deliver the session again.")


def test_a_bad_film_alone_refuses_its_own_swing_and_one_of_no_swing_the_session(academy, made, filmed):
    deliver(academy, made, ("clip-1.mp4", filmed["right"]), ("clip-2.mp4", b"no film"), swings=2)
    report = academy.load()
    assert [(r.swing_no, r.file) for r in report.refused] == [(2, "clip-2.mp4")]
    assert report.refused[0].sentence.startswith("Swing 2 of v1, clip-2.mp4: no film can be read from it")
    deliver(academy, made, ("lesson.mp4", filmed["right"]), swings=2)
    assert "lesson.mp4 is not the clip of any swing" in academy.load().refused[0].sentence


def test_a_minors_refused_film_is_not_kept_either_and_is_refused_alike_when_read_again(
    academy, made, filmed, tmp_path
):
    allow_minor(academy)
    films_ = ("clip-1.mp4", filmed["left"]), ("clip-2.mp4", b"no film")
    deliver(academy, made, *films_, student="s2", swings=2)
    report = academy.load()
    assert [(r.swing_no, r.file) for r in report.refused] == [(2, "clip-2.mp4")]
    assert any(said.startswith("clip-2.mp4 is not kept, as it was refused") for said in report.notices)
    young = filed(academy)
    assert sorted(path.name for path in young.iterdir()) == [FILM_FOLDER, "session.toml"]
    assert content_hash(young) == young.name
    assert health.filed_problems(academy.home) == []
    twin = academy.twin(tmp_path / "twin")
    with writer(twin) as w:
        replay(twin, w)
        assert academy._rows(w, (), times=True) == academy.tables(times=True)
    deliver(academy, made, *films_, student="s2", swings=2)
    assert academy.load().unchanged == ["v1"]


def test_a_refused_film_of_an_adult_or_one_that_a_roster_can_correct_stays(academy, made, filmed):
    deliver(academy, made, ("clip-1.mp4", filmed["right"]), ("clip-2.mp4", b"no film"), swings=2)
    academy.load()
    assert (filed(academy) / "clip-2.mp4").read_bytes() == b"no film"
    people = (
        "person,role,display_name,born,handed,foot_length_mm,level,guardian_of,joined,left\n"
        "s2,student,Tam Brackley,2012-05-06,{},245,junior,,2025-03-01,\n"
    )
    academy.roster(people=people.format(""), consents=FILM_OF_A_MINOR)
    folder = deliver(academy, made, ("clip-2.mp4", filmed["left"]), student="s2", session="v2", swings=2)
    write_points(folder, filmed["left"].places)
    assert [r.reason for r in academy.load().refused] == ["no_handedness"]
    assert (filed(academy, "v2") / "clip-2.mp4").is_file()
    academy.roster(people=people.format("left"), consents=FILM_OF_A_MINOR)
    assert academy.load().refused == []
    assert (
        academy.sql("SELECT count(DISTINCT swing_no) FROM academy.clip_point WHERE session = 'v2'").item()
        == 2
    )


@pytest.fixture(scope="module")
def bad_films(filmed, tmp_path_factory):
    """What is wrong with each: no tape, no film at all, a clock that [clip] contradicts, of another day."""
    folder, whole = tmp_path_factory.mktemp("bad"), filmed["right"].path
    return {
        "no_tape": made_films.film(folder / "bare.mp4", seconds=0.6, tape=None).path.read_bytes(),
        "unreadable": b"no film",
        "cut": whole.read_bytes()[: whole.stat().st_size // 2],
        "other_day": dated(folder, filmed["right"], "2026-05-03T09:30:00Z"),
        "bad_clip": whole.read_bytes(),
    }


@pytest.mark.parametrize("wrong", ["no_tape", "unreadable", "cut", "other_day", "bad_clip"])
def test_a_bad_film_leaves_its_swing_what_the_plate_measured_and_nothing_of_its_own(
    academy, made, bad_films, tmp_path, wrong
):
    clip = CLIP.replace("fps = 60", "fps = 30") if wrong == "bad_clip" else CLIP
    sheet = made.toml(swings=2, more=clip)
    files = {"clip-2__mp4": bad_films[wrong]}
    made.deliver(academy.inbox / "v1", sheet, made.plate(2), **files)
    report = academy.load()
    assert report.refused == []
    swings = academy.sql(
        "SELECT swing_no, n_samples > 0 AS measured, list_contains(flags, 'clip_not_followed') AS flagged, "
        "clip_strikes_s, clip_shoe_width_px FROM academy.swing ORDER BY swing_no"
    ).rows()
    assert swings == [(1, True, False, None, None), (2, True, True, None, None)]
    assert academy.sql("SELECT count(*) FROM academy.clip_point").item() == 0
    [said] = [said for said in report.notices if "clip-2.mp4" in said]
    assert said.startswith("Swing 2 of v1, clip-2.mp4: ")
    assert said.endswith("The swing is loaded without its film.")
    assert (filed(academy) / "clip-2.mp4").read_bytes() == bad_films[wrong]
    twin = academy.twin(tmp_path / "twin")
    with writer(twin) as w:
        replay(twin, w)
        assert academy._rows(w, (), times=True) == academy.tables(times=True)


def test_a_minors_bad_film_is_not_kept_and_its_swing_goes_without_it_also_when_read_again(
    academy, made, bad_films, tmp_path
):
    allow_minor(academy)
    sheet = made.toml(student="s2", swings=1, more=CLIP)
    made.deliver(academy.inbox / "v1", sheet, made.plate(1), **{"clip-1__mp4": bad_films["no_tape"]})
    report = academy.load()
    assert report.refused == []
    assert any(said.startswith("clip-1.mp4 is not kept, as it was refused") for said in report.notices)
    assert not (filed(academy) / "clip-1.mp4").exists()
    assert academy.sql("SELECT flags FROM academy.swing").item().to_list().count("clip_not_followed") == 1
    twin = academy.twin(tmp_path / "twin")
    with writer(twin) as w:
        replay(twin, w)
        assert academy._rows(w, (), times=True) == academy.tables(times=True)


def test_a_swing_that_its_plate_refuses_is_not_saved_by_a_bad_film(academy, made, bad_films):
    made.deliver(
        academy.inbox / "v1", made.toml(swings=2, more=CLIP), made.plate(1),
        **{"clip-2__mp4": bad_films["no_tape"]},
    )  # fmt: skip
    [refused] = academy.load().refused
    assert refused.swing_no == 2
    assert academy.sql("SELECT swing_no FROM academy.swing").to_series().to_list() == [1]


@pytest.mark.parametrize(
    ("student", "hand", "more", "stays"),
    [
        ("s2", "left", "", False),
        ("s2", "left", "s2,g2,keep_film,2026-01-01,\n", True),
        ("s1", "right", "", True),
    ],
)
def test_a_minors_film_leaves_a_refused_session_once_its_corrected_one_is_in(
    academy, made, filmed, student, hand, more, stays
):
    allow_minor(academy, more)
    deliver(academy, made, ("clip.mp4", filmed[hand]), student=student, clip="")
    assert "no [clip] table" in academy.load().refused[0].sentence
    (folder,) = academy.home.refused.iterdir()
    told = json.loads((folder / "why.json").read_text())
    assert (folder / "clip.mp4").is_file()
    deliver(academy, made, ("clip.mp4", filmed[hand]), student=student)
    assert academy.load().accepted == ["v1"]
    assert (folder / "clip.mp4").exists() == stays
    after = json.loads((folder / "why.json").read_text())
    gone = {} if stays else {"films_not_kept": ["clip.mp4"]}
    assert after == told | {"superseded_by": filed(academy).name} | gone
    assert (folder / "session.toml").is_file()
    with writer(academy.home) as w:
        report = retry(academy.home, w)
    assert (report.accepted, report.refused, report.unchanged) == ([], [], [])


@pytest.mark.parametrize("after", [False, True])
def test_a_minors_film_leaves_a_refused_session_also_when_the_corrected_ones_load_was_cut_short(
    academy, made, filmed, monkeypatch, after
):
    allow_minor(academy)
    deliver(academy, made, ("clip.mp4", filmed["left"]), student="s2", clip="")
    academy.load()
    (folder,) = academy.home.refused.iterdir()
    deliver(academy, made, ("clip.mp4", filmed["left"]), student="s2")
    real = filing.supersede

    class Cut(BaseException):
        """Stands for a power cut."""

    def cut(*args, **more):
        if after:
            real(*args, **more)
        raise Cut

    with monkeypatch.context() as patched:
        if after:
            patched.setattr(filing, "supersede", cut)
        else:
            patched.setattr(filing.RefusedFolder, "settle", cut)
        with pytest.raises(Cut):
            academy.load()
    assert (folder / "clip.mp4").exists() is not after
    assert academy.load().unchanged == ["v1"]
    assert not (folder / "clip.mp4").exists()
    assert json.loads((folder / "why.json").read_text())["films_not_kept"] == ["clip.mp4"]


def test_a_film_without_consent_waits_and_one_without_its_table_is_refused(academy, made, filmed):
    deliver(academy, made, ("clip.mp4", filmed["left"]), student="s2")
    assert "no consent to film covers s2" in academy.load().refused[0].sentence
    deliver(academy, made, ("clip.mp4", filmed["right"]), session="v2", clip="")
    assert "no [clip] table" in academy.load().refused[-1].sentence


def test_slow_motion_is_said_in_the_report(academy, made, filmed):
    slow = made.toml(
        "v1", device=None, swings=[], more="\n[[swing]]\nno = 1\n" + CLIP.replace("60", "240", 1)
    )
    folder = made.deliver(academy.inbox / "v1", slow)
    (folder / "clip.mp4").write_bytes(filmed["right"].path.read_bytes())
    report = academy.load()
    assert any("clip.mp4 plays 4 times slower than it was filmed" in said for said in report.notices)
    with av.open(str(kept_film(filed(academy), 1))) as held:
        assert list(held.decode(video=0))[-1].time == pytest.approx(filmed["right"].times_s[-1] / 4, abs=1e-3)


def test_damage_to_what_is_kept_of_a_film_is_found(academy, made, filmed):
    deliver(academy, made, ("clip.mp4", filmed["right"]))
    academy.load()
    assert health.filed_problems(academy.home) == []
    kept_tracks(filed(academy), 1).write_text("picture,t_s\n")
    assert [said.split(" is ")[1] for said in health.filed_problems(academy.home)] == ["damaged"]


def test_a_load_that_dies_while_a_film_is_kept_leaves_nothing_half(academy, made, filmed, monkeypatch):
    deliver(academy, made, ("clip.mp4", filmed["right"]))

    def dies(*_):
        raise KeyboardInterrupt

    with monkeypatch.context() as patched:
        patched.setattr("ingest.film.kept.write_kept", dies)
        with pytest.raises(KeyboardInterrupt):
            academy.load()
    assert academy.sql("SELECT count(*) FROM academy.session").item() == 0
    assert academy.load().accepted == ["v1"]
    assert content_hash(filed(academy)) == filed(academy).name
    assert list(academy.home.filed.glob(".*.part")) == []


FRONT = CLIP.replace("down_line", "face_on")
MARKED = "[swing.clip_events]\naddress = 0.15\ntop = 0.65\n"
STANCE = (
    "[stance]\nlead_heel = [220, 0]\nlead_toe = [346, 272]\ntrail_heel = [-220, 0]\ntrail_toe = [-295, 290]\n"
)


@pytest.fixture(scope="module")
def from_the_front(tmp_path_factory):
    """One film of a right-hander and one of a left-hander, 100 mm wide shoes, the lead heel up at 0.65 s."""
    folder = tmp_path_factory.mktemp("front")
    how = {"seconds": 1.2, "view": "face_on", "shoe_width_mm": 100.0, "jitter_px": 1.5, "seed": 8}
    return {
        hand: made_films.film(folder / f"{hand}.mp4", handed=hand, width=640, **how)
        for hand in ("right", "left")
    }


def scale_of(academy, session="v1"):
    """Where a swing's scale is from, its error, and the lead heel's rise at top once it is reduced."""
    academy.with_writer(lambda home, w: reduce_into(home, w, [session]))
    return academy.sql(
        "SELECT s.clip_scale_source, s.clip_scale_se_pct, m.lead_heel_rise_at_top_mm FROM academy.swing s "
        "JOIN academy.swing_metric m USING (session, swing_no) WHERE s.session = ?",
        [session],
    ).row(0)


@pytest.mark.parametrize(("student", "hand"), [("s1", "right"), ("s2", "left")])
def test_a_film_from_the_front_takes_its_scale_from_the_shoes_width(
    academy, made, from_the_front, student, hand
):
    """Also where only the tracks of a minor's film are left."""
    allow_minor(academy)
    film = from_the_front[hand]
    deliver(
        academy, made, ("clip.mp4", film), student=student, more=MARKED, clip=FRONT + "shoe_width_mm = 100\n"
    )
    assert academy.load().refused == []
    source, error_pct, rise_mm = scale_of(academy)
    assert (source, error_pct) == ("shoe_width", 8.0)
    assert rise_mm == pytest.approx(np.interp(0.65, film.grid_s, film.rises[0]), rel=0.1)
    academy.roster(people=made.roster["people.csv"].replace(",250,", ",251,").replace(",240,", ",241,"))
    academy.load()  # reads it again from filed/
    assert scale_of(academy) == (source, error_pct, rise_mm)


def test_without_a_shoes_width_or_with_a_stance_the_film_gives_no_scale(academy, made, from_the_front):
    deliver(academy, made, ("clip.mp4", from_the_front["right"]), more=MARKED, clip=FRONT)
    academy.load()
    assert scale_of(academy)[0] == "shoe_end_on"
    known = FRONT + "shoe_width_mm = 100\n" + STANCE
    deliver(academy, made, ("clip.mp4", from_the_front["right"]), more=MARKED, clip=known)
    academy.load()
    assert scale_of(academy)[0] == "stance"


def test_shoes_that_do_not_stand_out_from_the_floor_leave_the_scale_end_on(academy, made, tmp_path):
    grass = made_films.film(
        tmp_path / "clip.mp4", seconds=1.2, view="face_on", width=640, shoe_width_mm=100.0, shoe=(70, 121, 96)
    )
    deliver(academy, made, ("clip.mp4", grass), more=MARKED, clip=FRONT + "shoe_width_mm = 100\n")
    assert academy.load().refused == []
    assert scale_of(academy)[0] == "shoe_end_on"


def dated(folder, film, taken):
    made_films.dated(film.path, folder / "dated.mp4", taken)
    return (folder / "dated.mp4").read_bytes()


@pytest.mark.parametrize("beside", [False, True])
def test_a_film_of_the_day_before_last_refuses_its_own_swing(academy, made, filmed, tmp_path, beside):
    """The session began on 5 May at 10:00 in Dublin, 9:00 UTC."""
    old = dated(tmp_path, filmed["right"], "2026-05-03T09:30:00Z")
    folder = deliver(academy, made, ("clip-1.mp4", old), ("clip-2.mp4", filmed["right"]), swings=2)
    if beside:
        write_points(folder, filmed["right"].places)
    (refused,) = academy.load().refused
    assert refused.sentence == (
        "Swing 1 of v1, clip-1.mp4: its head says that it was taken by 2026-05-03 10:30, but the session began "
        "at 2026-05-05 10:00, and its films are taken at most 12 h before; put this swing's own film there, "
        "correct started_at or, where the camera's clock was wrong, save the film again, and deliver the "
        "session again."
    )
    assert academy.sql("SELECT swing_no FROM academy.swing").to_series().to_list() == [2]
    assert academy.sql("SELECT DISTINCT swing_no FROM academy.clip_point").to_series().to_list() == [2]
    before = academy.tables(without=("academy.person", "academy.delivery"))
    academy.roster(people=made.roster["people.csv"].replace(",250,", ",251,"))
    academy.load()  # reads it again from filed/
    assert academy.tables(without=("academy.person", "academy.delivery")) == before


@pytest.mark.parametrize(
    "taken",
    [
        "2026-05-04T21:00:00Z",  # twelve hours before
        "2026-05-05T09:20:00Z",
        "2026-11-20T08:00:00Z",  # saved once more in autumn
        "1970-01-01T00:00:30Z",
    ],
)
def test_a_film_of_the_day_a_later_one_and_one_of_an_unset_clock_are_taken(
    academy, made, filmed, tmp_path, taken
):
    deliver(academy, made, ("clip.mp4", dated(tmp_path, filmed["right"], taken)))
    report = academy.load()
    assert (report.refused, report.accepted) == ([], ["v1"])


TWINS = (
    "person,role,display_name,born,handed,foot_length_mm,level,guardian_of,joined,left\n"
    "s2,student,Tam Brackley,2012-05-06,left,240,junior,,2025-03-01,\n"
    "s4,student,Kit Brackley,2012-05-06,left,240,junior,,2025-03-01,\n"
    "g2,guardian,Nell Brackley,,,,,s2 s4,2025-03-01,\n"
)


def wholes(academy, *originals):
    """Where in the home the very bytes of a film as delivered are, by the session of the folder."""
    contents = [film.path.read_bytes() for film in originals]
    found = [p.parent for p in academy.home.path.rglob("*.mp4") if p.read_bytes() in contents]
    why = {
        p.parent.name: json.loads(p.read_text())["session"] for p in academy.home.refused.glob("*/why.json")
    }
    names = (
        dict(academy.sql("SELECT delivery, session FROM academy.delivery WHERE session <> ''").iter_rows())
        | why
    )
    return sorted(names[folder.name] for folder in found)


def agree(academy, last, *more):
    """Kept whole: of s2 to a last day, of their twin s4 without end."""
    lines = [
        f"s2,g2,keep_film,2026-01-01,{last}", "s4,g2,film,2026-01-01,", "s4,g2,keep_film,2026-01-01,", *more,
        f"s1,s1,keep_film,2026-01-01,{last}",
    ]  # fmt: skip
    allow_minor(academy, "\n".join(lines) + "\n")
    with writer(academy.home) as w:
        report = load(academy.home, w)
        w.publish()
    carry_out(academy.home)
    return report


def test_a_minors_whole_film_leaves_with_its_consent_for_good_and_their_twins_and_an_adults_stay(
    academy, made, filmed, tmp_path
):
    home, today = academy.home, academy.home.settings().today
    academy.roster(people=TWINS, consents=None)
    agree(academy, "")
    deliver(academy, made, ("clip.mp4", filmed["right"]))
    deliver(academy, made, ("clip-1.mp4", filmed["left"]), student="s2", session="v2", clip="")
    assert "no [clip] table" in academy.load().refused[0].sentence  # kept in refused/, and replaced below
    for student, session in (("s2", "v2"), ("s4", "v4")):
        both = ("clip-1.mp4", filmed["left"]), ("clip-2.mp4", b"no film " + student.encode())
        deliver(academy, made, *both, student=student, session=session, swings=2)
    agree(academy, today)
    assert wholes(academy, *filmed.values()) == ["v1", "v2", "v2", "v4"]
    said = next(found for found in health.check(home) if found.name == "retention")
    assert said.said == f"keep_film: 2 kept, next {today + timedelta(days=1)}."
    back_up(home, tmp_path / "kept.zip", b"a long passphrase")
    young, before = filed(academy, "v2"), academy.tables(without=("academy.consent", "academy.delivery"))

    agree(academy, today - timedelta(days=1))
    assert wholes(academy, *filmed.values()) == ["v1", "v4"]
    assert not (young / "clip-2.mp4").exists()  # refused, it was no less of s2
    assert (filed(academy, "v4") / "clip-2.mp4").is_file()
    assert kept_film(young, 1).is_file()  # cut to the feet, under the consent to film
    assert content_hash(young) == young.name
    (receipt,) = forgotten.receipts(home)
    assert (dict(receipt.removed), young.name in receipt.deliveries) == ({"films_as_delivered": 3}, True)
    assert receipt.digest == forgotten.digest(home, forgotten.NOBODY)
    assert receipt.backups == [str(tmp_path / "kept.zip")]
    assert health.filed_problems(home) == []
    assert next(found.said for found in health.check(home) if found.name == "retention").startswith(
        "Everything"
    )
    assert academy.tables(without=("academy.consent", "academy.delivery")) == before
    twin = academy.twin(tmp_path / "twin")
    with writer(twin) as w:
        replay(twin, w)
        assert academy._rows(w, (), times=True) == academy.tables(times=True)

    # A new consent, and the same film once more, bring nothing back; neither does the backup of before.
    deliver(academy, made, ("clip-1.mp4", filmed["left"]), ("clip-2.mp4", b"no film s2"), student="s2", session="v2", swings=2)  # fmt: skip
    assert agree(academy, today - timedelta(days=1), f"s2,g2,keep_film,{today},").unchanged == ["v2"]
    assert wholes(academy, *filmed.values()) == ["v1", "v4"]
    assert len(forgotten.receipts(home)) == 1
    again = type(academy)(Home(tmp_path / "again"))
    assert restore(again.home, tmp_path / "kept.zip", b"a long passphrase").problems == []
    assert wholes(again, *filmed.values()) == ["v1", "v4"]
    assert [dict(r.removed) for r in forgotten.receipts(again.home)] == [{"films_as_delivered": 3}]

    # In time everyone's films go, refused ones too, and what is filed still reads as it did.
    home.settings_file.write_text(f"{home.settings_file.read_text()}\n[retention]\nfilms_days = 1\n")
    carry_out(home)
    assert list(home.filed.rglob("*.mp4")) == []
    assert health.filed_problems(home) == []
    twin = academy.twin(tmp_path / "later_twin")
    with writer(twin) as w:
        replay(twin, w)
        assert academy._rows(w, (), times=True) == academy.tables(times=True)
