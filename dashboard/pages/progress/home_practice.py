"""How to practise at home: the drill that was set or the usual one, or why there is none for now."""

from typing import Any

from dashboard import safety
from dashboard.aim import usual_drill
from dashboard.student_season import StudentSeason
from dashboard.text import sentences
from dashboard.text.catalogue import _
from dashboard.text.numbers import capitalized
from warehouse.body import FELL, Exercise


def how_to_practise(
    chosen: StudentSeason, drill: dict[str, Any] | None, fault: str | None, *, hurts: bool
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """How to practise, with the drill's own cautions; no drill while it is ruled out."""
    if hurts:
        return (), (_("While something hurts, no drill is suggested here. Talk to your coach first."),)
    if drill is None:
        return _usual(chosen, fault)
    exercise = Exercise.of(drill)
    against = _ruled_out(chosen, exercise)
    if against:
        return (), (against,)
    how = [drill["how"] or _("Your coach shows you how.")]
    if drill["dose"]:
        how.append(f"{capitalized(sentences.dose(drill))}.")
    own = [drill["cautions"]] if drill["cautions"] else []
    return tuple(how), (*own, *safety.caution_sentences([exercise]))


def _usual(chosen: StudentSeason, fault: str | None) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """What is usually done about a fault for which no drill is set, where nothing speaks against it."""
    how = usual_drill(chosen.reader, fault)
    exercise = Exercise("", "", how)
    body = safety.body_of(chosen.reader, chosen.person)
    if not how or not body.may_do(exercise) or chosen.reader.something_hurts(chosen.student):
        return (), (_("Ask your coach which drill fits before you practise this at home."),)
    said = (how, _("Ten times, slowly, each time you practise. Your coach may set another drill."))
    return said, safety.caution_sentences([exercise])


def _ruled_out(chosen: StudentSeason, drill: Exercise) -> str:
    """Why the last drill is not for the student now, and what is; empty where it is."""
    body = safety.body_of(chosen.reader, chosen.person)
    years, falls = body.too_young_for(drill), body.falls_against(drill)
    if years is None and falls is None:
        return ""
    if years is not None:
        why = _("Your last drill is for players aged {years} and over; ask your coach for another.")
    elif chosen.reader.viewer.link:  # it may be in anyone's hands, and need not know why
        why = _("Your last drill is done with eyes closed; talk to your coach before you do it.")
    elif falls == FELL:
        why = _(
            "Your last drill is done with eyes closed, which is not for you within a year of a fall. Ask "
            "your coach for another, and a physician or physiotherapist about the fall."
        )
    else:
        why = _(
            "Your last drill is done with eyes closed. First tell your coach whether you have fallen "
            "in the past year."
        )
    safe = safety.safe_choice(chosen.reader, body, drill)
    return why.format(years=years) + (f" {safety.choice_sentence(safe)}" if safe else "")
