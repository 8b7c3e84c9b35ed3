"""The words that stand in delivered files: the project's public names for roles, parts, events, faults."""

ROLES = ("student", "coach", "head_coach", "guardian")
HANDS = ("right", "left")
PURPOSES = ("measure", "film", "keep_film", "share_page")
ROSTER_FILES = ("academy.toml", "people.csv", "drills.csv", "seasons.csv", "coaching.csv", "consents.csv")
ARCHIVE_ENDINGS = (".zip", ".tar", ".tar.gz", ".tgz")
PARTS = ("baseline", "after_drill", "retention", "play")
PACES = ("slow", "half", "full")
EYES = ("open", "closed")
EVENTS = ("address", "takeaway", "mid_back", "top", "mid_down", "impact", "finish")
CLOCKS = ("plate", "clip")
VIEWS = ("face_on", "down_line")
POINTS = ("lead_heel", "lead_toe", "trail_heel", "trail_toe")
NOTE_KINDS = (
    "saw",
    "drill",
    "steadiness",
    "plan",
    "discomfort",
    "discomfort_over",
    "talked",
    "practice",
    "target",
)
PLACES = ("lesson", "home")
DOSE_UNITS = ("reps", "minutes")
DIRECTIONS = ("forward", "back", "sideways")
FAULTS = (
    "heels_at_address",
    "toes_at_address",
    "uneven_at_address",
    "unsteady_at_address",
    "rocking_start",
    "stays_centred",
    "trail_heel_sink",
    "lead_heel_heavy",
    "heels_together_back",
    "lead_heel_high",
    "no_recentre",
    "reverse_load",
    "trail_push",
    "late_crossing",
    "little_lead_load",
    "toes_together_down",
    "target_drift",
    "trail_heel_down",
)
