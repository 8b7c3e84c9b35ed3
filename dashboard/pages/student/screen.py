"""Student: one student's season, faults, a session's swings, what was done and noted."""

from dataclasses import replace

from dashboard import agreed_aims, goal, layout, navigation, safety
from dashboard import elements as st
from dashboard.pages.student import content, films, heels_seen, outcomes, outlines, rights, swings
from dashboard.pages.student.swings import SwingChoice
from dashboard.queries import people, sessions
from dashboard.section import Section
from dashboard.student_season import StudentSeason
from dashboard.text.catalogue import _
from warehouse.access import Reader

ALL, NOTHING = "all", "nothing"


def show(reader: Reader) -> None:
    """The page."""
    person = layout.student(reader, "Student")
    st.title(person["name"], anchor=False)
    chosen = StudentSeason(reader, person)
    layout.aside(content.about(chosen))
    for said in safety.out_of_use(reader, chosen.student):
        layout.aside(said)
    wanted = goal.goal_sentence(reader, chosen.student, staff=True)
    st.write(wanted or _("No goal in the player's own words yet; write it down with a note."))
    layout.discomfort(reader, chosen.student)
    for sentence in safety.swing_sentences(safety.swing_load(reader, person)):
        layout.aside(sentence)
    with st.container(horizontal=True):
        navigation.link("lesson", _("Lesson sheet →"), student=chosen.student)
        navigation.link("swings", _("Every swing in a table →"), student=chosen.student)
        navigation.link("session", _("New session →"), student=chosen.student)
        navigation.link("notes", _("Write a note →"), student=chosen.student)
        navigation.link("film", _("Mark a film →"), student=chosen.student)
    with layout.part():
        chosen = _choice(chosen, content.seasons(chosen))
    aims = agreed_aims.sections(chosen)
    if aims:
        with layout.part(_("Agreed aims")):
            for aim in aims:
                layout.section(replace(aim, table=None))
                if aim.table is not None:
                    layout.table(*aim.table)
            layout.aside(_(agreed_aims.SURE))
    if chosen.season:
        _measured(chosen)
    else:
        films.of_others(reader, chosen.student, "", [])
    _observed(chosen)
    by_eye = heels_seen.part(reader, chosen.student)
    if by_eye is not None:
        with layout.part(_("Heels on film")):
            layout.section(by_eye)
    roughly = outlines.part(reader, chosen.student)
    if roughly is not None:
        with layout.part(_("Heels, rough, from film")):
            layout.section(roughly)
    with layout.part(_("Sessions, drills and notes")):
        visits = content.visits(chosen)
        if not visits.is_empty():
            layout.table(visits)
        layout.table(content.notes(chosen))
    rights.show(reader, chosen.student, person["name"])
    if chosen.season:
        layout.aside(content.closing(chosen))


def _choice(chosen: StudentSeason, measured: list[str]) -> StudentSeason:
    left, right = st.columns(2)
    with left:
        season = layout.choose(_("Season"), measured, "season")
    with right:
        family = layout.clubs(people.families(chosen.reader, season, chosen.student))
    return StudentSeason(chosen.reader, chosen.person, season, family)


def _measured(chosen: StudentSeason) -> None:
    """What was measured in the season."""
    narrow = layout.narrow()
    with layout.part(_("The season")):
        measure = chosen.measures[layout.choose(_("Measure"), content.measures(chosen), "measure")]
        layout.section(content.season_part(chosen, measure, narrow=narrow))
        navigation.link("words", _("This measure in full →"), measure=measure.metric)
    with layout.part(_("Steadiness, time off, pace and clubs")):
        layout.section(outcomes.part(chosen))
    with layout.part(_("Faults, in the order of the swing")):
        layout.section(content.faults_part(chosen, narrow=narrow))
        fault = layout.choose(_("About a fault"), content.fault_choice(chosen), "fault")
        for title, text in content.fault_detail(chosen, fault).items():
            layout.lead(f"{title}.", text)
        navigation.link("words", _("This fault in full →"), measure=fault)
    with layout.part(_("What follows from what")):
        for line in content.chains(chosen):
            st.write(line)
        layout.aside(_(content.CHAINS))
    _swings(chosen)
    results = goal.outcomes(chosen)
    if results:
        with layout.part(_("What the ball does")):
            result = layout.choose(_("Result"), results, "result")
            drawn, doubt = goal.ball_picture(chosen, result, narrow=narrow)
            layout.section(Section(drawn, sentences=(doubt,)), place="ball-season")
    rows = content.ball_rows(chosen)
    if rows:
        with layout.part(_("What goes together with the ball")):
            known = content.known_outcomes(rows)
            several, only = len(known) > 1, next(iter(known), None)
            outcome = layout.choose(_("Of the ball"), known, "ball") if several else only
            layout.section(content.ball_part(chosen, rows, outcome, narrow=narrow), place="ball")
    left_out = chosen.left_out()
    if left_out is not None:
        layout.aside(left_out)


def _observed(chosen: StudentSeason) -> None:
    """Balance, what was seen by eye, and what was felt: each only where there is something of it."""
    for heading, found in content.observed_parts(chosen).items():
        with layout.part(heading):
            for section in found:
                layout.section(section)


def _swings(chosen: StudentSeason) -> None:
    """The swings of one session, drawn, with its films; then the films of sessions that can't be drawn."""
    found = sessions.plate_sessions(chosen.reader, chosen.student, chosen.family)
    with layout.part(_("The swings of one session")):
        this, other = _chosen_swings(chosen, swings.session_names(found))
        with layout.part():  # films need no pictures
            for section in swings.pictures(chosen, found, this, other, narrow=layout.narrow()):
                layout.section(section)
        films.beside(chosen.reader, this, chosen.family)
    films.of_others(chosen.reader, chosen.student, chosen.family, found["session"].to_list())


def _chosen_swings(chosen: StudentSeason, names: dict[str, str]) -> tuple[SwingChoice, SwingChoice | None]:
    """What is drawn, and what it is compared with. `names`: sessions by name, the newest first."""
    one, two = st.columns(2)
    with one:
        session = layout.choose(_("Session"), names, "session")
        this = _swings_of(chosen, session, _("Swings"), "swing")
    with two:
        groups = swings.groups(chosen.reader, session, chosen.family)
        same_day = {
            code: _("This session: {group}").format(group=name) for code, (__, name) in groups.items()
        }
        options = {NOTHING: _("Nothing"), **same_day, **names}
        before = list(names)[list(names).index(session) + 1 :]
        default = next(iter(before), NOTHING)  # the visit before it
        over = layout.choose(_("Compare with"), options, "over", default=default)
        if over == NOTHING:
            return this, None
        if over in groups:
            return this, groups[over][0]
        return this, _swings_of(chosen, over, _("Its swings"), "over-swing")


def _swings_of(chosen: StudentSeason, session: str, label: str, name: str) -> SwingChoice:
    """One swing of a session, all full ones before any drill, or all of another kind."""
    numbers = sessions.swing_numbers(chosen.reader, session, chosen.family)
    groups = swings.groups(chosen.reader, session, chosen.family)
    options = {ALL: _("All, as their mean"), **{code: text for code, (__, text) in groups.items()}}
    options |= {str(n): _("Swing {n}").format(n=n) for n in numbers}
    picked = layout.choose(label, options, name)
    if picked in groups:
        return groups[picked][0]
    return SwingChoice(session, None if picked == ALL else int(picked))
