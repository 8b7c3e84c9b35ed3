"""A plate file of one swing needs no swing_no: session.toml says which swing it is."""

import pytest


def named(files):
    return "".join(f'\n[[swing]]\nno = {no}\nfile = "{file}"\n' for no, file in files.items())


def one(made, no):
    return made.plate([no]).drop("swing_no")


def test_one_file_of_one_swing_needs_no_swing_no(academy, made):
    made.deliver(academy.inbox / "v1", made.toml(swings=[4]), one(made, 4))
    assert academy.load().refused == []
    assert academy.trace("v1").swing_no.tolist() == [4]


@pytest.mark.parametrize("ending", ["csv", "parquet"])
def test_three_files_of_one_swing_each_load_as_three_swings(academy, made, ending):
    files = {no: f"rep-{no}.{ending}" for no in (1, 2, 3)}
    folder = made.deliver(academy.inbox / "v1", made.toml(swings=[]) + named(files))
    for no, file in files.items():
        frame = one(made, no)
        frame.write_csv(folder / file) if ending == "csv" else frame.write_parquet(folder / file)
    made.deliver(academy.inbox / "v2", made.toml("v2", swings=3), made.plate(3))
    assert academy.load().refused == []
    split, whole = academy.trace("v1"), academy.trace("v2")
    assert split.swing_no.tolist() == [1, 2, 3]
    assert split.columns["lead_n"].tolist() == whole.columns["lead_n"].tolist()


def test_a_file_of_several_swings_still_needs_swing_no(academy, made):
    made.deliver(academy.inbox / "v1", made.toml(swings=2), one(made, 1))
    (refused,) = academy.load().refused
    assert refused.reason == "missing_column"
    assert "swing_no" in refused.sentence


def test_a_named_plate_file_needs_consent_like_any(academy, made):
    sheet = made.toml(swings=[], started_at="2025-05-05T10:00:00+01:00") + named({1: "rep-1.csv"})
    folder = made.deliver(academy.inbox / "v1", sheet)
    one(made, 1).write_csv(folder / "rep-1.csv")
    (refused,) = academy.load().refused
    assert refused.reason == "no_consent"


def test_a_named_file_that_is_not_there_refuses_its_swing(academy, made):
    sheet = made.toml(swings=[]) + named({1: "rep-1.csv", 2: "rep-2.csv"})
    folder = made.deliver(academy.inbox / "v1", sheet)
    one(made, 1).write_csv(folder / "rep-1.csv")
    report = academy.load()
    assert [(r.swing_no, "rep-2.csv" in r.sentence) for r in report.refused] == [(2, True)]
    assert academy.trace("v1").swing_no.tolist() == [1]
