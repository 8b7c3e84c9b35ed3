"""What the codes of the tables are called on a page."""

from dashboard.text.catalogue import Words, _
from warehouse.vocabulary import (
    BETTER,
    GOES_TOGETHER,
    HARMS,
    HELPS,
    HOLDING,
    IMPROVING,
    NO_CLEAR_EFFECT,
    NOT_CLEAR,
    SLIPPING,
    TOO_FEW,
    TOO_LITTLE_DATA,
    WORSE,
)

LABELS = Words({
    IMPROVING: "Improving", SLIPPING: "Slipping", HOLDING: "No large change",
    NOT_CLEAR: "Not clear yet", TOO_FEW: "Too few sessions", BETTER: "Better", WORSE: "Worse",
    HELPS: "Helps", HARMS: "Harms", NO_CLEAR_EFFECT: "No clear effect", TOO_LITTLE_DATA: "Too little data",
    GOES_TOGETHER: "Goes together",
})  # fmt: skip
SHAPES = {HELPS: "▲", HARMS: "▽", IMPROVING: "▲", BETTER: "▲", HOLDING: "●", SLIPPING: "▽", WORSE: "▽"}

AGES = Words({
    "under_18": "Under 18 years", "18_to_39": "18 to 39 years", "40_to_59": "40 to 59 years",
    "60_and_over": "60 years and over",
})  # fmt: skip
FAMILIES = Words({
    "wedge": "Wedges", "iron": "Irons", "hybrid": "Hybrids", "wood": "Woods", "driver": "Driver",
    "putter": "Putter",
})  # fmt: skip

PHASES = Words({
    "address": "at address", "back": "going back", "top": "at the top", "down": "coming down",
    "impact": "at impact", "finish": "at the finish",
})  # fmt: skip

SENSES = Words({"good": "good sign", "fault": "not wanted", "explains": "explains what is measured"})
DIRECTIONS = Words({
    "forward": "forward", "back": "backward", "toward": "toward the target", "away": "away from the target",
    "sideways": "sideways",
})  # fmt: skip

EVENTS = Words({
    "address": "address", "takeaway": "takeaway", "mid_back": "halfway back", "top": "top",
    "mid_down": "halfway down", "impact": "impact", "finish": "finish",
})  # fmt: skip

PACES = Words({"slow": "slow", "half": "half", "full": "full"})
PARTS = Words({
    "baseline": "before any drill", "after_drill": "after a drill", "retention": "to see what stayed",
    "play": "in play",
})  # fmt: skip

FELT = Words({"1": "hard", "2": "in between", "3": "easy"})  # how practice went
GOALS = Words({
    "farther": "farther", "straighter": "straighter", "more_solid": "more solid",
    "more_often": "more often alike",
})  # fmt: skip

# What keeps a swing out of the season's answers, or makes it less sure, in words.
FLAGS = Words(
    {
        "no_metric": "no measure could be computed",
        "dropout": "samples were missing for a moment",
        "negative_load": "the plate read below zero",
        "saturated": "the plate reached its limit",
        "weight_mismatch": "the load at address does not fit the body mass given",
        "short_quiet": "the quiet stance before the swing was too short",
        "low_rate": "the plate samples too slowly for the fast parts",
        "unmarked": "some events were not marked; estimated from the plate where that can be done",
        "feet_not_found": "the left and right foot could not be told apart",
        "feet_swapped": "the two feet may be swapped",
        "sensors_filled": "dead or stuck sensors of the grid were filled in from their neighbours",
        "shares_only": "the device gave how the load was shared, not how large it was",
        "no_positions": "the device gave no pressure positions along the foot",
        "clip_not_followed": "its film could not be followed, so nothing is measured from the film",
        "clip_unsynced": (
            "nothing is marked on both film and plate, so the film has no place on the plate's clock"
        ),
        "clip_marks_disagree": "the events marked on film and plate do not agree",
        "clip_feet_disagree": "the heels in the film do not move when its sound or its marks say they should",
        "clip_strikes_unclear": "the film's sound has several clicks; which is the strike is not clear",
        "clip_stamp_unclear": "the stamp was not found on both the film and the plate",
        "clip_taken_apart": (
            "by its file's time, the film was taken before its swing or during another; with films from two "
            "phones, whose clocks differ, this can be wrong"
        ),
        "clip_films_shifted": (
            "the heels in the session's films fit the swings before or after better; they may be theirs"
        ),
        "clip_unlike_others": (
            "the heels move or lift unlike those in the session's other films; it may be another swing's film"
        ),
        "clip_heel_before_load": (
            "the film's lead heel is up before the plate shows that foot unload; nothing is measured from it"
        ),
        "clip_pace_unknown": (
            "the film may be slow motion and nothing says how fast it plays, so nothing is timed on it"
        ),
        "clip_heels_low": "the heels hardly lift, so they can't confirm where the film belongs",
        "clip_pace_impossible": "no swing is as slow or as fast as the film, so nothing is measured from it",
        "clip_feet_exchanged": "the film's feet look swapped, or it is mirrored; nothing is measured from it",
        "clip_heights_impossible": "the film shows a heel below the floor, so its heights can't be trusted",
        "practice_swing": "a practice swing, found in a recording",
        "uncertain_swing": "it may be a practice swing; a coach has not yet said",
        "not_a_swing": "a coach said that it is not a swing",
        "no_consent": "no consent covers the day",
    }
)

HANDS = Words({"right": "right", "left": "left"})
AREAS = Words({
    "lower back": "lower back", "upper back": "upper back", "neck": "neck", "hip": "hip",
    "shoulder": "shoulder", "elbow": "elbow", "wrist": "wrist", "hand": "hand",
    "knee": "knee", "ankle": "ankle", "heel": "heel", "foot": "foot", "calf": "calf",
})  # fmt: skip
PURPOSES = Words({
    "measure": "being measured on plates", "film": "being filmed at foot level",
    "keep_film": "keeping films as they were taken", "share_page": "a link to their page",
    "family_page": "a page for their family", "show_swing": "their swing shown beneath another student's",
    "academy_figures": "figures of the academy that count them in",
})  # fmt: skip

ROLES = Words({"head_coach": "head coach", "coach": "coach", "student": "student", "guardian": "guardian"})


# What a label of the season tables means to a student; nothing is claimed that the tables do not.
PLAINLY = Words(
    {
        IMPROVING: "▲ Improving: most likely more than chance, and enough to matter.",
        BETTER: "▲ Better than before: the change is larger than chance would make it.",
        HOLDING: "● No large change so far.",
        SLIPPING: "▽ Not as steady lately. A good thing to look at in your next lesson.",
        WORSE: "▽ Not as often lately. A good thing to look at in your next lesson.",
        NOT_CLEAR: "Not clear yet whether this has changed. A few more visits will tell.",
        TOO_FEW: "Too few sessions yet to tell whether this has changed.",
    }
)
# The first words of a student's own page.
VERDICTS = Words({
    IMPROVING: "You're getting better", BETTER: "You're getting better", HOLDING: "You're holding it steady",
    SLIPPING: "It was better before", WORSE: "It was better before", NOT_CLEAR: "Too soon to see a change",
    TOO_FEW: "Too soon to see a change",
})  # fmt: skip


def area_name(noted: str | None) -> str:
    """An area of the body: left knee. What is none of ours is said as it was noted."""
    if not noted:
        return _("area not named")
    side, _space, part = noted.replace("_", " ").partition(" ")
    if side in HANDS and part in AREAS:
        return _("{side} {part}").format(side=HANDS[side], part=AREAS[part])
    return AREAS.get(noted.replace("_", " "), noted.replace("_", " "))


def label(code: str) -> str:
    """What a label of the season tables is called; a code that is none of ours stays as it is."""
    return LABELS.get(code, code)


def marked(code: str) -> str:
    """A label with its shape: ▲ Improving. Better or worse is never said by colour."""
    shape = SHAPES.get(code)
    return f"{shape} {label(code)}" if shape else label(code)
