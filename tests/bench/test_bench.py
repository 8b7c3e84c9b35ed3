"""Each row of the bench at its smallest: both sides give the same answers. No figure is held here."""

from bench import films, fits, rows


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
