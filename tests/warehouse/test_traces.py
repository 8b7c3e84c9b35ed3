"""Sample traces on disk."""

import numpy as np
import pyarrow.parquet as pq
import pytest

import builders
from warehouse.errors import UnderfootError
from warehouse.traces import SessionTrace, read_trace, stretch, trace_path, write_trace


def test_what_is_written_is_read_back_to_the_last_bit(tmp_path):
    trace = builders.make_trace()
    write_trace(tmp_path / "a" / "x.parquet", trace)
    back = read_trace(tmp_path / "a" / "x.parquet")
    assert back.session == trace.session
    for name in ("swing_no", "offsets", "rate_hz", "t0_s"):
        np.testing.assert_array_equal(getattr(back, name), getattr(trace, name))
    assert list(back.columns) == list(trace.columns)
    for name, values in trace.columns.items():
        np.testing.assert_array_equal(back.columns[name], values)
    assert back.t_s is None


def test_the_layout_is_one_row_group_of_split_bytes_without_dictionaries(tmp_path):
    write_trace(tmp_path / "x.parquet", builders.make_trace())
    metadata = pq.ParquetFile(tmp_path / "x.parquet").metadata
    assert metadata.num_row_groups == 1
    column = metadata.row_group(0).column(0)
    assert column.compression in ("LZ4", "LZ4_RAW")
    assert "BYTE_STREAM_SPLIT" in column.encodings
    assert not column.has_dictionary_page


def test_only_the_wanted_columns_are_decoded(tmp_path):
    write_trace(tmp_path / "x.parquet", builders.make_trace())
    assert list(read_trace(tmp_path / "x.parquet", ["lead_n", "cop_x_mm"]).columns) == ["lead_n"]


def test_an_irregular_clock_keeps_its_times(tmp_path):
    regular = builders.make_trace(swings=1, samples=50)
    times = np.cumsum(np.full(50, 0.004) + np.arange(50) % 3 * 0.001)
    trace = SessionTrace(
        regular.session,
        regular.swing_no,
        regular.offsets,
        regular.rate_hz,
        regular.t0_s,
        regular.columns,
        times,
    )
    write_trace(tmp_path / "x.parquet", trace)
    back = read_trace(tmp_path / "x.parquet")
    np.testing.assert_array_equal(back.times(0), times)


def test_a_missing_or_strange_file_is_told_in_one_sentence(tmp_path):
    (tmp_path / "x.parquet").write_bytes(b"PAR1 nonsense")
    for path in (tmp_path / "x.parquet", tmp_path / "none.parquet"):
        with pytest.raises(UnderfootError, match="can't be read"):
            read_trace(path)


def test_a_swing_that_is_not_there_is_told():
    with pytest.raises(UnderfootError, match="no samples of swing 9"):
        builders.make_trace().swing(9)


def test_sessions_outside_every_season_have_a_folder_too(home):
    assert trace_path(home, None, "v1").relative_to(home.path).as_posix() == "traces/season=none/v1.parquet"
    assert trace_path(home, "2026", "v1").parent.name == "season=2026"


def test_stretching_puts_every_swings_events_at_the_same_place():
    # Two swings whose load is a straight ramp from takeaway to impact, one twice as slow as the other:
    # stretched between events they are the same line.
    rate, n = 100.0, 300
    t = np.arange(n) / rate
    quick, slow = (t - 0.5) / 1.0, (t - 0.5) / 2.0
    trace = SessionTrace(
        "v",
        np.array([1, 2], dtype=np.int32),
        np.array([0, n, 2 * n]),
        np.array([rate, rate]),
        np.zeros(2),
        {"lead_n": np.concatenate([quick, slow]).astype(np.float32)},
    )
    events = {
        1: {"takeaway": 0.5, "top": 1.2, "impact": 1.5},
        2: {"takeaway": 0.5, "top": 1.9, "impact": 2.5},
    }
    found = stretch(trace, events, ["lead_n"])
    assert found["position"][0] == 0
    assert found["position"][-1] == 2
    np.testing.assert_allclose(found["lead_n"][0], found["lead_n"][1], atol=1e-5)
    np.testing.assert_allclose(found["lead_n"][0][[0, 25, 50]], [0, 0.7, 1.0], atol=1e-5)


def test_stretching_leaves_out_a_swing_whose_events_run_back():
    trace = builders.make_trace(swings=2)
    events = {
        1: {"takeaway": 0.1, "top": 0.4, "impact": 0.5},
        2: {"takeaway": 0.5, "top": 0.4, "impact": 0.6},
    }
    assert stretch(trace, events, ["lead_n"])["swing_no"].tolist() == [1]
