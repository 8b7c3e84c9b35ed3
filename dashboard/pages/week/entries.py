"""One signal of the weekly review, ready to be read."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from dashboard.aim import in_brief
from dashboard.text.catalogue import Words, _
from dashboard.text.cautions import DISCOMFORT
from dashboard.text.labels import FAMILIES
from dashboard.text.numbers import listed, on, share
from dashboard.text.signals import IN_FULL, Names, signal_sentence

TALK, WELL, SPARSE = "talk", "well", "sparse"
PARTS = Words({TALK: "To talk about", WELL: "Going well", SPARSE: "Too little measured"})
# In the order of the review.
KINDS = Words({
    "discomfort": "Hurting",
    "slipping": "▽ Slipping",
    "new_fault": "New fault",
    "outside_band": "Outside the band",
    "eye_and_plate": "Eye and plate disagree",
    "improving": "▲ Improving",
    "unmeasured": "Not measured recently",
    "refused": "Refused delivery",
})  # fmt: skip
PART_OF = dict.fromkeys(KINDS, TALK) | {"improving": WELL, "unmeasured": SPARSE, "refused": SPARSE}
MEASURED = {"slipping", "improving", "outside_band"}
PICTURED = MEASURED | {"new_fault", "eye_and_plate"}


@dataclass(frozen=True)
class Entry:
    """One signal. `sentence` gives the reason and how sure it is, `kindred` names what it only counts."""

    signal: str
    kind: str
    student: str | None
    name: str
    coach: str | None
    coach_name: str
    subject: str | None
    family: str | None
    clubs: str
    sentence: str
    doubt: str
    kindred: str
    ticked: bool
    aim: str  # what comes first for the student with these clubs, or ""
    talked: str  # who ticked it off and when, or ""

    @property
    def part(self) -> str:
        """The part of the review it belongs to."""
        return PART_OF[self.kind]

    @property
    def word(self) -> str:
        """Its kind in a word."""
        return KINDS[self.kind]

    @property
    def hurts(self) -> bool:
        """Whether it is about someone in discomfort."""
        return self.kind == "discomfort"

    @property
    def text(self) -> str:
        """All that it says."""
        return joined(self.sentence, self.kindred, self.aim)

    @property
    def caution(self) -> str:
        """The caution for what hurts, or ""."""
        return _(DISCOMFORT) if self.hurts else ""

    def about(self, *, coach: bool) -> str:
        """Kind, clubs and, where asked for, the coach, in one line."""
        return " · ".join(filter(None, (self.word, self.clubs, self.coach_name if coach else "")))

    @property
    def line(self) -> str:
        """The entry for a terminal, in one line."""
        who = f"{self.name} ({self.coach_name})" if self.coach_name else self.name
        box = "[x]" if self.ticked else "[ ]"
        return f"{box} {who} · {self.word}: {joined(self.text, self.caution, self.talked)}"


def joined(*sentences: str) -> str:
    """Sentences one after the other, without the empty ones."""
    return " ".join(filter(None, sentences))


def entry_of(row: dict[str, Any], evidence: Sequence[dict[str, Any]], names: Names) -> Entry:
    """One row of `queries.review.signals`, with what it rests on."""
    labels = {code: measure.label for code, measure in names.measures.items()} | dict(names.faults)
    more = [labels.get(code, code.replace("_", " ")) for code in row["kindred"][IN_FULL:]]
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
        sentence=signal_sentence(row["kind"], evidence, names),
        doubt="" if row["p"] is None else _("{share} sure").format(share=share(min(row["p"], 0.99))),
        aim=in_brief(row, lambda code: labels.get(code, code)),
        kindred=_("Further: {names}.").format(names=listed(more)) if more else "",
        ticked=talked_day is not None and talked_day >= row["week"],
        talked=talked_sentence(row["talked_by"], talked_day) if talked_day else "",
    )


def talked_sentence(who: str, day: date) -> str:
    """Who ticked a signal off, and when."""
    return _("Talked about by {who} on {day}.").format(who=who, day=on(day))
