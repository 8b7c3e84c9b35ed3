"""What is claimed of the season's answers, its goal, and whether the simulated academies met it."""

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass

from calibration.academies import COACHES, DRILLS, TRUTHS

COVER = "The 90 % interval for a student's change holds the truth"
ZERO = "A student whose change is 0 is called Improving or Slipping"
POWER = "A true change of {size} smallest worthwhile changes is called by its direction"
WRONG = "A change on the week's list is not one, or goes the other way"
LISTED = "A student's metric is on the week's list"
COACH = "The 90 % interval for a coach's gain holds the truth"
KEPT_COVER = "The 90 % interval for what a {drill} drill kept holds the truth"
BIAS = "What a {drill} drill kept is overstated by, in smallest worthwhile changes"
PLAIN = "Before against after would overstate a {drill} drill by, in smallest worthwhile changes"
HELPS = "A {drill} drill is called Helps"


@dataclass(frozen=True)
class Claim:
    """One row of season.calibration; goal ends None where open or where the figure is only reported."""

    claim: str
    truth: str
    students: int
    figure: float
    goal: str | None
    goal_lo: float | None
    goal_hi: float | None
    met: bool | None
    n_academies: int

    def toml(self) -> str:
        """As a table of calibration.toml."""
        lines = ["\n[[row]]"]
        for name in self.__dataclass_fields__:
            value = getattr(self, name)
            if value is not None:
                quoted = f'"{value}"' if isinstance(value, str) else str(value).lower()
                lines.append(f"{name} = {quoted}")
        return "\n".join(lines) + "\n"

    def line(self) -> str:
        """As a line of the printed table."""
        met = {None: "", True: "met", False: "MISSED"}[self.met]
        return f"{self.truth[:44]:44} {self.students:3d}  {self.claim:75} {self.figure:7.3f}  {self.goal or '':14} {met}"


def goals(truth: str) -> dict[str, tuple[str, str, float | None, float | None]]:
    """Score → claim, goal in words, lowest and highest figure that meets it."""
    if truth in COACHES:
        return {"coach": (COACH, "88 to 92 %", 0.88, 0.92)}
    if truth in DRILLS:
        found = {}
        for drill in ("good", "worthless"):
            fades = truth == "fading" and drill == "good"
            found[f"{drill}/cover"] = (KEPT_COVER.format(drill=drill), "", None, None)
            found[f"{drill}/bias"] = (BIAS.format(drill=drill), "within 0.25", -0.25, 0.25)
            found[f"{drill}/plain"] = (PLAIN.format(drill=drill), "", None, None)
            goal = ("at most 5 %", None, 0.05) if drill == "worthless" else ("", None, None)
            found[f"{drill}/helps"] = (HELPS.format(drill="fading" if fades else drill), *goal)
        return found
    cover = {
        "slopes": ("88 to 92 %", 0.88, 0.92), "walks": ("88 to 92 %", 0.88, 0.92), "holds": ("at least 88 %", 0.88, None),
    }.get(truth, ("", None, None))  # fmt: skip
    # When all hold, every change listed is wrong: how many there are is the claim.
    wrong = {} if truth == "holds" else {"wrong": (WRONG, "at most 10 %", None, 0.10)}
    return wrong | {
        "cover": (COVER, *cover),
        "listed": (LISTED, "under 1 in 400", None, 0.0025) if truth == "holds" else (LISTED, "", None, None),
        "zero": (ZERO, "at most 5 %", None, 0.05),
        "power2": (POWER.format(size=2), "", None, None),
        "power4": (POWER.format(size=4), "", None, None),
    }


def claims(truth: str, students: int, total: Counter, academies: int) -> Iterator[Claim]:
    """The claims that these summed scores can speak of."""
    for score, (claim, goal, low, high) in goals(truth).items():
        of = total[score + "/of"]
        if of == 0:
            continue
        figure = round(total[score] / of, 4)
        met = (
            None
            if low is None and high is None
            else (low or -9.0) <= figure <= (9.0 if high is None else high)
        )
        yield Claim(claim, TRUTHS[truth], students, figure, goal or None, low, high, met, academies)
