"""Event times from landmarks: a robust ridge regression fitted on swings whose events were marked.

For one event, with an anchor landmark a and the swing's own length L (away_4 → transfer):

    time = a + L·(c + Σ_j w_j·x_j)
    x_j = clip(((landmark_j − a)/L − median_j)/spread_j, −6, 6), 0 when missing

Medians and spreads (1.4826 × median absolute deviation) are those of the marked swings, the anchor is the
landmark with the least mean absolute deviation of its distance to the event, c and w minimise Tukey's
biweight of the residual plus λ·|w|² (λ = 10) by reweighted least squares. The biweight is wide (12, not the
usual 4.685): only a swing whose landmarks were wrong counts for nothing, an unusual one still counts.
Address is not scaled by L: how long a player waits has nothing to do with how long the swing lasts.

Expected error: median |time − mark| with each student's swings predicted from everybody else's, under the
weights of the whole fit. Ridge: Hoerl & Kennard 1970; biweight: Beaton & Tukey 1974 (from memory).
"""

from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from models.swing.landmarks import LANDMARKS
from warehouse.vocabulary import EVENTS

FLOATS = NDArray[np.float64]
LEAST_SWINGS, LEAST_STUDENTS = 100, 10
RIDGE, CLIP, BIWEIGHT, ROUNDS = 10.0, 6.0, 12.0, 8
MAD_TO_SD = 1.4826
SEEN_PART = 0.9  # a landmark found in fewer of the swings is no anchor
UNSCALED = ("address",)
DIGITS = 9  # kept of a fitted number, so that the last bits of a solver make no new version


@dataclass(frozen=True)
class EventModel:
    """One event's regression; lists run over LANDMARKS."""

    anchor: int
    scaled: bool
    constant: float
    medians: list[float]
    spreads: list[float]
    weights: list[float]
    error_s: float  # leave-one-student-out, median absolute
    n_swings: int
    n_students: int


@dataclass(frozen=True)
class EventFit:
    """The academy's fit: a model for each event that had marks enough."""

    models: dict[str, EventModel]

    def to_json(self) -> dict[str, Any]:
        """Plain data for academy.parameter."""
        return {"landmarks": list(LANDMARKS), "models": {k: asdict(v) for k, v in self.models.items()}}

    @staticmethod
    def from_json(value: dict[str, Any] | None) -> "EventFit":
        """The kept fit; without models when there is none, or when it was made on other landmarks."""
        if value is None or value["landmarks"] != list(LANDMARKS):
            return EventFit({})
        return EventFit({event: EventModel(**model) for event, model in value["models"].items()})


def lengths(marks: FLOATS) -> FLOATS:
    """The swing's own length of each row, s: away_4 → transfer, at least 0.2; 0.8 when unknown."""
    length = marks[:, LANDMARKS.index("transfer")] - marks[:, LANDMARKS.index("away_4")]
    return np.maximum(np.where(np.isfinite(length), length, 0.8), 0.2)


def predict(model: EventModel, marks: FLOATS) -> FLOATS:
    """Event times (n,) from landmarks (n, 48), s after the swing's first sample; NaN without the anchor."""
    anchor, length = marks[:, model.anchor], _length(model.scaled, marks)
    x = _standard(marks, anchor, length, np.asarray(model.medians), np.asarray(model.spreads))
    return np.asarray(anchor + length * (model.constant + np.einsum("kj,j->k", x, np.asarray(model.weights))))


def fit_events(marks: FLOATS, event_s: FLOATS, students: NDArray[Any]) -> EventFit:
    """Fit every event that has 100 marked swings of 10 students.

    Args:
        marks: (n, 48) landmarks of marked swings; rows of NaN (nothing like a swing) count for nothing.
        event_s: (n, 7) marked times, s after each swing's first sample; NaN where not marked.
        students: (n,) whose swing it is.
    """
    models = {}
    for column, event in enumerate(EVENTS):
        there = np.isfinite(event_s[:, column]) & np.isfinite(marks).any(axis=1)
        if there.sum() >= LEAST_SWINGS and np.unique(students[there]).size >= LEAST_STUDENTS:
            models[event] = _fit(marks[there], event_s[there, column], students[there], event not in UNSCALED)
    return EventFit(models)


def _fit(marks: FLOATS, times: FLOATS, students: NDArray[Any], scaled: bool) -> EventModel:  # noqa: FBT001
    """One event's model."""
    length = _length(scaled, marks)
    anchor = _steadiest(marks, times, length)
    known = np.isfinite(marks[:, anchor])
    marks, times, students, length = marks[known], times[known], students[known], length[known]
    at = marks[:, anchor]
    apart = (marks - at[:, None]) / length[:, None]
    medians = np.nan_to_num(_median(apart))
    spreads = np.maximum(np.nan_to_num(MAD_TO_SD * _median(np.abs(apart - medians))), 1e-3)
    x = _standard(marks, at, length, medians, spreads)
    y = (times - at) / length
    trust = np.ones(y.size)
    rest = y - np.median(y)
    for _ in range(ROUNDS):
        spread = max(MAD_TO_SD * float(np.median(np.abs(rest))), 1e-6)
        trust = np.clip(1.0 - (rest / (BIWEIGHT * spread)) ** 2, 0.0, 1.0) ** 2
        constant, weights = _solve(*_sums(x, y, trust))
        rest = y - constant - np.einsum("kj,j->k", x, weights)
    return EventModel(
        anchor, scaled, round(constant, DIGITS), _rounded(medians), _rounded(spreads), _rounded(weights),
        round(_left_out(x, y, trust, length, students), 6), int(y.size), int(np.unique(students).size),
    )  # fmt: skip


def _steadiest(marks: FLOATS, times: FLOATS, length: FLOATS) -> int:
    """The landmark whose distance to the event varies least on the mean, if found in nearly every swing.

    The mean and not the median: a landmark that is now and then wrong by half a second is no anchor.
    """
    apart = (times[:, None] - marks) / length[:, None]
    off = np.abs(apart - _median(apart))
    found = np.isfinite(off)
    mean = np.where(found, off, 0.0).sum(axis=0) / np.maximum(found.sum(axis=0), 1)
    return int(np.argmin(np.where(found.mean(axis=0) >= SEEN_PART, mean, np.inf)))


def _left_out(x: FLOATS, y: FLOATS, trust: FLOATS, length: FLOATS, students: NDArray[Any]) -> float:
    """Median |error|, s, of each student's swings predicted without them: their sums come off the whole."""
    whole = _sums(x, y, trust)
    errors = []
    for student in np.unique(students):
        own = students == student
        gram, right = _sums(x[own], y[own], trust[own])
        constant, weights = _solve(whole[0] - gram, whole[1] - right)
        errors.append(np.abs(y[own] - constant - np.einsum("kj,j->k", x[own], weights)) * length[own])
    return float(np.median(np.concatenate(errors)))


def _sums(x: FLOATS, y: FLOATS, trust: FLOATS) -> tuple[FLOATS, FLOATS]:
    """Weighted normal equations of (1, x) on y.

    By einsum and not by `@`: a threaded matrix library waits longer on sums this small than they take, and
    their last bits would depend on the number of threads.
    """
    full = np.hstack([np.ones((y.size, 1)), x])
    weighted = full * trust[:, None]
    return np.einsum("ki,kj->ij", weighted, full), np.einsum("ki,k->i", weighted, y)


def _solve(gram: FLOATS, right: FLOATS) -> tuple[float, FLOATS]:
    """Constant and ridge weights; the constant is not shrunk."""
    penalty = np.diag([1e-9, *[RIDGE] * (gram.shape[0] - 1)])
    solution = np.linalg.solve(gram + penalty, right)
    return float(solution[0]), np.asarray(solution[1:], dtype=np.float64)


def _standard(marks: FLOATS, at: FLOATS, length: FLOATS, medians: FLOATS, spreads: FLOATS) -> FLOATS:
    """Standardised landmarks (n, 48), 0 where one is missing."""
    apart = (marks - at[:, None]) / length[:, None]
    return np.nan_to_num(np.clip((apart - medians) / spreads, -CLIP, CLIP))


def _length(scaled: bool, marks: FLOATS) -> FLOATS:  # noqa: FBT001
    return lengths(marks) if scaled else np.ones(len(marks))


def _median(values: FLOATS) -> FLOATS:
    """Column medians of what is known; NaN for a column of which nothing is."""
    known = np.isfinite(values).any(axis=0)
    found = np.full(values.shape[1], np.nan)
    found[known] = np.nanmedian(values[:, known], axis=0)
    return found


def _rounded(values: FLOATS) -> list[float]:
    return [round(float(value), DIGITS) for value in values]
