"""What every metric of academy.swing_metric is: formula, unit, null policy, source, worked example.

The compiled kernel (kernel.py, phases.py) computes what stands here; a test holds this list, the table's
columns and rules/metrics.toml to one another.

Common ground. lead share = 100·lead/(lead + trail), null where both carry under 10 % of body weight W.
along = centre of pressure from the back of the heel (0) to the tip of the toes (100), null where that foot
carries under 5 % W. W = mean of lead + trail over the address window, else body mass · 9.80665. At an event =
mean of the samples within ±10 ms (at least one; half samples round to even); at address = within ±150 ms. A
mean, least or highest with more than half of its samples unknown is null. A metric is null when an event it
names is missing, outside the record or out of order. Loads are filtered at min(50 Hz, rate/4), places at
20 Hz.

Source "design": a quantity of this project whose definition is plain mechanics; "common practice": a trade
habit without a published source. Bands and limits are in rules/ and say their own source.
"""

from dataclasses import dataclass


@dataclass(frozen=True)
class Definition:
    """One metric in words: formula, unit, when it is null beyond the common ground, source, an example."""

    formula: str
    unit: str
    null: str
    source: str
    example: str


ALONG = "% of foot length"
BODY = "% of body weight"
USUAL = "no more than the common ground"
HEELS = "no heel load measured and no along to estimate it from (heel_source none)"
CLIP = "no clip, heel or toe marks missing at address, or the event not on the clip"

METRICS: dict[str, Definition] = {
    "address_lead_share_pct": Definition(
        formula="mean lead share within ±150 ms of address",
        unit="%",
        null=USUAL,
        source="common practice",
        example="350 N of 700 N: 50",
    ),
    "address_lead_along_pct": Definition(
        formula="mean lead along within ±150 ms of address",
        unit=ALONG,
        null=USUAL,
        source="common practice",
        example="129 mm of 258 mm: 50",
    ),
    "address_trail_along_pct": Definition(
        formula="mean trail along within ±150 ms of address",
        unit=ALONG,
        null=USUAL,
        source="common practice",
        example="129 mm of 258 mm: 50",
    ),
    "address_lead_heel_share_pct": Definition(
        formula=(
            "mean of 100·heel load/foot load, lead, within ±150 ms of address; unmeasured: clip((70 −"
            " along)/55, 0, 1)"
        ),
        unit="%",
        null=HEELS,
        source="two-point statics; Cavanagh 1987 (from memory) as its check",
        example="along 48: 100·22/55 = 40",
    ),
    "address_trail_heel_share_pct": Definition(
        formula=(
            "mean of 100·heel load/foot load, trail, within ±150 ms of address; unmeasured: as for "
            "the lead foot"
        ),
        unit="%",
        null=HEELS,
        source="two-point statics; Cavanagh 1987 (from memory) as its check",
        example="140 N of 350 N: 40",
    ),
    "address_sway_speed_mm_s": Definition(
        formula=(
            "shortest path of the whole-body centre of pressure (5 Hz) over an exact 1.0 s that ends "
            "before takeaway, over that time"
        ),
        unit="mm/s",
        null=(
            "under 1.0 s before takeaway, or no whole-body centre of pressure (delivered, or from "
            "stance, along and across)"
        ),
        source="design",
        example="a circle of 2 mm radius once a second: 12.6",
    ),
    "stance_width_mm": Definition(
        formula="distance between the two heel points on the floor",
        unit="mm",
        null="no stance given and no footprints",
        source="design",
        example="heels at (220, 0) and (−215, 5): 435.0",
    ),
    "start_rock_pct": Definition(
        formula="the larger of the two feet's ranges of along over the last 0.5 s before takeaway",
        unit=ALONG,
        null="under 0.5 s before takeaway, or one foot unknown",
        source="common practice",
        example="48–57 and 50–52: 9",
    ),
    "mid_back_trail_share_pct": Definition(
        formula="100 − lead share at mid_back",
        unit="%",
        null=USUAL,
        source="common practice",
        example="lead 210 N of 700 N: 70",
    ),
    "trail_peak_share_pct": Definition(
        formula="highest 40 ms mean of trail share, takeaway to top; a window at the border is cut there",
        unit="%",
        null=USUAL,
        source="common practice",
        example="a flat 75 for 50 ms: 75",
    ),
    "recentre_pts": Definition(
        formula=(
            "trail peak share − trail share at top when the peak stands at least 20 ms before top, else 0"
        ),
        unit="points",
        null="trail peak share under 58: nothing to come back from",
        source="common practice",
        example="peak 74, top 64: 10",
    ),
    "trail_peak_before_top_s": Definition(
        formula=(
            "top − time of the trail peak, that being the weighted centre of all window means within "
            "0.1 of it; not under 0"
        ),
        unit="s",
        null=USUAL,
        source="common practice",
        example="a flat peak from 1.70 to 1.80 s, top at 2.00 s: 0.25",
    ),
    "top_lead_share_pct": Definition(
        formula="lead share at top",
        unit="%",
        null=USUAL,
        source="common practice",
        example="252 N of 700 N: 36",
    ),
    "lead_heel_unload_pct_bw": Definition(
        formula="100/W · (lead heel load at address − its least, takeaway to top)",
        unit=BODY,
        null=HEELS,
        source="common practice",
        example="from 140 N to 42 N at W = 700 N: 14",
    ),
    "trail_heel_sink_pct": Definition(
        formula="trail along at address − its least, takeaway to top",
        unit=ALONG,
        null=USUAL,
        source="common practice",
        example="50 to 44: 6",
    ),
    "back_both_heelward_pct": Definition(
        formula="the smaller of the feet's (along at address − its least, mid_back to top)",
        unit=ALONG,
        null="one foot unknown",
        source="common practice",
        example="lead 50 to 35, trail 50 to 41: 9",
    ),
    "back_opposition": Definition(
        formula=(
            "−∫u·v dt/√(∫u² dt·∫v² dt), takeaway to top, u and v the rates of the two heel loads as %"
            " of total load, heel loads and total filtered at 15 Hz"
        ),
        unit="−1 to 1",
        null=HEELS + "; a heel that moves by under 8 % of total or 15 × its own sd at address",
        source="design",
        example="one heel falls exactly as the other rises: 1",
    ),
    "trail_push_pts": Definition(
        formula="highest trail share, top to mid_down − trail share at top",
        unit="points",
        null=USUAL,
        source="common practice",
        example="64 at top, 71 after: 7",
    ),
    "trail_push_pct_bw": Definition(
        formula="100/W · (highest trail load, top to mid_down − trail load at top); shown, never scored",
        unit=BODY,
        null=USUAL,
        source="design",
        example="420 N to 490 N at W = 700 N: 10",
    ),
    "crossing_before_impact_s": Definition(
        formula=(
            "impact − the last rise of lead share through 50 before it reaches 53, after the last "
            "time it is under 47 between top and impact; by a straight line between samples"
        ),
        unit="s",
        null="crossing before_top (lead share at top over 50) or never",
        source="common practice",
        example="through 50 at 2.36 s, impact at 2.50 s: 0.14",
    ),
    "transfer_rate_pct_s": Definition(
        formula="highest least-squares slope of lead share over 60 ms, trail peak to impact",
        unit="%/s",
        null="no 60 ms without an unknown sample",
        source="design",
        example="36 to 70 in a straight line over 0.17 s: 200",
    ),
    "mid_down_lead_share_pct": Definition(
        formula="lead share at mid_down",
        unit="%",
        null=USUAL,
        source="common practice",
        example="490 N of 700 N: 70",
    ),
    "trail_heel_unload_pct_bw": Definition(
        formula="100/W · (trail heel load at top − at mid_down)",
        unit=BODY,
        null=HEELS,
        source="common practice",
        example="126 N to 28 N at W = 700 N: 14",
    ),
    "down_both_toeward_pct": Definition(
        formula="the smaller of the feet's (along at mid_down − along at top)",
        unit=ALONG,
        null="one foot unknown",
        source="common practice",
        example="lead 40 to 55, trail 45 to 70: 15",
    ),
    "down_opposition": Definition(
        formula="as back_opposition, top to impact",
        unit="−1 to 1",
        null="as back_opposition",
        source="design",
        example="both heels unload alike: −1",
    ),
    "impact_lead_share_pct": Definition(
        formula="lead share at impact",
        unit="%",
        null=USUAL,
        source="common practice",
        example="518 N of 700 N: 74",
    ),
    "impact_gain_pts": Definition(
        formula="lead share at impact − lead share at mid_down",
        unit="points",
        null=USUAL,
        source="common practice; direction in Ball & Best 2007 (as quoted)",
        example="70 to 74: 4",
    ),
    "impact_trail_heel_pct_bw": Definition(
        formula="100/W · trail heel load at impact",
        unit=BODY,
        null=HEELS,
        source="common practice",
        example="14 N at W = 700 N: 2",
    ),
    "lead_heelward_pct": Definition(
        formula="lead along at mid_down − lead along at impact",
        unit=ALONG,
        null=USUAL,
        source="common practice",
        example="54 to 44: 10",
    ),
    "finish_lead_share_pct": Definition(
        formula="lead share at finish",
        unit="%",
        null=USUAL,
        source="common practice",
        example="644 N of 700 N: 92",
    ),
    "peak_vertical_pct_bw": Definition(
        formula="100/W · highest lead + trail, top to finish (to the record's end without one)",
        unit=BODY,
        null=USUAL,
        source="design",
        example="896 N at W = 700 N: 128",
    ),
    "peak_vertical_before_impact_s": Definition(
        formula=(
            "impact − time of that highest load, the weighted centre of all within 0.1 % W of it; "
            "negative after impact"
        ),
        unit="s",
        null=USUAL,
        source="design",
        example="2.42 s, impact at 2.50 s: 0.08",
    ),
    "backswing_s": Definition(
        formula="top − takeaway",
        unit="s",
        null="not positive",
        source="design",
        example="1.40 to 2.25: 0.85",
    ),
    "downswing_s": Definition(
        formula="impact − top",
        unit="s",
        null="not positive",
        source="design",
        example="2.25 to 2.50: 0.25",
    ),
    "tempo_ratio": Definition(
        formula="backswing_s/downswing_s",
        unit="to 1",
        null="either is null",
        source="Grober & Cholewicki 2006 (as quoted): about 24 : 8 frames",
        example="0.85/0.25: 3.4",
    ),
    "lead_heel_rise_mm": Definition(
        formula=(
            "highest lead-heel rise on the clip, address to top; rise = height over its own address "
            "height, square to the floor line, scaled by shoe length"
        ),
        unit="mm",
        null=CLIP,
        source="common practice",
        example="up by 20 px where a 280 mm shoe is 140 px long: 40",
    ),
    "lead_heel_rise_at_top_mm": Definition(
        formula="lead-heel rise at top",
        unit="mm",
        null=CLIP,
        source="common practice",
        example="as above",
    ),
    "trail_heel_rise_at_mid_down_mm": Definition(
        formula="trail-heel rise at mid_down",
        unit="mm",
        null=CLIP,
        source="common practice",
        example="as above",
    ),
    "trail_heel_rise_at_impact_mm": Definition(
        formula="trail-heel rise at impact",
        unit="mm",
        null=CLIP,
        source="common practice",
        example="as above",
    ),
}
