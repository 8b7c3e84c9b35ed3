"""What files that somebody brings would be read as, before anything of them is kept.

The pages put the files into a folder and show what comes back; whoever serves them hands them the reader.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from warehouse.settings import Settings
from warehouse.traces import SessionTrace
from warehouse.vocabulary import SWING

MOST_POINTS = 400  # of a swing's line in a preview


@dataclass(frozen=True)
class Brought:
    """The files of a folder, all of one student's visit, and what is known beside them.

    A `device` that the settings do not name is a new one, of that `kind`. `answers` are to questions by key.
    `only`: the swings of a recording that are the student's, by their numbers in all of it; all where empty.
    `players`: who else may be in it, by their codes.
    """

    folder: Path
    settings: Settings
    student: str
    device: str
    kind: str
    answers: Mapping[str, str] = field(default_factory=dict)
    handed: str | None = None
    foot_length_mm: float | None = None
    body_mass_kg: float | None = None
    only: tuple[int, ...] = ()
    players: Mapping[str, "Player"] = field(default_factory=dict)


@dataclass(frozen=True)
class Player:
    """What is known of somebody who may be in a recording."""

    body_mass_kg: float | None = None
    handed: str | None = None


@dataclass(frozen=True)
class Share:
    """Swings of a recording that seem to be one person's, by their numbers, and the body mass they show.

    likely: every player, the likeliest first. owner: the first of them, where that is all but sure.
    """

    swings: tuple[int, ...]
    mass_kg: float
    likely: tuple[str, ...] = ()
    owner: str | None = None


@dataclass(frozen=True)
class PreviewedSwing:
    """One swing: its number, its own file if it has one, and both feet's loads.

    kind, sure: of SWING_KINDS and how sure (0 to 1), where it was found in a recording that was cut.

    t_s (from its first sample), lead_n and trail_n: (at most MOST_POINTS,), empty where it is refused.
    t0_s: its first sample on the recording's clock. events: each event's time from there and its expected
    error, in s; an error of 0 where the file itself marks it.
    """

    no: int
    file: str | None
    t_s: tuple[float, ...] = ()
    lead_n: tuple[float, ...] = ()
    trail_n: tuple[float, ...] = ()
    seconds: float = 0.0
    refused: str | None = None
    kind: str = SWING
    sure: float | None = None
    t0_s: float = 0.0
    events: Mapping[str, tuple[float, float]] = field(default_factory=dict)


@dataclass(frozen=True)
class PreviewedFilm:
    """One film: how long it is (s), and its pictures a second; 0 where it does not say.

    As they were filmed, where it says that, else as they play.

    problem: a sentence where it can't be read.
    """

    name: str
    seconds: float = 0.0
    rate: float = 0.0
    problem: str = ""


@dataclass(frozen=True)
class Preview:
    """What the files would be read as.

    names: what each file is called in the delivery, by the name it came under. explained: the columns of the
    first table, its questions and doubts, as `underfoot load --explain FILE --json` gives them; None where
    the device's recipe reads it. recipe: the `[device.NAME]` table that is to be added to the settings.
    shares: whose the swings of a recording seem to be, where they are of more than one person. films: in the
    order in which they were taken, else of their names.
    left_out: files that are not delivered as they can't be read, by the name they came under, and why.
    problems: (reason, sentence) of each thing that stops all of it.
    """

    names: Mapping[str, str]
    explained: Mapping[str, Any] | None = None
    recipe: Mapping[str, Any] | None = None
    swings: tuple[PreviewedSwing, ...] = ()
    shares: tuple[Share, ...] = ()
    films: tuple[PreviewedFilm, ...] = ()
    left_out: Mapping[str, str] = field(default_factory=dict)
    problems: tuple[tuple[str, str], ...] = ()

    @property
    def reasons(self) -> set[str]:
        """The codes of what stops all of it."""
        return {reason for reason, _sentence in self.problems}

    @property
    def questions(self) -> list[dict[str, Any]]:
        """What has to be asked first."""
        return list(self.explained["questions"]) if self.explained else []

    @property
    def doubts(self) -> list[str]:
        """What speaks against reading it as it is proposed."""
        return list(self.explained["doubts"]) if self.explained else []


# The events that a trace's swings show: swing number → event → its time and expected error, s.
Moments = Callable[[SessionTrace], dict[int, dict[str, tuple[float, float]]]]
Look = Callable[[Brought], Preview]
