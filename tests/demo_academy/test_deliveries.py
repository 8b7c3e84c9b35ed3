"""Every good delivery follows the contract of deliveries; every bad one is wrong in its own way."""

import tomllib

import polars as pl
import pytest

from warehouse.home import Home

LAYOUTS = {
    "mat-east": {"swing_no", "t_s", "lead_n", "trail_n", "lead_along_pct", "trail_along_pct", "cop_x_mm", "cop_y_mm"},
    "plates-north": {"Rep", "Clock", "L Force", "R Force", "L Pos", "R Pos"},
    "insoles-a": {"swing_no", "t_s", "left_n", "right_n", "left_along_pct", "right_along_pct", "left_heel_n",
                  "right_heel_n"},
    "plates-west": {"swing_no", "t_s", "load_left", "load_right", "pos_left", "pos_right"},
    "plates-south": {"swing_no", "t_s", "lead_n", "trail_n", "lead_along_pct", "trail_along_pct", "lead_across_mm",
                     "trail_across_mm"},
}  # fmt: skip
LAYOUTS["plates-west-2"] = LAYOUTS["plates-west"]
EVENTS = ["address", "takeaway", "mid_back", "top", "mid_down", "impact", "finish"]


@pytest.fixture(scope="module")
def good(academy, planted, bad_sessions):
    """(folder, session.toml) of every measured session that must load."""
    spoilt = {row["delivery"] for row in planted["expected_refusals"]}
    files = sorted((academy / "inbox").glob("*/session.toml"))
    kept = [file for file in files if file.parent.name not in spoilt]
    return [(file.parent, tomllib.loads(file.read_text())) for file in kept]


def _samples(folder):
    frame = pl.read_parquet(folder / "plate.parquet") if (folder / "plate.parquet").exists() else None
    return pl.read_csv(folder / "plate.csv") if frame is None else frame


def _plates(good):
    return [(folder, sheet) for folder, sheet in good if "device" in sheet]


def test_the_settings_open_as_a_demo_home(academy):
    settings = Home(academy).settings()
    assert settings.demo
    assert not settings.consents_kept_elsewhere
    assert set(settings.devices) == set(LAYOUTS)


def test_every_session_says_when_with_an_offset_and_is_named_once(good):
    names = [sheet["session"] for _, sheet in good]
    assert len(names) == len(set(names))
    for folder, sheet in good:
        assert sheet["started_at"].tzinfo is not None
        assert folder.name == sheet["session"]


def test_every_device_delivers_its_own_columns(good):
    seen = set()
    for folder, sheet in _plates(good):
        assert set(_samples(folder).columns) == LAYOUTS[sheet["device"]]
        seen.add(sheet["device"])
    assert seen == set(LAYOUTS)


def test_times_rise_evenly_within_each_swing_and_no_load_is_missing(good):
    for folder, sheet in _plates(good):
        frame = _samples(folder).rename({"Rep": "swing_no", "Clock": "t_s"}, strict=False)
        step = frame.select(pl.col("t_s").diff().over("swing_no").drop_nulls().round(4))["t_s"]
        assert step.min() > 0
        assert step.n_unique() == 1
        assert frame.null_count().sum_horizontal().item() == 0
        assert set(frame["swing_no"]) == {row["no"] for row in sheet["swing"] + sheet.get("hold", [])}


def test_every_swing_has_its_events_in_order_inside_its_samples(good):
    for folder, sheet in _plates(good):
        frame = _samples(folder)
        if (folder / "events.csv").exists():
            table = pl.read_csv(folder / "events.csv")
            events = {
                no: dict(g.select("event", "t_s").iter_rows()) for (no,), g in table.group_by("swing_no")
            }
        else:
            events = {row["no"]: row["events"] for row in sheet["swing"]}
        clock = pl.col("t_s") if "t_s" in frame.columns else pl.col("Clock") / 1000
        number = "swing_no" if "swing_no" in frame.columns else "Rep"
        spans = {
            no: (a, b) for no, a, b in frame.group_by(number).agg(a=clock.min(), b=clock.max()).iter_rows()
        }
        for no, times in events.items():
            values = [times[event] for event in EVENTS]
            assert values == sorted(values)
            first, last = spans[no]
            assert first + 1.0 <= times["takeaway"]  # a quiet second before the swing
            assert times["finish"] <= last


def test_loads_and_positions_stay_within_the_contract(good):
    for folder, sheet in _plates(good):
        if sheet["device"] not in {"mat-east", "insoles-a", "plates-south"}:
            continue
        frame = _samples(folder)
        for foot in ("lead", "trail") if sheet["device"] != "insoles-a" else ("left", "right"):
            assert frame[f"{foot}_n"].is_between(-20, 6000).all()
            assert frame[f"{foot}_along_pct"].is_between(-10, 110).all()
            if f"{foot}_heel_n" in frame.columns:
                assert (frame[f"{foot}_heel_n"] <= frame[f"{foot}_n"] + 20).all()


def test_the_imperial_plates_give_body_weight_back_in_newtons(good):
    folder, sheet = next(
        (f, s) for f, s in _plates(good) if s["device"] == "plates-north" and "body_mass_kg" in s
    )
    first = _samples(folder).filter(pl.col("Rep") == 1)[:100]
    newton = (first["L Force"] + first["R Force"]).mean() * 4.4482216152605  # lbf, exact by definition
    assert newton / 9.80665 == pytest.approx(sheet["body_mass_kg"], rel=0.02)


def test_a_left_handers_lead_foot_is_the_right(academy, good):
    people = pl.read_csv(academy / "inbox/rosters/people.csv")
    left = set(people.filter(pl.col("handed") == "left")["person"])
    for folder, sheet in _plates(good):
        if sheet["device"] != "plates-north" or sheet["student"] not in left | {"s003"}:
            continue
        last = _samples(folder).group_by("Rep", maintain_order=True).last()
        lead, trail = ("R", "L") if sheet["student"] in left else ("L", "R")
        assert (last[f"{lead} Force"] > last[f"{trail} Force"]).all()  # at the finish the lead foot carries


def test_notes_name_known_things(academy, good):
    faults, people = set(), pl.read_csv(academy / "inbox/rosters/people.csv")["person"].to_list()
    kinds = set()
    for file in sorted((academy / "inbox").glob("*/notes.csv")):
        notes = pl.read_csv(file)
        assert set(notes["author"]) <= set(people)
        assert notes["at"].str.contains(r"\+0\d:00$").all()
        kinds |= set(notes["kind"])
        faults |= set(notes.filter(pl.col("kind") == "saw")["code"])
    assert kinds == {"saw", "drill", "steadiness", "plan", "discomfort", "discomfort_over", "falls", "talked", "practice",
                     "target", "felt", "reference", "goal", "agreed_aim"}  # fmt: skip
    assert len(faults) > 10


def test_shots_belong_to_measured_swings(academy, truth):
    files = sorted((academy / "inbox").glob("*/shots.csv"))
    assert (academy / "inbox/range-2026/shots.csv") in files
    shots = pl.concat([pl.read_csv(file) for file in files])
    assert shots["carry_m"].is_between(5, 300).all()
    assert (
        shots.join(truth, on=["session", "swing_no"], how="anti").height <= 2
    )  # a spoilt swing may have a ball


def test_clips_hold_four_points_a_frame(academy):
    files = sorted((academy / "inbox").glob("*/clip.csv"))
    assert len(files) >= 4
    for file in files:
        points = pl.read_csv(file)
        sheet = tomllib.loads((file.parent / "session.toml").read_text())
        assert sheet["clip"]["fps"] in {60, 120}
        assert set(points["point"]) == {"lead_heel", "lead_toe", "trail_heel", "trail_toe"}
        assert points.select("swing_no", "frame", "point").is_unique().all()
        if "device" not in sheet:
            assert all("clip_events" in row for row in sheet["swing"])


def test_every_bad_delivery_is_there_and_each_is_bad_in_its_own_way(academy, planted):
    rows = planted["expected_refusals"]
    kinds = [row["kind"] for row in rows]
    assert len(kinds) == len(set(kinds)) == 13
    for row in rows:
        assert (academy / "inbox" / row["delivery"]).is_dir()


def test_damaged_swings_are_not_in_the_truth_but_their_session_is(truth, planted):
    for row in planted["expected_refusals"]:
        mine = truth.filter(pl.col("session") == row["delivery"])
        if row["swing_no"] is None:
            assert mine.is_empty()
        else:
            assert mine.height > 3
            assert row["swing_no"] not in set(mine["swing_no"])
