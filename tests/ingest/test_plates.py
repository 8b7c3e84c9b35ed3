"""Plate files as devices write them: sides, units, separators, encodings, several files; and file flags."""

import numpy as np
import polars as pl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

LBF_N = 4.4482216152605  # pound-force in newtons: 0.45359237 kg x 9.80665 m/s2, both exact by definition


def sided(frame, hand):
    lead, trail = ("left", "right") if hand == "right" else ("right", "left")
    return frame.rename(lambda c: c.replace("lead_", f"{lead}_").replace("trail_", f"{trail}_"))


def columns_of(academy, session):
    trace = academy.trace(session)
    return {name: values.copy() for name, values in trace.columns.items()}, trace.rate_hz.tolist()


def same(one, other, **within):
    assert one[1] == pytest.approx(other[1])
    assert one[0].keys() == other[0].keys()
    for name, values in one[0].items():
        assert np.allclose(values, other[0][name], equal_nan=True, **within), name


@pytest.mark.parametrize(("student", "hand"), [("s1", "right"), ("s2", "left")])
def test_left_and_right_columns_become_lead_and_trail_by_the_hand(academy, made, student, hand):
    frame = made.plate()
    made.deliver(academy.inbox / "a", made.toml("a", student=student), frame)
    made.deliver(academy.inbox / "b", made.toml("b", student=student), sided(frame, hand))
    assert academy.load().refused == []
    same(columns_of(academy, "a"), columns_of(academy, "b"), rtol=0, atol=0)


@pytest.mark.parametrize("hand_of", [("s1", "right", 250), ("s2", "left", 240)])
def test_pounds_inches_and_milliseconds_give_the_same_rows(academy, made, hand_of):
    student, hand, foot_mm = hand_of
    frame = made.plate()
    other = sided(frame, hand).select(
        pl.col("swing_no").alias("Rep"),
        (pl.col("t_s") * 1000).alias("Clock"),
        (pl.col("left_n") / LBF_N).alias("L Force"),
        (pl.col("right_n") / LBF_N).alias("R Force"),
        (pl.col("left_along_pct") / 100 * foot_mm / 25.4).alias("L Pos"),
        (pl.col("right_along_pct") / 100 * foot_mm / 25.4).alias("R Pos"),
        pl.lit("ok").alias("Device note"),
    )
    made.deliver(academy.inbox / "a", made.toml("a", student=student), frame)
    made.deliver(academy.inbox / "b", made.toml("b", student=student, device="imperial"), other)
    assert academy.load().refused == []
    same(columns_of(academy, "a"), columns_of(academy, "b"), rtol=1e-6, atol=1e-5)


@pytest.mark.parametrize("unit", ["% of body weight", "kgf", "kN"])
def test_loads_in_other_units_give_the_same_rows(bare, made, unit):
    per = {"% of body weight": 100 / (70 * 9.80665), "kgf": 1 / 9.80665, "kN": 0.001}[unit]
    mapped = "".join(f'{f}_n = {{ column = "{f}_n", unit = "{unit}" }}\n' for f in ("lead", "trail"))
    bare.home.settings_file.write_text(
        made.settings + f'\n[device.other]\nkind = "insoles"\n[device.other.columns]\n{mapped}'
    )
    bare.roster()
    frame = made.plate()
    made.deliver(bare.inbox / "a", made.toml("a"), frame)
    made.deliver(
        bare.inbox / "b",
        made.toml("b", device="other", head="body_mass_kg = 70"),
        frame.with_columns(pl.col("lead_n", "trail_n") * per),
    )
    assert bare.load().refused == []
    same(columns_of(bare, "a"), columns_of(bare, "b"), rtol=1e-6)


def test_times_in_frames_need_the_device_s_rate(bare, made):
    bare.home.settings_file.write_text(
        made.settings
        + '\n[device.f]\nkind = "insoles"\nrate_hz = 100\n[device.f.columns]\nt_s = { column = "n", unit = "frame" }\n'
        + '\n[device.g]\nkind = "insoles"\n[device.g.columns]\nt_s = { column = "n", unit = "frame" }\n'
    )
    bare.roster()
    frame = made.plate().with_columns(n=(pl.col("t_s") * 100).round().cast(pl.Int64)).drop("t_s")
    made.deliver(bare.inbox / "a", made.toml("a", device="f"), frame)
    made.deliver(bare.inbox / "b", made.toml("b", device="g"), frame)
    report = bare.load()
    assert report.accepted == ["a"]
    assert bare.sql("SELECT DISTINCT rate_hz FROM academy.swing").rows() == [(100.0,)]
    assert "rate_hz" in report.refused[0].sentence


def test_loads_in_body_weights_without_a_body_mass_are_refused(bare, made):
    bare.home.settings_file.write_text(
        made.settings
        + '\n[device.o]\nkind = "insoles"\n[device.o.columns]\nlead_n = { column = "lead_n", unit = "% of body weight" }\n'
    )
    bare.roster()
    made.deliver(bare.inbox / "a", made.toml("a", device="o"), made.plate())
    assert "body_mass_kg" in bare.load().refused[0].sentence


def written(frame, how):
    text = frame.write_csv()
    if how == "byte-order mark":
        return b"\xef\xbb\xbf" + text.encode()
    if how == "UTF-16":
        return text.encode("utf-16")
    if how == "semicolons":
        return text.replace(",", ";").encode()
    if how == "semicolons and decimal commas":
        return text.replace(",", ";").replace(".", ",").encode()
    if how == "tabs and decimal commas":
        return text.replace(",", "\t").replace(".", ",").encode()
    if how == "Windows line ends and a blank line":
        return (text.replace("\n", "\r\n") + "\r\n").encode()
    if how == "spaces around names":
        return text.replace(",", " , ", 3).encode()
    if how == "whole numbers with a point":
        return frame.with_columns(pl.col("swing_no").cast(pl.Float64)).write_csv().encode()
    raise ValueError(how)


@pytest.mark.parametrize(
    "how",
    [
        "byte-order mark",
        "UTF-16",
        "semicolons",
        "semicolons and decimal commas",
        "tabs and decimal commas",
        "Windows line ends and a blank line",
        "spaces around names",
        "whole numbers with a point",
    ],
)
def test_a_plate_file_reads_the_same_however_it_is_written(academy, made, how):
    frame = made.plate()
    made.deliver(academy.inbox / "a", made.toml("a"), frame)
    made.deliver(academy.inbox / "b", made.toml("b"), plate__csv=written(frame, how))
    assert academy.load().refused == []
    same(columns_of(academy, "a"), columns_of(academy, "b"), rtol=0, atol=0)


def test_a_thousands_comma_is_not_taken_for_a_decimal_one(academy, made):
    text = made.plate().write_csv().replace("\n2,0.5,", '\n2,"1,000.5",', 1)
    made.deliver(academy.inbox / "a", made.toml("a"), plate__csv=text)
    (refused,) = academy.load().refused
    assert (refused.swing_no, refused.reason, refused.column) == (2, "bad_value", "t_s")
    assert '"1,000.5"' in refused.sentence


def test_parquet_reads_as_csv_does(academy, made):
    frame = made.plate()
    made.deliver(academy.inbox / "a", made.toml("a"), frame)
    made.deliver(academy.inbox / "b", made.toml("b"))
    frame.with_columns(pl.col("lead_n").cast(pl.Float32)).write_parquet(academy.inbox / "b" / "plate.parquet")
    assert academy.load().refused == []
    same(columns_of(academy, "a"), columns_of(academy, "b"), rtol=0, atol=0)


def test_several_plate_files_are_one(academy, made):
    frame = made.plate(3)
    made.deliver(academy.inbox / "a", made.toml("a", swings=3), frame)
    folder = made.deliver(academy.inbox / "b", made.toml("b", swings=3))
    frame.slice(300).write_csv(folder / "plate_1.csv")
    frame.slice(0, 300).write_csv(folder / "plate_2.csv")
    assert academy.load().refused == []
    same(columns_of(academy, "a"), columns_of(academy, "b"), rtol=0, atol=0)


def test_a_place_in_the_second_file_is_named_by_that_file(academy, made):
    folder = made.deliver(academy.inbox / "a", made.toml("a"))
    made.plate([1]).write_csv(folder / "plate_1.csv")
    made.plate([2]).with_columns(
        lead_n=pl.when(pl.col("t_s") == 0.1).then(7000.0).otherwise("lead_n")
    ).write_csv(folder / "plate_2.csv")
    (refused,) = academy.load().refused
    assert (refused.file, refused.line) == ("plate_2.csv", 12)


@settings(max_examples=8, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_row_order_between_swings_and_a_split_in_two_files_change_nothing(tmp_path_factory, made, data):
    academy = made.make_academy(tmp_path_factory.mktemp("split") / "academy")
    academy.roster()
    frame = made.plate(3, rate_hz=50, seconds=1)
    # Within a swing the clock may only step back by a sample; between swings any order will do.
    turns = data.draw(st.permutations([no for no in (1, 2, 3) for _ in range(51)]))
    own = {no: iter(frame.filter(pl.col("swing_no") == no).iter_rows()) for no in (1, 2, 3)}
    mixed = pl.DataFrame([next(own[no]) for no in turns], schema=frame.schema, orient="row")
    cut = data.draw(st.integers(1, len(frame) - 1))
    made.deliver(academy.inbox / "a", made.toml("a", swings=3, events={}), frame)
    folder = made.deliver(academy.inbox / "b", made.toml("b", swings=3, events={}))
    mixed.slice(0, cut).write_csv(folder / "plate_b.csv")
    mixed.slice(cut).write_csv(folder / "plate_a.csv")
    assert academy.load().refused == []
    same(columns_of(academy, "a"), columns_of(academy, "b"), rtol=0, atol=0)
    rows = academy.sql("SELECT * EXCLUDE (session) FROM academy.swing ORDER BY session, swing_no").rows()
    assert rows[:3] == rows[3:]


def test_neighbouring_rows_that_changed_places_are_sorted(academy, made):
    frame = made.plate(1)
    order = list(range(len(frame)))
    order[40], order[41] = 41, 40
    made.deliver(academy.inbox / "a", made.toml("a", swings=1), frame)
    made.deliver(academy.inbox / "b", made.toml("b", swings=1), frame[order])
    assert academy.load().refused == []
    same(columns_of(academy, "a"), columns_of(academy, "b"), rtol=0, atol=0)


def flags_of(academy, made, frame, **more):
    made.deliver(academy.inbox / "f", made.toml("f", swings=1, **more), frame)
    assert academy.load().refused == []
    flags, counts = academy.sql("SELECT file_flags, file_flag_counts FROM academy.swing").row(0)
    return dict(zip(flags, counts, strict=True))


def test_a_sound_swing_has_no_flag(academy, made):
    assert flags_of(academy, made, made.plate(1)) == {}


def test_small_negative_loads_are_noise_set_to_zero_and_counted(academy, made):
    at = pl.col("t_s").is_in([0.1, 0.2, 0.3])
    frame = made.plate(1).with_columns(trail_n=pl.when(at).then(-12.0).otherwise("trail_n"))
    assert flags_of(academy, made, frame) == {"negative_load": 3}
    assert academy.trace("f").columns["trail_n"].min() >= 0


def test_gaps_over_three_sample_periods_are_dropouts_and_times_are_kept(academy, made):
    frame = made.plate(1).filter(~pl.col("t_s").is_between(0.5, 0.55) & ~pl.col("t_s").is_between(1.0, 1.01))
    assert flags_of(academy, made, frame) == {"dropout": 1}
    trace = academy.trace("f")
    assert trace.t_s is not None
    assert np.array_equal(trace.t_s, frame["t_s"].to_numpy())
    assert trace.rate_hz.tolist() == pytest.approx([100.0])


def test_an_irregular_clock_keeps_its_times(academy, made):
    n = 201
    wobble = np.where(np.arange(n) % 2 == 0, 0.0, 0.003)
    frame = made.plate(1).with_columns(t_s=pl.Series(np.arange(n) / 100 + wobble))
    assert flags_of(academy, made, frame, events={"top": 1.0}) == {}
    assert academy.trace("f").t_s is not None


def test_a_clock_rounded_to_milliseconds_is_a_regular_one(academy, made):
    frame = made.plate(1, rate_hz=300).with_columns(pl.col("t_s").round(3))
    assert flags_of(academy, made, frame) == {}
    trace = academy.trace("f")
    assert trace.t_s is None
    assert trace.rate_hz[0] == pytest.approx(300, abs=0.2)


def test_a_slow_rate_a_flat_top_and_missing_events_are_flagged(academy, made):
    frame = made.plate(1, rate_hz=60).with_columns(pl.col("lead_n").clip(upper_bound=500.0))
    n = int((frame["lead_n"] == 500.0).sum())
    assert n > 5
    assert flags_of(academy, made, frame, events={}) == {"saturated": n, "low_rate": 1, "unmarked": 1}


def test_a_position_means_nothing_under_a_light_foot(academy, made):
    light = pl.col("t_s") == 0.1
    frame = made.plate(1).with_columns(
        lead_n=pl.when(light).then(10.0).otherwise("lead_n"),
        lead_along_pct=pl.when(light).then(1e6).otherwise("lead_along_pct"),
    )
    assert flags_of(academy, made, frame) == {}
    assert np.isnan(academy.trace("f").columns["lead_along_pct"][10])


def test_measured_heels_are_distinguished_from_estimated_ones(academy, made):
    frame = made.plate(1).with_columns(
        lead_heel_n=pl.col("lead_n") / 2, trail_heel_n=pl.col("trail_n") / 2, cop_x_mm=pl.lit(3.0)
    )
    flags_of(academy, made, frame)
    assert academy.sql("SELECT heel_source FROM academy.swing").item() == "measured"
    assert {"lead_heel_n", "trail_heel_n", "cop_x_mm"} <= academy.trace("f").columns.keys()


@pytest.mark.parametrize("empty", ["lead_heel_n", "trail_heel_n"])
def test_a_column_of_heels_without_a_value_measures_nothing(academy, made, empty):
    heels = {"lead_heel_n": pl.col("lead_n") / 2, "trail_heel_n": pl.col("trail_n") / 2}
    flags_of(academy, made, made.plate(1).with_columns(**heels | {empty: pl.lit(None, pl.Float64)}))
    assert academy.sql("SELECT heel_source FROM academy.swing").item() == "estimated"
