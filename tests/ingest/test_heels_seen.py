"""A film marked by eye: key moments with each heel up or down, no tape, no plate."""

import pytest

HEAD = "swing_no,t_s,event,clock,lead_heel,trail_heel\n"
MARKED = HEAD + "1,0.40,address,clip,down,down\n1,1.25,top,clip,up,down\n1,1.55,impact,clip,down,up\n"


def toml(made, **more):
    return made.toml(**more).replace('device = "mat"\n', "")


def no_events(text):
    """session.toml with its swings but no plate events."""
    head, *swings = text.split("\n[[swing]]\n")
    return head + "".join(f"\n[[swing]]\n{swing.splitlines()[0]}\n" for swing in swings)


def deliver(academy, made, events, **more):
    folder = academy.inbox / "v1"
    made.deliver(folder, no_events(toml(made, swings=1, **more)), None)
    (folder / "events.csv").write_text(events)
    return academy.load()


def test_moments_and_heels_become_rows_without_plate_or_tape(academy, made):
    report = deliver(academy, made, MARKED)
    assert report.refused == []
    seen = academy.sql("SELECT event, t_s, foot, up FROM academy.heel_seen ORDER BY t_s, foot").rows()
    assert seen == [
        ("address", 0.4, "lead", False), ("address", 0.4, "trail", False),
        ("top", 1.25, "lead", True), ("top", 1.25, "trail", False),
        ("impact", 1.55, "lead", False), ("impact", 1.55, "trail", True),
    ]  # fmt: skip
    events = academy.sql("SELECT event, clock, source FROM academy.swing_event ORDER BY t_s").rows()
    assert events == [(event, "clip", "marked") for event in ("address", "top", "impact")]
    assert academy.sql("SELECT n_samples, usable FROM academy.swing").rows() == [(0, False)]


def test_a_corrected_marking_replaces_the_earlier_one(academy, made):
    deliver(academy, made, MARKED)
    deliver(academy, made, MARKED.replace("impact,clip,down,up", "impact,clip,down,down"))
    assert (
        academy.sql("SELECT up FROM academy.heel_seen WHERE event = 'impact' AND foot = 'trail'").item()
        is False
    )
    assert academy.sql("SELECT count(*) FROM academy.heel_seen").item() == 6


def test_a_heel_nobody_looked_at_is_no_row(academy, made):
    deliver(academy, made, HEAD + "1,0.40,address,clip,,\n1,1.25,top,clip,up,\n")
    assert academy.sql("SELECT event, foot FROM academy.heel_seen").rows() == [("top", "lead")]


@pytest.mark.parametrize(
    ("events", "reason", "said"),
    [
        (MARKED.replace("clip,up", "plate,up"), "unknown_value", "clock must be clip"),
        (MARKED.replace("up,down", "half,down"), "unknown_value", "must be one of down, up"),
        (MARKED.replace("1.55", "1.05"), "events_out_of_order", "must come after"),
        (HEAD + "1,0.40,address,clip,,\n", "no_samples", "nothing was delivered"),
    ],
)
def test_a_marking_that_cannot_be_meant_is_refused(academy, made, events, reason, said):
    report = deliver(academy, made, events)
    assert [refusal.reason for refusal in report.refused][:1] == [reason]
    assert said in report.refused[0].sentence
    assert academy.sql("SELECT count(*) FROM academy.heel_seen").item() == 0


def test_without_a_consent_to_film_nothing_of_it_loads(academy, made):
    report = deliver(academy, made, MARKED, student="s2")
    assert [refusal.reason for refusal in report.refused] == ["no_consent"]
    assert academy.sql("SELECT count(*) FROM academy.session").item() == 0
