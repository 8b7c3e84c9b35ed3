"""The shape of a metric's definition and the phrases that many of them share."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Definition:
    """One metric in words: formula, unit, when it is null beyond the common ground, source, an example."""

    formula: str
    unit: str
    null: str
    source: str
    example: str


ALONG = "% of foot length"
BODY = "% of body weight"
USUAL = "no more than the common ground"
HEELS = "no heel load measured and no along to estimate it from (heel_source none)"
CLIP = "no clip, heel or toe marks missing at address, or the event not on the clip"
