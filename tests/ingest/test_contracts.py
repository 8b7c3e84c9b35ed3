"""Contracts: each opens with its grain, names units, and its one query says what Pandera says."""

import inspect
from datetime import date

import pandera.polars as pa
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from warehouse import units
from warehouse.contracts import base, deliveries, rows
from warehouse.definitions import usual_faults
from warehouse.errors import UnderfootError
from warehouse.store import writer
from warehouse.tables import columns, table_names
from warehouse.vocabulary import NOTE_KINDS

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


@pytest.mark.parametrize(
    ("contract", "column", "low", "high"),
    [
        (deliveries.PlateSample, "swing_no", 0, 1_000_000), (deliveries.PlateSample, "t_s", -1e11, 1e11),
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
    def is_taken(value):
        frame = pl.DataFrame({column: [value]}, schema={column: base.dtypes_of(contract)[column]})
        return all(f.column != column for f in base.failures(contract, frame))

    for value, beyond in ((low, -1), (high, 1)):
        if value is not None:
            assert is_taken(value)
            step = beyond if isinstance(value, int) else beyond * max(abs(value), 1.0) * 1e-9
            assert not is_taken(value + step)


def test_a_unit_is_what_opens_the_description_and_numbers_and_texts_have_none():
    units_of = {
        name: base.unit_of(deliveries.ShotLine, name)
        for name in ("carry_m", "ball_speed_m_s", "swing_no", "session")
    }
    assert units_of == {"carry_m": "m", "ball_speed_m_s": "m/s", "swing_no": "", "session": ""}


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
