"""What the week's list is made from, read once: the newest season's answers, open discomfort, the roster."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta
from functools import cached_property
from typing import Any

import polars as pl

from models.season.cells import BASELINE
from models.season.eye_plate import eye_plate_looks
from models.season.judgement import Bands
from models.season.ledger import claims
from models.sql import query
from warehouse.body import open_discomfort
from warehouse.store import Writer
from warehouse.vocabulary import SELDOM

MAIN, BESIDE, AGAINST, NEXT = "main", "beside", "against", "next"
RECENT_DAYS = 28
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
    `eye_plate.looked_at` rows; body_notes: notes of discomfort; people: student, joined, left; visits:
    student and measured day, for everyone; doses: drills set in lessons with what to do with each (advice);
    met: aims that are met, with what shows most; agreed: season.agreed_aim, of every season;
    refused: refusals, oldest first; coach: student → who coaches now.
    `newest` is what `on` was cut from: every frame as of the newest day.
    """

    as_of: date
    trend: pl.DataFrame
    rates: pl.DataFrame
    claims: pl.DataFrame
    values: pl.DataFrame
    looks: pl.DataFrame
    body_notes: pl.DataFrame
    people: pl.DataFrame
    visits: pl.DataFrame
    doses: pl.DataFrame
    met: pl.DataFrame
    agreed: pl.DataFrame
    refused: pl.DataFrame
    coach: Mapping[str, str]
    bands: Bands
    newest: "Sources | None" = None

    def on(self, day: date) -> "Sources":
        """As known on an earlier day. The season's labels, bands and coaches are today's."""
        known: dict[str, Any] = {
            name: getattr(self, name).filter(pl.col("day") <= day)
            for name in ("claims", "values", "looks", "body_notes", "visits", "doses")
        }
        today = ("met", "agreed", "refused")  # of which no earlier week is known
        nothing: dict[str, Any] = {name: getattr(self, name).clear() for name in today}
        return replace(self, as_of=day, newest=self, **known, **nothing)

    @cached_property
    def discomfort(self) -> pl.DataFrame:
        """student, code, day, since: sore places that nobody has closed, each one's last and first day."""
        places = open_discomfort(self.body_notes).with_columns(pl.col("code").fill_null("unnamed_place"))
        return places.group_by("student", "code").agg(pl.col("day").max(), since=pl.col("day").min())

    @cached_property
    def enrolled(self) -> pl.DataFrame:
        """student, joined, of those on the roster."""
        here = pl.col("left").is_null() | (pl.col("left") > self.as_of)
        return self.people.filter(here, pl.col("joined").is_null() | (pl.col("joined") <= self.as_of))

    @cached_property
    def last_day(self) -> dict[str, date]:
        """Student → newest measured day."""
        return dict(self.visits.group_by("student").agg(pl.col("day").max()).iter_rows())

    @cached_property
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
                for table in ("change_chance", "new_fault_chance", "outcome_chance")
            )
        ),
        values=writer.sql(
            "SELECT season, student, metric, club_family, day, session, mean FROM season.session_metric "
            f"WHERE {BASELINE} AND season = ? "
            "AND metric IN (SELECT metric FROM academy.metric WHERE core AND better = 'band')",
            season,
        ),
        looks=looks.filter(pl.col("season") == season[0]),
        body_notes=writer.sql(
            'SELECT student, "at", day, kind, code FROM academy.note '
            "WHERE kind IN ('discomfort', 'discomfort_over')"
        ),
        people=writer.sql(
            "SELECT person AS student, joined, \"left\" FROM academy.person WHERE role = 'student' "
            "AND person NOT IN (SELECT student FROM academy.withheld WHERE purpose = 'measure') ORDER BY 1"
        ),
        visits=writer.sql("SELECT student, day FROM academy.session WHERE has_plate OR has_clip"),
        doses=writer.sql(query("season.set_drill"), season),
        met=writer.sql(query("season.met_aim"), [*season, SELDOM]),
        agreed=writer.sql("SELECT * FROM season.agreed_aim ORDER BY student, agreed DESC, note"),
        refused=writer.sql(query("open_refusal"), [as_of]),
        coach=dict(writer.sql(query("current_coach"), [as_of]).iter_rows()),
        bands=Bands.read(writer),
    )
