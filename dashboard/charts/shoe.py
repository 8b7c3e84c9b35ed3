"""One shoe from the side, toes to the right: where the weight should be, and where it was."""

from dataclasses import dataclass

from markupsafe import Markup, escape

from dashboard import theme
from dashboard.text.catalogue import Words, _
from dashboard.text.numbers import capitalized

FEET = Words({"front": "front foot", "back": "back foot"})
WIDTH, HEIGHT = 150, 74
_HEEL, _TOE, _SOLE = 14, 136, 56  # px: the ends of the sole, and its height in the drawing
_RADIUS = {1: 6.0, 2: 9.0, 3: 12.0}  # little, usual and much weight
_OUTLINE = "M14 56 L14 30 Q16 14 30 14 L52 14 Q56 30 84 34 Q128 38 136 52 L136 56 Z"


@dataclass(frozen=True)
class Weight:
    """Where the weight is on a foot, in % of its length from the heel, and how much: 1 little to 3 much."""

    at_pct: int
    much: int

    @property
    def part(self) -> str:
        """The part of the foot in words."""
        if self.at_pct < 35:  # thirds of a foot
            return _("the heel")
        return _("the middle") if self.at_pct < 65 else _("the ball of the foot")


@dataclass(frozen=True)
class Shoe:
    """A foot with where its weight should be and, where that is shown too, where it was."""

    foot: str
    should: Weight
    was: Weight | None = None

    @property
    def words(self) -> str:
        """The drawing in words."""
        amount = {1: _("little weight on"), 2: _("weight on"), 3: _("most of the weight on")}
        text = _("{foot}: {much} {part}.").format(
            foot=FEET[self.foot], much=amount[self.should.much], part=self.should.part
        )
        if self.was is None:
            return capitalized(text)
        was = _("It was: {much} {part}.").format(much=amount[self.was.much], part=self.was.part)
        return f"{capitalized(text)} {was}"

    @property
    def svg(self) -> str:
        """The drawing, in one ink: filled where the weight should be, a dashed ring where it was."""
        marks = [_mark(self.should, f'fill="{theme.INK}"')]
        if self.was is not None:
            ring = f'fill="none" stroke="{theme.INK}" stroke-width="2" stroke-dasharray="3 3"'
            marks.insert(0, _mark(self.was, ring))
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" width="{WIDTH}" '
            f'height="{HEIGHT}"><path d="{_OUTLINE}" fill="{theme.ASIDE}" stroke="{theme.INK}" '
            f'stroke-width="2"/><path d="M8 {_SOLE} H142" stroke="{theme.INK}" stroke-width="3"/>'
            f"{''.join(marks)}</svg>"
        )

    @property
    def caption(self) -> str:
        """What its dot and ring are; "" where there is no ring."""
        return _("Dot: goal. Ring: before.") if self.was is not None else ""

    def apart(self) -> tuple[tuple[str, "Shoe"], ...]:
        """Two drawings in place of one: what it is not like, and what it is; without the first, none."""
        if self.was is None:
            return ()
        return (_("Not like this"), Shoe(self.foot, self.was)), (_("Like this"), Shoe(self.foot, self.should))

    def drawn(self, said: str = "") -> Markup:
        """The drawing within a page of paper; `said` comes before its words."""
        label = escape(f"{said}: {self.words}" if said else self.words)
        return Markup(self.svg.replace("<svg ", f'<svg role="img" aria-label="{label}" ', 1))  # noqa: S704 - escaped


def _mark(weight: Weight, style: str) -> str:
    x = _HEEL + (_TOE - _HEEL) * weight.at_pct / 100
    return f'<circle cx="{x:.0f}" cy="{_SOLE}" r="{_RADIUS[weight.much]:g}" {style}/>'
