"""A measure or a fault in full: how it is worked out, on whose word, and how sure it is in this academy."""

import polars as pl

from dashboard.charts import eye_and_plate, reliability
from dashboard.kept import kept
from dashboard.pages.trust import content as trust
from dashboard.queries import academy, people
from dashboard.queries.season import bands
from dashboard.section import Section
from dashboard.text.catalogue import _, mark
from dashboard.text.labels import FAMILIES
from dashboard.text.numbers import capitalized, listed
from warehouse.access import Reader
from warehouse.definitions import read_metrics, words_of

METRICS = {metric.code: metric for metric in read_metrics()}
COMMON = mark("common practice, no published source")
NOT_KNOWN = mark("Not known yet: it takes students measured in several sessions each.")
ESTIMATED = mark(
    "Heel loads of a device that does not measure them are estimated from where each foot's load sits, and "
    "are less sure."
)


def choices(reader: Reader) -> dict[str, str]:
    """Every measure and every fault by its code."""
    measures = {code: measure.label for code, measure in people.measures(reader).items()}
    return measures | people.faults(reader)


@kept
def facts(reader: Reader, code: str) -> dict[str, str]:
    """Title → sentence about a measure or a fault."""
    found = _measure(reader, code) if code in METRICS else _fault(reader, code)
    return {title: said for title, said in found.items() if said}


def _measure(reader: Reader, code: str) -> dict[str, str]:
    metric, shown = METRICS[code], people.measures(reader)[code]
    targets = {family: bands(reader, family).get(code, (None, None)) for family in FAMILIES}
    set_here = [
        f"{FAMILIES[family]}: {shown.say_target(*band)}" for family, band in targets.items() if any(band)
    ]
    missing = _(
        "Where a moment of the swing that it needs is missing, or over half of the samples it reads are "
        "unknown."
    )
    return {
        _("What it is"): shown.explain,
        _("Target"): "; ".join(set_here) or _("not set"),
        _("When it is missing"): " ".join(
            [missing, f"{capitalized(_(metric.null))}." if metric.null else ""]
        ),
        _("Limits"): _(ESTIMATED) if metric.needs_heel else "",
        _("Source"): f"{capitalized(_(metric.source))}.",
        _("Worked example"): f"{metric.example}{f' {_(metric.unit)}' if metric.unit else ''}",
        _("Formula"): f"{code} = {' '.join(metric.formula.split())}",
    }


def _fault(reader: Reader, code: str) -> dict[str, str]:
    row = reader.sql("SELECT * FROM fault WHERE fault = ?", [code]).row(0, named=True)
    read = [people.measures(reader)[name] for name in row["metrics"]]
    severity = _(
        "Flagged beyond the limit, here that of irons; {clear} beyond it counts as full severity. Other "
        "clubs and styles may have limits of their own."
    )
    return {
        _("What it looks like"): _(row["looks_like"]),
        _("Rule"): f"{words_of(_(row['in_words']), row['limit'])}.",
        _("Severity"): severity.format(clear=read[0].say(row["clear"])),
        _("Measures it reads"): listed([measure.label for measure in read]),
        _("Source"): f"{capitalized(_(COMMON))}.",
    }


@kept
def worth(reader: Reader, code: str) -> Section:
    """How sure one session's value of a measure is by clubs, or how eye and plate agree on a fault."""
    season = next(iter(people.seasons(reader)), "")
    if code not in METRICS:
        rows = academy.eye_plate(reader, season, None).filter(fault=code)
        table = eye_and_plate.table(rows)
    else:
        found = []
        for family in academy.reliability_families(reader, season):
            rows = academy.reliability(reader, season, family).filter(metric=code)
            clubs = pl.lit(FAMILIES.get(family, family)).alias(_("Clubs"))
            found.append(reliability.table(rows).select(clubs, pl.exclude(_("Measure"))))
        table = pl.concat(found) if found else pl.DataFrame()
    if table.is_empty():
        return Section(sentences=(_(NOT_KNOWN),))
    key = trust.TABLE_KEY if code in METRICS else trust.AGREEMENT_KEY
    return Section(table=(table, code), notes=(_(key),))


def query(code: str) -> str:
    """The command that prints every row of it."""
    asked = (
        "SELECT session, swing_no, {code} FROM academy.swing_metric"
        if code in METRICS
        else "SELECT session, swing_no, flagged, severity FROM academy.swing_fault WHERE fault = '{code}'"
    )
    return f'underfoot sql --format csv "{asked.format(code=code)}"'
