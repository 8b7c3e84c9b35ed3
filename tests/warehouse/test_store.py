"""The writer, publishing, and snapshots."""

import re

import duckdb
import polars as pl
import pytest

import builders
from warehouse.errors import CallError, UnderfootError
from warehouse.publishing import current_name
from warehouse.store import open_snapshot, publish_new_columns, writer
from warehouse.tables import SCHEMA_FOLDER, table_names


@pytest.mark.parametrize("name", table_names())
def test_every_table_file_opens_with_its_grain(name):
    first = (SCHEMA_FOLDER / f"{name}.sql").read_text(encoding="utf-8").splitlines()[0]
    assert first.startswith("-- One row per ")
    assert first.endswith(".") or "." in first


def test_every_table_of_the_contract_stands_in_a_new_warehouse(home):
    with writer(home) as w:
        assert sorted(w.columns) == table_names()
        assert {"session", "swing_no", "event", "t_s", "source", "expected_error_s"} <= set(
            w.columns["academy.swing_event"]
        )
        assert {"session", "student", "coach", "started_at", "season", "device", "delivery"} <= set(
            w.columns["academy.session"]
        )


def test_a_home_made_before_gains_the_columns_and_tables_that_came_since(home):
    with writer(home) as w:
        new = w.columns
        for column in ("swings_with", "label"):
            w.execute(f"ALTER TABLE season.fault_chain DROP COLUMN {column}")
        w.execute("ALTER TABLE academy.swing_metric DROP COLUMN impact_lead_share_pct")
        w.execute("ALTER TABLE academy.drill DROP COLUMN aim")
        w.execute("DROP TABLE season.aim")
        w.execute("INSERT INTO academy.drill (drill, name) VALUES ('d1', 'Feet together')")
        w.execute("ALTER TABLE academy.heel_seen DROP COLUMN source")  # no row of today is without
        w.execute(
            "INSERT INTO academy.heel_seen BY NAME SELECT 'v1' AS session, 1 AS swing_no, 'top' AS event, "
            "1.5 AS t_s, 'lead' AS foot, true AS up"
        )
    with writer(home) as w:
        assert {table: set(columns) for table, columns in w.columns.items()} == {
            table: set(columns) for table, columns in new.items()
        }
        assert w.sql("SELECT name, aim FROM academy.drill").rows() == [("Feet together", None)]
        assert w.sql("SELECT session, up, source FROM academy.heel_seen").rows() == [("v1", True, None)]


def test_what_was_published_before_a_column_came_is_published_again_with_it_and_else_left_alone(home):
    publish_new_columns(home)  # nothing there yet
    assert list(home.published.glob("*.duckdb")) == []
    with writer(home) as w:
        w.execute("ALTER TABLE season.aim DROP COLUMN next_aim")
        w.publish()
    for published in (2, 2):
        publish_new_columns(home)
        snapshot = open_snapshot(home)
        assert snapshot.sql("SELECT next_aim FROM season.aim").is_empty()
        snapshot.close()
        assert len(list(home.published.glob("*.duckdb"))) == published


def test_a_frame_with_an_unknown_column_is_refused_by_name(home):
    with writer(home) as w, pytest.raises(UnderfootError, match=r"academy\.drill has no column colour"):
        w.append("academy.drill", pl.DataFrame({"drill": ["d1"], "name": ["x"], "colour": ["red"]}))


def test_a_transaction_that_raises_leaves_nothing(home):
    with writer(home) as w:
        with pytest.raises(UnderfootError), w.transaction():
            _fill_then_fail(w)
        assert w.sql("SELECT count(*) AS n FROM academy.person").item() == 0
        with w.transaction():
            builders.fill(w)
        assert w.sql("SELECT count(*) AS n FROM academy.person").item() == len(builders.PEOPLE)


def test_readers_see_a_change_only_after_it_is_published_and_old_snapshots_are_pruned(home):
    with writer(home) as w:
        w.publish()
    before = open_snapshot(home)
    for _ in range(4):
        with writer(home) as w:
            w.append("academy.season", _season())
            w.publish()
    assert before.sql("SELECT count(*) AS n FROM academy.season").item() == 0
    after = open_snapshot(home)
    assert after.sql("SELECT count(*) AS n FROM academy.season").item() == 4
    assert after.name == "warehouse-000005.duckdb"
    assert len(list(home.published.glob("warehouse-*.duckdb"))) == 3


def test_a_snapshot_name_is_never_used_twice_even_when_all_files_are_gone(home):
    with writer(home) as w:
        first = w.publish()
        second = w.publish()
        first.unlink()
        third = w.publish()
    assert [p.name for p in (first, second, third)] == [f"warehouse-{n:06d}.duckdb" for n in (1, 2, 3)]


def test_a_broken_pointer_falls_back_to_the_newest_snapshot(home):
    with writer(home) as w:
        w.publish()
        w.publish()
    (home.published / "current.json").write_text("{ broken")
    assert current_name(home) == "warehouse-000002.duckdb"


def test_nothing_published_is_told_with_the_command_that_helps(home):
    with pytest.raises(CallError, match="load a delivery first"):
        open_snapshot(home)


def test_a_snapshot_can_be_read_but_not_written_nor_unlocked(home, tmp_path):
    with writer(home) as w:
        w.publish()
    snapshot = open_snapshot(home)
    for query in (
        "CREATE TABLE academy.x (a INTEGER)",
        "SET enable_external_access = true",
        f"SELECT * FROM read_text('{tmp_path}/academy/academy.toml')",
    ):
        with pytest.raises(CallError, match="The query was not accepted"):
            snapshot.sql(query)


def test_a_damaged_warehouse_file_is_told_in_one_sentence(home):
    home.warehouse_file.write_bytes(b"not a database at all" * 500)
    with pytest.raises(UnderfootError, match=re.escape(str(home.warehouse_file))) as caught, writer(home):
        pass
    assert "\n" not in str(caught.value)
    assert not isinstance(caught.value, duckdb.Error)


def _fill_then_fail(w):
    builders.fill(w)
    w.append("academy.drill", pl.DataFrame({"nonsense": [1]}))


def _season() -> pl.DataFrame:
    return pl.DataFrame({"season": ["2026"], "from": ["2026-04-01"], "to": ["2026-10-01"]}).with_columns(
        pl.col("from", "to").str.to_date()
    )
