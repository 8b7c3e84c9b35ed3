"""What each role may see of each table, as the SQL of one view a table. Read by `access`."""

from functools import cache

from warehouse import consent
from warehouse.body import BODY_NOTES
from warehouse.tables import table_names
from warehouse.vocabulary import STAFF

# Tables that hold no person: open to everyone.
_OPEN = {"academy.metric", "academy.fault", "academy.drill", "academy.season"}
# Tables of the academy as a whole: for the staff only.
_STAFF_ONLY = {
    "academy.device",
    "academy.device_check",
    "academy.device_accuracy",
    "academy.parameter",
    "season.reliability",
    "season.drill_effect",
    "season.drill_group",
    "season.calibration",
    "season.self_audit",
    "season.signal_week",
}
_BY_STUDENT = {
    "academy.coaching",
    "academy.consent",
    "academy.withheld",
    "academy.session",
    "academy.swing_fault",
    "season.session_metric",
    "season.session_fault",
    "season.student_trend",
    "season.trend_line",
    "season.change_chance",
    "season.new_fault_chance",
    "season.outcome_chance",
    "season.student_outcome",
    "season.style",
    "season.student_fault_rate",
    "season.pace_ladder",
    "season.session_ball",
    "season.ball_trend",
    "season.fault_chain",
    "academy.setup_target",
    "season.eye_rate",
    "season.felt",
    "season.aim_forecast",
    "season.felt_agreement",
}
_BY_SESSION = {
    "academy.swing",
    "academy.swing_event",
    "academy.swing_metric",
    "academy.shot",
    "academy.clip_point",
    "academy.heel_seen",
    "academy.outline_rise",
    "academy.hold",
}
# For the staff: by student, and those of no student by the coach they name.
_BY_STUDENT_OR_COACH = {"academy.refusal", "season.signal", "season.data_health"}
_MAY_BE_UNSHARED = {"season.aim", "season.agreed_aim"}
# Rows made from notes: a student sees those whose note is shared.
_BY_NOTE = {"academy.note", "academy.drill_dose", "academy.steadiness"}

_VISIBLE = "student IN (SELECT student FROM visible)"
_OWN_SESSION = "session IN (SELECT session FROM academy.session WHERE " + _VISIBLE + ")"
_OWN_OR_NOBODYS = _VISIBLE + " OR (student IS NULL AND coach = (SELECT person FROM viewer))"


def view_sql(role: str, table: str, *, by_link: bool = False, all_kept: bool = False) -> str:
    """The SELECT behind `table`'s view for a viewer of this role; `by_link`: one who came by a family's link.

    `all_kept`: also what is out of use, as its consent has ended.

    The connection holds two temporary tables, `visible(student)` and `viewer(person)`. What is not named here
    is not seen.
    """
    staff, head = role in STAFF, role == "head_coach"
    used = None if all_kept else consent.in_use(table)
    rows = f"SELECT * FROM ({used})" if used else f"SELECT * FROM {table}"
    if head or table in _OPEN or (staff and table in _STAFF_ONLY):
        return rows
    if table in _BY_STUDENT:
        return f"{rows} WHERE {_VISIBLE}"
    if table in _BY_SESSION:
        return f"{rows} WHERE {_OWN_SESSION}"
    if table in _MAY_BE_UNSHARED:  # an aim may come from a note that the student may not see
        return f"{rows} WHERE {_VISIBLE}" + ("" if staff else " AND shared")
    if table in _BY_NOTE:
        # A student who signed in sees what is noted of their body, whoever marked the note; a link may be in
        # anyone's hands.
        seen = "shared" if by_link else f"(shared OR kind IN {BODY_NOTES})"
        shared = "" if staff else f" AND note IN (SELECT note FROM academy.note WHERE {seen})"
        return f"{rows} WHERE {_VISIBLE}{shared}"
    if table == "academy.band":
        return f"{rows} WHERE student IS NULL OR {_VISIBLE}"
    if table == "academy.person":
        return _person(rows)
    if staff and table == "academy.delivery":
        return f"{rows} WHERE {_OWN_SESSION}"
    if staff and table in _BY_STUDENT_OR_COACH:
        return f"{rows} WHERE {_OWN_OR_NOBODYS}"
    if staff and table == "season.signal_evidence":
        return f"{rows} WHERE signal IN (SELECT signal FROM season.signal WHERE {_OWN_OR_NOBODYS})"
    if staff and table == "season.ball_link":
        return f"{rows} WHERE {_VISIBLE}"
    if staff and table == "season.eye_plate":
        return f"{rows} WHERE coach IS NULL OR coach = (SELECT person FROM viewer)"
    if staff and table == "season.coach_gain":
        return (
            "SELECT * REPLACE (CASE WHEN coach = (SELECT person FROM viewer) THEN coach END AS coach) "
            f"FROM {table}"
        )
    return f"{rows} WHERE false"


def _person(rows: str) -> str:
    """Oneself, and students the viewer may see, whole; the staff and those students' guardians by name."""
    return (
        f"{rows} WHERE person IN (SELECT student FROM visible) OR person = (SELECT person FROM viewer) "
        "UNION ALL SELECT * REPLACE (NULL::DATE AS born, NULL::VARCHAR AS handed, "
        "NULL::DOUBLE AS foot_length_mm, NULL::VARCHAR AS level, "
        "list_intersect(guardian_of, (SELECT list(student) FROM visible)) AS guardian_of) "
        "FROM academy.person WHERE person NOT IN (SELECT student FROM visible) "
        "AND person <> (SELECT person FROM viewer) AND (role IN ('coach', 'head_coach') "
        "OR len(list_intersect(guardian_of, (SELECT list(student) FROM visible))) > 0)"
    )


@cache
def views(role: str, **more: bool) -> dict[str, str]:
    """View name → SELECT, for every table of the warehouse; `more` as of `view_sql`."""
    return {name.split(".")[1]: view_sql(role, name, **more) for name in table_names()}
