"""What the week's list is made from, read once: the newest season's answers, open discomfort, the roster."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

import polars as pl

from models.season.cells import BASELINE
from models.season.eye_plate import eye_plate_looks
from models.season.judgement import Bands
from models.season.ledger import claims
from models.sql import query
from warehouse.body import open_discomfort
from warehouse.store import Writer

MAIN, BESIDE, AGAINST = "main", "beside", "against"
RECENT_DAYS = 28
ENROLLED = 'role = \'student\' AND ("left" IS NULL OR "left" > ?) AND (joined IS NULL OR joined <= ?)'
Row = dict[str, Any]


@dataclass(frozen=True)
class Signal:
    """A row of season.signal, and those of season.signal_evidence behind it; week and rank come last."""

    row: Row
    evidence: list[Row]


@dataclass(frozen=True)
class Sources:
    """What the list is made from; every frame is the newest season's.

    trend, rates: season.student_trend and season.student_fault_rate; claims: `ledger.claims`; values:
    baseline rows of band metrics (season, student, metric, club_family, day, session, mean); looks:
    `eye_plate.looked_at` rows; discomfort: open notes (student, code, day); enrolled: student, joined;
    last_day: student → newest measured day, for everyone; refused: refusals, oldest first; coach: student →
    who coaches now.
    """

    as_of: date
    trend: pl.DataFrame
    rates: pl.DataFrame
    claims: pl.DataFrame
    values: pl.DataFrame
    looks: pl.DataFrame
    discomfort: pl.DataFrame
    enrolled: pl.DataFrame
    last_day: Mapping[str, date]
    refused: pl.DataFrame
    coach: Mapping[str, str]
    bands: Bands

    @property
    def recent(self) -> list[str]:
        """Students on the roster who were measured in the last 28 days."""
        since = self.as_of - timedelta(days=RECENT_DAYS)
        return [s for s in self.enrolled["student"] if self.last_day.get(s, date.min) > since]

    def signal(
        self, kind: str, student: str | None, subject: str, evidence: list[Row], **more: Any
    ) -> Signal:
        """A signal whose kindred subjects are those beside its own in the evidence, each once."""
        beside = dict.fromkeys(row["subject"] for row in evidence if row["role"] == BESIDE)
        row = {
            "signal": f"{kind}:{student or ''}:{subject}", "kind": kind, "student": student,
            "coach": self.coach.get(student) if student else None, "subject": subject,
            "kindred": [other for other in beside if other != subject],
        }  # fmt: skip
        return Signal(row | more, evidence)


def read_sources(writer: Writer, as_of: date) -> Sources:
    """Everything the list needs as of a day."""
    seasons = writer.sql(
        'SELECT season FROM academy.season WHERE "from" <= ? ORDER BY "from" DESC LIMIT 1', [as_of]
    )
    season = [seasons.item() if len(seasons) else ""]
    looks = eye_plate_looks(writer)
    return Sources(
        as_of=as_of,
        trend=writer.sql("SELECT * FROM season.student_trend WHERE season = ?", season),
        rates=writer.sql("SELECT * FROM season.student_fault_rate WHERE season = ?", season),
        claims=claims(
            *(
                writer.sql(f"SELECT * FROM season.{table} WHERE season = ?", season)
                for table in ("change_chance", "new_fault_chance")
            )
        ),
        values=writer.sql(
            "SELECT season, student, metric, club_family, day, session, mean FROM season.session_metric "
            f"WHERE {BASELINE} AND season = ? "
            "AND metric IN (SELECT metric FROM academy.metric WHERE core AND better = 'band')",
            season,
        ),
        looks=looks.filter(pl.col("season") == season[0]),
        discomfort=_open_discomfort(writer),
        enrolled=writer.sql(
            f"SELECT person AS student, joined FROM academy.person WHERE {ENROLLED} AND person NOT IN "
            "(SELECT student FROM academy.withheld WHERE purpose = 'measure') ORDER BY 1",
            [as_of, as_of],
        ),
        last_day=dict(
            writer.sql(
                "SELECT student, max(day) FROM academy.session WHERE has_plate OR has_clip GROUP BY 1"
            ).iter_rows()
        ),
        refused=writer.sql(query("open_refusal"), [as_of]),
        coach=dict(writer.sql(query("current_coach"), [as_of]).iter_rows()),
        bands=Bands.read(writer),
    )


def _open_discomfort(writer: Writer) -> pl.DataFrame:
    """student, code, day: sore places that nobody has closed, and the last day each was noted."""
    kinds = "('discomfort', 'discomfort_over')"
    notes = writer.sql(f'SELECT student, "at", day, kind, code FROM academy.note WHERE kind IN {kinds}')
    return (
        open_discomfort(notes)
        .group_by("student", pl.col("code").fill_null("unnamed_place"))
        .agg(pl.col("day").max())
    )
