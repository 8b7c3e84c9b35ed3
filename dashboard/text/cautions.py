"""What a page says wherever its work can hurt someone; marked, so whoever shows it calls `_`."""

from dashboard.text.catalogue import mark

DISCOMFORT = mark(
    "Stop any drill that hurts or loads this area. Pain at night, pain that lasts, numbness, swelling or a "
    "joint that locks: stop playing and see a physician. This page does not diagnose: see a physician or "
    "physiotherapist. Pain stays first on the page until a note says that it is over."
)

LASTING = mark("This has lasted for more than three weeks: see a physician before any more swings.")

EYES_CLOSED = mark(
    "With eyes closed: a flat, dry floor, clear space, someone within reach, and stop at the first step. Not "
    "when dizzy, recently injured or unsure on your feet."
)

FALLS_QUESTION = mark("Have you fallen in the past year?")

FALLS_WHY = mark(
    "A fall is any slip, trip or fall to the ground in everyday life; a tumble in sport does not count. "
    "Until the answer is no, nothing is done with eyes closed. It is asked from age 60, before any work with "
    "eyes closed, and again after a year."
)

FELL = mark(
    "Nothing with eyes closed, and balance work only beside something to hold. What caused it is for a "
    "physician or physiotherapist to say."
)

BALANCE = mark(
    "Balance work: a flat, dry floor, clear space and someone within reach. Not when dizzy, recently injured "
    "or unsure on your feet."
)

BUILD_UP = mark(
    "Jumps, heavy clubs and full force: warm up, build up over weeks, and stop when something hurts."
)

QUIET_WORK = {
    "seated": mark("Seated: watch the films of the last visit, and say where the weight is at each moment."),
    "hands": mark("Hands only, seated: grip, and how the clubface points, with the club across the lap."),
    "short_game": mark("Short game: putts and the shortest chips, as long as standing does not hurt."),
    "talk": mark("Talk: since when it hurts and who has seen it, the goal, and the plan for the next weeks."),
}

IF_IT_HURTS = mark(
    "If anything hurts, stop and tell your coach. This page can't say what it is; a physician or "
    "physiotherapist can."
)

CLEAR_SPACE = mark("Leave clear room for the club and let nobody stand in it. Plates are easy to trip over.")

SWING_LIMITS = mark(
    "The academy sets these limits for players who are still growing. They come from coaching, not from "
    "medicine. What a physician or local rules say comes first."
)

GROWING = mark(
    "If a growing player has pain, in the heels or knees for example, see a physician. Rest days count too."
)

MINORS = mark(
    "A guardian must agree before a young player is filmed or measured. Local law and the academy's rules "
    "for safeguarding come first. Film the feet only, unless agreed otherwise. Nothing here is public, "
    "ranked, or shared by link without consent."
)

OUT_OF_USE = {
    "measure": mark(
        "No consent to measure holds today. Samples and the numbers made from them are not shown until a new "
        "consent has been loaded."
    ),
    "film": mark(
        "No consent to film holds today. Films, and what was marked in them, are not shown until a new "
        "consent has been loaded."
    ),
    "family_page": mark(
        "No consent to the family page holds today. Guardians and links don't see it; don't hand it out."
    ),
    "academy_figures": mark("These numbers are left out of the figures on the academy as a whole."),
}

BANDS_ARE_CUSTOM = mark(
    "Targets are coaching guidance, set by the academy; they are not medicine or law. "
    "Local rules and licensed practice come first."
)

CAMERA = (
    mark("Low: the lens at ankle height, a hand's width above the ground, on a stand or a bag."),
    mark("From the front, square to the toes, or from behind, along the target line; some three metres off."),
    mark("Both shoes fully in the picture, with a shoe's length of room around them. Do not pan."),
    mark("At least 60 pictures a second, and 120 or 240 where the phone can; bright light, plain ground."),
    mark("Nobody stands where the club or the ball may go, not even to hold the phone."),
)  # fmt: skip
