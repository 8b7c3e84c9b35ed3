"""Contracts: each opens with its grain, names units, and its one query says what Pandera says."""

import inspect
from datetime import date

import pandera.polars as pa
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pandera.polars import Field

from warehouse import units
from warehouse.contracts import base, deliveries, rows
from warehouse.definitions import usual_faults
from warehouse.errors import UnderfootError
from warehouse.store import writer
from warehouse.tables import columns, table_names
from warehouse.vocabulary import (
    CLOCKS,
    CLUB_FAMILIES,
    DIRECTIONS,
    DOSE_UNITS,
    EVENTS,
    EYES,
    FEET,
    HANDS,
    HEEL_TOLD_BY,
    HEELS,
    NOTE_KINDS,
    OFFSET_SOURCES,
    OUTLINE_REFUSALS,
    PACES,
    PARTS,
    PLACES,
    POINTS,
    PURPOSES,
    ROLES,
    SWING_KINDS,
    VIEWS,
)

CONTRACTS = [
    found
    for _, found in inspect.getmembers(deliveries, inspect.isclass)
    if issubclass(found, base.Contract) and found is not base.Contract
]


@pytest.mark.parametrize("contract", CONTRACTS, ids=lambda c: c.__name__)
def test_every_contract_opens_with_its_grain_and_every_field_with_its_unit(contract):
    assert contract.__doc__.startswith("One row per ")
    assert contract.to_schema().strict
    for name, column in base.columns_of(contract).items():
        unit, _, meaning = column.description.partition("; ")
        assert unit, name
        assert meaning, name
        for suffix, wanted in (
            ("_mm", "mm"),
            ("_n", "N"),
            ("_s", "s"),
            ("_hz", "Hz"),
            ("_kg", "kg"),
            ("_px", "px"),
        ):
            if name.endswith(suffix) and not name.endswith(("_m_s", "_ms")):
                assert unit == wanted, name


def test_every_rule_of_the_warehouse_rows_is_about_a_column_that_some_table_has():
    """A rule under a misspelt name would hold of nothing."""
    known = {name for table in table_names() for name in columns(table)}
    known |= {f"{table}.{name}" for table in table_names() for name in columns(table)}
    assert set(rows.RULES) <= known


@pytest.mark.parametrize("table", [name for name in table_names() if name.startswith("academy.")])
def test_a_row_contract_has_its_tables_columns_and_wants_those_that_may_not_be_null(table, home):
    with writer(home) as w:
        found = w.sql(
            "SELECT column_name, is_nullable FROM duckdb_columns() WHERE schema_name || '.' || table_name = ?",
            [table],
        )
    contract = rows.contract_of(table)
    assert base.dtypes_of(contract) == dict(columns(table))
    assert set(base.required_of(contract)) >= {name for name, may in found.rows() if not may}


@settings(max_examples=60, deadline=None)
@given(
    st.lists(
        st.fixed_dictionaries(
            {
                "swing_no": st.one_of(st.none(), st.integers(-1, 3)),
                "carry_m": st.one_of(st.none(), st.floats(-1, 500)),
                "side_m": st.one_of(st.none(), st.just(float("nan")), st.floats(-300, 300)),
            }
        ),
        min_size=1,
        max_size=5,
    )
)
def test_the_one_query_accepts_exactly_what_pandera_does(lines):
    types = {
        n: t for n, t in base.dtypes_of(deliveries.ShotLine).items() if n in ("swing_no", "carry_m", "side_m")
    }
    frame = pl.DataFrame(lines, schema=types)
    try:
        deliveries.ShotLine.validate(frame, lazy=True)
        clean = True
    except pa.errors.SchemaErrors:
        clean = False
    assert base._meets(deliveries.ShotLine, frame) == clean
    assert (base.failures(deliveries.ShotLine, frame) == []) == clean


def test_failures_name_row_value_and_rule():
    frame = pl.DataFrame(
        {"season": ["a", "b/c"], "from": [date(2026, 1, 1), None], "to": [date(2026, 1, 1)] * 2}
    )
    for ordered in (frame, frame.select("to", "from", "season")):  # the order of columns is nobody's business
        found = [
            (f.reason, f.column, f.index, f.value) for f in base.failures(deliveries.SeasonLine, ordered)
        ]
        assert sorted(found) == [("bad_name", "season", 1, "b/c"), ("empty_value", "from", 1, None)]
        assert base._meets(deliveries.SeasonLine, ordered.head(1))


def test_a_missing_and_an_unknown_column_are_named():
    frame = pl.DataFrame({"season": ["a"], "from": [date(2026, 1, 1)], "until": [date(2026, 2, 1)]})
    found = {(f.reason, f.column, f.index) for f in base.failures(deliveries.SeasonLine, frame)}
    assert found == {("missing_column", "to", None), ("unknown_column", "until", None)}


@pytest.mark.parametrize(
    ("contract", "column", "low", "high"),
    [
        (deliveries.PlateSample, "swing_no", 0, 1_000_000), (deliveries.PlateSample, "t_s", -1e11, 1e11),
        (deliveries.PlateSample, "cop_x_mm", -1e7, 1e7), (deliveries.PlateSample, "lead_across_mm", -1e7, 1e7),
        (deliveries.PlateSample, "lead_n", -20.0, 6000.0), (deliveries.PlateSample, "trail_heel_n", -20.0, 6000.0),
        (deliveries.EventLine, "swing_no", 0, None), (deliveries.EventLine, "t_s", -1e11, 1e11),
        (deliveries.ClipLine, "swing_no", 0, None), (deliveries.ClipLine, "frame", 0, 10_000_000),
        (deliveries.ClipLine, "x_px", -1e6, 1e6), (deliveries.ClipLine, "y_px", -1e6, 1e6),
        (deliveries.ClipLine, "score", 0.0, 1.0), (deliveries.NoteLine, "swing_no", 0, None),
        (deliveries.NoteLine, "grade", 0, 3), (deliveries.NoteLine, "value", -1e6, 1e6),
        (deliveries.NoteLine, "value_to", -1e6, 1e6), (deliveries.ShotLine, "swing_no", 0, None),
        (deliveries.ShotLine, "carry_m", 0.0, 400.0), (deliveries.ShotLine, "side_m", -200.0, 200.0),
        (deliveries.ShotLine, "club_speed_m_s", 0.0, 90.0), (deliveries.ShotLine, "ball_speed_m_s", 0.0, 130.0),
        (deliveries.PersonLine, "foot_length_mm", 120.0, 400.0), (deliveries.DrillLine, "min_age", 0, 120),
    ],
)  # fmt: skip
def test_a_value_is_taken_from_the_lowest_to_the_highest_and_not_beyond(contract, column, low, high):
    for value, beyond in ((low, -1), (high, 1)):
        if value is not None:
            assert is_taken(contract, column, value)
            step = beyond if isinstance(value, int) else beyond * max(abs(value), 1.0) * 1e-9
            assert not is_taken(contract, column, value + step)


def is_taken(contract, column, value):
    frame = pl.DataFrame({column: [value]}, schema={column: base.dtypes_of(contract)[column]})
    return all(f.column != column for f in base.failures(contract, frame))


FILLED = {
    deliveries.PlateSample: "swing_no t_s lead_n trail_n", deliveries.EventLine: "swing_no event t_s",
    deliveries.ClipLine: "swing_no frame point", deliveries.NoteLine: "at author kind",
    deliveries.ShotLine: "swing_no", deliveries.PersonLine: "person role display_name joined",
    deliveries.CoachingLine: "student coach from", deliveries.DrillLine: "drill name",
    deliveries.SeasonLine: "season from to", deliveries.ConsentLine: "student given_by purpose from",
    deliveries.DeviceCheckLine: "at device known_kg reading_kg",
}  # fmt: skip
MAY_BE_LEFT_OUT = {
    deliveries.PlateSample: "lead_across_mm trail_across_mm lead_heel_n trail_heel_n cop_x_mm cop_y_mm",
    deliveries.EventLine: "clock lead_heel trail_heel", deliveries.ClipLine: "score",
    deliveries.NoteLine: "session student swing_no code grade value value_to unit pace place text shared drawn_against held "
    "lost announced stood_by drill overruled_by kindred due",
    deliveries.ShotLine: "session club_speed_m_s ball_speed_m_s",
    deliveries.PersonLine: "born handed foot_length_mm level guardian_of left", deliveries.CoachingLine: "to",
    deliveries.DrillLine: "min_age", deliveries.SeasonLine: "", deliveries.ConsentLine: "to",
    deliveries.DeviceCheckLine: "recalibrated side",
}  # fmt: skip


@pytest.mark.parametrize("contract", CONTRACTS, ids=lambda c: c.__name__)
def test_a_line_may_lack_what_its_file_need_not_say_and_nothing_else(contract):
    names = set(base.columns_of(contract))
    assert {name for name in names if not is_taken(contract, name, None)} == set(FILLED[contract].split())
    assert names - set(base.required_of(contract)) == set(MAY_BE_LEFT_OUT[contract].split())


@pytest.mark.parametrize("contract", CONTRACTS, ids=lambda c: c.__name__)
def test_a_code_is_a_name_of_up_to_80_characters(contract):
    codes = {"person", "student", "coach", "author", "session", "drill", "season"} & set(
        base.columns_of(contract)
    )
    if contract is deliveries.NoteLine:
        codes.remove("drill")  # as the coach wrote it: an unknown one is refused by the reader
    for name in codes:
        assert is_taken(contract, name, "a" * 80)
        assert not is_taken(contract, name, "a" * 81)
        assert not is_taken(contract, name, "a/b")


@pytest.mark.parametrize(
    ("contract", "column", "words"),
    [
        (deliveries.EventLine, "event", EVENTS), (deliveries.EventLine, "clock", CLOCKS),
        (deliveries.EventLine, "lead_heel", HEELS), (deliveries.EventLine, "trail_heel", HEELS),
        (deliveries.ClipLine, "point", POINTS), (deliveries.NoteLine, "kind", NOTE_KINDS),
        (deliveries.NoteLine, "pace", PACES), (deliveries.NoteLine, "place", PLACES),
        (deliveries.PersonLine, "role", ROLES), (deliveries.PersonLine, "handed", HANDS),
        (deliveries.ConsentLine, "purpose", PURPOSES),
        (rows.contract_of("academy.swing"), "club_family", CLUB_FAMILIES),
        (rows.contract_of("academy.swing"), "part", PARTS), (rows.contract_of("academy.swing"), "pace", PACES),
        (rows.contract_of("academy.swing"), "kind", SWING_KINDS),
        (rows.contract_of("academy.swing"), "heel_source", ("measured", "estimated", "none")),
        (rows.contract_of("academy.swing"), "clip_offset_source", OFFSET_SOURCES),
        (rows.contract_of("academy.session"), "clip_view", VIEWS),
        (rows.contract_of("academy.swing_event"), "event", EVENTS),
        (rows.contract_of("academy.swing_event"), "source", ("marked", "clip", "estimated")),
        (rows.contract_of("academy.swing_event"), "clock", CLOCKS),
        (rows.contract_of("academy.clip_point"), "point", POINTS),
        (rows.contract_of("academy.heel_seen"), "foot", FEET),
        (rows.contract_of("academy.heel_seen"), "source", HEEL_TOLD_BY),
        (rows.contract_of("academy.outline_rise"), "foot", FEET),
        (rows.contract_of("academy.outline_rise"), "refused", OUTLINE_REFUSALS),
        (rows.contract_of("academy.hold"), "eyes", EYES), (rows.contract_of("academy.note"), "kind", NOTE_KINDS),
        (rows.contract_of("academy.note"), "pace", PACES), (rows.contract_of("academy.note"), "place", PLACES),
        (rows.contract_of("academy.drill_dose"), "kind", ("drill", "practice")),
        (rows.contract_of("academy.drill_dose"), "place", PLACES),
        (rows.contract_of("academy.drill_dose"), "unit", DOSE_UNITS),
        (rows.contract_of("academy.steadiness"), "direction", DIRECTIONS),
        (rows.contract_of("academy.steadiness"), "eyes", EYES),
    ],
)  # fmt: skip
def test_each_word_of_a_list_is_taken_and_no_other(contract, column, words):
    assert [word for word in words if not is_taken(contract, column, word)] == []
    assert not is_taken(contract, column, "other")


@pytest.mark.parametrize(
    ("table", "column", "low", "high"),
    [
        ("session", "body_mass_kg", 15.0, 250.0), ("session", "shoe_length_mm", 120.0, 450.0),
        ("session", "shoe_width_mm", 50.0, 160.0), ("session", "clip_mm_per_px", 0.05, 20.0),
        ("session", "clip_fps", 1.0, 2000.0), ("swing", "swing_no", 0, None), ("swing", "n_samples", 0, None),
        ("swing", "rate_hz", 49.9, 2001.0), ("swing", "sure", 0.0, 1.0), ("swing", "clip_strike_se_s", 0.0, None),
        ("swing", "clip_captured_fps", 1.0, 2000.0),
        ("swing_event", "expected_error_s", 0.0, None), ("clip_point", "frame", 0, None),
        ("clip_point", "score", 0.0, 1.0), ("heel_seen", "rise_se_mm", 0.0, None), ("hold", "seconds", 0.0, None),
        ("hold", "rate_hz", 49.9, 2001.0), ("note", "grade", 0, 3), ("shot", "carry_m", 0.0, 400.0),
        ("shot", "side_m", -200.0, 200.0), ("shot", "club_speed_m_s", 0.0, None), ("shot", "ball_speed_m_s", 0.0, None),
    ],
)  # fmt: skip
def test_a_row_has_no_value_beyond_the_lowest_and_the_highest(table, column, low, high):
    test_a_value_is_taken_from_the_lowest_to_the_highest_and_not_beyond(
        rows.contract_of(f"academy.{table}"), column, low, high
    )


@pytest.mark.parametrize(("table", "column"), [("drill_dose", "dose"), ("swing", "clip_shoe_width_px")])
def test_a_dose_and_a_width_are_above_zero(table, column):
    contract = rows.contract_of(f"academy.{table}")
    assert is_taken(contract, column, 1e-9)
    assert not is_taken(contract, column, 0.0)


@pytest.mark.parametrize(
    ("table", "names"),
    [
        ("session", "session student"), ("swing", "session"), ("swing_event", "session"), ("clip_point", "session"),
        ("heel_seen", "session"), ("hold", "session from_s to_s t0_s rate_hz"), ("shot", "session"),
        ("note", "student author"), ("drill_dose", "student place unit"), ("steadiness", "student author"),
    ],
)  # fmt: skip
def test_a_row_always_says_whose_it_is_and_names_are_codes(table, names):
    contract = rows.contract_of(f"academy.{table}")
    for name in names.split():
        assert not is_taken(contract, name, None)
        if name in ("session", "student", "coach", "author"):
            assert is_taken(contract, name, "a" * 80)
            assert not is_taken(contract, name, "a/b")


def test_a_unit_is_what_opens_the_description_and_numbers_and_texts_have_none():
    units_of = {
        name: base.unit_of(deliveries.ShotLine, name)
        for name in ("carry_m", "ball_speed_m_s", "swing_no", "session")
    }
    assert units_of == {"carry_m": "m", "ball_speed_m_s": "m/s", "swing_no": "", "session": ""}
    assert base.unit_of(deliveries.PersonLine, "born") == ""


class Described(base.Contract):
    """One row per rule that a column may have."""

    between: pl.Float64 = Field(ge=-20, le=6000, description="N; a load")
    least: pl.Float64 = Field(ge=0, description="–; a count")
    most: pl.Float64 = Field(le=90, description="m/s; a speed")
    listed: pl.String = Field(isin=HANDS, description="text; a hand")
    named: pl.String = Field(str_matches=base.NAME_PATTERN, description="text; a code")


@pytest.mark.parametrize(
    ("column", "words"),
    [
        ("between", "must be -20 to 6000 N"), ("least", "must be at least 0"), ("most", "must be at most 90 m/s"),
        ("listed", "must be one of right, left"), ("named", f"must be {base.NAME_RULE}"),
    ],
)  # fmt: skip
def test_a_columns_rule_is_said_in_words(column, words):
    assert base.rule_words(Described, column) == words


def test_rows_that_break_their_contract_are_never_appended():
    with pytest.raises(
        UnderfootError, match=r"academy\.shot break their contract: carry_m must be 0 to 400, found 999"
    ):
        base.require(
            rows.contract_of("academy.shot"),
            pl.DataFrame(
                {
                    "session": ["a"],
                    "swing_no": [1],
                    "carry_m": [999.0],
                    "side_m": [0.0],
                    "delivery": ["d"],
                    "loose": [True],
                }
            ),
        )


# Factors exact by definition: 1 lb = 0.45359237 kg, 1 in = 25.4 mm (international yard and pound, 1959),
# standard gravity 9.80665 m/s2 (CGPM 1901).
@pytest.mark.parametrize(
    ("got", "exact"),
    [
        (units.load_factor("lbf"), 0.45359237 * 9.80665),
        (units.load_factor("kgf"), 9.80665),
        (units.load_factor("kN"), 1000.0),
        (units.load_factor(None), 1.0),
        (units.load_factor("% of body weight", body_mass_kg=80), 80 * 9.80665 / 100),
        (units.length_factor("in"), 25.4),
        (units.length_factor("cm"), 10.0),
        (units.along_factor("%"), 1.0),
        (units.along_factor("in", foot_length_mm=254), 10.0),
        (units.along_factor("mm", foot_length_mm=250), 0.4),
        (units.time_factor("ms"), 0.001),
        (units.time_factor("frame", rate_hz=200), 0.005),
    ],
)
def test_unit_factors_are_those_of_the_definitions(got, exact):
    assert got == pytest.approx(exact, rel=1e-12)


@pytest.mark.parametrize(
    "call",
    [
        lambda: units.load_factor("kg"),
        lambda: units.load_factor("stone"),
        lambda: units.load_factor("N**9**9"),
        lambda: units.length_factor('"'),
        lambda: units.time_factor("mm"),
        lambda: units.along_factor("cm"),
        lambda: units.load_factor("% of body weight"),
        lambda: units.time_factor("frames"),
    ],
)
def test_a_unit_that_does_not_fit_is_one_sentence(call):
    with pytest.raises(UnderfootError) as caught:
        call()
    assert "\n" not in str(caught.value)
    assert "academy.toml" in str(caught.value) or "again" in str(caught.value)


def test_kinds_of_notes_and_codes_of_faults_are_unique():
    faults = [fault.code for fault in usual_faults()]
    assert len(set(faults)) == len(faults)
    assert len(set(NOTE_KINDS)) == len(NOTE_KINDS)
