"""Drill effects: planted ones come out, choice on bad days does not pass for one, and thin data stays silent."""

from datetime import datetime, timedelta

import numpy as np
import polars as pl
import pytest
from scipy import linalg, stats

from models.season.drill import advice, answer
from models.season.drill_data import (
    Reference,
    Sources,
    count_doses,
    dose_columns,
    keenness_columns,
    metric_aim,
)
from models.season.drill_day import followed
from models.season.drill_model import Effect, Kept, effect, fit_effects, fit_of, left_out
from models.season.estimation import spending_bounds
from models.season.judgement import Bands
from models.season.mixed import Cell

NO_BANDS = pl.DataFrame(schema={"metric": pl.String, "club_family": pl.String})
NO_DRAWS = pl.DataFrame(
    schema={
        "student": pl.String,
        "at": pl.Datetime("us"),
        "day": pl.Date,
        "drill": pl.String,
        "drawn_against": pl.String,
    }
)
NO_FAULTS = pl.DataFrame(schema={"season": pl.String, "fault": pl.String})


def dose(student, session, at, drill, *, kind="drill", n=0):
    return {
        "note": f"{student}-{drill}-{n}-{at}", "student": student, "session": session, "drill": drill, "at": at,
        "day": at.date(), "kind": kind,
    }  # fmt: skip


def doses(rows):
    types = {"session": pl.String, "at": pl.Datetime("us")}
    return pl.DataFrame(rows, schema_overrides=types)


def academy(simulate, seed, *, students=24, worth=3.0, kind="drill", better="up"):
    """Each student gets d1 (worth something) after the third session, and every other d2 (worth nothing)."""
    rng = np.random.default_rng(seed)
    frames, given = [], []
    for i in range(students):
        frame, _ = simulate(rng, f"s{i:02d}", start=rng.normal(60, 4), change=rng.normal(0, 1), sessions=8)
        frame = frame.with_columns(drill=pl.lit(None, dtype=pl.String))
        sign = 1 if better == "up" else -1
        helped = (pl.int_range(pl.len()) >= 3) * worth * sign
        frames.append(frame.with_columns(mean=pl.col("mean") + helped))
        for drill, at in (("d1", 2), ("d2", 4), ("d1", 6)):
            if drill == "d1" or i % 2:
                row = frame.row(at, named=True)
                when = row["started_at"] + timedelta(minutes=40)
                given.append(dose(f"s{i:02d}", row["session"], when, drill, kind=kind, n=at))
    return pl.concat(frames), doses(given)


def ask(
    metrics, dose_rows, *, drills=None, better="up", faults=NO_FAULTS, reads=None, people=None, bands=NO_BANDS,
    draws=NO_DRAWS,
):  # fmt: skip
    reference = Reference({"m": better}, {"m": "%"}, reads or {}, Bands(bands, {}, {}), {})
    first = metrics.filter(pl.col("part") == "after_drill").select("session", "drill").unique()
    return answer(
        Sources(
            metrics,
            faults,
            dose_rows,
            first,
            draws,
            drills or {"d1": "m", "d2": "m"},
            people or {},
            reference,
        )
    )


def by_drill(rows):
    return {(row["drill"], row["aim"]): row for row in rows.effect.to_dicts()}


@pytest.mark.parametrize("better", ["up", "down"])
def test_a_drill_that_helps_is_called_so_and_a_worthless_one_is_not(simulate, better):
    found = [by_drill(ask(*academy(simulate, seed, better=better), better=better)) for seed in (1, 2, 3, 4)]
    inside = [rows["d1", "m"]["kept_lo"] < 3.0 < rows["d1", "m"]["kept_hi"] for rows in found]
    assert sum(inside) >= 3  # a 90 % interval
    good, idle = found[0]["d1", "m"], found[0]["d2", "m"]
    assert good["label"] == "helps"
    assert (good["n_students"], good["n_doses"]) == (24, 48)
    assert good["q"] <= 0.10
    assert idle["label"] in ("no_clear_effect", "too_little_data")


def test_a_drill_that_harms_is_called_so(simulate):
    assert by_drill(ask(*academy(simulate, 2, worth=-3.0)))["d1", "m"]["label"] == "harms"


def test_an_aim_with_a_band_counts_the_fall_in_distance_to_it(simulate):
    # Students start about 60, the band is 75 to 80: three more is three nearer.
    band = pl.DataFrame(
        {"metric": ["m"], "club_family": ["iron"], "level": [None], "style": [None], "student": [None],
         "lo": [75.0], "hi": [80.0], "version": ["v"], "from": [None]}
    )  # fmt: skip
    row = by_drill(ask(*academy(simulate, 3), better="band", bands=band))["d1", "m"]
    assert row["kept_lo"] < 3.0 < row["kept_hi"]
    assert row["label"] == "helps"


@pytest.mark.parametrize("outside", [1, 2])
def test_where_next_to_everyone_stays_inside_the_band_no_drill_is_given_a_cross_check(simulate, outside):
    # Their distance to the band is 0 throughout: what is left is the few others', and 0 ± 0 for any drill.
    metrics, given = academy(simulate, 3)
    away = pl.col("student").is_in([f"s{i:02d}" for i in range(outside)])
    metrics = metrics.with_columns(mean=pl.when(away).then(pl.col("mean")).otherwise(77.5))
    band = pl.DataFrame(
        {"metric": ["m"], "club_family": ["iron"], "level": [None], "style": [None], "student": [None],
         "lo": [75.0], "hi": [80.0], "version": ["v"], "from": [None]}
    )  # fmt: skip
    rows = by_drill(ask(metrics, given, better="band", bands=band))
    assert [rows[drill, "m"].get("cross_check") for drill in ("d1", "d2")] == [None, None]
    assert {row["label"] for row in rows.values()} <= {"no_clear_effect", "too_little_data"}


def test_too_few_students_stay_silent(simulate):
    row = by_drill(ask(*academy(simulate, 4, students=7)))["d1", "m"]
    assert (row["label"], row["n_students"], row.get("kept"), row.get("p")) == (
        "too_little_data",
        7,
        None,
        None,
    )


@pytest.mark.parametrize("students", [0, 1, 4])
def test_next_to_nobody_is_too_little_data_without_a_warning(simulate, students):
    metrics, given = academy(simulate, 5, students=max(students, 1))
    rows = ask(metrics.head(8 * students), given)
    assert {row["label"] for row in rows.effect.to_dicts()} <= {"too_little_data"}


def test_values_that_are_all_one_are_too_little_data(simulate):
    metrics, given = academy(simulate, 6)
    rows = ask(metrics.with_columns(mean=pl.lit(50.0), sd=pl.lit(0.0)), given)
    assert {row["label"] for row in rows.effect.to_dicts()} == {"too_little_data"}


def test_no_doses_and_no_aim_are_rows_that_claim_nothing(simulate):
    metrics, given = academy(simulate, 7)
    rows = by_drill(ask(metrics, given.clear(), drills={"d1": "m", "d3": None}))
    assert rows["d1", "m"]["label"] == rows["d3", None]["label"] == "too_little_data"
    assert rows["d1", "m"]["n_doses"] == 0


def test_a_metric_that_nobody_has_is_too_little_data(simulate):
    metrics, given = academy(simulate, 8)
    assert (
        by_drill(ask(metrics, given, drills={"d1": "elsewhere"}))["d1", "elsewhere"]["label"]
        == "too_little_data"
    )


def draws_of(given, *, students, against="d2"):
    """Each of these students was drawn the drill of their first dose, in turn d1 and the other."""
    first = (
        given.filter(drill="d1")
        .sort("at")
        .unique("student", keep="first", maintain_order=True)
        .sort("student")
    )
    own = first.head(students).with_row_index("turn")
    won, lost = pl.lit("d1"), pl.lit(against)
    return own.select(
        "student", "at", "day", drill=pl.when(pl.col("turn") % 2 == 0).then(won).otherwise(lost),
        drawn_against=pl.when(pl.col("turn") % 2 == 0).then(lost).otherwise(won),
    )  # fmt: skip


def drawn_academy(simulate, seed, *, students, apart):
    """Both drills help by 1; d1 by `apart` more from the session after the draw on."""
    metrics, given = academy(simulate, seed, students=students, worth=1.0)
    draws = draws_of(given, students=students)
    won = draws.filter(drill="d1")["student"]
    order = pl.int_range(pl.len()).over("student")
    more = pl.when(pl.col("student").is_in(won.to_list()) & (order >= 3)).then(apart).otherwise(0.0)
    return metrics.with_columns(mean=pl.col("mean") + more), given, draws


@pytest.mark.parametrize(("students", "looks"), [(19, 0), (20, 1), (30, 2), (40, 3)])
def test_a_random_draw_is_looked_at_when_half_three_quarters_and_all_of_its_students_were_measured_again(
    simulate, students, looks
):
    metrics, given, draws = drawn_academy(simulate, 9, students=students, apart=0.0)
    rows = by_drill(ask(metrics, given, draws=draws))
    one, other = rows["d1", "m"], rows["d2", "m"]
    assert (one["n_lots"], one["lots_look"], one["lots_against"]) == (students, looks, "d2")
    if looks:  # one drill less the other, so that what both did is in neither
        assert one["lots_lo"] < 0 < one["lots_hi"]
        assert other["lots"] == pytest.approx(-one["lots"])
        assert (other["lots_lo"], other["lots_hi"]) == pytest.approx((-one["lots_hi"], -one["lots_lo"]))
    else:
        assert one.get("lots") is None


def test_the_better_of_two_drills_is_found_at_the_first_look_that_settles_it(simulate):
    metrics, given, draws = drawn_academy(simulate, 9, students=40, apart=5.0)
    row = by_drill(ask(metrics, given, draws=draws))["d1", "m"]
    assert 0 < row["lots_lo"] < 5.0 < row["lots_hi"]
    assert row["lots_look"] == 1


def test_a_new_plate_after_the_last_look_leaves_its_answer_as_it_was(simulate):
    metrics, given, draws = drawn_academy(simulate, 9, students=40, apart=0.0)
    until = metrics.group_by("student").agg(pl.col("day").sort().get(4))["day"].max()
    later = pl.when(pl.col("day") > until).then(pl.lit("plate")).otherwise(pl.col("device"))
    row = by_drill(ask(metrics.with_columns(device=later), given, draws=draws))["d1", "m"]
    assert metrics.select((later == "plate").sum()).item() > 20
    assert row["lots_look"] == 3
    assert row["lots_lo"] < 0 < row["lots_hi"]


def test_bounds_of_five_looks_are_those_in_print():
    # DeMets & Lan 1994, Stat Med 13 (from memory): five looks, two-sided 0.05, O'Brien-Fleming's spending.
    assert spending_bounds((0.2, 0.4, 0.6, 0.8, 1.0)) == pytest.approx(
        (4.8769, 3.3569, 2.6803, 2.2898, 2.0310), abs=2e-4
    )
    assert spending_bounds((1.0,)) == pytest.approx((stats.norm.ppf(0.975),), abs=1e-6)


def test_for_whom_is_told_from_eight_students_on(simulate):
    metrics, given = academy(simulate, 10)
    level = {f"s{i:02d}": "club" if i < 18 else "beginner" for i in range(24)}
    rows = ask(metrics, given, people={s: (name, None) for s, name in level.items()})
    groups = {
        (row["drill"], row["group"]): row for row in rows.group.to_dicts() if row["grouping"] == "level"
    }
    assert groups["d1", "club"]["kept_lo"] < 3.0 < groups["d1", "club"]["kept_hi"]
    assert (groups["d1", "beginner"]["n_students"], groups["d1", "beginner"].get("kept")) == (6, None)


def test_a_faults_rate_comes_back_in_points():
    # Rate 60 % before the drill and 20 % after, the same for everyone: about 40 points.
    rng = np.random.default_rng(11)
    rows, given = [], []
    for i in range(36):
        own, given_at = rng.normal(0, 0.3), 1 + i % 4 if i % 6 else 99
        for k in range(8):
            logit = (np.log(1.5) if k <= given_at else np.log(0.25)) + own
            at = pl.datetime_range(pl.datetime(2026, 4, 1), pl.datetime(2026, 12, 1), "1d", eager=True)[
                18 * k
            ]
            flagged = int(rng.binomial(12, 1 / (1 + np.exp(-logit))))
            rows.append((f"s{i:02d}-{k}", f"s{i:02d}", at, at.date(), flagged))
            if k == given_at:
                given.append(dose(f"s{i:02d}", f"s{i:02d}-{k}", at + timedelta(minutes=40), "d1"))
    faults = pl.DataFrame(rows, schema=["session", "student", "started_at", "day", "flagged"], orient="row").with_columns(
        coach=pl.lit("c1"), season=pl.lit("spring"), club_family=pl.lit("iron"), part=pl.lit("baseline"),
        pace=pl.lit("full"), drill=pl.lit(None, dtype=pl.String), device=pl.lit("mat"), heel_source=pl.lit("none"),
        fault=pl.lit("f"), usable=pl.lit(12),
    )  # fmt: skip
    no_metrics = pl.DataFrame(
        schema={
            "season": pl.String,
            "metric": pl.String,
            "part": pl.String,
            "session": pl.String,
            "drill": pl.String,
        }
    )
    row = by_drill(ask(no_metrics, doses(given), drills={"d1": "f"}, faults=faults, reads={"f": []}))[
        "d1", "f"
    ]
    assert (row["aim_kind"], row["unit"], row["label"]) == ("fault", "points", "helps") or row[
        "n_doses"
    ] == 24
    assert row["kept_lo"] < 40.0 < row["kept_hi"]
    assert row["kept"] == pytest.approx(40.0, abs=9.0)
    assert row["cross_check"] > 10.0


def test_todays_dose_does_not_count_in_todays_baseline(simulate):
    frame, _ = simulate(np.random.default_rng(12), "s1", sessions=4)
    at = frame["started_at"]
    given = doses([
        dose("s1", frame["session"][0], at[0] + timedelta(minutes=40), "d1"),
        dose("s1", frame["session"][1], at[1] - timedelta(minutes=5), "d1"),  # stamped early, but of that session
        dose("s1", None, at[2] + timedelta(hours=9), "d1", kind="practice"),
        dose("s1", None, at[0] - timedelta(days=9), "d1"),  # before anything was measured
        dose("s2", None, at[0], "d9"),
    ])  # fmt: skip
    found = count_doses(frame, given)
    assert found.drills == ["d1"]
    assert found.lesson[:, 0].tolist() == [0, 1, 2, 2]
    assert found.home[:, 0].tolist() == [0, 0, 0, 1]


def keen_academy(seed, *, worth, students=40):
    """Half the students are keen: they gain a point a month without any drill, and are given it far more often."""
    rng = np.random.default_rng(seed)
    rows, given = [], []
    for i in range(students):
        count, keen = rng.integers(6, 14), i % 2
        days = np.sort(rng.choice(180, count, replace=False))
        path = (days - days[0]) / 30 * (keen + rng.normal(0, 0.3))
        start, since = rng.normal(60, 6), None
        for k, day in enumerate(days):
            at = datetime(2026, 4, 1, 9) + timedelta(days=int(day))  # noqa: DTZ001
            gained = worth if since is not None and day > since else 0.0
            each = start + path[k] + gained + rng.normal(0, 3) + rng.normal(0, 4, 10)
            rows.append((f"s{i:02d}-{k}", f"s{i:02d}", at, each.mean(), each.std(ddof=1)))
            if rng.random() < (0.5 if keen else 0.1):
                since = day if since is None else since
                given.append(dose(f"s{i:02d}", f"s{i:02d}-{k}", at + timedelta(minutes=30), "d1", n=k))
    frame = pl.DataFrame(rows, ["session", "student", "started_at", "mean", "sd"], orient="row")
    return frame.with_columns(
        day=pl.col("started_at").dt.date(), coach=pl.lit("c"), season=pl.lit("spring"), n=pl.lit(10),
        club_family=pl.lit("iron"), part=pl.lit("baseline"), pace=pl.lit("full"), metric=pl.lit("m"),
        heel_source=pl.lit("none"), device=pl.lit("mat"), drill=pl.lit(None, dtype=pl.String),
    ), doses(given)  # fmt: skip


def test_what_keen_students_gain_anyway_is_not_the_drills_that_they_practise_more():
    found = [
        by_drill(ask(*keen_academy(seed, worth=0.0), drills={"d1": "m"}))["d1", "m"] for seed in range(6)
    ]
    assert [row["label"] for row in found].count("helps") <= 1
    assert np.mean([row["kept"] for row in found]) < 0.9  # 0.3 is the error of this mean; SWC is 1.2


def test_a_drill_worth_having_is_found_among_keen_students():
    found = [
        by_drill(ask(*keen_academy(seed, worth=4.0), drills={"d1": "m"}))["d1", "m"] for seed in range(4)
    ]
    assert [row["label"] for row in found].count("helps") >= 3


def test_keenness_is_each_students_own_and_leaves_the_mean_alone(simulate):
    metrics, given = academy(simulate, 13, students=6)
    offsets, t = np.arange(7) * 8, np.tile(np.arange(8.0), 6)
    found = keenness_columns(count_doses(metrics, given), offsets, t, ["d2"])
    ever = found["ever 1"][offsets[:-1]]
    assert ever.tolist() == [-0.5, 0.5] * 3  # every other student was given d2
    assert found["rate 1"][offsets[:-1]].tolist() == pytest.approx(
        ((ever > 0) - 0.5) / 7
    )  # one dose, 7 months
    assert found["ever t"][8:16].tolist() == (0.5 * np.arange(8.0)).tolist()
    assert found["q"][:2].tolist() == pytest.approx([0.0, 1 - np.exp(-1 / 1.5)])


def test_a_column_needs_three_students_and_one_of_practice_at_home_six(simulate):
    metrics, given = academy(simulate, 13, students=6)
    offsets = np.arange(7) * 8
    assert set(dose_columns(count_doses(metrics, given), offsets)) == {"first d1", "first d2"}
    few = given.filter(pl.col("student") < "s02")
    assert dose_columns(count_doses(metrics, few), offsets) == {}


def test_one_student_left_out_equals_the_fit_without_them():
    rng = np.random.default_rng(14)
    t = np.tile(np.arange(5.0), 6)
    x = np.column_stack([np.ones(30), t, rng.uniform(size=30) < 0.4])
    cell = Cell(np.arange(7) * 5, t, rng.normal(size=30), np.full(30, 0.2), x)
    parts = np.array([1.5, 0.3, 0.1, 0.8, 0.4])
    found = left_out(cell, parts)
    kept = cell.owner != 2
    few = Cell(np.arange(6) * 5, t[kept], cell.y[kept], cell.error[kept], x[kept])
    one = np.array([[1.5**2, 0.1 * 1.5 * 0.3], [0.1 * 1.5 * 0.3, 0.3**2]])
    z = np.column_stack([np.ones(5), np.arange(5.0)])
    block = z @ one @ z.T + 0.16 * np.minimum.outer(np.arange(5.0), np.arange(5.0)) + np.eye(5) * (0.64 + 0.2)
    inverse = np.linalg.inv(linalg.block_diag(*[block] * 5))
    assert found[2] == pytest.approx(
        np.linalg.solve(few.x.T @ inverse @ few.x, few.x.T @ inverse @ few.y), abs=1e-7
    )


def test_the_interval_is_the_wider_of_the_two_on_few_degrees():
    rng = np.random.default_rng(15)
    t = np.tile(np.arange(5.0), 8)
    x = np.column_stack([np.ones(40), t])
    cell = Cell(np.arange(9) * 5, t, rng.normal(size=40), np.full(40, 0.2), x)
    found = fit_effects(cell, np.array([[1.0, 0.3, 0.0, 0.8, 0.2]]))
    one = effect(found, np.array([0.0, 1.0]), 8)
    off = found.without[:, 1] - found.without[:, 1].mean()
    assert one.se == pytest.approx(np.sqrt(max(found.cov[1, 1], 7 / 8 * np.sum(off**2))))
    assert one.hi - one.value == pytest.approx(1.9432 * one.se, rel=1e-4)  # t with 6 degrees, 95 %


def measured_again(metrics, change, *, drill, students, seed=5, left=0.0):
    """Every third session of these students again, after a drill or with none, `change` higher, form and all."""
    rng = np.random.default_rng(seed)
    some = metrics.filter(
        pl.col("student").is_in([f"s{i:02d}" for i in students]), pl.col("session").str.ends_with("3")
    )
    return some.with_columns(
        mean=pl.col("mean") + change + pl.Series(rng.normal(0, 0.5 + left, len(some))),
        part=pl.lit("after_drill"), drill=pl.lit(drill, dtype=pl.String),
    )  # fmt: skip


@pytest.mark.parametrize(
    ("without", "kind", "estimate"), [(0, "change", 2.0), (7, "change", 2.0), (10, "effect", 1.5)]
)
def test_the_same_day_is_an_effect_only_beside_eight_sessions_without_a_drill(
    simulate, without, kind, estimate
):
    metrics, given = academy(simulate, 12, worth=0.0)
    with_drill = measured_again(metrics, 2.0, drill="d1", students=range(14))
    plain = measured_again(metrics, 0.5, drill=None, students=range(14, 14 + without))
    row = by_drill(ask(pl.concat([metrics, with_drill, plain]), given))["d1", "m"]
    assert (row["same_day_kind"], row["n_same_day"], row["n_compared"]) == (kind, 14, without)
    assert row["same_day"] == pytest.approx(estimate, abs=0.6)
    assert row["same_day_lo"] < estimate < row["same_day_hi"]


def test_under_a_dozen_students_the_same_day_is_not_said(simulate):
    metrics, given = academy(simulate, 12, worth=0.0)
    few = measured_again(metrics, 2.0, drill="d1", students=range(11))
    row = by_drill(ask(pl.concat([metrics, few]), given))["d1", "m"]
    assert (row["n_same_day"], row.get("same_day")) == (11, None)


def test_only_a_sessions_first_drill_has_a_same_day(simulate):
    metrics, _ = academy(simulate, 12)
    after = measured_again(metrics, 2.0, drill="d1", students=range(14))
    second = after.with_columns(drill=pl.lit("d2"))
    first = after.select("session", "drill")
    every = metric_aim(
        pl.concat([metrics, after, second]),
        Reference({"m": "up"}, {}, {}, Bands(NO_BANDS, {}, {}), {}),
        part=None,
    )
    assert set(followed(every, first)["drill"]) == {"d1"}


def test_rows_of_one_visit_share_as_much_of_the_days_form_as_is_said():
    rng = np.random.default_rng(3)
    offsets, t = np.array([0, 4, 7]), np.array([0, 1, 1, 2, 0, 3, 3.0])
    visit, x = np.array([0, 1, 1, 2, 3, 4, 4]), np.column_stack([np.ones(7), t])
    cell = Cell(offsets, t, rng.normal(size=7), rng.uniform(0.1, 0.4, 7), x)
    a, b, rho, e, tau = parts = np.array([2.0, 0.5, 0.3, 1.0, 0.7])
    own = np.repeat([0, 1], [4, 3])
    both = np.equal.outer(own, own)
    v = both * (
        a**2 + rho * a * b * np.add.outer(t, t) + b**2 * np.outer(t, t) + tau**2 * np.minimum.outer(t, t)
        + 0.4 * e**2 * np.equal.outer(visit, visit)
    ) + np.diag(0.6 * e**2 + cell.error)  # fmt: skip
    inverse = linalg.inv(v)
    gamma = linalg.solve(x.T @ inverse @ x, x.T @ inverse @ cell.y)
    left = cell.y - x @ gamma
    height = -0.5 * (
        np.linalg.slogdet(v)[1] + np.linalg.slogdet(x.T @ inverse @ x)[1] + left @ inverse @ left
    )
    found = fit_of(cell, parts, visit, 0.4)
    assert found[0] == pytest.approx(height)
    assert found[1] == pytest.approx(gamma)
    assert found[2] == pytest.approx(linalg.inv(x.T @ inverse @ x))


@pytest.mark.parametrize(
    ("said", "label", "ends", "doses"),
    [
        ("keep", "helps", (1.2, 3.0), 20),
        ("stop", "harms", (-3.0, -1.2), 20),
        ("stop", "no_clear_effect", (-0.9, 0.99), 16),  # what matters is not within reach
        ("try", "no_clear_effect", (-0.9, 1.0), 39),
        ("change", "no_clear_effect", (-0.9, 1.0), 40),
        ("try", "too_little_data", (-0.2, 0.2), 14),
        ("try", "too_little_data", None, 90),
    ],
)
def test_a_drill_is_kept_stopped_changed_or_tried_by_what_it_kept_and_how_often_it_was_set(
    said, label, ends, doses
):
    found = None if ends is None else Effect(sum(ends) / 2, 0.5, *ends, 0.2)
    assert advice(Kept(found, 12, doses, 1.0), label) == said
