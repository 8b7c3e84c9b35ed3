"""Definitions of the metrics after the top and of the clip; common ground in metrics.py."""

from models.swing.definitions import ALONG, BODY, CLIP, HEELS, USUAL, Definition

FROM_TOP: dict[str, Definition] = {
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
