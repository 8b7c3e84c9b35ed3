"""The academy's drills, and what is planted in each."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Drill:
    """One drill and what is planted in it.

    `kept` is the lasting gain of the first dose in the dial's own unit, `more` that of each later one,
    `same_day` the change on the day. For a fault as the aim, `kept` is the change of the fault's log odds.
    """

    code: str
    name: str
    aim: str
    dial: str | None
    kept: float
    more: float
    same_day: float
    how: str
    cautions: str
    min_age: int | None = None


DRILLS = (
    Drill("d01", "Walk through to the target", "finish_lead_share_pct", "finish", 3.0, 0.3, 4.0,
          "Swing at half pace and step the trail foot past the lead foot after the ball is gone.",
          "Clear the swing radius and the path in front of you first."),
    Drill("d02", "Pause and settle", "recentre_pts", "recentre", 2.6, 0.2, 3.2,
          "Go back to the top slowly, wait a breath, let the hips settle toward the target, then swing.",
          "Keep the pause short when the back is stiff."),
    Drill("d03", "Rope under the lead foot", "mid_down_lead_share_pct", "mid_down", 0.0, 0.0, 0.0,
          "Stand with a flat rope under the lead foot and press it into the ground on the way down.",
          "The rope is a trip hazard; take it away before walking off."),
    Drill("d04", "Wall beside the trail hip", "mid_back_trail_share_pct", "mid_back_trail", 0.0, 0.0, 2.5,
          "Turn back until the trail hip brushes a wall a hand's breadth away, without a club.",
          "No club near the wall."),
    Drill("d05", "Count of three and one", "tempo_ratio", "tempo", 0.0, 0.0, 0.05,
          "Count three going back and one coming down, aloud, for ten swings without a ball.",
          "None beyond a clear swing radius."),
    Drill("d06", "Early bump", "late_crossing", None, -1.2, -0.1, -0.6,
          "From a stop at the top, move onto the lead foot before the arms start down.",
          "Slow first; stop if the lead knee hurts."),
    Drill("d07", "Wedge under the trail toes", "trail_heel_sink", None, 0.0, 0.0, -0.3,
          "Swing half back with a thin wedge under the trail toes and feel the arch carry the load.",
          "Use a wedge that can't slide.", 12),
    Drill("d08", "Eyes closed set-up", "unsteady_at_address", None, -0.3, 0.0, 0.0,
          "Take the address, close the eyes for five quiet breaths, open them, then swing.",
          "Flat dry floor, clear space, a spotter within reach; not when dizzy or unsure on the feet.", 14),
    Drill("d09", "Light lead heel", "lead_heel_unload_pct_bw", "lead_unload", 0.0, 0.0, 0.8,
          "Let the lead heel get light, not high, as the lead arm passes parallel.",
          "Keep the ball of the foot down."),
)  # fmt: skip
DRILL = {drill.code: drill for drill in DRILLS}
