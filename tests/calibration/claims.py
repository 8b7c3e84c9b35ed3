"""What is claimed of the season's answers, its goal, and whether the simulated academies met it."""

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass

from calibration.academies import COACHES, DRILLS


@dataclass(frozen=True)
class Claim:
    """One row of season.calibration; goal ends None where open or where the figure is only reported."""

    claim: str
    truth: str
    students: int
    figure: float
    goal_lo: float | None
    goal_hi: float | None
    met: bool | None
    n_academies: int
    error: float | None = None  # standard error of the simulation, where it was kept

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
        goal = (
            ""
            if met == ""
            else f"{self.goal_lo if self.goal_lo is not None else ''}..{self.goal_hi if self.goal_hi is not None else ''}"
        )
        return f"{self.truth:10} {self.students:3d}  {self.claim:40} {self.figure:7.3f}  {goal:12} {met}"


def goals(truth: str) -> dict[str, tuple[str, float | None, float | None]]:
    """Score → claim, lowest and highest figure that meets its goal."""
    if truth in COACHES:
        return {"coach": ("coach_interval_covers", 0.88, 0.92)}
    if truth in DRILLS:
        found = {}
        for drill in ("good", "worthless"):
            fades = truth == "fading" and drill == "good"
            found[f"{drill}/cover"] = (f"{drill}_drill_interval_covers", None, None)
            found[f"{drill}/bias"] = (f"{drill}_drill_overstated", -0.25, 0.25)
            found[f"{drill}/plain"] = (f"{drill}_drill_overstated_before_after", None, None)
            most = 0.05 if drill == "worthless" else None
            found[f"{drill}/helps"] = (f"{'fading' if fades else drill}_drill_helps", None, most)
        return found
    cover = {"slopes": (0.88, 0.92), "walks": (0.88, 0.92), "holds": (0.88, None)}.get(truth, (None, None))
    # When all hold, every change listed is wrong: how many there are is the claim.
    wrong = {} if truth == "holds" else {"wrong": ("listed_wrongly", None, 0.10)}
    return wrong | {
        "cover": ("change_interval_covers", *cover),
        "listed": ("listed", None, 0.0025 if truth == "holds" else None),
        "zero": ("zero_change_called", None, 0.05),
        "power2": ("change_of_2_called", None, None),
        "power4": ("change_of_4_called", None, None),
    }


def claims(truth: str, students: int, total: Counter, academies: int) -> Iterator[Claim]:
    """The claims that these summed scores can speak of."""
    for score, (claim, low, high) in goals(truth).items():
        of = total[score + "/of"]
        if of == 0:
            continue
        figure = round(total[score] / of, 4)
        met = (
            None
            if low is None and high is None
            else (low or -9.0) <= figure <= (9.0 if high is None else high)
        )
        yield Claim(claim, truth, students, figure, low, high, met, academies)
