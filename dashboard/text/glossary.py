"""What the words of the pages mean: each term once, for the Words page and beside a term elsewhere."""

from dataclasses import dataclass

from dashboard.text.catalogue import mark


@dataclass(frozen=True)
class Term:
    """A word or two of the pages and what they mean, both marked."""

    name: str
    meaning: str


FEET = Term(
    mark("Front foot, back foot"),
    mark("The front (lead) foot is the one nearer the target, the back (trail) foot the other."),
)
LOAD = Term(mark("Load, weight"), mark("Load is how hard a foot presses on the ground."))
POINT = Term(mark("Point"), mark("A point is one hundredth of all the load on both feet."))

# Heading → its terms, in the order in which a lesson meets them.
GLOSSARY = {
    mark("The swing"): (
        FEET,
        Term(mark("At address"), mark("Standing ready at the ball, before anything moves.")),
        Term(
            mark("Halfway back, halfway down"),
            mark("Where the front arm is parallel to the ground, going back and coming down."),
        ),
        Term(mark("Top"), mark("Where the club changes direction.")),
        Term(mark("Impact"), mark("The moment when the club meets the ball.")),
        Term(
            mark("Fault"),
            mark(
                "Something in a swing that usually costs distance or direction: a measure is beyond a limit "
                "that the academy has set."
            ),
        ),
        Term(mark("Clean swing"), mark("A swing that was checked for a fault and does not show it.")),
    ),
    mark("Load and pressure"): (
        LOAD,
        Term(mark("Share"), mark("How much of the load on both feet one foot or heel carries, in %.")),
        POINT,
        Term(
            mark("% of body weight"),
            mark("A load compared with what the player weighs; 100 % is what both feet carry at rest."),
        ),
        Term(
            mark("Pressure"),
            mark("Where along the foot its load sits: 0 is the back of the heel, 100 the tip of the toes."),
        ),
    ),
    mark("Where a student stands"): (
        Term(
            mark("Target"),
            mark("Where a measure should be: set by the academy, or agreed with one student."),
        ),
        Term(
            mark("Smallest worthwhile change"),
            mark(
                "The smallest change that is worth practice time: usually a fifth of the spread between "
                "students. An improvement of 1 is one of these."
            ),
        ),
        Term(
            mark("Improving, slipping"),
            mark("Over the season a measure has most likely changed by more than that, for better or worse."),
        ),
        Term(
            mark("Not clear yet"),
            mark("The sessions so far fit a change and no change. More sessions will tell."),
        ),
        Term(
            mark("Usual scatter"),
            mark(
                "How far apart two sessions of a student are when nothing has changed: 19 times in 20 it is "
                "less than this."
            ),
        ),
        Term(
            mark("9 in 10"),
            mark("The true value is probably inside the bar: nine bars in ten contain it."),
        ),
        Term(
            mark("False alarm"),
            mark("A change that is listed although nothing has changed; each list says how many to expect."),
        ),
    ),
    mark("Drills and practice"): (
        Term(mark("Dose"), mark("Each time that a drill was given or practised is one dose.")),
        Term(mark("Kept"), mark("What a drill has changed by the end of the season, not only on the day.")),
        Term(
            mark("Random draw"),
            mark("Chance decides which of two drills a student gets, so that they can be compared fairly."),
        ),
        Term(
            mark("Open discomfort"),
            mark("Pain that a note mentions, until a later note says that it has gone."),
        ),
    ),
}  # fmt: skip
