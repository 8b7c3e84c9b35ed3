"""The planted academies of fault flags are what their descriptions say."""

import numpy as np
import polars as pl
import pytest

from planted_chains import FAULTS, PAIRS, SEEN_BY_EYE, WORLDS, planted_chain_world

STUDENT, SESSION = ["student_code"], ["student_code", "session_no"]
NEAR = [*SESSION, "near"]  # six swings in a row of one session
HELD_FIXED = {"student": STUDENT, "session": SESSION, "swing_no": NEAR}
CAUSES = ("cause_40", "cause_60", "cause_80", "missing_at_random")
UNLINKED = [name for name, world in WORLDS.items() if world.with_earlier_pct is None]
MEASURED = [pair for pair in PAIRS if SEEN_BY_EYE not in pair]


def side_by_side(rows, null=None):
    """One row per swing, one column a fault; null flags left as they are, or read as given."""
    wide = rows.with_columns(
        pl.col("flagged").fill_null(null) if null is not None else pl.col("flagged")
    ).pivot(on="fault_code", index=["student_code", "session_no", "swing_no"], values="flagged")
    return wide.with_columns(near=(pl.col("swing_no") - 1) // 6)


def tables(wide, pair, by):
    """Swings with both faults, one of them or none, in each stratum; swings with a null are left out."""
    e, f = (pl.col(fault).cast(pl.Int64) for fault in pair)
    return (
        wide.drop_nulls(list(pair)).group_by(by)
        .agg(a=(e * f).sum(), b=(e * (1 - f)).sum(), c=((1 - e) * f).sum(), d=((1 - e) * (1 - f)).sum())
    )  # fmt: skip


def odds_ratio(wide, pair, by):
    """Mantel and Haenszel's common odds ratio over strata; all swings in one where `by` is empty."""
    t = tables(wide.with_columns(all=0), pair, by or ["all"])
    n = t["a"] + t["b"] + t["c"] + t["d"]
    return (t["a"] * t["d"] / n).sum() / (t["b"] * t["c"] / n).sum()


def z_score(wide, pair, by):
    """The statistic of Cochran, Mantel and Haenszel, with its sign; 0 where there is nothing to compare."""
    t = tables(wide, pair, by).to_dict(as_series=False)
    a, b, c, d = (np.array(t[k], dtype=float) for k in "abcd")
    n = a + b + c + d
    keep = n > 1
    a, b, c, d, n = (x[keep] for x in (a, b, c, d, n))
    variance = ((a + b) * (c + d) * (a + c) * (b + d) / (n**2 * (n - 1))).sum()
    return ((a - (a + b) * (a + c) / n).sum() / np.sqrt(variance)) if variance > 0 else 0.0


@pytest.mark.parametrize("name", WORLDS)
def test_a_world_has_every_fault_of_every_swing_once_and_is_the_same_for_the_same_seed(name):
    sizes = {"students": 4, "sessions": 3, "swings": 5}
    world = planted_chain_world(name, **sizes, seed=1)
    keys = ["student_code", "session_no", "swing_no", "fault_code"]
    assert world.rows.columns == [*keys, "flagged"]
    assert world.rows["flagged"].dtype == pl.Boolean
    assert world.rows.height == world.rows.select(keys).n_unique() == 4 * 3 * 5 * len(FAULTS)
    assert not world.rows.select(keys).null_count().sum_horizontal().item()
    assert world.rows.equals(planted_chain_world(name, **sizes, seed=1).rows)
    assert name == "all_or_none" or not world.rows.equals(planted_chain_world(name, **sizes, seed=2).rows)
    students = set(world.rows["student_code"])
    assert {(earlier, later) for _, earlier, later in world.links} <= set(PAIRS)
    assert {student for student, _, _ in world.links | world.anti_links | world.undecidable} <= students
    assert not world.links & world.anti_links
    assert not {(earlier, later) for _, earlier, later in world.indirect} & set(PAIRS)


@pytest.mark.parametrize("name", CAUSES)
def test_a_cause_raises_the_later_fault_from_20_percent_to_its_number(name):
    world = planted_chain_world(name, students=30, seed=2)
    wide = side_by_side(world.rows)
    for earlier, later in PAIRS:
        both = wide.drop_nulls([earlier, later])
        for present, pct in ((False, 20), (True, WORLDS[name].with_earlier_pct)):
            flags = both.filter(pl.col(earlier) == present)[later]
            se = 100 * np.sqrt(pct / 100 * (1 - pct / 100) / len(flags))
            assert flags.mean() * 100 == pytest.approx(pct, abs=4 * se), (earlier, later, present)
    assert len(world.links) == 30 * len(PAIRS)
    assert ("s001", "heels_at_address", "toes_together_down") in world.indirect


def test_a_cause_among_other_things_is_six_times_the_odds_between_near_swings():
    world = planted_chain_world("cause_among_other_things", students=60, seed=3)
    wide = side_by_side(world.rows)
    for pair in MEASURED:
        assert odds_ratio(wide, pair, NEAR) == pytest.approx(6, rel=0.2), pair
        assert odds_ratio(wide, pair, []) > odds_ratio(wide, pair, NEAR) * 1.2, pair


@pytest.mark.parametrize(
    "name", [n for n in UNLINKED if WORLDS[n].missing in ("no", "at_random", "by_earlier", "by_later")]
)
def test_a_world_without_links_shows_none_when_what_it_shares_is_held_fixed(name):
    world = planted_chain_world(name, seed=4)
    assert not world.links
    assert not world.anti_links
    wide = side_by_side(world.rows)
    by = HELD_FIXED[WORLDS[name].hold_fixed]
    zs = [z_score(wide, pair, by) for pair in PAIRS]
    assert max(map(abs, zs)) < 3.3, zs


@pytest.mark.parametrize("name", ["bad_days", "taught_together", "prone_students", "fatigue", "lesson_works"])
def test_what_a_world_shares_makes_a_false_link_when_it_is_not_held_fixed(name):
    wide = side_by_side(planted_chain_world(name, seed=5).rows)
    looser = {"student": [], "session": STUDENT, "swing_no": SESSION}[WORLDS[name].hold_fixed]
    for pair in MEASURED:
        assert odds_ratio(wide, pair, looser) > 1.25, pair


def test_each_unlinked_student_alone_is_as_scattered_as_chance():
    wide = side_by_side(planted_chain_world("bad_days", students=120, seed=6).rows)
    zs = [
        z_score(own, pair, SESSION)
        for _, own in wide.group_by("student_code") for pair in MEASURED
    ]  # fmt: skip
    assert np.mean(zs) == pytest.approx(0, abs=0.2)
    assert np.std(zs) == pytest.approx(1, abs=0.12)
    assert np.mean(np.abs(zs) > 1.96) < 0.08


def test_half_of_the_students_are_linked_and_the_others_are_not():
    world = planted_chain_world("half_of_students", students=40, seed=7)
    linked = {student for student, _, _ in world.links}
    assert len(linked) == 20
    wide = side_by_side(world.rows)
    own = pl.col("student_code").is_in(sorted(linked))
    for pair in MEASURED:
        assert odds_ratio(wide.filter(own), pair, SESSION) == pytest.approx(6, rel=0.25), pair
        assert abs(z_score(wide.filter(~own), pair, SESSION)) < 3.3, pair


def test_an_anti_link_makes_the_later_fault_rarer():
    world = planted_chain_world("anti_link", seed=8)
    assert not world.links
    assert len(world.anti_links) == WORLDS["anti_link"].students * len(PAIRS)
    wide = side_by_side(world.rows)
    assert all(z_score(wide, pair, SESSION) < -3.3 for pair in PAIRS)


def test_null_read_as_no_fault_makes_links_that_are_not_there():
    wide = side_by_side(planted_chain_world("missing_by_earlier", seed=9).rows, null=False)
    assert all(odds_ratio(wide, pair, SESSION) > 1.3 for pair in MEASURED)
    wide = side_by_side(planted_chain_world("looked_at_after_the_earlier", seed=9).rows, null=False)
    assert odds_ratio(wide, ("toes_together_down", SEEN_BY_EYE), SESSION) > 3


def test_flags_missing_by_both_faults_go_together_though_the_faults_do_not():
    world = planted_chain_world("missing_by_both", seed=10)
    wide = side_by_side(world.rows)
    assert all(z_score(wide, pair, SESSION) > 3.3 for pair in MEASURED)
    assert len(world.undecidable) == WORLDS["missing_by_both"].students * len(PAIRS)


def test_a_turn_seen_by_eye_is_known_of_some_swings_only():
    for name, values in (("cause_60", {True, False, None}), ("noted_only_when_seen", {True, None})):
        flags = planted_chain_world(name, seed=11).rows.filter(pl.col("fault_code") == SEEN_BY_EYE)["flagged"]
        assert set(flags) == values
        assert 0.05 < flags.is_not_null().mean() < 0.5


def test_rare_common_and_constant_faults_leave_little_to_compare():
    def rate(name, fault):
        return (
            planted_chain_world(name, students=200, seed=12)
            .rows.filter(pl.col("fault_code") == fault)["flagged"]
            .mean()
        )

    assert rate("very_rare", "late_crossing") == pytest.approx(0.02, abs=0.01)
    assert rate("nearly_always", "late_crossing") == pytest.approx(0.97, abs=0.01)
    assert rate("rare_then_common", "trail_heel_sink") == pytest.approx(0.03, abs=0.01)
    constant = planted_chain_world("all_or_none", seed=12).rows
    assert (
        constant.drop_nulls()
        .group_by("student_code", "fault_code")
        .agg(pl.col("flagged").n_unique())["flagged"]
        .max()
        == 1
    )
