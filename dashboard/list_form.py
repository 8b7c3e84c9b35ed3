"""A list of students, typed, pasted or dropped; what was understood shows before anything is saved."""

from collections.abc import Collection, Sequence
from datetime import date

import polars as pl

from dashboard import elements as st
from dashboard import layout, spreadsheet, student_list
from dashboard.student_list import COLUMNS, Columns, Student
from dashboard.text.catalogue import _
from dashboard.text.labels import HANDS
from dashboard.text.numbers import count
from warehouse.errors import CallError

EXAMPLE = ("name", "born", "handed")  # columns of a list


def ask(staff: Sequence[str], today: date, taken: Collection[str] = ()) -> tuple[list[Student], str]:
    """Students as they are typed, pasted or dropped, with a preview; and what the list leaves open, in words.

    `staff` are the coaches it may name, `taken` the names that are on the roster already.
    """
    pasted = st.text_area(
        _("Type one name per line, or paste rows from a spreadsheet"),
        key="list-typed",
        placeholder="\t".join(COLUMNS[code] for code in EXAMPLE),
    )
    file = st.file_uploader(
        _("Or drop a spreadsheet (csv, xlsx, ods)"), type=list(spreadsheet.ENDINGS), key="list-file"
    )
    try:
        rows = spreadsheet.read_file(file.name, file.getvalue()) if file else spreadsheet.read_text(pasted)
    except CallError as error:
        st.error(str(error))
        return [], ""
    if not rows:
        return [], ""
    columns = _columns(student_list.recognise(rows))
    day_first, open_question = None, ""
    if student_list.needs_day_order(rows, columns):
        order = {
            "": _("Choose …"),
            "day": _("day first (3 April: 03/04)"),
            "month": _("month first (3 April: 04/03)"),
        }
        said = st.selectbox(
            _("Dates in this list have the"), list(order), format_func=order.__getitem__, key="list-order"
        )
        day_first = None if said == "" else said == "day"
        open_question = "" if said else _("whether the day or the month comes first in the list's dates")
    found = student_list.students(rows, columns, today, day_first=day_first, coaches=staff, taken=taken)
    _preview(found)
    return found, open_question


def _columns(found: Columns) -> Columns:
    """What each column was taken for, to be corrected."""
    if len(found.ours) == 1:
        return found
    words = {"": _("not used"), **COLUMNS}
    codes, ours = list(words), []
    with st.expander(_("Columns as recognised"), expanded=found.header is None):
        for i, code in enumerate(found.ours):
            head = found.header[i] if found.header else ""
            chosen = st.selectbox(
                head or _("Column {n}").format(n=i + 1), codes, index=codes.index(code),
                format_func=words.__getitem__, key=f"column-{i}-{head}-{code}",
            )  # fmt: skip
            ours.append(str(chosen))
    return Columns(tuple(ours), found.header)


def _preview(found: Sequence[Student]) -> None:
    odd = [student for student in found if student.oddities]
    st.write(
        _("{students}, {odd} with something odd.").format(students=count(len(found), "student"), odd=len(odd))
        if odd
        else _("{students}.").format(students=count(len(found), "student"))
    )
    shown = pl.DataFrame(
        {
            _("Name"): [s.name for s in found],
            _("Odd"): ["; ".join(s.oddities) for s in found],
            _("Birth date"): [s.born for s in found],
            _("Handed"): [HANDS.get(s.handed, "") if s.handed else "" for s in found],
            _("Foot, mm"): [s.foot_length_mm for s in found],
            _("Level"): [s.level for s in found],
            _("Coach"): [s.coach for s in found],
            _("Guardian"): [s.guardian for s in found],
        },
        schema_overrides={_("Birth date"): pl.Date, _("Foot, mm"): pl.Float64, _("Level"): pl.String,
                          _("Coach"): pl.String, _("Guardian"): pl.String},
    )  # fmt: skip
    filled = [
        name for name in shown.columns if shown[name].cast(pl.String).fill_null("").str.len_chars().sum()
    ]
    layout.table(shown.select(filled))
