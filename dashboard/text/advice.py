"""What a coach says of each fault: what it costs, what to feel instead, how a phone film shows it, a drill.

By the fault's code; a fault that an academy adds gives its own words in academy.toml. What to feel is a heel
that gets light, never a push. All of it is common practice without a published source; drills are done slowly
first, and never against pain.
"""

from dataclasses import dataclass

from dashboard.text.catalogue import mark


@dataclass(frozen=True)
class Advice:
    """Of one fault; messages of the catalogue."""

    costs: str
    feel: str
    on_film: str
    drill: str


_ONE_AT_A_TIME = mark(
    "Without a club, arms crossed: turn back and let the lead heel get light, turn through and let the trail "
    "heel get light. Ten slow turns, only one light heel at a time."
)
_STEP_IN = mark(
    "Feet together, half pace: swing back, and let the lead foot step to its place while the club is still "
    "going back; then swing through."
)

ADVICE: dict[str, Advice] = {
    "heels_at_address": Advice(
        mark(
            "From the heels there is nowhere to turn to: the feet slide to the toes later, and the strike "
            "wanders."
        ),
        mark("The laces carry you. The heels touch the ground and could lift a little."),
        mark(
            "Film from behind along the target line: the hips hang back behind the heels, the toes look "
            "light."
        ),
        mark(
            "Rock slowly from heels to toes three times, smaller each time, stop where it is quiet, and set"
            " up there."
        ),
    ),
    "toes_at_address": Advice(
        mark(
            "From the toes the heels cannot get light, so the body stands up or falls toward the ball to "
            "keep balance."
        ),
        mark("The whole sole is down, the weight under the laces."),
        mark(
            "Film from behind along the target line: the knees are over the toes, and daylight shows under "
            "a heel."
        ),
        mark(
            "Rock slowly from toes to heels three times, smaller each time, stop where it is quiet, and set"
            " up there."
        ),
    ),
    "uneven_at_address": Advice(
        mark(
            "A side that is loaded from the start has to be left in a hurry; the bottom of the swing moves."
        ),
        mark("As if on two scales that show the same."),
        mark("Film from the front: the hips are nearer to one foot, one leg stands straighter."),
        mark("March in place four steps, let both feet settle, and only then set the club behind the ball."),
    ),
    "unsteady_at_address": Advice(
        mark("A start from a wandering place makes every swing a different one."),
        mark("The feet go quiet and wide, the breath goes out."),
        mark("Film from behind: the hips or the cap move against the background while the club still rests."),
        mark(
            "Take your set-up, breathe out twice with your eyes open and someone near, and start at the end"
            " of the second."
        ),
    ),
    "rocking_start": Advice(
        mark(
            "The swing begins while the feet are still on their way, so the first move starts from another "
            "place each time."
        ),
        mark("The soles stay awake and still; the club moves first."),
        mark(
            "Film at foot level: toes or heels lift and drop in the last half second before the club moves."
        ),
        mark("Tap both heels lightly twice, be still for one count, and start on the next."),
    ),
    "stays_centred": Advice(
        mark(
            "With nothing on the trail foot there is nothing to come back from; the arms do the work alone."
        ),
        mark("The lead heel gets light and the trail foot fills by itself."),
        mark(
            "Film from the front: halfway back the lead heel has not moved, and the chest is still between "
            "the feet."
        ),
        mark(
            "Turn back without a club until the lead heel is light enough to slide a card under it; hold "
            "for two counts. Ten times."
        ),
    ),
    "far_trail": Advice(
        mark("Whoever is all on the trail foot comes back late or with a shove."),
        mark("The lead toes keep a hand on the ground."),
        mark("Film from the front: halfway back the trail hip has gone outside the trail foot."),
        mark(
            "Half swings with the feet a shoe's width apart: what slides too far loses balance at once. "
            "Slowly, clear ground."
        ),
    ),
    "trail_heel_sink": Advice(
        mark("Deep in the trail heel there is no quick way back, so the load crosses late."),
        mark("The whole trail sole stays down: ball and heel share the load."),
        mark("Film at foot level: at the top the trail toes lift or wriggle in the shoe."),
        mark(
            "Half swings back with the trail toes gently gripping the ground; stop at the top and see that "
            "toes and heel are both down."
        ),
    ),
    "lead_heel_heavy": Advice(
        mark("A heavy lead heel stops the turn, and there is nothing to step back onto coming down."),
        mark("The lead heel gets light, not high, as the lead arm reaches level."),
        mark(
            "Film at foot level: halfway back the heel's edge presses into the ground as at set-up, no "
            "light below it."
        ),
        mark(
            "Slow half swings back with a card under the lead heel: as the lead arm reaches level, a "
            "partner can pull it out."
        ),
    ),
    "heels_together_back": Advice(
        mark("Both feet on the heels is falling backward: the body saves itself to the toes coming down."),
        mark("Lead pressure goes to the ball of the foot while the trail foot stays where it is."),
        mark("Film from behind along the target line: both toe caps rise together as the club goes back."),
        _ONE_AT_A_TIME,
    ),
    "toes_together_back": Advice(
        mark("Both feet on the toes pulls the body toward the ball before the downswing has begun."),
        mark("The trail foot keeps its heel down while the lead heel gets light."),
        mark("Film from behind along the target line: both heels rise together as the club goes back."),
        _ONE_AT_A_TIME,
    ),
    "feet_alike_back": Advice(
        mark("Feet that do the same cannot turn the body; it sways as one block."),
        mark("One heel gets light while the other stays down."),
        mark("Film at foot level from behind: look at the two heels halfway back; they move the same way."),
        _ONE_AT_A_TIME,
    ),
    "lead_heel_high": Advice(
        mark("What has gone far up has to come far down, and often comes down late."),
        mark("Light is enough: a card fits under the heel, a ball does not."),
        mark("Film at foot level: at the top a ball would fit under the lead heel."),
        mark(
            "Slow swings back with a flat sponge under the lead heel: let it spring open, but stay in touch"
            " with it."
        ),
    ),
    "no_recentre": Advice(
        mark("Still going back at the top, the body has to rush to get to the ball in time."),
        mark("The lead heel is already on its way down while the club is still going back."),
        mark(
            "Film from the front: the belt buckle is still moving away from the target when the club stops."
        ),
        _STEP_IN,
    ),
    "late_back": Advice(
        mark("Coming back after the club has started down, the load arrives after the strike."),
        mark("The way back begins before the club is up."),
        mark("Film from the front, slowly: the club is on its way down while the hips are still going back."),
        _STEP_IN,
    ),
    "reverse_load": Advice(
        mark(
            "Weight on the lead foot at the top falls back through the strike: thin and heavy shots by turns."
        ),
        mark("The lead heel gets light going back; the trail foot holds you at the top."),
        mark("Film from the front: at the top the spine leans toward the target."),
        mark(
            "Turn back without a club and lift the lead foot for one count at the top, a hand on a rail; "
            "then put it down and turn through."
        ),
    ),
    "trail_push": Advice(
        mark(
            "A push from the trail foot sends the hips to the target ahead of the turn, and the drift goes "
            "on through the strike."
        ),
        mark("Let the trail heel get light; leave that side, do not push off it."),
        mark(
            "Film from the front: the trail knee straightens at the start down and the hips jump toward the"
            " target."
        ),
        mark(
            "From a halfway-back stop, let the trail heel get light first and then let the club drop. Half "
            "pace, ten times."
        ),
    ),
    "late_crossing": Advice(
        mark(
            "Load that arrives with the ball comes too late to turn on: weak strikes, and the body hangs "
            "back."
        ),
        mark("The lead heel is down, and full, before the arms fall."),
        mark(
            "Film at foot level: the lead heel is still up, or just landing, when the hands are halfway down."
        ),
        _STEP_IN,
    ),
    "little_lead_load": Advice(
        mark("Without load on the lead foot halfway down, the body has nothing to turn on."),
        mark("Stand in the lead shoe; the trail heel gets light by itself."),
        mark("Film from the front: halfway down the belt buckle is still behind the middle of the stance."),
        mark(
            "From the top let the trail heel get light until only its toes help, stop halfway down, count "
            "to two, swing through. Half pace."
        ),
    ),
    "early_shove": Advice(
        mark(
            "Everything on the lead foot so early leaves nothing for the strike; the body stands up or "
            "slides past the ball."
        ),
        mark("Arrive on the lead foot like stepping onto a scale you do not want to wake."),
        mark("Film from the front: halfway down the lead hip is already outside the lead foot."),
        mark(
            "Slow swings with a soft towel roll beside the lead hip, a hand away: turn past it without "
            "squashing it."
        ),
    ),
    "toes_together_down": Advice(
        mark(
            "Both feet on the toes brings the body toward the ball; the arms run out of room and the turn "
            "stops."
        ),
        mark("The lead heel goes down as the trail heel gets light."),
        mark(
            "Film from behind along the target line: both heels rise together and the hips come toward the "
            "ball."
        ),
        _ONE_AT_A_TIME,
    ),
    "heels_together_down": Advice(
        mark("Both feet on the heels is falling away from the ball: thin strikes off the toe of the club."),
        mark("The trail heel gets light while the lead heel takes you in."),
        mark(
            "Film from behind along the target line: both toe caps lift and the hips go back from the ball."
        ),
        _ONE_AT_A_TIME,
    ),
    "feet_alike_down": Advice(
        mark("Feet that do the same coming down slide the body instead of turning it."),
        mark("Lead heel down, trail heel light: one after the other."),
        mark("Film at foot level from behind: between top and strike the two heels move the same way."),
        _ONE_AT_A_TIME,
    ),
    "heel_order": Advice(
        mark("Both heels in the air leaves nothing to turn on: the body slides until one of them lands."),
        mark("Lead heel down, then trail heel light. Say it: down, light."),
        mark(
            "Film at foot level: find the frame in which the trail heel leaves the ground; the lead heel is"
            " not down yet."
        ),
        mark("Three slow counts without a ball: top, lead heel down, trail heel light. Then half pace."),
    ),
    "trail_heel_stays": Advice(
        mark("A trail heel that keeps its load holds the hips back; the arms overtake them."),
        mark("The trail heel gets light, as if the shoe were being lifted by its heel tab."),
        mark("Film at foot level from behind: at the strike the sole of the trail shoe is still flat."),
        mark(
            "Slow swings through with a tee laid behind the trail heel: at the finish the sole shows and "
            "the tee is untouched."
        ),
    ),
    "target_drift": Advice(
        mark("A body that is still moving at the strike moves the bottom of the swing with it."),
        mark("Arrive early, then turn on the lead heel; the trail heel is light."),
        mark(
            "Film from the front: between halfway down and the strike the lead hip keeps moving toward the "
            "target."
        ),
        mark(
            "Swing at half pace to a stop just after the strike and hold for two counts; whoever must step "
            "forward has drifted."
        ),
    ),
    "trail_heel_down": Advice(
        mark("Load under the trail heel at the strike is load the ball does not get."),
        mark("The trail heel is light before the ball is struck; nothing pushes it."),
        mark("Film at foot level from behind: stop at the strike; the trail heel touches the ground."),
        mark(
            "Slow swings that stop at the strike: trail heel light, only the toes touching. Ten times "
            "without a ball."
        ),
    ),
}
