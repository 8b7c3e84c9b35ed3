"""What a student's swing is made of: one dial a habit, with its spread between people, days and swings."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Dial:
    """One habit. Spreads are standard deviations in its own unit; `lo`, `hi` keep it clear of every limit.

    `metric` is the swing metric the dial sets; `trend` the size of a planted change over the season
    (0: this dial holds in everyone), signed toward better.
    """

    name: str
    metric: str
    mean: float
    between: float
    day: float
    swing: float
    lo: float
    hi: float
    trend: float = 0.0


DIALS: tuple[Dial, ...] = (
    Dial("address_share", "address_lead_share_pct", 50.0, 1.3, 0.5, 0.6, 46.0, 54.0),
    Dial("lead_along", "address_lead_along_pct", 50.5, 2.0, 0.7, 0.8, 44.5, 56.5),
    Dial("trail_along", "address_trail_along_pct", 51.0, 2.2, 0.7, 0.8, 44.5, 57.5),
    Dial("mid_back_trail", "mid_back_trail_share_pct", 69.5, 1.7, 0.8, 1.0, 64.5, 75.0, 2.5),
    Dial("load_on", "trail_peak_share_pct", 3.5, 0.5, 0.3, 0.4, 2.4, 6.0),
    Dial("recentre", "recentre_pts", 9.5, 1.8, 0.7, 1.0, 5.8, 18.0, 4.0),
    Dial("lead_unload", "lead_heel_unload_pct_bw", 11.5, 1.2, 0.6, 0.7, 8.0, 16.0),
    Dial("trail_sink", "trail_heel_sink_pct", 5.0, 1.3, 0.6, 0.8, 1.0, 10.0),
    Dial("crossing", "crossing_before_impact_s", 0.150, 0.014, 0.005, 0.006, 0.112, 0.205),
    Dial("mid_down", "mid_down_lead_share_pct", 68.5, 1.8, 0.9, 1.0, 62.5, 77.0, 2.5),
    Dial("gain", "impact_gain_pts", 5.0, 1.0, 0.4, 0.6, 1.5, 9.0),
    Dial("finish", "finish_lead_share_pct", 88.0, 2.4, 0.9, 1.1, 78.0, 97.0, 4.5),
    Dial("backswing", "backswing_s", 0.80, 0.05, 0.010, 0.014, 0.62, 1.05),
    Dial("tempo", "tempo_ratio", 3.0, 0.18, 0.05, 0.06, 2.35, 3.7, 0.35),
    Dial("surge", "peak_vertical_pct_bw", 140.0, 9.0, 1.8, 2.2, 116.0, 180.0),
)
DIAL = {dial.name: dial for dial in DIALS}
PACE_STRETCH = {"full": 1.0, "half": 1.3, "slow": 1.8}
JUDGED_TO_IMPACT = ("iron", "wedge")
