"""What to work on first: one rule, whose answer the lesson sheet, the week and the progress page all read.

In this order: what coach and student agreed on, until it shows or is due; what the coach named, unless it is
met; the earliest fault from which another follows in this student's swings; the fault that shows most often;
else what was won, to be kept. A fault is met under 20 % of swings, a metric inside its band.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from typing import Any

import polars as pl

from models.season.cells import BASELINE
from models.season.faultrate import LEAST_SESSIONS
from models.season.judgement import Bands
from models.season.spans import counts_as_now
from models.sql import query
from warehouse.store import Writer
from warehouse.tables import columns
from warehouse.vocabulary import BETTER, GOES_TOGETHER, SELDOM

AGREED, NAMED, EARLIEST_CAUSE, MOST_OFTEN, KEEP, NOTHING = (
    "agreed", "named", "earliest_cause", "most_often", "keep", "nothing",
)  # fmt: skip
LEAST_SWINGS = 5  # judged now; a rate of fewer tells neither that a fault is there nor that it has gone
KEY = ["season", "student", "club_family"]
Row = dict[str, Any]
Place = tuple[str, str, str]  # season, student, club family


@dataclass(frozen=True)
class Named:
    """An aim that a coach named by setting a drill for it, or in a plan, or agreed on with the student.

    `met`: null when nobody can say. What was `agreed` is a change, and not met by being inside a target.
    """

    aim: str
    drill: str | None
    met: bool | None
    agreed: bool = False


@dataclass(frozen=True)
class Season:
    """What is known of one student's season with one family of clubs.

    rates: fault → share of swings now, in swing order; better: faults that became rarer, surest first; links:
    chain, earlier and later fault of each link that the student's swings bear out.
    """

    rates: Mapping[str, float] = field(default_factory=dict)
    better: tuple[str, ...] = ()
    links: tuple[tuple[str, str, str], ...] = ()

    def shows(self, fault: str) -> bool:
        """Whether the student has the fault now; a sign seen by eye has no rate, so its link tells."""
        return self.rates.get(fault, 1.0) >= SELDOM

    @property
    def open_links(self) -> list[tuple[str, str, str]]:
        """Links both of whose faults show now."""
        return [link for link in self.links if self.shows(link[1]) and self.shows(link[2])]

    def follows(self, fault: str) -> list[str]:
        """Every fault that follows from this one, directly or through others, nearest first."""
        found = [fault]
        for before in found:
            found += [later for _, at, later in self.open_links if at == before and later not in found]
        return found[1:]

    def causes(self) -> list[str]:
        """Faults from which another follows, and which follow from none, in swing order."""
        links = self.open_links
        first = {earlier for _, earlier, _ in links} - {later for _, _, later in links}
        order = list(self.rates)
        return sorted(first, key=lambda fault: (order.index(fault) if fault in order else -1, fault))

    def chain_of(self, fault: str) -> str | None:
        """The chain in which something follows from the fault."""
        return next((chain for chain, earlier, _ in self.open_links if earlier == fault), None)


def choose(known: Season, named: Named | None, faults_of: Iterable[str] = ()) -> Row:
    """The columns of season.aim between keys and `next_aim`; `faults_of`: those that read a named metric."""
    row: Row = {
        "named": named.aim if named else None, "named_met": named.met if named else None,
        "drill": named.drill if named else None, "chain": None, "cause": None, "follows": [],
    }  # fmt: skip
    causes = known.causes()
    if named and not named.met:
        own = {named.aim, *faults_of}
        before = [cause for cause in causes if cause not in own and own.intersection(known.follows(cause))]
        cause = before[0] if before else None
        follows = known.follows(named.aim)
        chain = known.chain_of(cause or named.aim)
        reason = AGREED if named.agreed else NAMED
        return row | {"aim": named.aim, "reason": reason, "cause": cause, "follows": follows, "chain": chain}
    if causes:
        return row | {
            "aim": causes[0], "reason": EARLIEST_CAUSE, "follows": known.follows(causes[0]),
            "chain": known.chain_of(causes[0]),
        }  # fmt: skip
    shown = [fault for fault, rate in known.rates.items() if rate >= SELDOM]
    if shown:
        return row | {"aim": max(shown, key=lambda fault: known.rates[fault]), "reason": MOST_OFTEN}
    won = [named.aim] if named else list(known.better[:1])
    return row | {"aim": won[0] if won else None, "reason": KEEP if won else NOTHING}


def next_aim(known: Season, first: Row, kin: Iterable[str] = ()) -> str | None:
    """What comes second by the same rule: neither the first aim, its `kin`, nor what follows from it."""
    if first["aim"] is None or first["reason"] == KEEP:
        return None
    done = {first["aim"], *kin, *first["follows"]}
    rates = {fault: rate for fault, rate in known.rates.items() if fault not in done}
    links = tuple(link for link in known.links if not done.intersection(link[1:]))
    second = choose(replace(known, rates=rates, better=(), links=links), None)
    return str(second["aim"]) if second["aim"] else None


def aim_rows(writer: Writer) -> pl.DataFrame:
    """Rows of season.aim, for every student with a measured season or a named aim."""
    named = writer.sql(query("season.named_aim"))
    reads = dict(writer.sql("SELECT fault, metrics FROM academy.fault ORDER BY position").iter_rows())
    ends = dict(writer.sql('SELECT season, "to" FROM academy.season').iter_rows())
    known = _seasons(writer)
    values = _values(writer, {*named["aim"]} - {*reads})
    bands = Bands.read(writer)
    rows: list[Row] = []

    def add(place: tuple[str | None, str, str | None], own: Season, aims: Iterable[Row]) -> None:
        for shared in (False, True):
            row = next((r for r in aims if r["shared"] or not shared), None)
            known_aim, of_metric = None, []
            if row:
                is_met = False if row["agreed"] else met(row["aim"], place, own, values, bands)
                known_aim = Named(row["aim"], row["drill"], is_met, row["agreed"])
                of_metric = [fault for fault, metrics in reads.items() if row["aim"] in metrics]
            chosen = choose(own, known_aim, of_metric)
            chosen["next_aim"] = next_aim(
                own, chosen, of_metric if chosen["reason"] in (AGREED, NAMED) else ()
            )
            rows.append(dict(zip(KEY, place, strict=True)) | {"shared": shared} | chosen)

    by_student = {str(s): rows.to_dicts() for (s,), rows in named.group_by(["student"], maintain_order=True)}
    for place, own in known.items():
        last = ends.get(place[0]) or date.max
        add(place, own, [row for row in by_student.get(place[1], []) if row["day"] <= last])
    for student, aims in by_student.items():
        add((None, student, None), Season(), aims)
    return pl.DataFrame(rows, columns("season.aim")).sort(*KEY, "shared", nulls_last=True)


def met(
    aim: str,
    place: tuple[str | None, str, str | None],
    own: Season,
    values: Mapping[tuple[Place, str], tuple[float, float, date]],
    bands: Bands,
) -> bool | None:
    """Whether an aim is inside its target already; null when it was not measured or has no target.

    A metric is when the mean of the last session, or of those that count as now, lies in its band: what
    the sheet's own line shows inside the band is no aim. A fault is under 20 % of swings.
    """
    if aim in own.rates:
        return own.rates[aim] < SELDOM
    season, student, family = place
    if season is None or family is None or ((season, student, family), aim) not in values:
        return None
    last, recent, day = values[(season, student, family), aim]
    band = bands.of(aim, season, student, family, day)
    return None if band is None else any(band[0] <= value <= band[1] for value in (last, recent))


def _seasons(writer: Writer) -> dict[Place, Season]:
    """What is known of every season, student and family with a rate or a value."""
    links: dict[tuple[str, str], list[tuple[str, str, str]]] = {}
    for season, student, *link in writer.sql(
        "SELECT season, student, chain, earlier, later FROM season.fault_chain WHERE label = ? "
        "ORDER BY season, student, chain, place", [GOES_TOGETHER],
    ).iter_rows():  # fmt: skip
        links.setdefault((season, student), []).append((link[0], link[1], link[2]))
    places = writer.sql(
        f"SELECT DISTINCT season, student, club_family FROM season.session_metric WHERE {BASELINE} "
        "AND club_family IS NOT NULL ORDER BY ALL"
    )
    rates = writer.sql(
        "SELECT r.*, f.position FROM season.student_fault_rate r JOIN academy.fault f USING (fault) "
        "WHERE span = 'now' AND rate IS NOT NULL AND usable >= ? ORDER BY position", [LEAST_SWINGS],
    )  # fmt: skip
    by_place = dict(rates.group_by(KEY, maintain_order=True))
    found: dict[Place, Season] = {}
    for season, student, family in places.iter_rows():
        own = by_place.get((season, student, family), rates.clear())
        better = own.filter(label=BETTER).sort("p_lower", "position", descending=[True, False])
        found[season, student, family] = Season(
            dict(own.select("fault", "rate").iter_rows()),
            tuple(better["fault"]),
            tuple(links.get((season, student), ())),
        )
    return found


def _values(writer: Writer, metrics: Iterable[str]) -> dict[tuple[Place, str], tuple[float, float, date]]:
    """Mean of the last session, of the sessions that count as now, and the last day, by place and metric."""
    rows = writer.sql(
        f"SELECT * FROM season.session_metric WHERE {BASELINE} AND club_family IS NOT NULL "
        "AND list_contains(CAST(? AS VARCHAR[]), metric)", [sorted(metrics)],
    )  # fmt: skip
    keys = [*KEY, "metric"]
    sessions = (
        rows.group_by(*keys, "session", "started_at", "day")
        .agg(mean=(pl.col("mean") * pl.col("n")).sum() / pl.col("n").sum())
        .sort(*keys, "started_at", "session")
    )
    now = (
        sessions.filter(counts_as_now(keys, LEAST_SESSIONS))
        .group_by(keys, maintain_order=True)
        .agg(last=pl.col("mean").last(), now=pl.col("mean").mean(), day=pl.col("day").last())
    )
    return {
        ((season, student, family), metric): (last, mean, day)
        for season, student, family, metric, last, mean, day in now.iter_rows()
    }
