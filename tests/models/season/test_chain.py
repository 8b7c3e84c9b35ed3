"""Chains of faults: the exact chance, the difference and its doubt, and worlds where nothing brings on anything."""

from datetime import datetime, timedelta
from itertools import product

import numpy as np
import polars as pl
import pytest

import builders
from models.season.chain import (
    associations,
    compared,
    fault_chain_rows,
    judged,
    p_by_chance,
    visit_associations,
)
from planted_chains import CHAINS, PAIRS, WORLDS, planted_chain_world
from warehouse.chains import Chain, usual_chains

CAUSE, EFFECT = LINK = "trail_heel_sink", "late_crossing"
CHAINS_PLANTED = [Chain(f"chain_{k}", faults) for k, faults in enumerate(CHAINS)]


def swings_of(world):
    """A planted world as rows of the query season.chain_swing."""
    return world.rows.select(
        season=pl.lit("spring"), student="student_code", session=pl.format("{}-{}", "student_code", "session_no"),
        club_family=pl.lit("iron"), device=pl.lit("mat"), heel_source=pl.lit("none"),
        swing_no=pl.col("swing_no").cast(pl.Int32), fault="fault_code", shown="flagged",
    )  # fmt: skip


def swings_in(name, **sizes):
    return swings_of(planted_chain_world(name, **sizes))


def found(swings):
    return judged(associations(swings, PAIRS), CHAINS_PLANTED)


def linked(rows):
    return rows.filter(label="goes_together")


def test_the_exact_chance_is_that_of_agrestis_rabbits():
    # Mantel's penicillin trial in rabbits, as in Agresti 2002, Categorical Data Analysis, 6.7.5, and in R's
    # mantelhaen.test(Rabbits, exact = TRUE): S = 16, two-sided p = 0.03994 (from memory).
    cured_by_delay = np.array(
        [[0, 0, 6, 5], [3, 0, 3, 6], [6, 2, 0, 4], [5, 6, 1, 0], [2, 5, 0, 0]]
    )  # of each: none and cured, 1.5 h and cured, none and died, 1.5 h and died
    n, a, m = (
        cured_by_delay.sum(axis=1),
        cured_by_delay[:, [0, 2]].sum(axis=1),
        cured_by_delay[:, :2].sum(axis=1),
    )
    assert p_by_chance(n, a, m, 16) == pytest.approx(0.03994 / 2, abs=5e-6)


def test_the_exact_chance_is_the_count_of_all_orders():
    strata = [(4, 2, 3), (3, 1, 1)]
    for both in range(5):
        total = hits = 0
        for orders in product(*(product((0, 1), repeat=n) for n, _, _ in strata)):
            if all(sum(order) == m for order, (_, _, m) in zip(orders, strata, strict=True)):
                total += 1
                hits += sum(sum(order[:a]) for order, (_, a, _) in zip(orders, strata, strict=True)) >= both
        assert p_by_chance(*np.array(strata).T, both) == pytest.approx(hits / total)


@pytest.mark.parametrize("name", WORLDS)
def test_no_link_is_claimed_where_none_is_planted(name):
    world = planted_chain_world(name, seed=1)
    claimed = {*linked(found(swings_of(world))).select("student", "earlier", "later").iter_rows()}
    false = claimed - world.links - world.undecidable
    assert len(false) <= 0.05 * max(len(claimed), 20), sorted(false)


@pytest.mark.parametrize(
    ("name", "least"),
    [("cause_60", 0.9), ("cause_80", 0.95), ("cause_among_other_things", 0.85), ("missing_at_random", 0.75)],
)
def test_planted_causes_are_found(name, least):
    world = planted_chain_world(name, seed=2)
    rows = found(swings_of(world))
    claimed = {*linked(rows).select("student", "earlier", "later").iter_rows()}
    assert len(claimed & world.links) >= least * len(world.links)


def test_the_interval_holds_a_planted_difference_nine_times_in_ten():
    rows = pl.concat(found(swings_in("cause_60", swings=12, seed=seed)) for seed in range(3))
    rows = rows.drop_nulls("difference")
    assert rows["difference"].mean() == pytest.approx(0.4, abs=0.03)
    holds = rows.select(((pl.col("difference_lo") < 0.4) & (pl.col("difference_hi") > 0.4)).mean()).item()
    assert 0.87 <= holds <= 0.97


def test_in_a_world_of_bad_days_a_comparison_over_sessions_would_find_links():
    # The check of the check: the same swings as one stratum show the link that is not there.
    swings = swings_in("bad_days", swings=12, seed=3).pivot(
        "fault", index=["student", "session", "swing_no"], values="shown"
    )
    shown = [
        compared(*(own[fault].cast(float).to_numpy() for fault in LINK), np.zeros(len(own), int),
                 own["session"].rank("dense").to_numpy()).p < 0.01
        for _, own in swings.group_by("student", maintain_order=True)
    ]  # fmt: skip
    assert np.mean(shown) > 0.5


def test_nothing_is_claimed_where_flags_are_missing_with_the_earlier_fault():
    swings = swings_in("missing_by_both", seed=4).filter(pl.col("fault").is_in(LINK))
    rows = found(swings)
    assert len(linked(rows)) <= 0.1 * len(rows)
    both = pl.col("shown").is_not_null().all().over("student", "session", "swing_no")
    assert len(linked(found(swings.filter(both)))) > 0.5 * len(rows)  # what the flags that are left would say


@pytest.mark.parametrize(
    "sizes",
    [{"sessions": 2}, {"sessions": 3, "swings": 4}, {"swings": 1}],
    ids=["two sessions", "12 swings", "one swing each"],
)
def test_too_few_sessions_or_swings_say_so_and_have_no_numbers(sizes):
    rows = found(swings_in("cause_80", students=4, seed=4, **sizes))
    assert rows["label"].unique().to_list() == ["too_few"]
    assert (
        rows.select(pl.col("share_with", "difference", "difference_lo", "p", "q").is_null().all()).row(0)
        == (True,) * 5
    )


def test_a_perfect_link_still_has_an_interval():
    earlier = np.tile([1.0, 0.0], 36)
    seen = compared(earlier, earlier, np.repeat(np.arange(12), 6), np.repeat(np.arange(6), 12))
    assert (seen.share_with, seen.share_without) == (1.0, 0.0)
    assert 0.8 < seen.difference_lo < 0.95


def test_the_order_of_rows_and_what_others_do_leave_a_students_numbers_alone():
    swings = swings_in("independent", students=3, seed=5)
    alone = associations(swings.filter(student="s001").sample(fraction=1, shuffle=True, seed=1), PAIRS)
    assert alone.equals(associations(swings, PAIRS).filter(student="s001"))


def test_a_link_of_two_chains_has_a_row_in_each_and_counts_once_among_the_many():
    chains = (*CHAINS_PLANTED, Chain("longer", ("heels_at_address", CAUSE, EFFECT)))
    links = sorted({link for chain in chains for link in chain.links})
    rows = judged(associations(swings_in("cause_60", students=5, seed=6), links), chains)
    both = rows.filter(earlier=CAUSE, later=EFFECT)
    assert set(both.select("chain", "place").iter_rows()) == {("chain_1", 1), ("longer", 2)}
    assert both.group_by("student").agg(pl.col("q").n_unique())["q"].unique().to_list() == [1]


def test_a_load_remakes_its_students_rows_and_equals_a_build(bench):
    swings = swings_in("cause_60", students=3, sessions=6, seed=7)
    for day, ((session,), own) in enumerate(swings.group_by("session", maintain_order=True)):
        bench.session(session, own["student"][0], day=day)
        flags = {fault: of["shown"].to_list() for (fault,), of in own.sort("swing_no").group_by("fault")}
        bench.swings(session, {"recentre_pts": [9.0] * 24}, faults=flags)
    bench.touch(*swings["student"].unique())
    whole = fault_chain_rows(bench.writer, CHAINS_PLANTED)
    bench.writer.append("season.fault_chain", whole)
    bench.touch("s001")
    assert fault_chain_rows(bench.writer, CHAINS_PLANTED).equals(whole)
    assert whole["student"].n_unique() == 3
    # The same numbers as from the swings as they were planted, but for the plate's name.
    assert found(swings).equals(whole)


def test_putting_slow_swings_swings_after_a_drill_and_swapped_feet_stay_out(bench):
    flags = {fault: [True, False] * 10 for fault in LINK}
    for day, more in enumerate(
        (
            {"family": "putter"},
            {"pace": "slow"},
            {"part": "after_drill"},
            {"flags": ["feet_swapped"]},
            {"usable": False},
        )
    ):
        bench.session(f"a{day}", day=day)
        bench.swings(f"a{day}", {"recentre_pts": [9.0] * 20}, faults=flags, **more)
    bench.touch("s1")
    assert fault_chain_rows(bench.writer, usual_chains()).is_empty()


def test_what_a_coach_says_of_single_swings_by_eye_is_linked_like_what_is_measured(bench):
    """The last link of the planted chain is noted swing by swing: there, or looked for and not there."""
    swings = swings_in("cause_60", students=3, sessions=6, seed=7)
    blocked = pl.col("fault") == "blocked_turn"
    for day, ((session,), own) in enumerate(swings.group_by("session", maintain_order=True)):
        student = own["student"][0]
        bench.session(session, student, day=day)
        measured = own.filter(~blocked).sort("swing_no")
        flags = {
            fault: of["shown"].to_list() for (fault,), of in measured.group_by("fault", maintain_order=True)
        }
        bench.swings(session, {"recentre_pts": [9.0] * 24}, faults=flags)
        looked = own.filter(blocked).drop_nulls("shown")
        notes = [
            builders.note_frame(f"{session}-{no}", student, shared=False, session=session, swing_no=no, kind="saw",
                                code="blocked_turn", grade=2 if shown else 0, text=None)
            for no, shown in looked.select("swing_no", "shown").iter_rows()
        ]  # fmt: skip
        bench.writer.append("academy.note", pl.concat(notes))
    bench.touch(*swings["student"].unique())
    whole = fault_chain_rows(bench.writer, CHAINS_PLANTED)
    expected = found(swings)
    assert whole.drop("by_visit").equals(expected.drop("by_visit"))
    assert whole.filter(later="blocked_turn")["by_eye"].all()


EYE = "heels_together_back", "blocked_turn"
EYE_CHAINS = [Chain("mixed", EYE)]


def visits_of(rng, n, *, effect, trend=0.0, students=1):
    """Visits of students: a fault measured in some, and a sign seen more often where it was, by `effect`."""
    rows = []
    for student in range(students):
        for k in range(n):
            fading = trend * (0.5 - k / n)
            first = rng.random() < 0.5 + fading
            then = rng.random() < 0.3 + fading / 2 + effect * first
            day = datetime(2026, 4, 1) + timedelta(days=k)  # noqa: DTZ001 - as the tables have it
            rows += [
                ("spring", f"s{student}", f"s{student}-{k:03}", day, code, seen)
                for code, seen in zip(EYE, (first, then), strict=True)
            ]
    names = ("season", "student", "session", "started_at", "code", "seen")
    return pl.DataFrame(rows, names, orient="row")


def test_a_sign_that_follows_a_measured_fault_is_linked_visit_by_visit():
    rng = np.random.default_rng(3)
    rows = judged(visit_associations(visits_of(rng, 40, effect=0.65, students=6), [EYE]), EYE_CHAINS)
    assert len(linked(rows)) >= 5
    assert rows["by_visit"].all()
    (one,) = rows.head(1).to_dicts()
    assert one["swings_with"] + one["swings_without"] <= 40  # visits
    assert one["difference_lo"] <= one["difference"] <= one["difference_hi"]


@pytest.mark.parametrize("trend", [0.0, 0.9])
def test_a_sign_that_only_fades_with_the_fault_over_the_season_is_not_linked(trend):
    """Over 200 students who improve in both alike, hardly any link is claimed."""
    rng = np.random.default_rng(4)
    found = visit_associations(visits_of(rng, 30, effect=0.0, trend=trend, students=200), [EYE])
    assert len(linked(judged(found, EYE_CHAINS))) <= 10  # 5 %


def test_few_visits_are_too_few():
    rows = judged(visit_associations(visits_of(np.random.default_rng(5), 8, effect=0.6), [EYE]), EYE_CHAINS)
    assert rows["label"].to_list() == ["too_few"]
