"""The pictures of a swing: load under both feet over time, of a session's mean swing or of one swing."""

import warnings
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import polars as pl

from dashboard import reference_swing
from dashboard.charts import foot_lines, heel_lanes, load_curve
from dashboard.charts.foot_lines import LEAD_FOOT, TRAIL_FOOT
from dashboard.charts.heel_lanes import LEAD, TRAIL
from dashboard.charts.load_curve import FIRST, REFERENCE, THIS, SwingCurves
from dashboard.kept import kept
from dashboard.queries import sessions
from dashboard.section import Picture, Section, nonempty
from dashboard.student_season import StudentSeason
from dashboard.text.catalogue import Words, _
from dashboard.text.labels import PARTS
from dashboard.text.numbers import Band, count, joined, listed, on
from warehouse.access import Reader
from warehouse.errors import UnderfootError
from warehouse.traces import stretch
from warehouse.vocabulary import EVENTS

NEEDED = ("takeaway", "top", "impact")
SIGNALS = ("lead_n", "trail_n", "lead_heel_n", "trail_heel_n", "lead_along_pct", "trail_along_pct")
HEEL_AT_PCT, BALL_AT_PCT = 15.0, 70.0  # where a foot rests when its heel load is estimated from its pressure
FOOT_OFF = 0.05  # under this share of body weight a foot is off the ground, and its pressure has no place
LIGHT = 0.10  # under this share of body weight, both feet light: no lead share
PACES = Words({"full": "", "half": "half pace", "slow": "slow"})
# Metric → the event where its band is drawn on the load picture, and whether it is a trail share.
POSTS = {
    "address_lead_share_pct": ("address", False),
    "mid_back_trail_share_pct": ("mid_back", True),
    "top_lead_share_pct": ("top", False),
    "mid_down_lead_share_pct": ("mid_down", False),
    "impact_lead_share_pct": ("impact", False),
    "finish_lead_share_pct": ("finish", False),
}


@dataclass(frozen=True)
class SwingChoice:
    """What is drawn: one swing of a session, else its swings of one part, pace and drill before them."""

    session: str
    swing_no: int | None = None
    part: str = "baseline"
    pace: str = "full"
    drill: str | None = None

    def takes(self, swing_no: int, part: str, pace: str, drill: str | None) -> bool:
        """Whether a swing of the session is drawn."""
        if self.swing_no is not None:
            return swing_no == self.swing_no
        return (part, pace, drill) == (self.part, self.pace, self.drill)


def session_names(found: pl.DataFrame) -> dict[str, str]:
    """Sessions to choose from, the newest first, by day and number of swings."""
    nothing = _("No session with these clubs was measured on plates, so there is nothing to draw.")
    rows = reversed(nonempty(found, nothing).rows(named=True))
    return {row["session"]: f"{on(row['day'])}, {count(row['swings'], 'swing')}" for row in rows}


def groups(reader: Reader, session: str, family: str) -> dict[str, tuple[SwingChoice, str]]:
    """A session's swings other than its full ones before any drill: their choice and name, by a code."""
    rows = sessions.swing_groups(reader, session, family).iter_rows(named=True)
    return {
        "/".join([row["part"], row["pace"], row["drill"] or ""]): (
            SwingChoice(session, None, row["part"], row["pace"], row["drill"]),
            _("{group} ({swings})").format(
                group=group_name(row["part"], row["pace"], row["drill_name"]),
                swings=count(row["swings"], "swing"),
            ),
        )
        for row in rows
        if (row["part"], row["pace"], row["drill"]) != ("baseline", "full", None)
    }


def group_name(part: str, pace: str, drill: str | None) -> str:
    """What such swings are called: slow, after Feet together."""
    made = "" if part == "baseline" else PARTS.get(part, part)
    made = _("after {drill}").format(drill=drill) if drill else made
    return ", ".join(filter(None, [PACES.get(pace, pace), made]))


def names(
    found: pl.DataFrame, this: SwingChoice, other: SwingChoice | None, reference: str = ""
) -> tuple[str, str, str]:
    """What each choice is called in a picture; empty for what is not drawn."""
    days = dict(found.select("session", "day").iter_rows())
    first, second = _name(days, this), _name(days, other) if other else ""
    same = _("{day}, the other session").format(day=second)
    return first, same if first == second else second, reference


def _name(days: Mapping[str, Any], choice: SwingChoice) -> str:
    day = on(days[choice.session])
    if choice.swing_no is not None:
        return _("{day}, swing {n}").format(day=day, n=choice.swing_no)
    group = group_name(choice.part, choice.pace, choice.drill)
    return f"{day}, {group}" if group else day


@kept
def pictures(
    chosen: StudentSeason, found: pl.DataFrame, this: SwingChoice, other: SwingChoice | None, *, narrow: bool
) -> list[Section]:
    """The load under both feet, under the heels, and where each foot's pressure is.

    `found`: the student's measured sessions. A reference swing is drawn beneath, where it may be shown.

    Raises
        UnderfootError: no swing can be drawn.
    """
    reader, family = chosen.reader, chosen.family
    reference = reference_swing.find(reader, chosen.student, family)
    withheld = reference.withheld if reference else ""
    beneath = SwingChoice(reference.session, reference.swing_no) if reference and not withheld else None
    curves = swing_curves(reader, this, other, family, beneath)
    curves = replace(
        curves,
        names=names(found, this, other, reference.name if reference else ""),
        posts=posts(chosen.bands, curves.events),
    )
    load = load_part(curves, narrow=narrow)
    lifted = sessions.lead_foot_left(reader, this.session, family)
    return [
        replace(load, notes=(withheld,)) if withheld else load,
        heels_part(curves, narrow=narrow),
        places_part(curves, chosen.bands, lifted, narrow=narrow),
    ]


def load_part(curves: SwingCurves, *, narrow: bool) -> Section:
    """The lead foot's share of the load over the swing."""
    chart = load_curve.picture(curves, load_curve.finding(curves), narrow=narrow)
    key = _("The pale posts are the targets. Values show where you point, and in the table.")
    what = spread_key(curves) or _("One swing.")
    return Section(Picture(chart, load_curve.words(curves), load_curve.table(curves), f"{what} {key}"))


def spread_key(curves: SwingCurves) -> str:
    """What the shading around a mean is; empty for a single swing, which has none."""
    said = _("Mean of {swings}; the shading around a line is one standard deviation either way.")
    return said.format(swings=count(curves.swings, "swing")) if curves.swings > 1 else ""


def heels_part(curves: SwingCurves, *, narrow: bool) -> Section:
    """The load under each heel over the swing."""
    if curves.lanes.is_empty():
        nothing = _("Neither heel load nor where each foot's load sits was measured in this session.")
        return Section(sentences=(nothing,))
    chart = heel_lanes.picture(curves, heel_lanes.finding(curves), narrow=narrow)
    estimate = _(
        "Heel loads are estimated from where each foot's load sits; this plate does not measure them."
    )
    parts = _(
        "Dark and dashes: under the heel; pale: under the ball and toes, up to what the whole foot carries."
    )
    key = joined(parts, spread_key(curves), estimate if curves.estimated else "")
    return Section(Picture(chart, heel_lanes.words(curves), heel_lanes.table(curves), key))


def places_part(
    curves: SwingCurves, bands: Mapping[str, Band], lifted: Sequence[int], *, narrow: bool
) -> Section:
    """Where each foot's pressure is over the swing, and in which swings the lead foot left the ground."""
    if curves.places.is_empty():
        return Section(sentences=(_("Where each foot's load sits was not measured in this session."),))
    chart = foot_lines.picture(curves, foot_lines.finding(curves), narrow=narrow)
    key = _(
        "Going back the lead foot's pressure leaves its heel while all of the trail sole stays down. Halfway "
        "down all of the lead sole is down; by impact its pressure is back near the middle, and no further."
    )
    left = _(
        "After the strike of {swings} of this session the lead foot left the ground ({numbers}). With the "
        "longest clubs that may come with speed, and it is no fault."
    )
    said = left.format(swings=count(len(lifted), "swing"), numbers=listed([str(n) for n in lifted]))
    picture = Picture(chart, foot_lines.words(curves), foot_lines.table(curves, bands), key)
    return Section(picture, sentences=(said,) if lifted else ())


def swing_curves(
    reader: Reader, this: SwingChoice, other: SwingChoice | None, family: str,
    reference: SwingChoice | None = None,
) -> SwingCurves:  # fmt: skip
    """Stretch one choice's swings, another's and the reference's between the events that all of them have.

    Events that fewer than four in five swings have are left out, so that one unmarked swing does not cost
    every other its detail.

    Raises
        UnderfootError: no swing has its events, or its samples can't be read.
    """
    nothing = _("Nothing chosen here has its takeaway, top and impact, so it can't be drawn.")
    asked = {THIS: this}
    if other is not None and other != this:
        asked[FIRST] = other
    if reference is not None and reference != this:
        asked[REFERENCE] = reference
    marked = {which: _marked(reader, choice, family) for which, choice in asked.items()}
    marked = {which: found for which, found in marked.items() if found}
    if THIS not in marked:
        raise UnderfootError(nothing)
    shared = tuple(e for e in EVENTS if all(_common(found, e) for found in marked.values()))
    load, lanes, places, swings, estimated = [], [], pl.DataFrame(), 0, False
    for which, found in marked.items():
        complete = {n: {e: t[e] for e in shared} for n, t in found.items() if all(e in t for e in shared)}
        stretched = stretch(reader.trace(asked[which].session, SIGNALS), complete, SIGNALS)
        if not len(stretched["swing_no"]):
            continue
        weight = _weight(stretched)
        load.append(_load(which, stretched, weight))
        rows, guessed = _lanes(which, stretched, weight)
        if which != REFERENCE:  # lanes of three would hide one another
            lanes.append(rows)
        if which == THIS:
            swings, estimated, places = len(stretched["swing_no"]), guessed, _places(stretched, weight)
    if not swings:
        raise UnderfootError(nothing)
    return SwingCurves(
        shared, pl.concat(load), pl.concat(lanes), times=_times(marked[THIS], shared), swings=swings,
        estimated=estimated, places=places,
    )  # fmt: skip


def _times(found: dict[int, dict[str, float]], events: Sequence[str]) -> dict[str, float]:
    """Mean seconds from the takeaway, over the swings that have every event."""
    complete = [times for times in found.values() if all(e in times for e in events)]
    return {e: float(np.mean([times[e] - times["takeaway"] for times in complete])) for e in events}


def _marked(reader: Reader, choice: SwingChoice, family: str) -> dict[int, dict[str, float]]:
    found: dict[int, dict[str, float]] = {}
    rows = sessions.events(reader, choice.session, family)
    for swing_no, part, pace, drill, event, t_s in rows.iter_rows():
        if choice.takes(swing_no, part, pace, drill):
            found.setdefault(swing_no, {})[event] = t_s
    return {n: times for n, times in found.items() if all(e in times for e in NEEDED)}


def _common(found: dict[int, dict[str, float]], event: str) -> bool:
    return sum(event in times for times in found.values()) >= 0.8 * len(found)


def _weight(stretched: dict[str, np.ndarray]) -> np.ndarray:
    """Body weight (N) of each swing, (K, 1): the total load at the first event, when the player is quiet."""
    total = stretched["lead_n"] + stretched["trail_n"]
    return np.asarray(np.maximum(total[:, :5].mean(axis=1, keepdims=True), 1.0))


def _mean_sd(values: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Mean and standard deviation over the swings at each position; NaN where no swing has a value."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)  # a position that no swing has
        return np.nanmean(values, axis=0), np.nanstd(values, axis=0)


def _course(position: np.ndarray, values: np.ndarray, **named: str) -> pl.DataFrame:
    """`named` as columns, position, and there the swings' mean and one standard deviation either way."""
    mean, sd = _mean_sd(values)
    columns = {"position": position, "mean": mean, "lo": mean - sd, "hi": mean + sd}
    rows = pl.DataFrame(columns, nan_to_null=True).drop_nulls("mean")
    return rows.select(*(pl.lit(value).alias(name) for name, value in named.items()), pl.all())


def _load(which: str, stretched: dict[str, np.ndarray], weight: np.ndarray) -> pl.DataFrame:
    total = stretched["lead_n"] + stretched["trail_n"]
    share = np.where(total >= LIGHT * weight, 100 * stretched["lead_n"] / np.maximum(total, 1e-9), np.nan)
    return _course(stretched["position"], share, which=which)


def _lanes(which: str, stretched: dict[str, np.ndarray], weight: np.ndarray) -> tuple[pl.DataFrame, bool]:
    """Loads of heels and of this choice's feet, % of body weight; whether a heel's is estimated."""
    rows, guessed = [], False
    for foot, whole, side in ((LEAD, LEAD_FOOT, "lead"), (TRAIL, TRAIL_FOOT, "trail")):
        heel = stretched[f"{side}_heel_n"]
        if np.isnan(heel).all():
            heel, guessed = estimated_heel(stretched[f"{side}_n"], stretched[f"{side}_along_pct"]), True
        position, loaded = stretched["position"], stretched[f"{side}_n"]
        rows.append(_course(position, 100 * heel / weight, which=which, foot=foot))
        if which == THIS and not np.isnan(heel).all():
            rows.append(_course(position, 100 * loaded / weight, which=which, foot=whole))
    return pl.concat(rows), guessed


def _places(stretched: dict[str, np.ndarray], weight: np.ndarray) -> pl.DataFrame:
    """Where each foot's pressure is, % of foot length from the heel, as the mean of the swings."""
    rows = []
    for foot, side in ((LEAD_FOOT, "lead"), (TRAIL_FOOT, "trail")):
        on_ground = stretched[f"{side}_n"] >= FOOT_OFF * weight
        place = np.where(on_ground, stretched[f"{side}_along_pct"], np.nan)
        rows.append(_course(stretched["position"], place, foot=foot))
    return pl.concat(rows)


def estimated_heel(foot_n: np.ndarray, along_pct: np.ndarray) -> np.ndarray:
    """A heel's load (N) from its foot's: all of it with the pressure at the heel, none at the ball."""
    return np.asarray(foot_n * np.clip((BALL_AT_PCT - along_pct) / (BALL_AT_PCT - HEEL_AT_PCT), 0, 1))


def posts(bands: Mapping[str, Band], events: Sequence[str]) -> pl.DataFrame:
    """event, lo, hi of the lead share, %: the bands drawn on the load picture."""
    rows = []
    for metric, (event, is_trail) in POSTS.items():
        lo, hi = bands.get(metric, (None, None))
        if event not in events or (lo is None and hi is None):
            continue
        if is_trail:
            lo, hi = (None if hi is None else 100 - hi), (None if lo is None else 100 - lo)
        rows.append({"event": event, "lo": lo, "hi": hi})
    return pl.DataFrame(rows, schema=load_curve.POSTS)
