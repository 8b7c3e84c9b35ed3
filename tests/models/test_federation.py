"""Academies read together: a small one is answered with what large ones lend, and nothing of any player goes over."""

import io

import numpy as np
import polars as pl
import pytest

from models.federation import LENT, PARTS, borrow, loans
from season_worlds import diaries, lines
from season_worlds.academy import METRICS, Noise
from season_worlds.answers import answering
from warehouse.errors import CallError, UnderfootError
from warehouse.home import Home

METRIC, FEW, SMALL = "recentre_pts", 3, 14


@pytest.fixture(scope="module")
def lenders(tmp_path_factory) -> list[Home]:
    """Two academies of forty students, published."""
    return [published(tmp_path_factory.mktemp("lender"), 40, seed) for seed in (61, 62)]


def published(folder, students: int, seed: int) -> Home:
    with answering(folder) as academy:
        academy.of(lines.usual(students, seed), "reliability")
        academy.writer.publish()
        return academy.home


def season(
    folder, homes=(), *, students=FEW, seed=7, noise=None
) -> tuple[lines.SeasonWorld, dict[str, pl.DataFrame]]:
    """A world and what a small academy that borrows from `homes` says of it."""
    world = lines.usual(students, seed, noise=noise or Noise())
    with answering(folder) as academy:
        borrow(academy.home, [str(home.path) for home in homes])
        return world, academy.of(world, "reliability", "student_trend")


def test_three_students_have_no_line_of_their_own_and_one_with_what_is_lent(tmp_path, lenders):
    alone = season(tmp_path / "alone")[1]
    assert alone["reliability"].is_empty()
    assert alone["student_trend"]["change"].null_count() == FEW
    helped = season(tmp_path / "helped", lenders)[1]
    row = helped["reliability"].row(0, named=True)
    assert (row["lenders"], row["n_students"]) == (2, FEW)
    assert helped["student_trend"]["change"].null_count() == 0


def test_nine_of_ten_intervals_of_small_academies_hold_the_true_change(tmp_path, lenders):
    inside = []
    with answering(tmp_path) as academy:
        borrow(academy.home, [str(home.path) for home in lenders])
        for seed in range(SMALL):
            world = lines.usual(FEW, 100 + seed)
            true = (
                world.paths.sort("day").group_by("student").agg(true=pl.col("x").last() - pl.col("x").first())
            )
            found = academy.of(world, "student_trend")["student_trend"].join(true, on="student")
            inside += found.select(pl.col("true").is_between("change_lo", "change_hi")).to_series().to_list()
    assert len(inside) == SMALL * FEW
    assert np.mean(inside) == pytest.approx(0.9, abs=0.08)


def test_intervals_also_hold_where_everything_varies_twice_as_much_as_at_the_lender(tmp_path):
    """By another hand: seven academies of four students, one metric; tests/FIGURES.md has the rates."""
    some, side = {"metrics": (METRIC,)}, METRICS[METRIC][0]
    with answering(tmp_path / "large") as large, answering(tmp_path / "small") as small:
        large.of(diaries.lines(30, 1, **some), "reliability")
        large.writer.publish()
        borrow(small.home, [str(large.home.path)])
        inside = []
        for seed in range(7):
            book = diaries.lines(4, seed, noise=2.0, **some)
            found = small.of(book, "student_trend")["student_trend"]
            true = found.join(book.truth, on=["student", "metric"], suffix="_true")["change_true"] * side
            inside += true.is_between(found["change_lo"], found["change_hi"]).to_list()
    assert np.mean(inside) >= 0.78


def test_players_unlike_those_elsewhere_are_not_answered_by_what_is_lent(tmp_path, lenders):
    # Everything varies a twentieth as much as where it is lent from.
    still = Noise(student=0.3, slope=0.035, wander=0.05, session=0.15, swing=0.2)
    said = season(tmp_path, lenders, noise=still)[1]
    assert said["student_trend"]["change"].null_count() == FEW


def test_five_students_are_answered_by_themselves(tmp_path, lenders):
    alone, helped = (season(tmp_path / str(len(homes)), homes, students=5)[1] for homes in ([], lenders))
    assert helped["reliability"]["lenders"].to_list() == [None]
    assert helped["student_trend"].equals(alone["student_trend"])


def test_what_is_lent_names_no_player_no_academy_and_no_day(tmp_path, lenders):
    with answering(tmp_path) as academy:
        borrow(academy.home, [str(home.path) for home in lenders])
        lent = pl.read_parquet(academy.home.path / LENT)
    assert set(lent.columns) == {"lender", "club_family", "metric", "meaning", *PARTS}
    assert lent["lender"].unique().sort().to_list() == [1, 2]
    assert lent["metric"].unique().to_list() == [METRIC]
    assert len(lent) <= 2 * 64  # draws of variance parts, fewer than there are sessions


def test_a_metric_that_means_something_else_there_is_not_lent(tmp_path, lenders):
    with answering(tmp_path) as academy:
        academy.of(lines.usual(FEW, 1), "reliability")
        borrow(academy.home, [str(lenders[0].path)])
        assert {metric for _, metric in loans(academy.home, academy.writer)} == {METRIC}
        academy.writer.execute("UPDATE academy.metric SET unit = 'mm'")
        assert loans(academy.home, academy.writer) == {}


def test_what_was_borrowed_and_cannot_be_read_is_named_with_what_to_do(tmp_path, lenders):
    with answering(tmp_path) as academy:
        borrow(academy.home, [str(lenders[0].path)])
        file = academy.home.path / LENT
        for broken in (b"", file.read_bytes()[:-100], _without_a_part(file)):
            file.write_bytes(broken)
            with pytest.raises(
                UnderfootError, match=r"lent.parquet is damaged or of another version .* remove it"
            ):
                loans(academy.home, academy.writer)


def _without_a_part(file) -> bytes:
    older = io.BytesIO()
    pl.read_parquet(file).drop(PARTS[-1]).write_parquet(older)
    return older.getvalue()


def test_what_was_borrowed_is_not_lent_on(tmp_path, lenders):
    with answering(tmp_path / "small") as academy:
        borrow(academy.home, [str(lenders[0].path)])
        academy.of(lines.usual(FEW, 1), "reliability")
        academy.writer.publish()
    with pytest.raises(CallError, match=r"Nothing is fitted in .*small"):
        borrow(Home(tmp_path / "other"), [str(academy.home.path)])


def test_an_academy_of_an_older_version_is_asked_to_build_anew(tmp_path):
    with answering(tmp_path / "older") as academy:
        academy.writer.execute("ALTER TABLE season.reliability DROP COLUMN lenders")
        academy.writer.publish()
    with pytest.raises(CallError, match="built by an older version"):
        borrow(Home(tmp_path / "other"), [str(academy.home.path)])


def test_a_home_that_cannot_lend_is_refused_and_nothing_is_written(tmp_path, lenders):
    own, other = tmp_path / "own", str(lenders[0].path)
    own.mkdir()
    for named, said in (
        ([other, str(own)], "can't lend to itself"),
        ([other, other], "is named twice"),
        ([other, str(tmp_path)], "There is no academy at"),
    ):
        with pytest.raises(CallError, match=said):
            borrow(Home(own), named)
    assert list(own.iterdir()) == []
