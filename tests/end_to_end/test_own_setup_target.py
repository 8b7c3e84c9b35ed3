"""Rocking stands as a coach delivers them: a steady place becomes the student's own set-up target."""

import polars as pl
import pytest

import builders
import made_swings as made
from ingest.load import load
from models.build import build
from odd_rocking import rocking_person
from warehouse.store import writer

METRICS = ("address_lead_along_pct", "address_trail_along_pct")


def stands_frame(person, first_no=91):
    frames = []
    for no, stand in enumerate(person.stands, start=first_no):
        frames.append(
            pl.DataFrame({
                "swing_no": no, "t_s": stand.t_s, "lead_n": stand.lead_n, "trail_n": stand.trail_n,
                "lead_along_pct": stand.lead_along_pct, "trail_along_pct": stand.trail_along_pct,
            }).fill_nan(None)
        )  # fmt: skip
    return pl.concat(frames)


def deliver(folder, session, person, *, started_at, more=""):
    """One session of two swings and a person's rocking stands."""
    numbers = range(91, 91 + len(person.stands))
    holds = "".join(f'\n[[hold]]\nno = {no}\neyes = "open"\nrocking = true\n' for no in numbers)
    swings = pl.concat([made.swing_frame(1, seed=1), made.swing_frame(2, seed=2)])
    sheet = made.session_toml(session, swings=2, started_at=started_at) + holds + more
    names = ["swing_no", "t_s", "lead_n", "trail_n", "lead_along_pct", "trail_along_pct"]
    frames = [frame.select(pl.col("swing_no").cast(pl.Int64), pl.col(names[1:]).cast(pl.Float64))
              for frame in (swings, stands_frame(person))]  # fmt: skip
    made.write_session(folder / session, sheet, pl.concat(frames))


@pytest.fixture(scope="module")
def loaded(tmp_path_factory):
    base = tmp_path_factory.mktemp("rocking")
    home = builders.make_home(base / "academy")
    drop = made.write_roster(base / "drop")
    person = rocking_person("on_the_heels", seed=3)
    deliver(drop, "v1", person, started_at="2026-04-07T10:00:00Z")
    deliver(drop, "v2", rocking_person("never_settles", seed=3), started_at="2026-04-14T10:00:00Z")
    target = (
        "student,at,author,kind,code,value,value_to\ns1,2026-05-05,c1,target,address_lead_along_pct,40,52\n"
    )
    with writer(home) as w:
        report = load(home, w, [drop])
        build(home, w)
        early = {name: w.sql(f"SELECT * FROM academy.{name}") for name in ("hold", "setup_target", "band")}
        (drop / "notes.csv").write_text(target)
        load(home, w, [drop])
        deliver(drop, "v3", person, started_at="2026-05-06T10:00:00Z")
        load(home, w, [drop])
        build(home, w)
        late = w.sql("SELECT * FROM academy.band WHERE student = 's1'")
    return person, report, early, late


def test_steady_stands_become_the_students_own_band_instead_of_the_academys(loaded):
    person, report, early, _ = loaded
    assert [r for r in report.refused if r.swing_no and r.swing_no > 90] == []
    found = {row["metric"]: row for row in early["setup_target"].to_dicts()}
    assert set(found) > set(METRICS)
    lead = found["address_lead_along_pct"]
    assert abs(lead["median_pct"] - person.lead_along_pct) < 1.5
    assert str(lead["from"]) == "2026-04-07"
    own = early["band"].filter(student="s1", metric="address_lead_along_pct")
    assert sorted(own["club_family"]) == ["driver", "hybrid", "iron", "wedge", "wood"]
    assert (own["lo"][0], own["hi"][0]) == (lead["band_lo"], lead["band_hi"])
    general = early["band"].filter(
        pl.col("student").is_null(), metric="address_lead_along_pct", club_family="iron"
    )
    # A student built for the heels is no longer measured by everyone's band.
    assert not general["lo"][0] <= person.lead_along_pct <= general["hi"][0]
    assert own["lo"][0] <= person.lead_along_pct <= own["hi"][0]


def test_a_stand_that_never_settles_is_kept_without_a_place(loaded):
    holds = loaded[2]["hold"].filter(session="v2")
    assert holds["rocking"].all()
    assert holds["steady_s"].null_count() == len(holds) > 0
    assert loaded[2]["hold"].filter(session="v1")["path_mm"].null_count() == 6  # rocking is no sway


def test_a_band_agreed_with_the_coach_goes_before_what_later_stands_say(loaded):
    bands = loaded[3].filter(metric="address_lead_along_pct", club_family="iron").sort("from")
    assert bands.select(pl.col("from").cast(pl.String), "version").rows()[-1][0] == "2026-05-05"
    assert (bands["lo"][-1], bands["hi"][-1]) == (40.0, 52.0)
    trail = loaded[3].filter(metric="address_trail_along_pct", club_family="iron").sort("from")
    assert str(trail["from"][-1]) == "2026-05-06"
