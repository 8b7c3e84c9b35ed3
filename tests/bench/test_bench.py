"""Each row of the bench at its smallest: both sides give the same answers. No figure is held here."""

from dataclasses import replace
from datetime import date

from bench import films, fits, rows, table


def test_reduction_and_decoding_read_the_same_files(tmp_path):
    row = rows.against_decoding(tmp_path, sessions=2, swings=2, repeats=1)
    assert row.figure >= 0
    assert set(rows.decode(tmp_path / "s0.parquet")) >= {"lead_n", "trail_heel_n"}


def test_the_pandas_loop_agrees_with_the_reduction(tmp_path):
    assert rows.against_pandas(tmp_path, sessions=2, swings=2, repeats=1).unit == "µs"


def test_a_new_process_reports_its_peak_memory(tmp_path):
    assert 50 < rows.peak_mb(tmp_path, 2, 2) < 1000


def test_every_sample_that_polars_reads_lands(tmp_path):
    assert "plate.csv" in rows.against_reading(tmp_path, sessions=2, swings=2, repeats=1).what


def test_the_restricted_likelihood_agrees_with_mixedlm(tmp_path):
    assert fits.against_mixedlm(tmp_path, students=60, repeats=1).ratio > 0
    assert fits.whole_fit_against_mixedlm(tmp_path, students=60, repeats=1).ratio > 0


def test_a_film_is_followed_and_decoded(tmp_path):
    assert films.following(tmp_path, seconds=0.6, fps=60.0, width=480, repeats=1).ratio > 1


def test_a_ratio_that_is_worse_by_more_than_a_tenth_is_said(tmp_path):
    history, row = (
        tmp_path / "history.csv",
        table.Row("(a) ours / theirs", 1.0, 1.0, "s", 2.0, "≤ 2 ×", met=True),
    )
    assert table.last_ratios(history) == {}
    table.remember(row, date(2026, 5, 1), history)
    assert table.last_ratios(history) == {"a": 2.0}
    assert "WORSE" in replace(row, ratio=2.3).line(2.0)
    assert "WORSE" not in replace(row, ratio=2.1).line(2.0)
    assert "WORSE" not in replace(row, ratio=1.0).line(2.0)
    assert "WORSE" in replace(row, ratio=1.0, more_is_better=True).line(2.0)


def test_a_film_goes_from_its_file_to_its_metrics(tmp_path):
    assert films.whole_clip(tmp_path, seconds=1.5, fps=60.0, width=480, repeats=1).ratio > 1
