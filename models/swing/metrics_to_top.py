"""Definitions of the metrics up to the top of the swing; common ground in metrics.py."""

from models.swing.definitions import ALONG, BODY, HEELS, USUAL, Definition

TO_TOP: dict[str, Definition] = {
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
            " of total load, filtered at 15 Hz"
        ),
        unit="−1 to 1",
        null=HEELS + "; a heel that moves by under 8 % of total or 15 × its own sd at address",
        source="design",
        example="one heel falls exactly as the other rises: 1",
    ),
}
