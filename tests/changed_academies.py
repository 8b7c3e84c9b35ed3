"""A full academy of one's own with a few rows changed."""

from datetime import UTC, datetime, timedelta

import polars as pl

from models.season.aim import aim_rows
from warehouse.store import writer

NOTES_ONLY = (
    "UPDATE academy.session SET has_plate = false, has_clip = false, device = NULL WHERE student = 's01'",
    "DELETE FROM academy.swing WHERE session LIKE '%-s01'",
    "DELETE FROM season.session_metric WHERE student = 's01'",
    "DELETE FROM season.student_fault_rate WHERE student = 's01'",
)
"""All that s01 has left are notes."""
SORE = (
    'INSERT INTO academy.note (note, student, "at", day, author, kind, code, shared, delivery, loose) '
    "VALUES ('d', 's01', '2026-03-02', '2026-03-02', 'c01', 'discomfort', 'left_knee', false, 'x', true)"
)


ASKED = datetime.now(UTC).date() - timedelta(days=30)  # an answer about falls holds for a year


def falls(student, *, fell=False, day=ASKED, shared=False):
    """What a student answered when asked about falls in the past year."""
    return (
        'INSERT INTO academy.note (note, student, "at", day, author, kind, grade, shared, delivery, loose) '
        f"VALUES ('falls-{student}-{day}', '{student}', '{day} 10:00', '{day}', 'c01', 'falls', {int(fell)}, {shared}, "
        "'x', true)"
    )


def changed(homes, kind, *statements, notes=()):
    """Run statements on a home of its own kind, add notes, and publish it."""
    with writer(homes(kind)) as w:
        for statement in statements:
            w.execute(statement)
        if notes:
            w.append("academy.note", pl.DataFrame(notes))
        aims(w)
        w.publish()


def aims(w):
    """What comes first, made anew from what the warehouse holds now."""
    w.execute("DELETE FROM season.aim")
    w.append("season.aim", aim_rows(w))
