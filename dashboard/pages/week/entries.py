"""One signal of the weekly review, ready to be read."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from dashboard.aim import in_brief
from dashboard.text.catalogue import Words, _
from dashboard.text.cautions import DISCOMFORT
from dashboard.text.labels import FAMILIES
from dashboard.text.numbers import joined, listed, on, share
from dashboard.text.signals import IN_FULL, Names, signal_sentence
from warehouse.vocabulary import AGREED_SIGNALS

HURT, TALK, WATCH, WELL, SPARSE = "hurt", "talk", "watch", "well", "sparse"
PARTS = Words({
    HURT: "Pain and safety", TALK: "To talk about", WATCH: "Slipping, still on target", WELL: "Going well",
    SPARSE: "Too little measured",
})  # fmt: skip
# In the order of the review.
KINDS = Words({
    "discomfort": "Hurting",
    "agreed_missed": "Agreed aim overdue",
    "agreed_silent": "Agreed aim: nothing shows",
    "agreed_due": "Agreed aim due soon",
    "agreed_reached": "▲ Agreed aim: it shows",
    "slipping": "▽ Slipping",
    "outside_band": "Outside the target",
    "new_fault": "New fault",
    "idle_drill": "Drill to stop",
    "aim_met": "Needs a new aim",
    "eye_and_plate": "Eye and plate disagree",
    "improving": "▲ Improving",
    "unmeasured": "Not measured recently",
    "refused": "Refused delivery",
})  # fmt: skip
PART_OF = dict.fromkeys(KINDS, TALK) | {
    "discomfort": HURT, "improving": WELL, "unmeasured": SPARSE, "refused": SPARSE,
}  # fmt: skip
IN_ONE = {"discomfort", "aim_met", *AGREED_SIGNALS}  # kinds whose evidence is one reason
MEASURED = {"slipping", "improving", "outside_band", *AGREED_SIGNALS}
OF_A_FAULT = {"new_fault", "eye_and_plate"}


@dataclass(frozen=True)
class Entry:
    """One signal. `brief` gives its first reason and how sure it is, `sentence` all of them.

    `kindred` names what the sentence only counts.
    """

    signal: str
    kind: str
    student: str | None
    name: str
    coach: str | None
    coach_name: str
    subject: str | None
    family: str | None
    clubs: str
    brief: str
    sentence: str
    doubt: str
    kindred: str
    ticked: bool
    on_target: bool  # whether its measure is inside its band
    day: date | None  # when a student not measured recently last was
    aim: str  # what comes first for the student with these clubs, or ""
    talked: str  # who ticked it off and when, or ""
    weeks: int | None = None  # in a row on the list, this one counted; None: not known
    works_on: str | None = None  # the fault or measure that a drill should aim at

    @property
    def part(self) -> str:
        """The part of the review it belongs to."""
        return WATCH if self.kind == "slipping" and self.on_target else PART_OF[self.kind]

    @property
    def word(self) -> str:
        """Its kind in a word."""
        return KINDS[self.kind]

    @property
    def text(self) -> str:
        """All that it says."""
        return joined(self.sentence, self.kindred, self.aim)

    @property
    def caution(self) -> str:
        """The caution for what hurts, or ""."""
        return _(DISCOMFORT) if self.kind == "discomfort" else ""

    @property
    def short(self) -> str:
        """Its first reason and what comes next."""
        return joined(self.brief, self.aim)

    @property
    def line(self) -> str:
        """The entry for a terminal, in one line."""
        who = f"{self.name} ({self.coach_name})" if self.coach_name else self.name
        box = "[x]" if self.ticked else "[ ]"
        return f"{box} {who} · {self.word}: {joined(self.text, self.caution, self.talked)}"


def entry_of(
    row: dict[str, Any], evidence: Sequence[dict[str, Any]], names: Names, *, on_target: bool
) -> Entry:
    """One row of `queries.review.signals`, with what it rests on."""
    labels = {code: measure.label for code, measure in names.measures.items()} | dict(names.faults)
    counted = [] if row["kind"] in AGREED_SIGNALS else row["kindred"][IN_FULL:]
    more = [labels.get(code, code.replace("_", " ")) for code in counted]
    talked_day = row["talked_day"]
    return Entry(
        signal=row["signal"],
        kind=row["kind"],
        student=row["student"],
        name=row["name"] or _("A delivery"),
        coach=row["coach"],
        coach_name=row["coach_name"] or "",
        subject=row["subject"],
        family=row["club_family"],
        clubs=FAMILIES.get(row["club_family"], ""),
        brief=signal_sentence(row["kind"], evidence if row["kind"] in IN_ONE else evidence[:1], names),
        sentence=signal_sentence(row["kind"], evidence, names),
        on_target=on_target,
        day=evidence[0]["day"],
        doubt="" if row["p"] is None else _("{share} sure").format(share=share(min(row["p"], 0.99))),
        aim=in_brief(row, lambda code: labels.get(code, code)),
        kindred=_("Further: {names}.").format(names=listed(more)) if more else "",
        ticked=talked_day is not None and talked_day >= row["week"],
        talked=talked_sentence(row["talked_by"], talked_day) if talked_day else "",
        weeks=row["weeks"],
        works_on=_works_on(row, evidence),
    )


def _works_on(row: dict[str, Any], evidence: Sequence[dict[str, Any]]) -> str | None:
    """What comes next for a met aim, what the drill to stop was for, else the signal's own subject."""
    if row["kind"] in ("aim_met", "idle_drill"):
        return str(evidence[-1]["drill_aim"] if row["kind"] == "idle_drill" else evidence[-1]["subject"])
    return row["subject"] if row["kind"] in MEASURED | OF_A_FAULT else None


def talked_sentence(who: str, day: date) -> str:
    """Who ticked a signal off, and when."""
    return _("Talked about by {who} on {day}.").format(who=who, day=on(day))
