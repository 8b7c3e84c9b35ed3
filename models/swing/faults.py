"""From metrics to faults: severity of every rule for every swing, and the reference tables of the rules.

severity = clip(distance beyond the nearest limit, in the bad direction / clear margin, 0, 1); flagged when it
is over 0. Null where the metric is null, where the rule is not judged for that club family or style, and for
swings whose feet look swapped: null is "not judged", never "not flagged".

Builds and bodies differ, so a coach may agree another band with a student (a `target` note). From that day on
no swing of theirs is flagged for a fault whose metrics lie inside it.
"""

import polars as pl

from models.swing.rules import UNSTYLED, Limit, Rules, load_rules
from warehouse.definitions import ADVICE, Fault
from warehouse.store import Writer
from warehouse.tables import columns

__all__ = ["Rules", "band_rows", "fault_rows", "judge", "load_rules", "metric_rows"]

Columns = dict[str, pl.DataType | type[pl.DataType]]
SWAPPED = "feet_swapped"


def judge(metrics: pl.DataFrame, swings: pl.DataFrame, rules: Rules, styles: pl.DataFrame) -> pl.DataFrame:
    """Judge every rule for every swing.

    Args:
        metrics: rows of academy.swing_metric.
        swings: rows of academy.swing (session, swing_no, club_family, flags are read); one without metrics
            is not judged.
        rules: from `load_rules`.
        styles: style by impact (session, club_family, style); no row: no style yet.

    Returns:
        Rows of academy.swing_fault without the student, swings in their given order, faults in swing order.
    """
    styled = swings.join(styles, on=["session", "club_family"], how="left", maintain_order="left").select(
        "session", "swing_no", "club_family", pl.col("style").fill_null(UNSTYLED),
        swapped=pl.col("flags").list.contains(SWAPPED),
    )  # fmt: skip
    facts = styled.join(metrics, on=["session", "swing_no"], how="left", maintain_order="left")
    lazy = facts.with_row_index("row").lazy()
    parts = [_judged(lazy, fault, place, rules) for place, fault in enumerate(rules.faults)]
    return pl.concat(parts).sort("row", "place").select(
        "session", "swing_no", "fault", flagged=pl.col("severity") > 0, severity="severity",
        rule_version=pl.lit(rules.version),
    ).collect()  # fmt: skip


def judged_batch(writer: Writer, rules: Rules) -> pl.DataFrame:
    """Rows of academy.swing_fault of every swing of the temporary table batch(session), by student."""
    within = "session IN (SELECT session FROM batch)"
    metrics = writer.sql(f"SELECT * FROM academy.swing_metric WHERE {within}")
    swings = writer.sql(
        "SELECT swing.*, student FROM academy.swing JOIN academy.session USING (session) "
        f"WHERE {within} ORDER BY student, session, swing_no"
    )
    styles = writer.sql(
        "SELECT session, club_family, style "
        f"FROM season.style JOIN academy.session USING (season, student) WHERE {within}"
    )
    judged = without_agreed_flags(writer, judge(metrics, swings, rules, styles), metrics, swings, rules)
    return judged.join(
        swings.select("session", "swing_no", "student"), on=["session", "swing_no"], maintain_order="left"
    )


def _judged(facts: pl.LazyFrame, fault: Fault, place: int, rules: Rules) -> pl.LazyFrame:
    """One fault for all swings: row, session, swing_no, fault, severity, place."""
    limits = [limit for limit in rules.limits if limit.fault == fault.code]
    needed = ["row", "session", "swing_no", "club_family", "style", "swapped", "crossing", *fault.metrics]
    joined = facts.select(needed).join(
        _limit_rows(limits).lazy(), on=["club_family", "style"], how="left", maintain_order="left"
    )
    severity = (distance(fault) / pl.col("clear")).clip(0.0, 1.0)
    if fault.never_crossed_flags:
        judged = pl.col("clear").is_not_null() & (pl.col("crossing") == "never")
        severity = pl.when(judged).then(1.0).otherwise(severity)
    severity = pl.when(pl.col("swapped")).then(None).otherwise(severity)
    return joined.select(
        "row", "session", "swing_no", fault=pl.lit(fault.code), severity=severity.fill_nan(None),
        place=pl.lit(place),
    )  # fmt: skip


def _limit_rows(limits: list[Limit]) -> pl.DataFrame:
    """Limits as columns first, second, clear by club family and style."""
    rows = [(x.club_family, x.style, x.limits[0], x.limits[-1], x.clear) for x in limits]
    keys: Columns = dict.fromkeys(("club_family", "style"), pl.String)
    values: Columns = dict.fromkeys(("first", "second", "clear"), pl.Float64)
    return pl.DataFrame(rows, schema=keys | values, orient="row")


def distance(fault: Fault) -> pl.Expr:
    """How far beyond the limit, positive when bad, in the metric's unit; null when a metric is missing.

    Where one metric beyond its limit is enough, a missing one leaves only "not beyond" unknown.
    """
    values = [pl.col(name) for name in fault.metrics]
    mean = sum(values[1:], values[0]) / len(values)
    first, second = pl.col("first"), pl.col("second")
    unknown = pl.any_horizontal(value.is_null() for value in values)
    match fault.when:
        case "below":
            return first - values[0]
        case "above":
            return values[0] - first
        case "outside":
            return pl.max_horizontal(first - values[0], values[0] - second)
        case "mean_below":
            return first - mean
        case "mean_above":
            return mean - first
        case "both_above":
            both = pl.min_horizontal(values[0] - first, values[1] - second)
            return pl.when(unknown).then(None).otherwise(both)
        case _:
            farthest = pl.max_horizontal(distances_apart(fault))
            return pl.when(unknown & ~(farthest > 0)).then(None).otherwise(farthest)


def distances_apart(fault: Fault) -> list[pl.Expr]:
    """How far each metric is beyond its own limit, for a fault that one of them is enough for; else none."""
    values, first, second = [pl.col(name) for name in fault.metrics], pl.col("first"), pl.col("second")
    match fault.when:
        case "any_below":
            return [first - value for value in values]
        case "any_above":
            return [value - first for value in values]
        case "above_or_below":
            return [values[0] - first, second - values[1]]
        case _:
            return []


def metric_rows(rules: Rules) -> pl.DataFrame:
    """Rows of academy.metric in screen order."""
    rows = [
        (
            m.code,
            m.label,
            m.unit,
            m.explain,
            m.better,
            m.decimals,
            m.phase,
            m.needs_heel,
            m.core,
            m.followed,
            place,
        )
        for place, m in enumerate(rules.metrics)
    ]
    return pl.DataFrame(rows, columns("academy.metric"), orient="row")


def band_rows(rules: Rules) -> pl.DataFrame:
    """Rows of academy.band. style stays_forward: that style and no style yet; null: every style."""
    rows = [
        (b.metric, b.club_family, b.level, b.style, None, b.lo, b.hi, rules.version, None)
        for b in rules.bands
    ]
    return pl.DataFrame(rows, schema=columns("academy.band"), orient="row")


def fault_rows(rules: Rules) -> pl.DataFrame:
    """Rows of academy.fault in swing order; the limit is the iron's, or of the first family judged."""
    rows = []
    for place, fault in enumerate(rules.faults):
        limits = [x for x in rules.limits if (x.fault, x.style) == (fault.code, UNSTYLED)]
        limit = next((x for x in limits if x.club_family == "iron"), limits[0])
        rows.append(
            (
                fault.code, fault.name, fault.phase, fault.looks_like, place, list(fault.metrics), fault.when,
                list(limit.limits), limit.clear, fault.in_words, fault.instead,
                *(getattr(fault, words) for words in ADVICE),
            )
        )  # fmt: skip
    return pl.DataFrame(rows, schema=columns("academy.fault"), orient="row")


_OWN = """
SELECT session.session, band.metric, band.club_family, band.lo, band.hi
FROM academy.band AS band
JOIN academy.session AS session ON session.student = band.student AND session.day >= band."from"
WHERE session.session IN (SELECT session FROM batch)
QUALIFY row_number() OVER (
    PARTITION BY session.session, band.metric, band.club_family ORDER BY band."from" DESC, band.version
) = 1
"""


def sessions_with_own_bands(writer: Writer) -> list[str]:
    """Measured sessions of the touched students who have a band of their own."""
    rows = writer.sql(
        "SELECT session FROM academy.session WHERE student IN (SELECT student FROM touched) "
        "AND student IN (SELECT student FROM academy.band) AND reduced ORDER BY session"
    )
    return rows["session"].to_list()


def without_agreed_flags(
    writer: Writer, judged: pl.DataFrame, metrics: pl.DataFrame, swings: pl.DataFrame, rules: Rules
) -> pl.DataFrame:
    """`judged` (academy.swing_fault) without the flags that a student's own bands rule out.

    A flag goes when the fault reads a metric with an own band of that club family, and every such metric lies
    inside it (an end left out is open). Where one metric beyond its limit is enough for the fault, a band for
    one foot says nothing of the other: every metric beyond its limit must lie inside its own band. Reads the
    temporary table batch(session).
    """
    own = writer.sql(_OWN)
    if own.is_empty():
        return judged
    reads = writer.sql("SELECT fault, unnest(metrics) AS metric FROM academy.fault")
    key = ["session", "swing_no"]
    names = [name for name in own["metric"].unique(maintain_order=True) if name in metrics.columns]
    places = (
        metrics.select(*key, *names)
        .unpivot(index=key, variable_name="metric", value_name="value")
        .join(swings.select(*key, "club_family"), on=key)
        .join(own, on=["session", "metric", "club_family"])
        .with_columns(
            inside=(pl.col("value") >= pl.col("lo").fill_null(float("-inf")))
            & (pl.col("value") <= pl.col("hi").fill_null(float("inf")))
        )
        .with_columns(pl.col("inside").fill_null(value=False))
    )
    apart = [fault for fault in rules.faults if distances_apart(fault)]
    together = (
        places.join(reads, on="metric")
        .filter(~pl.col("fault").is_in([fault.code for fault in apart]))
        .group_by(*key, "fault")
        .agg(agreed=pl.col("inside").all())
    )
    facts = metrics.join(swings.select(*key, "club_family"), on=key)
    agreed_rows = [together, *(_agreed_apart(fault, rules, facts, places) for fault in apart)]
    both = judged.join(pl.concat(agreed_rows), on=[*key, "fault"], how="left", maintain_order="left")
    agreed = pl.col("agreed").fill_null(value=False) & pl.col("flagged").fill_null(value=False)
    return both.with_columns(
        flagged=pl.when(agreed).then(pl.lit(value=False)).otherwise("flagged"),
        severity=pl.when(agreed).then(0.0).otherwise("severity"),
    ).drop("agreed")


def _agreed_apart(fault: Fault, rules: Rules, facts: pl.DataFrame, places: pl.DataFrame) -> pl.DataFrame:
    """session, swing_no, fault and whether each of its metrics is within its limit or its own band.

    `places` says of each swing and metric with an own band whether it lies `inside`.
    """
    key = ["session", "swing_no"]
    limits = [limit for limit in rules.limits if (limit.fault, limit.style) == (fault.code, UNSTYLED)]
    wide = facts.join(_limit_rows(limits).drop("style"), on="club_family")
    fine = []
    for metric, beyond in zip(fault.metrics, distances_apart(fault), strict=True):
        own = places.filter(metric=metric).select(*key, pl.col("inside").alias(f"inside {metric}"))
        wide = wide.join(own, on=key, how="left")
        fine.append(pl.col(f"inside {metric}").fill_null(value=False) | ~(beyond > 0).fill_null(value=False))
    return wide.select(*key, fault=pl.lit(fault.code), agreed=pl.all_horizontal(fine))
