"""The pages' own arithmetic in SQL, against published tables and formulas."""

import math

import pytest

from dashboard.queries import season, sessions
from warehouse.store import writer


def test_the_table_of_students_t_is_the_published_one():
    scipy_stats = pytest.importorskip("scipy.stats")  # SciPy's t quantiles, 95th percentile
    assert pytest.approx([scipy_stats.t.ppf(0.95, df) for df in range(1, 21)], abs=5e-4) == season.T_95


def test_without_fitted_parts_a_session_bar_is_students_t_of_its_own_swings(reader_of, homes):
    with writer(homes("unfitted")) as w:
        w.execute("DELETE FROM season.reliability")
        w.publish()
    row = season.session_means(
        reader_of("unfitted", "h01"), "mid_back_trail_share_pct", "iron", "2026", ["s01"]
    ).row(0, named=True)
    half = 2.132 * 2.0 / math.sqrt(5)  # t of 4 degrees, sd 2, 5 swings
    assert row["lo"] == pytest.approx(row["mean"] - half)
    assert row["hi"] == pytest.approx(row["mean"] + half)


def test_with_fitted_parts_a_session_bar_is_its_typical_error(reader_of, homes):
    with writer(homes("fitted")) as w:
        w.execute("DELETE FROM season.reliability")
        w.execute(
            "INSERT INTO season.reliability VALUES "
            "('2026', 'mid_back_trail_share_pct', 'iron', 4.0, 1.5, 3.0, 0.8, NULL, NULL, 8, 3, 12, 0.8, NULL)"
        )
        w.publish()
    row = season.session_means(
        reader_of("fitted", "h01"), "mid_back_trail_share_pct", "iron", "2026", ["s01"]
    ).row(0, named=True)
    assert row["hi"] - row["mean"] == pytest.approx(1.645 * math.sqrt(1.5**2 + 3.0**2 / 5))


def test_a_session_rate_carries_wilsons_interval(reader_of):
    """Against statsmodels' proportion_confint(2, 5, alpha=0.1, method='wilson')."""
    proportion = pytest.importorskip("statsmodels.stats.proportion")
    low, high = proportion.proportion_confint(2, 5, alpha=0.1, method="wilson")
    row = season.session_rates(reader_of("full", "h01"), "trail_heel_down", "iron", "2026", ["s01"]).row(
        0, named=True
    )
    assert (row["mean"], row["lo"], row["hi"]) == pytest.approx((40.0, 100 * low, 100 * high), abs=0.02)


@pytest.mark.parametrize(
    ("more", "expected"),
    [
        ("", (65.0, 75.0)),
        ("('mid_back_trail_share_pct', 'iron', 'club', NULL, NULL, 60, 70, '2', NULL)", (60.0, 70.0)),
        ("('mid_back_trail_share_pct', 'iron', NULL, NULL, 's01', 62, 68, '2', '2026-01-01')", (62.0, 68.0)),
        ("('mid_back_trail_share_pct', 'iron', NULL, NULL, 's02', 1, 2, '2', NULL)", (65.0, 75.0)),
        ("('mid_back_trail_share_pct', 'iron', NULL, NULL, 's01', 1, 2, '2', '2999-01-01')", (65.0, 75.0)),
        ("('mid_back_trail_share_pct', 'wedge', NULL, NULL, 's01', 1, 2, '2', NULL)", (65.0, 75.0)),
    ],
)
def test_the_nearest_band_holds_a_students_own_before_the_levels_before_all(reader_of, homes, more, expected):
    kind = f"band-{abs(hash(more))}"
    if more:
        with writer(homes(kind)) as w:
            w.execute(f"INSERT INTO academy.band VALUES {more}")
            w.publish()
    person = {"student": "s01", "level": "club"}
    assert season.bands(reader_of(kind, "h01"), "iron", person)["mid_back_trail_share_pct"] == expected


def test_a_stays_forward_band_holds_without_a_style_yet_and_not_for_another_style(reader_of, homes):
    with writer(homes("style")) as w:
        w.execute(
            "INSERT INTO academy.band VALUES ('impact_lead_share_pct', 'iron', NULL, 'stays_forward', NULL, 70, 85, '1', NULL)"
        )
        w.publish()
    reader = reader_of("style", "h01")
    for style, there in ((None, True), ("stays_forward", True), ("falls_back", False)):
        assert ("impact_lead_share_pct" in season.bands(reader, "iron", None, style)) is there


def test_a_change_of_device_is_marked_on_its_first_day(reader_of, homes):
    with writer(homes("device")) as w:
        w.execute("UPDATE academy.session SET device = 'plates-west' WHERE day >= '2026-02-20'")
        w.publish()
    changes = sessions.device_changes(reader_of("device", "h01"), "s01", "2026")
    assert [(str(day), device) for day, device in changes.iter_rows()] == [("2026-02-23", "plates-west")]


def test_no_mark_stands_where_the_device_stays_the_same(reader_of):
    assert sessions.device_changes(reader_of("full", "h01"), "s01", "2026").is_empty()
