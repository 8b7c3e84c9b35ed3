"""What every wing shares: the codes in delivered files and in the tables, and the small rules about them."""

import re
import unicodedata
from datetime import date
from enum import StrEnum

STAFF = ("head_coach", "coach")
FAMILY = ("student", "guardian")
ROLES = ("student", "coach", "head_coach", "guardian")
HANDS = ("right", "left")
PURPOSES = (
    "measure", "film", "keep_film", "share_page", "family_page", "show_swing", "academy_figures",
)  # fmt: skip
ROSTER_FILES = ("academy.toml", "people.csv", "drills.csv", "seasons.csv", "coaching.csv", "consents.csv")
DEVICE_CHECKS = "device_checks.csv"  # read as a roster file is, and any coach may deliver it
MOST_FILES, MOST_DEEP = 20_000, 12  # of a delivered folder or archive; folders within one another
ARCHIVE_ENDINGS = (".zip", ".tar", ".tar.gz", ".tgz")
PHOTO_ENDINGS = (
    ".jpg", ".jpeg", ".png", ".heic", ".heif", ".gif", ".webp", ".tif", ".tiff", ".bmp", ".raw", ".dng",
)  # fmt: skip
FILM_ENDINGS = (".mp4", ".mov", ".m4v", ".webm")
PARTS = ("baseline", "after_drill", "retention", "play")
PACES = ("slow", "half", "full")
EYES = ("open", "closed")
STEADY_STANDS = 5  # after rocking, before they give a set-up target of a student's own
PAPERS = ("A4", "Letter")  # sizes of a PDF's sheets; academy.toml chooses
EYES_CLOSED_FROM_AGE = 14  # years, where academy.toml sets no other; common practice, no source
YOUNG_FULL_SWINGS_A_DAY, YOUNG_FULL_SWINGS_A_WEEK = 100, 300
"""For players who are still growing, where academy.toml sets no others; common practice, no source: published
limits are of other sports."""
DEVICE_KINDS = ("pressure_mat", "force_plates", "insoles", "sensor_grid")
DEVICE_SIDES = ("whole", "left", "right")
DRIFTS, JUMPED, OFF, STEADY = "drifts", "jumped", "off", "steady"  # what known weights say of a device
TOLERANCE_PCT = 1.0
"""How far from a known weight a device may read; common practice, no source."""
SAMPLE_COLUMNS = (
    "lead_n", "trail_n", "lead_along_pct", "trail_along_pct", "lead_across_mm", "trail_across_mm",
    "lead_heel_n", "trail_heel_n", "cop_x_mm", "cop_y_mm",
)  # fmt: skip
PLATE_COLUMNS = ("swing_no", "t_s", *SAMPLE_COLUMNS)
CLUB_FAMILIES = ("putter", "wedge", "iron", "hybrid", "wood", "driver")
LONGEST_CLUBS = ("wood", "driver")
LIFTED_PCT_BW, STRUCK_FROM_PCT = 5.0, 50.0
"""A fast swing with one of the longest clubs may leave the lead foot off the ground: under this load after
impact, over this lead share at impact. Common practice, no source; it is described and is no fault."""
EVENTS = ("address", "takeaway", "mid_back", "top", "mid_down", "impact", "finish")
CLOCKS = ("plate", "clip")
FEET = ("lead", "trail")
HEELS = ("down", "up")
HEEL_TOLD_BY = ("eye", "points")
OUTLINE_REFUSALS = (
    "from_front", "heel_hidden", "no_contrast", "out_of_picture", "moved", "cut", "shoe_lost", "no_scale",
)  # fmt: skip
"""Why a shoe without tape is not followed by its outline."""
SHOE_OVER_FOOT_MM = 25.0
"""How much longer a shoe is than the foot in it, where only the foot is known; common practice, no source."""
VIEWS = ("face_on", "down_line")
CLIP_SYNCS = ("stamp",)
OFFSET_SOURCES = ("stated", "by_hand", "marked", "heard", "stamp")
POINTS = ("lead_heel", "lead_toe", "trail_heel", "trail_toe")
NOTE_KINDS = (
    "saw", "drill", "steadiness", "plan", "discomfort", "discomfort_over", "falls", "talked", "practice",
    "target", "felt", "goal", "reference", "reference_over", "agreed_aim", "swing_kind", "swing_drill",
    "swing_event", "swing_film",
)  # fmt: skip
CORRECTIONS = NOTE_KINDS[-4:]  # of a swing that is filed already
SWING_KIND, SWING_DRILL, SWING_EVENT, SWING_FILM = CORRECTIONS
GOALS = ("farther", "straighter", "more_solid", "more_often")
PLACES = ("lesson", "home")
DOSE_UNITS = ("reps", "minutes")
DIRECTIONS = ("forward", "back", "toward", "away", "sideways")  # toward and away from the target

SWING, PRACTICE_SWING, UNCERTAIN_SWING, NOT_A_SWING = SWING_KINDS = (
    "swing", "practice_swing", "uncertain_swing", "not_a_swing",
)  # fmt: skip
LEFT_OUT = SWING_KINDS[1:]  # what is cut from a recording and counts as no swing; a flag of the same name

# Labels of the season tables.
IMPROVING, SLIPPING, HOLDING = "improving", "slipping", "holding"
BETTER, WORSE = "better", "worse"
NEW_FAULT = "new_fault"
# Kinds of claim in season.self_audit, with new faults.
CHANGE, NEXT_VISIT, DRILL_HELPS, DRILL_NOT_CLEAR, AIM_REACHED = (
    "change", "next_visit", "drill_helps", "drill_not_clear", "aim_reached",
)  # fmt: skip
MOST_KINDRED, LONGEST_AIM_DAYS = 6, 366  # of an agreed aim
AGREED_SIGNALS = AGREED_MISSED, AGREED_SILENT, AGREED_DUE, AGREED_REACHED = (
    "agreed_missed", "agreed_silent", "agreed_due", "agreed_reached",
)  # fmt: skip
REACHED, NOT_YET, NOT_REACHED, TOO_SOON = "reached", "not_yet", "not_reached", "too_soon"  # of agreed aims
NOT_CLEAR, TOO_FEW = "not_clear", "too_few"
# A question between two drills that random draws settle: students it takes, and when the answer is looked at.
DRAW_STUDENTS, DRAW_LOOKS = 40, (0.5, 0.75, 1.0)
HELPS, HARMS, NO_CLEAR_EFFECT, TOO_LITTLE_DATA = "helps", "harms", "no_clear_effect", "too_little_data"
KEEP, CHANGE, STOP, TRY = DRILL_ADVICE = ("keep", "change", "stop", "try")
GOES_TOGETHER = "goes_together"
SELDOM = 0.20  # of swings: a fault under this rate is not counted as one the student has
_AGE_GROUPS = {"under_18": 17, "18_to_39": 39, "40_to_59": 59, "60_and_over": 200}  # code: oldest, years
AGE_GROUPS = tuple(_AGE_GROUPS)


class Outcome(StrEnum):
    """What a season is asked of a metric beside its level."""

    CONSISTENCY = "consistency"
    KEEPING = "keeping"
    TRANSFER_PACE = "transfer_pace"
    TRANSFER_CLUB = "transfer_club"


def age_group(years: int | None) -> str | None:
    """The group of an age in full years; null when the age is not known."""
    if years is None:
        return None
    return next(group for group, oldest in _AGE_GROUPS.items() if years <= oldest)


def bare(text: str) -> str:
    """Text without case and accents."""
    folded = unicodedata.normalize("NFKD", text).casefold()
    return "".join(letter for letter in folded if not unicodedata.combining(letter))


def words(text: str) -> frozenset[str]:
    """The words of a name or text in any order, without case and accents."""
    return frozenset(re.findall(r"[^\W_]+", bare(text)))


def is_photo(name: str) -> bool:
    """Whether a file is a photo, by its ending."""
    return name.lower().endswith(PHOTO_ENDINGS)


def is_film(name: str) -> bool:
    """Whether a file is a film, by its ending."""
    return name.lower().endswith(FILM_ENDINGS)


def age(born: date | None, on: date) -> int | None:
    """Age on a day in full years; null when the birth date is not known."""
    return None if born is None else on.year - born.year - ((on.month, on.day) < (born.month, born.day))


def is_minor(born: date | None, on: date, minor_until_age: int) -> bool:
    """Under age on a day, by the academy's own age; unknown birth dates count as under age."""
    years = age(born, on)
    return years is None or years < minor_until_age


def written_names() -> list[str]:
    """Every name a plate column may have: ours, and with left and right for lead and trail."""
    sided = [
        f"{side}_{name.removeprefix('lead_')}"
        for name in PLATE_COLUMNS
        if name.startswith("lead_")
        for side in ("left", "right")
    ]
    return [*PLATE_COLUMNS, *sided]
