"""What the pages say of devices that were checked with a known weight, and to whom."""

from dashboard.pages.quality import devices
from dashboard.pages.week.content import review
from dashboard.pages.week.paper import review_html

NAMED = "INSERT INTO academy.device VALUES ('mat-east', 'pressure_mat', '{}')"
CHECKED = (
    "INSERT INTO academy.device_check VALUES ('mat-east', 'whole', '2026-03-02 08:00', 20, 20, false, 0)"
)


def judged(
    device,
    side,
    verdict,
    *,
    error="NULL, NULL, NULL",
    drift="NULL, NULL, NULL",
    began="CAST(NULL AS TIMESTAMP)",
    found="NULL",
    leaves="NULL",
    jump="NULL, NULL, NULL",
):
    dates = f"{began}, {began} - INTERVAL 10 DAYS, {began} + INTERVAL 10 DAYS, {found}, {leaves}"
    return (
        f"INSERT INTO academy.device_accuracy VALUES ('{device}', '{side}', '{verdict}', 20, '2026-01-05 08:00', "
        f"'2026-05-18 08:00', {error}, NULL, NULL, {drift}, {dates}, {jump})"
    )  # fmt: skip


DRIFTS = judged(
    "plates-a", "right", "drifts", error="2.44, 2.06, 2.84", drift="0.83, 0.61, 1.02",
    began="TIMESTAMP '2026-02-16 23:30'", found="TIMESTAMP '2026-03-30 08:00'", leaves="TIMESTAMP '2026-03-24 08:00'",
)  # fmt: skip
STEADY = judged("plates-a", "left", "steady", error="0.04, -0.2, 0.3", drift="0.0, -0.1, 0.1")
LIGHT = judged(
    "mat",
    "whole",
    "off",
    error="-3.0, -3.5, -2.5",
    drift="0.0, -0.3, 0.3",
    found="TIMESTAMP '2026-02-09 08:00'",
)
SOON = judged("insoles", "whole", "too_soon")
YET = judged(
    "plates-b", "whole", "drifts", error="-0.6, -0.9, -0.3", drift="-0.2, -0.3, -0.1",
    began="TIMESTAMP '2026-02-16 08:00'", found="TIMESTAMP '2026-05-18 08:00'", leaves="TIMESTAMP '2026-07-20 08:00'",
)  # fmt: skip
ALL = (DRIFTS, STEADY, LIGHT, SOON, YET)


def said(reader):
    sentences, table = devices.accuracy(reader)
    return [one.replace("\u00a0", " ") for one in sentences.sentences], table


def test_each_device_that_is_off_or_drifts_says_how_far_since_when_and_what_that_moves(changed):
    found, table = said(changed("all", NAMED, *ALL))
    assert found == [
        ("mat now reads 3.0 % too light (−3.5 % to −2.5 %), from 20 checks since 5 January 2026; found on "
        "9 February 2026."),
        ("plates-a (right half) now reads 2.4 % too heavy (+2.1 % to +2.8 %), from 20 checks since 5 January 2026; "
        "found on 30 March 2026. It has been drifting by +0.8 % a month (+0.6 % to +1.0 %) since about "
        "17 February 2026 (7 February 2026 at the earliest, 27 February 2026 at the latest). It has been over 1 % "
        "off since about 24 March 2026."),
        ("plates-b now reads 0.6 % too light (−0.9 % to −0.3 %), from 20 checks since 5 January 2026; found on "
        "18 May 2026. It has been drifting by −0.2 % a month (−0.3 % to −0.1 %) since about 16 February 2026 "
        "(6 February 2026 at the earliest, 26 February 2026 at the latest). It is still within 1 %; if this goes on, "
        "it will pass that around 20 July 2026."),
        "The halves of plates-a read 2.4 % apart, which moves the front foot's share by up to 0.6 points.",
    ]  # fmt: skip
    rows = {(row["Device"], row["Half"]): row for row in table.table[0].to_dicts()}
    assert {key: row["Verdict"] for key, row in rows.items()} == {
        ("plates-a", "right half"): "Drifts", ("plates-a", "left half"): "Within 1 %", ("mat", "whole"): "Off by over 1 %",
        ("insoles", "whole"): "Too soon to say", ("plates-b", "whole"): "Drifts",
    }  # fmt: skip
    assert rows["insoles", "whole"]["Off by"] == "–"
    assert "Never checked with a known weight: mat-east." in table.notes


def test_a_device_that_jumped_says_by_how_much_and_when(changed):
    jumped = judged(
        "mat", "whole", "jumped", error="2.1, 1.7, 2.5", began="TIMESTAMP '2026-02-16 08:00'",
        found="TIMESTAMP '2026-03-30 08:00'", jump="1.9, 1.4, 2.4",
    )  # fmt: skip
    reader = changed("jumped", jumped)
    found, table = said(reader)
    assert found == [
        ("mat now reads 2.1 % too heavy (+1.7 % to +2.5 %), from 20 checks since 5 January 2026; found on 30 March 2026. "
        "It jumped by +1.9 % (+1.4 % to +2.4 %) just before the check of 16 February 2026 "
        "(6 February 2026 at the earliest, 26 February 2026 at the latest).")
    ]  # fmt: skip
    assert (table.table[0]["Verdict"].item(), table.table[0]["Drift a month"].item()) == ("Jumped", "–")
    assert review(reader).devices[0].endswith("calibrate it.")


def test_a_steady_device_and_one_too_soon_to_say_are_accused_of_nothing(changed):
    reader = changed("steady", NAMED, STEADY, SOON, CHECKED)
    found, table = said(reader)
    assert found == []
    assert not any("Never checked" in note for note in table.notes)
    assert review(reader).devices == ()


def test_the_week_names_what_reads_over_one_percent_off_for_the_head_coach(changed):
    reader = changed("week", *ALL)
    named = [one.replace("\u00a0", " ") for one in review(reader).devices]
    owner = reader.sql("SELECT display_name FROM person WHERE role = 'head_coach'").item()
    assert named == [
        f"{owner}: mat reads 3.0 % too light; calibrate it.",
        f"{owner}: plates-a (right half) reads 2.4 % too heavy; calibrate it.",
    ]
    lines = review(reader).lines()
    assert lines[lines.index("Data to fix") + 1] == f"  {review(reader).devices[0]}"
    assert review(reader).devices[1] in review_html(reader, review(reader))


def test_pages_of_the_head_coach_say_it_and_a_coach_reads_it_without_the_page(changed, visit, page_text):
    changed("pages", *ALL)
    text = page_text(visit("test_devices_pages", "quality", "h01"))
    assert "plates-a (right half) now reads" in text
    assert "No result is corrected by these figures." in text
    for person in ("h01", "c01"):
        assert "calibrate it." in page_text(visit("test_devices_pages", "week", person))


def test_an_academy_that_has_checked_nothing_is_told_how_to_begin(visit, page_text):
    assert "No device has been checked with a known weight yet." in page_text(visit("full", "quality", "h01"))
    assert "calibrate it" not in page_text(visit("full", "week", "h01"))
