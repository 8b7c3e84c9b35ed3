"""What the season plants: trends, drills given to whoever needs them most, coaches, and one change of device."""

import numpy as np
import polars as pl
import pytest


def test_session_means_follow_the_planted_line(truth, planted):
    """Over all students, baseline means of the last visit agree with the expected ones within noise."""
    kept = truth.filter(
        pl.col("device").is_not_null(), part="baseline", pace="full", club_family="iron"
    ).sort("session")
    off = []
    for code, student in planted["students"].items():
        mine = kept.filter(student=code)
        last = mine.filter(session=mine["session"][-1])
        off.append(last["finish_lead_share_pct"].mean() - student["metrics"]["finish_lead_share_pct"]["last"])
    spread = 0.9 + 1.1 / np.sqrt(7)
    assert abs(np.mean(off)) < 3 * spread / np.sqrt(len(off))
    assert np.std(off) < 2 * spread


def test_some_improve_some_slip_and_most_hold(planted):
    kinds = [m["kind"] for s in planted["students"].values() for m in s["metrics"].values()]
    assert {"rising", "falling", "holding", "wandering"} == set(kinds)
    assert kinds.count("holding") > len(kinds) / 2


def test_two_drills_help_and_one_is_worthless(planted):
    drills = planted["drills"]
    assert drills["d01"]["kept_first"] > 0
    assert drills["d02"]["kept_first"] > 0
    assert drills["d03"]["kept_first"] == drills["d03"]["same_day"] == 0
    assert drills["d03"]["doses"] > 0


def test_one_agreed_aim_is_met_one_is_missed_and_one_is_too_early_to_judge(academy, planted):
    lines = pl.concat([pl.read_csv(file, infer_schema=False) for file in academy.glob("inbox/**/notes.csv")],
                      how="diagonal").filter(kind="agreed_aim")  # fmt: skip
    aims = planted["agreed_aims"]
    assert sorted(lines["student"]) == sorted(aim["student"] for aim in aims.values())
    assert len({aim["student"] for aim in aims.values()}) == 3
    due = dict(lines.select("student", "due").iter_rows())
    assert aims["met"]["gain"] > 1 > aims["missed"]["gain"]
    assert due[aims["too_early"]["student"]] > max(due[aims[kind]["student"]] for kind in ("met", "missed"))


def test_one_question_of_two_drills_is_asked_of_nearly_everyone_and_one_of_a_few_students(
    academy, truth, planted
):
    files = academy.glob("inbox/**/notes.csv")
    lines = pl.concat([pl.read_csv(file, infer_schema=False) for file in files], how="diagonal")
    drawn = lines.filter(pl.col("drawn_against").is_not_null())
    pairs = drawn.with_columns(pair=pl.concat_list("code", "drawn_against").list.sort().list.join(" "))
    assert {*pairs["pair"]} == {"d01 d02", "d03 d04"}
    few, many = pairs.filter(pair="d03 d04"), pairs.filter(pair="d01 d02")
    assert 1 <= len(few) < 0.5 * len(planted["students"])
    since = truth.join(few.select("student", asked="session"), on="student").filter(
        pl.col("session") > pl.col("asked")
    )
    assert since.group_by("student").agg(pl.col("session").n_unique())["session"].min() >= 2
    assert many["student"].is_unique().all()
    assert len(many) >= 0.8 * len(planted["students"])
    ways = many["code"].value_counts()
    assert dict(ways.iter_rows()) == {code: planted["drills"][code]["drawn"] for code in ("d01", "d02")}
    assert ways["count"].max() - ways["count"].min() <= 6  # of every two students of a coach one each way
    given = lines.filter(kind="drill").join(many.select("student", lot="drawn_against"), on="student")
    assert given.filter(pl.col("code") == pl.col("lot")).is_empty()


def test_only_the_new_plates_read_closer_to_the_toes(truth, planted):
    change = planted["device_change"]
    west = truth.filter(pl.col("device").is_in([change["from"], change["to"]]), pl.col("clean"))
    days = west.with_columns(day=pl.col("session").str.slice(0, 10))
    assert days.filter(device=change["from"])["day"].max() < change["day"]
    assert days.filter(device=change["to"])["day"].min() >= change["day"]
    means = {
        device: west.filter(device=device).group_by("student").agg(pl.mean("address_trail_along_pct"))
        for device in (change["from"], change["to"])
    }
    both = means[change["from"]].join(means[change["to"]], on="student", suffix="_new")
    shift = (both["address_trail_along_pct_new"] - both["address_trail_along_pct"]).mean()
    assert shift == pytest.approx(change["offset"]["address_trail_along_pct"], abs=1.5)


def test_a_few_students_change_their_coach_at_mid_season(academy):
    coaching = pl.read_csv(academy / "inbox/rosters/coaching.csv", try_parse_dates=True)
    ended = coaching.filter(pl.col("to").is_not_null())
    assert ended.height >= 1
    for row in ended.iter_rows(named=True):
        following = coaching.filter(pl.col("student") == row["student"], pl.col("from") > row["to"])
        assert following.height == 1
        assert following["coach"].item() != row["coach"]


def test_session_means_move_as_planted(truth, planted):
    """Straight lines through the true session means of the students agree with the planted changes."""
    kept = truth.filter(pl.col("rate_hz").is_not_null(), part="baseline", pace="full", club_family="iron")
    days = kept.with_columns(day=pl.col("session").str.slice(0, 10).str.to_date().dt.epoch("d"))
    seen, expected = [], []
    for metric in ("finish_lead_share_pct", "recentre_pts", "mid_down_lead_share_pct", "downswing_s",
                   "mid_back_trail_share_pct"):  # fmt: skip
        means = days.group_by("student", "session", "day").agg(pl.col(metric).mean()).drop_nulls()
        own = means.group_by("student").agg("day", metric, n=pl.len()).filter(pl.col("n") >= 4)
        assert len(own) >= 10
        slopes = [np.polyfit(np.array(day) / 30, y, 1)[0] for day, y in own.select("day", metric).rows()]
        true = [planted["students"][code]["metrics"][metric]["per_month"] for code in own["student"]]
        seen += list((slopes - np.mean(true)) / np.std(true))
        expected += list((true - np.mean(true)) / np.std(true))
    assert np.corrcoef(seen, expected)[0, 1] > 0.5


def test_every_half_in_use_stands_under_a_known_weight_each_week_and_one_of_them_drifts(academy, planted):
    checks = pl.read_csv(academy / "inbox/rosters/device_checks.csv", try_parse_dates=True)
    error = 100 * (pl.col("reading_kg") / pl.col("known_kg") - 1)
    halves = checks.group_by("device", "side").agg(
        n=pl.len(), last=error.sort_by("at").tail(6).mean(), sd=error.std()
    )
    assert set(halves["device"]) == {
        "mat-east", "plates-north", "insoles-a", "plates-west", "plates-west-2", "plates-south",
    }  # fmt: skip
    assert set(halves["n"]) == {26, 13}  # the west bay's plates were exchanged half way
    drift = planted["plate_drift"]
    drifting = (pl.col("device") == drift["device"]) & (pl.col("side") == drift["side"])
    assert 1.8 < halves.filter(drifting)["last"].item() < 3.4
    steady = halves.filter(~drifting, pl.col("device") != "insoles-a")
    assert steady["last"].abs().max() < 0.6
    assert halves.filter(pl.col("device") == "insoles-a")["sd"].min() > 2.5
