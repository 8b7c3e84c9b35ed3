"""What a drill or a check asks of the body: the cautions it needs, and what age, falls or pain rule out.

One rule for every wing: deliveries, drills, the lesson sheet, the progress page, paper and the note form ask
here. It is kept on the careful side: a drill may load an area when its name, its text or its cautions mention
it or what works with it, and nothing is done with eyes closed until the player has said that they have not
fallen in the past year. The lists of words, English and German, are common sense, no source; they diagnose
nothing.
"""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

import polars as pl

from warehouse.vocabulary import EYES_CLOSED_FROM_AGE, age

EYES_CLOSED, BALANCE, LOAD, AGE = "eyes_closed", "balance", "load", "age"
CAUTIONS = (EYES_CLOSED, BALANCE, LOAD, AGE)
DISCOMFORT = "discomfort"
FELL, FALLS_NOT_ASKED = "fell", "falls_not_asked"
BODY_NOTES = ("discomfort", "discomfort_over", "falls")  # kinds of note that this rule reads
BODY_NOTES_OF = (  # of one student
    'SELECT student, "at", day, kind, code, grade FROM academy.note '
    f"WHERE student = ? AND kind IN {BODY_NOTES}"
)
FALLS_ASKED_FROM_AGE = 60  # years: asked whatever is practised; common practice, no source
FALLS_ASKED_AGAIN_DAYS = 365
"""How long an answer holds. Asking older people once a year: Montero-Odasso et al., Age and Ageing 51 (2022),
afac205, world guidelines for falls prevention; that it comes before eyes-closed work: common practice, no
source."""
GROWING_UNTIL_AGE = 18  # years; common practice, no source
LASTS_DAYS = 21  # discomfort open for longer is pain that lasts; common practice, no source
AIMS_AT_BALANCE = ("unsteady_at_address",)

_EYES_CLOSED = re.compile(
    r"\b(eyes?\b[^.;]{0,15}\b(closed|shut)|(close|closes|closing|closed|shut|shuts|shutting)\b[^.;]{0,12}"
    r"\beyes?|blindfold(ed)?|without looking|blind|augenbinde|ohne (hinzusehen|hinzuschauen|zu schauen))\b"
    r"|\baugen\b[^.;]{0,25}\b(zu|geschlossen|verbunden|schließen)\b"
    r"|\b(geschlossenen?|verbundenen?|schließe?n?t?)\b[^.;]{0,20}\baugen\b"
)
_BALANCE = re.compile(
    r"\b((one|single|other)[ -]?(leg|foot)(ged|ed)?|balanc(e|es|ing)|wobbl\w*|nudg\w*|foam|cushion|tiptoes?|"
    r"heel to toe walk|einem (bein|fuß)|ein bein)\b"
    r"|einbein|gleichgewicht|balancier|wacke?l|schaumstoff|kissen|zehenspitze|stups|stoß"
)
_LOAD = re.compile(
    r"\b(jump\w*|hop|hops|hopping|bound\w*|sprint\w*|heavy|heavier|weighted|lunge\w*|squat\w*|"
    r"(as )?(hard|fast) as (you|they|possible)|full force|so (hart|fest|schnell|kräftig) (wie|du|es)|"
    r"voller kraft|spring(en|e|t)|schwere?[nrs]?)\b|sprung|sprünge|hüpf|ausfallschritt|kniebeuge"
)

_LEG = (
    r"\b(leg|knee|kneel|ankle|heel|foot|feet|toe|calf|calves|hip|step|stepped|stepping|walk|press|stand)"
    r"(s|es|ing|ed)?\b"
    r"|knie|knöchel|sprunggelenk|ferse|fuß|füße|zehe|wade\b|waden|hüft|einbein|beine?n?\b|schritt|tritt|"
    rf"\btrete?n?t?\b|geh|steh|stell|drück|{_LOAD.pattern}|{_BALANCE.pattern}"
)
_TURN = r"\bturn(s|ing|ed)?\b|dreh"
_ARM = (
    r"\b(arm|hand|wrist|elbow|shoulder|club|swing|strike|ball)(s|es|ing|ed)?\b"
    r"|\barme?n?\b|hände|handgelenk|ellbogen|ellenbogen|schulter|schläg|schlag|schwing|schwung|schwüng|bälle"
)
_ANY_MOVEMENT = ""  # any movement on the feet with a club may load the trunk and the hips
# Area of the body → what a drill's text has in it that mentions the area or what works with it.
WORKS_WITH = {
    "lower back": _ANY_MOVEMENT, "upper back": _ANY_MOVEMENT, "neck": _ANY_MOVEMENT, "hip": _ANY_MOVEMENT,
    "shoulder": _ARM, "elbow": _ARM, "wrist": _ARM, "hand": _ARM,
    "knee": f"{_LEG}|{_TURN}", "ankle": _LEG, "heel": _LEG, "foot": _LEG, "calf": _LEG,
}  # fmt: skip
SIDES = ("lead", "trail", "left", "right")


# What is left when something hurts → the areas that may hurt then; talk and films are always left.
_ARMS_SPARED = ("hip", "knee", "ankle", "heel", "foot", "calf")
QUIET_WORK: dict[str, tuple[str, ...] | None] = {
    "seated": None, "hands": (*_ARMS_SPARED, "lower back"), "short_game": _ARMS_SPARED[2:], "talk": None,
}  # fmt: skip
SWINGS = ("short_game",)  # of these, what swings a club


@dataclass(frozen=True)
class Exercise:
    """A drill, or a check such as the nudge check, as far as the body is concerned."""

    code: str
    name: str
    how: str | None = None
    cautions: str | None = None
    aim: str | None = None
    min_age: int | None = None

    @classmethod
    def of(cls, drill: Mapping[str, Any]) -> "Exercise":
        """From a row with the columns of academy.drill; a missing `drill` or `aim` counts as empty."""
        return cls(
            str(drill.get("drill") or ""), str(drill["name"]), drill.get("how"), drill.get("cautions"),
            drill.get("aim"), drill.get("min_age"),
        )  # fmt: skip

    @property
    def text(self) -> str:
        """Everything said of it, in small letters."""
        return " ".join(part for part in (self.name, self.how, self.cautions) if part).lower()

    @property
    def eyes_closed(self) -> bool:
        """Whether it is done with eyes closed; a text that only warns of it counts as well."""
        return _EYES_CLOSED.search(self.text) is not None


def nudge_check(eyes: str) -> Exercise:
    """The nudge check with eyes open or closed: a light touch to a standing player, on whole feet."""
    closed = "with eyes closed" if eyes == "closed" else "with eyes open"
    return Exercise(f"nudge_check_{eyes}", "Nudge check", f"Stand {closed} and be nudged.")


@dataclass(frozen=True)
class Objection:
    """What speaks against an exercise for one student.

    `age` with `from_age`; `fell` or `falls_not_asked`, of work with eyes closed; or `discomfort` with `area`.
    """

    why: str
    from_age: int | None = None
    area: str | None = None  # as it was noted; null: no area was named


@dataclass(frozen=True)
class FallsAnswer:
    """What a student said when they were asked whether they had fallen in the past year."""

    day: date
    fell: bool

    @property
    def asked_again_on(self) -> date:
        """The first day on which the answer no longer holds."""
        return self.day + timedelta(days=FALLS_ASKED_AGAIN_DAYS)


@dataclass(frozen=True)
class Body:
    """One student on one day, as far as exercises are concerned.

    Without a birth date a student counts as below every age, and is asked about falls. `areas` are those with
    an open discomfort, as noted (null: none named); `lasting`: one of them lasts, see `has_lasted`.
    `falls`: their answer, as long as it holds.
    """

    born: date | None
    today: date
    areas: tuple[str | None, ...] = ()
    falls: FallsAnswer | None = None
    eyes_closed_from_age: int = EYES_CLOSED_FROM_AGE
    lasting: bool = False

    @classmethod
    def by_notes(
        cls,
        born: date | None,
        today: date,
        notes: pl.DataFrame,
        eyes_closed_from_age: int = EYES_CLOSED_FROM_AGE,
        *,
        until: datetime | None = None,
    ) -> "Body":
        """As one student's notes say, up to the time `until` (None: all of them).

        `notes`: rows with student, at, day, kind, code and grade; other kinds of note may be there.
        """
        opened = open_discomfort(notes, until)
        areas = opened["code"].str.replace_all("_", " ").unique(maintain_order=True)
        lasting = any(has_lasted(day, today) for day in opened["day"])
        return cls(
            born, today, tuple(areas), falls_answer(notes, today, until), eyes_closed_from_age, lasting
        )

    def objections(self, exercise: Exercise) -> list[Objection]:
        """Everything that speaks against an exercise today; nothing: it may be done with its cautions."""
        years, falls = self.too_young_for(exercise), self.falls_against(exercise)
        found = [] if years is None else [Objection(AGE, from_age=years)]
        found += [] if falls is None else [Objection(falls)]
        return found + [Objection(DISCOMFORT, area=area) for area in self.areas if may_load(exercise, area)]

    def too_young_for(self, exercise: Exercise) -> int | None:
        """From which age the exercise is, where the student is younger; none where they are old enough."""
        years, least = age(self.born, self.today), from_age(exercise, self.eyes_closed_from_age)
        return least if least and (years is None or years < least) else None

    def falls_against(self, exercise: Exercise) -> str | None:
        """`fell` or `falls_not_asked` of an exercise with eyes closed; none of others, or after a no.

        Who is too young for it is not asked first.
        """
        if not exercise.eyes_closed:
            return None
        if self.falls is None:
            return FALLS_NOT_ASKED if self.too_young_for(exercise) is None else None
        return FELL if self.falls.fell else None

    @property
    def growing(self) -> bool:
        """Whether the limits on full swings are for them: who is under age 18, or whose age is not known."""
        years = age(self.born, self.today)
        return years is None or years < GROWING_UNTIL_AGE

    @property
    def falls_due(self) -> bool:
        """Whether to ask about falls today, whatever is practised: by age, with no answer that holds."""
        years = age(self.born, self.today)
        return self.falls is None and (years is None or years >= FALLS_ASKED_FROM_AGE)

    def may_do(self, exercise: Exercise) -> bool:
        """Whether neither age, falls nor pain rule the exercise out; none is done while pain lasts."""
        return not self.lasting and not self.objections(exercise)

    def safe_choice(self, exercise: Exercise, drills: Iterable[Exercise]) -> Exercise | None:
        """What may be done in its place.

        For a nudge check the same with eyes open; for a drill the first of the same aim, else of any, by its
        order. None where nothing fits, which means: rest, or talk to the head coach.
        """
        if exercise.code == nudge_check("closed").code:
            easier = nudge_check("open")
            return easier if self.may_do(easier) else None
        fitting = [drill for drill in drills if drill.code != exercise.code and self.may_do(drill)]
        fitting.sort(key=lambda drill: drill.aim != exercise.aim)
        return next(iter(fitting), None)


def from_age(exercise: Exercise, eyes_closed_from_age: int = EYES_CLOSED_FROM_AGE) -> int | None:
    """From which age an exercise is done: its own, and that of all work with eyes closed; none: any age."""
    ages = [exercise.min_age] if exercise.min_age is not None else []
    return max(ages + ([eyes_closed_from_age] if exercise.eyes_closed else []), default=None)


def cautions_of(exercise: Exercise) -> tuple[str, ...]:
    """Which of `CAUTIONS` an exercise needs wherever it is named."""
    needed = {
        EYES_CLOSED: exercise.eyes_closed,
        BALANCE: exercise.aim in AIMS_AT_BALANCE or _BALANCE.search(exercise.text) is not None,
        LOAD: _LOAD.search(exercise.text) is not None,
        AGE: from_age(exercise) is not None,
    }
    return tuple(caution for caution in CAUTIONS if needed[caution])


def may_load(exercise: Exercise, area: str | None) -> bool:
    """Whether an exercise may load an area of the body. An unknown area, or none named: yes."""
    named = _without_side(area)
    with_it = WORKS_WITH.get(named) or next(
        (found for name, found in WORKS_WITH.items() if name in named), None
    )
    if not with_it:
        return True
    return re.search(rf"{with_it}|\b{re.escape(named)}(s|es|ing|ed)?\b", exercise.text) is not None


def _without_side(area: str | None) -> str:
    return " ".join(word for word in re.split(r"[\s_]+", (area or "").lower()) if word not in SIDES).strip()


def has_lasted(since: date, day: date) -> bool:
    """Whether a discomfort noted on `since` and open on `day` is pain that lasts: first to a physician."""
    return (day - since).days > LASTS_DAYS


def quiet_work(areas: Iterable[str | None], *, lasting: bool = False) -> tuple[str, ...]:
    """What of `QUIET_WORK` spares these areas. Of an area that is not known only what spares them all.

    `lasting`: pain that lasts, so that nothing is left that swings a club.
    """
    named = list(map(_without_side, areas))
    return tuple(
        work
        for work, spared in QUIET_WORK.items()
        if spared is None or (all(area in spared for area in named) and not (lasting and work in SWINGS))
    )


def falls_answer(notes: pl.DataFrame, today: date, until: datetime | None = None) -> FallsAnswer | None:
    """The newest answer of one student that holds today; a yes goes before a no of the same moment.

    `notes` and `until` as of `Body.by_notes`.
    """
    known = notes if until is None else notes.filter(pl.col("at") <= until)
    oldest = today - timedelta(days=FALLS_ASKED_AGAIN_DAYS)
    answers = known.filter(pl.col("kind") == "falls", pl.col("day") > oldest, pl.col("day") <= today).sort(
        "at", "grade"
    )
    return None if answers.is_empty() else FallsAnswer(answers["day"][-1], answers["grade"][-1] == 1)


def open_discomfort(notes: pl.DataFrame, until: datetime | None = None) -> pl.DataFrame:
    """The discomfort notes that nobody has closed yet.

    A later `discomfort_over` of the same student closes a note of its own place, or of every place when it
    names none; one of the same moment closes it too.

    Args:
        notes: rows with student, at, kind and code; other kinds of note and other columns may be there.
        until: as it was at this time, by the notes up to then; None: by all notes.
    """
    known = notes if until is None else notes.filter(pl.col("at") <= until)
    place = pl.col("code").str.to_lowercase().str.replace_all(" ", "_")
    opened = known.filter(pl.col("kind") == "discomfort").with_columns(_place=place).with_row_index("_row")
    over = known.filter(pl.col("kind") == "discomfort_over").select(
        "student", _over_at="at", _over_place=place
    )
    closed = opened.join(over, on="student").filter(
        (pl.col("_over_at") >= pl.col("at"))
        & (pl.col("_over_place").is_null() | (pl.col("_over_place") == pl.col("_place")))
    )
    return opened.join(closed.select("_row"), on="_row", how="anti", maintain_order="left").drop(
        "_row", "_place"
    )
