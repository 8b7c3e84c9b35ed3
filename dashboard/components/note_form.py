"""The note form in the browser: choices and words stay on the device until the server has kept them."""

from dashboard.components import Component
from dashboard.text.catalogue import Words

WORDS = Words({
    "saw": "What you saw", "other_faults": "Other faults",
    "grade": "How strongly", "not_there": "looked, not there",
    "little": "a little", "clear": "clearly", "strong": "strongly",
    "drill": "Drill", "dose": "Dose", "unit": "Counted in", "reps": "times", "minutes": "minutes",
    "pace": "Pace", "slow": "slow", "half": "half", "full": "full",
    "place": "Where", "lesson": "in the lesson", "home": "at home",
    "plan": "Plan, in your words", "shared": "The student sees the drill and the plan",
    "hurts": "Something hurts, or no longer does", "area": "Where it hurts", "side": "Which side",
    "lead": "lead", "trail": "trail", "both": "both", "hurts_words": "What the student says",
    "over": "No longer hurts",
    "falls": "Falls in the past year", "fell": "Have you fallen in the past year?",
    "signs": "Seen by eye alone", "sign": "What no plate measures",
    "nudge_check": "Nudge check",
    "nudge_steps": "In the set-up, first with eyes open, then closed. Without a warning, one light touch at "
                   "the hips in each direction; the other hand is ready to hold. A step is balance lost.",
    "forward": "Forward", "back": "Backward", "toward": "Toward the target", "away": "Away from the target",
    "held": "held", "lost": "lost", "eyes": "Eyes", "open": "open (the easier step)",
    "closed": "closed (the check)", "announced": "Announced", "no": "no", "yes": "yes",
    "stood_by": "Who stood within reach",
    "felt": "What the player felt", "felt_drill": "After the drill", "no_drill": "No drill",
    "felt_swing": "Or in one swing of the session of {day}: its number",
    "overrule": "I overrule, as head coach, what age or pain rules out here",
    "practice": "Home practice the student reports", "practised": "Practised", "minutes_done": "Minutes",
    "practice_pace": "At pace", "practice_reps": "Or times", "practice_felt": "It felt",
    "goal": "What the player came for", "goal_words": "In their own words", "goal_nearest": "Nearest to",
    "agreed_aim": "An aim you both agree on", "aim_measure": "What should get better",
    "aim_with": "Together with", "no_aim": "No aim", "aim_alone": "Nothing more",
    "aim_due": "By",
    "aim_size": "How much change in the first would matter (empty: the smallest worthwhile change)",
    "own_band": "A target of the student's own", "measure": "Measure", "no_band": "No own target",
    "from": "From", "to": "To",
    "keep": "Save this note", "sending": "Sending…",
    "draft": "Not saved yet. What you wrote is still on this device.",
    "offline": "Not saved yet: no connection. What you wrote stays on this device, and is sent from this "
               "page once there is one.",
})  # fmt: skip
show = Component("note_form", WORDS, sends="note").show
