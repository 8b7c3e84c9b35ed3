"""Why something stays out of the answers, in words: marks on swings, and refusals of files and lines."""

from dashboard.wording import FLAGS

USABLE = "usable"
REFUSALS = {
    "bad_device": "the device is set up wrongly in academy.toml",
    "bad_name": "a name has letters that names may not have",
    "bad_number": "a number could not be read",
    "bad_value": "a value could not be read",
    "binary_file": "a file that should be text is not",
    "clock_runs_back": "the clock runs backward",
    "column_twice": "a column stands twice",
    "cop_off_platform": "the pressure lies off the plate",
    "cut_short": "the file is cut short",
    "empty_file": "the file is empty",
    "empty_value": "a value is missing",
    "event_twice": "an event is marked twice",
    "events_out_of_order": "the events are out of order",
    "few_platforms": "the recording has too few plates",
    "heel_over_foot": "the heel carries more than its foot",
    "key_twice": "a line stands twice",
    "missing_column": "a column is missing",
    "no_consent": "no consent to measure covers the day",
    "no_handedness": "the student's hand is not known",
    "no_offset": "the time has no time zone",
    "no_rate": "the sampling rate is not known",
    "no_samples": "there are no samples",
    "no_session_toml": "the file session.toml is missing",
    "not_computed": "no measure could be computed",
    "out_of_range": "a value is out of range",
    "point_twice": "a marked point stands twice",
    "rate": "the sampling rate does not fit",
    "same_time_twice": "two samples have the same time",
    "settings": "the settings in academy.toml do not fit",
    "shot_twice": "a ball result stands twice",
    "unit": "a unit is not known",
    "unknown_column": "a column is not known",
    "unknown_device": "the device is not in academy.toml",
    "unknown_drill": "the drill is not in drills.csv",
    "unknown_file": "a file of unknown kind",
    "unknown_person": "a person is not in people.csv",
    "unknown_session": "the session is not known",
    "unknown_value": "a word is not among those allowed",
    "unmatched_swing": "a swing number fits no swing",
    "unreadable": "the file could not be read",
    "unreadable_toml": "the file session.toml could not be read",
}


def reason(code: str) -> str:
    """A mark's or a refusal's code in words."""
    return FLAGS.get(code) or REFUSALS.get(code) or code.replace("_", " ")
