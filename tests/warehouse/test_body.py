"""What age and pain rule out, and which cautions a drill or a check needs: one rule, and its first and last days."""

import re
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from warehouse.body import (
    AGE,
    BALANCE,
    CAUTIONS,
    DISCOMFORT,
    EYES_CLOSED,
    FALLS_NOT_ASKED,
    FELL,
    LOAD,
    Body,
    Exercise,
    FallsAnswer,
    Objection,
    cautions_of,
    from_age,
    may_load,
    nudge_check,
    open_discomfort,
    quiet_work,
)  # fmt: skip
from warehouse.swing_load import SwingLoad

ROOT = Path(__file__).parents[2]
TODAY = date(2026, 5, 5)

GROWN = date(1990, 1, 1)
NO_FALL, FALL = FallsAnswer(TODAY, fell=False), FallsAnswer(TODAY, fell=True)


def born(years: int, *, days: int = 0) -> date:
    """The birth date of someone who turned so many years old this many days ago."""
    return date(TODAY.year - years, TODAY.month, TODAY.day) - timedelta(days=days)


@pytest.mark.parametrize(
    "text",
    [
        "Stand with eyes closed.", "Close your eyes and turn.", "Eyes shut for five breaths.", "Blindfolded set-up",
        "Closing both eyes, swing slowly", "Swing without looking",
    ],
)  # fmt: skip
def test_every_way_to_say_eyes_closed_brings_its_caution_and_its_age(text):
    assert EYES_CLOSED in cautions_of(Exercise("d", text))
    assert from_age(Exercise("d", "Quiet feet", text)) == 14
    assert from_age(Exercise("d", "Quiet feet", None, text, min_age=16)) == 16


@pytest.mark.parametrize(
    ("caution", "phrases"),
    [
        (BALANCE, "one leg, single-leg, other foot, one-legged, one-footed, single foot, balance, balances, balancing"),
        (BALANCE, "wobble, wobbling, nudge, nudged, foam, cushion, tiptoe, tiptoes, heel to toe walk"),
        (LOAD, "jump, jumps, jumping, hop, hops, hopping, bound, bounding, sprint, sprints, heavy, heavier, weighted"),
        (LOAD, "lunge, squat, squats, as hard as you can, fast as they can, as hard as possible, full force"),
        (EYES_CLOSED, "eyes closed, eye shut, eyes kept shut, close the eyes, closes both eyes, closing your eyes"),
        (EYES_CLOSED, "closed eyes, shut one eye, shuts your eyes, shutting both eyes, blindfolded, without looking"),
    ],
)  # fmt: skip
def test_each_of_its_words_brings_a_caution_and_a_longer_word_does_not(caution, phrases):
    for phrase in phrases.split(", "):
        assert caution in cautions_of(Exercise("d", f"Then {phrase.capitalize()} there")), phrase
        if " " not in phrase:
            assert caution not in cautions_of(Exercise("d", f"Then x{phrase} there")), phrase


@pytest.mark.parametrize("text", ["Stand close to the wall.", "Keep an eye on the ball.", "Ten slow swings."])
def test_other_words_bring_no_caution(text):
    assert cautions_of(Exercise("d", text)) == ()


def test_each_caution_has_its_own_words():
    assert cautions_of(Exercise("d", "Swing on one leg")) == (BALANCE,)
    assert cautions_of(Exercise("d", "Quiet feet", aim="unsteady_at_address")) == (BALANCE,)
    assert cautions_of(Exercise("d", "Jump to the lead foot")) == (LOAD,)
    assert cautions_of(Exercise("d", "Slow start", min_age=10)) == (AGE,)
    assert cautions_of(nudge_check("closed")) == (EYES_CLOSED, BALANCE, AGE)
    assert cautions_of(nudge_check("open")) == (BALANCE,)


@pytest.mark.parametrize(
    ("birth", "allowed"),
    [
        (born(14), True),
        (born(14, days=-1), False),
        (born(13, days=200), False),
        (born(80), True),
        (None, False),
    ],
)
def test_eyes_closed_is_for_fourteen_and_over_from_the_birthday_on(birth, allowed):
    body = Body(birth, TODAY, falls=NO_FALL)
    assert body.may_do(nudge_check("closed")) is allowed
    assert body.may_do(nudge_check("open"))
    assert Body(born(14), TODAY, eyes_closed_from_age=16).objections(nudge_check("closed")) == [
        Objection(AGE, 16)
    ]


@pytest.mark.parametrize(
    ("falls", "against"), [(NO_FALL, []), (FALL, [Objection(FELL)]), (None, [Objection(FALLS_NOT_ASKED)])]
)
def test_eyes_closed_needs_a_no_to_falls_and_eyes_open_does_not(falls, against):
    body = Body(GROWN, TODAY, falls=falls)
    drills = [Exercise("d1", "Close your eyes", aim="x"), Exercise("d2", "Ten slow swings", aim="x")]
    assert body.objections(nudge_check("closed")) == body.objections(drills[0]) == against
    assert body.objections(nudge_check("open")) == body.objections(drills[1]) == []
    assert body.safe_choice(nudge_check("closed"), drills) == nudge_check("open")
    assert body.safe_choice(drills[0], drills) == drills[1]


def test_who_is_too_young_is_not_asked_about_falls_but_a_fall_is_said():
    child = born(13)
    assert Body(child, TODAY).objections(nudge_check("closed")) == [Objection(AGE, 14)]
    fallen = Body(child, TODAY, falls=FALL).objections(nudge_check("closed"))
    assert fallen == [Objection(AGE, 14), Objection(FELL)]


@pytest.mark.parametrize(
    ("birth", "falls", "due"),
    [
        (born(60), None, True),
        (born(60, days=-1), None, False),
        (born(80), NO_FALL, False),
        (born(80), FALL, False),
        (None, None, True),
    ],
)
def test_from_sixty_on_falls_are_asked_about_whatever_is_practised(birth, falls, due):
    assert Body(birth, TODAY, falls=falls).falls_due is due


@pytest.mark.parametrize(
    ("answers", "answer"),
    [
        ([(0, 0)], FallsAnswer(TODAY, fell=False)),
        ([(364, 1)], FallsAnswer(TODAY - timedelta(days=364), fell=True)),
        ([(365, 0)], None),
        ([(-1, 0)], None),
        ([(9, 1), (2, 0)], FallsAnswer(TODAY - timedelta(days=2), fell=False)),
        ([(9, 0), (2, 1)], FallsAnswer(TODAY - timedelta(days=2), fell=True)),
        ([(2, 1), (2, 0)], FallsAnswer(TODAY - timedelta(days=2), fell=True)),
        ([], None),
    ],
)
def test_the_newest_answer_holds_for_a_year_and_a_yes_goes_before_a_no_of_the_same_moment(answers, answer):
    days = [TODAY - timedelta(days=ago) for ago, _ in answers]
    rows = pl.DataFrame(
        {
            "student": ["s1"] * (len(days) + 1),
            "at": [*(datetime(d.year, d.month, d.day) for d in days), datetime(2026, 5, 5)],  # noqa: DTZ001
            "day": [*days, TODAY],
            "kind": ["falls"] * len(days) + ["felt"],
            "code": ["?"] * (len(days) + 1),
            "grade": [*(grade for _, grade in answers), 1],
        },
        schema_overrides={"at": pl.Datetime("us")},
    )
    body = Body.by_notes(GROWN, TODAY, rows)
    assert body.falls == answer
    if answer is not None:
        assert answer.asked_again_on == answer.day + timedelta(days=365)
        then = datetime(answer.day.year, answer.day.month, answer.day.day)  # noqa: DTZ001
        assert Body.by_notes(GROWN, TODAY, rows, until=then).falls == answer
        first = datetime(2020, 1, 1)  # noqa: DTZ001
        assert Body.by_notes(GROWN, TODAY, rows, until=first).falls is None


@pytest.mark.parametrize(
    ("birth", "growing"),
    [(born(18), False), (born(18, days=-1), True), (born(40), False), (None, True), (born(9), True)],
)
def test_limits_on_full_swings_are_for_those_under_eighteen(birth, growing):
    assert Body(birth, TODAY).growing is growing


def load(*days, a_day=100, a_week=300):
    rows = [(TODAY - timedelta(days=ago), swings, not_counted) for ago, swings, not_counted in days]
    schema = {"day": pl.Date, "swings": pl.Int64, "not_counted": pl.Boolean}
    return SwingLoad.of(pl.DataFrame(rows, schema, orient="row"), TODAY, a_day=a_day, a_week=a_week)


def test_full_swings_are_counted_by_day_and_by_week_to_the_last_day():
    found = load((-1, 500, True), (0, 40, False), (6, 70, True), (7, 30, True), (13, 1, False), (14, 2, False),
                 (28, 3, False), (34, 4, False), (35, 900, True))  # fmt: skip
    assert (found.on_day, found.week, found.most, found.before) == (40, 110, 70, (31, 2, 0, 7))
    assert (found.not_counted, found.left, found.over) == (1, 60, False)
    nothing = load()
    assert (nothing.on_day, nothing.week, nothing.most, nothing.left) == (0, 0, 0, 100)
    assert (nothing.over, nothing.usual, nothing.jumped) == (False, None, False)


@pytest.mark.parametrize(
    ("days", "left", "over"),
    [
        ([(0, 100, False)], 0, False),
        ([(0, 101, False)], 0, True),
        ([(3, 101, False)], 100, True),
        ([(0, 20, False), (1, 95, False), (2, 95, False), (3, 80, False)], 10, False),
        ([(0, 40, False), (1, 95, False), (2, 95, False), (3, 70, False)], 0, False),
        ([(0, 41, False), (1, 95, False), (2, 95, False), (3, 70, False)], 0, True),
    ],
)
def test_what_is_left_keeps_to_the_day_and_to_the_week(days, left, over):
    assert (load(*days).left, load(*days).over) == (left, over)


@pytest.mark.parametrize(
    ("week", "before", "usual", "jumped"),
    [
        (61, (40, 40, 40, 40), 40, True),
        (60, (40, 40, 40, 40), 40, False),
        (46, (40, 40, 40, 0), 30, True),
        (90, (40, 40, 0, 0), None, False),  # too little is known of what is usual
        (29, (10, 10, 10, 10), 10, False),  # a few swings are no load
        (30, (10, 10, 10, 10), 10, True),
    ],
)
def test_the_load_has_jumped_above_one_and_a_half_times_the_usual_week(week, before, usual, jumped):
    found = load((0, week, False), *((7 * k, swings, False) for k, swings in enumerate(before, 1)))
    assert (found.usual, found.jumped) == (usual, jumped)


@given(
    st.lists(st.tuples(st.integers(0, 40), st.integers(0, 200), st.booleans()), unique_by=lambda d: d[0]),
    st.integers(1, 200), st.integers(1, 500),
)  # fmt: skip
def test_whoever_keeps_to_what_is_left_exceeds_no_limit(days, a_day, a_week):
    found = load(*days, a_day=a_day, a_week=a_week)
    after = load(
        *[d for d in days if d[0]], (0, found.on_day + found.left, False), a_day=a_day, a_week=a_week
    )
    assert after.over is found.over
    if not found.over:
        more = load(
            *[d for d in days if d[0]], (0, found.on_day + found.left + 1, False), a_day=a_day, a_week=a_week
        )
        assert more.over


@pytest.mark.parametrize(
    ("area", "text", "loads"),
    [
        ("lower_back", "Sit and breathe.", True),  # the trunk: every drill
        ("trail knee", "Step past the lead foot.", True),
        ("left wrist", "Stand quietly for five breaths.", False),
        ("left_outer_calf", "Ten slow swings.", False),  # an area within what was noted
        ("left_outer_calf", "Stand quietly for five breaths.", True),
        ("wrist", "Ten slow swings.", True),
        ("somewhere", "Breathe.", True),  # not known: nothing is risked
        (None, "Breathe.", True),
    ],
)  # fmt: skip
def test_a_drill_may_load_what_it_mentions_and_what_works_with_it(area, text, loads):
    assert may_load(Exercise("d", text), area) is loads
    assert Body(GROWN, TODAY, (area,)).objections(Exercise("d", text)) == (
        [Objection(DISCOMFORT, area=area)] if loads else []
    )


ARM = ["arm", "hand", "wrist", "elbow", "shoulder", "club", "swing", "strike", "ball"]
LEG = [
    "leg", "knee", "kneel", "ankle", "heel", "foot", "feet", "toe", "calf", "calves", "hip", "step", "walk", "press",
    "stand",
]  # fmt: skip


@pytest.mark.parametrize(
    "text", ["Jump to the side.", "Three deep squats", "Up on tiptoes", "Balance on foam"]
)
def test_what_loads_or_unsettles_the_body_may_load_the_legs(text):
    drill = Exercise("d", text)
    assert all(may_load(drill, area) for area in ("knee", "ankle", "heel", "foot", "calf"))
    assert not may_load(drill, "wrist")


@pytest.mark.parametrize(
    ("text", "cautions", "knee", "wrist"),
    [
        ("Mit geschlossenen Augen ruhig stehen.", ("eyes_closed", "age"), True, False),
        ("Schließen Sie die Augen und atmen Sie aus.", ("eyes_closed", "age"), False, False),
        ("Augen zu, dann drei langsame Schwünge", ("eyes_closed", "age"), False, True),
        ("Zehn Probeschwünge, ohne hinzusehen", ("eyes_closed", "age"), False, True),
        ("Einbeinstand auf dem hinteren Fuß", ("balance",), True, False),
        ("Auf einem Bein das Gleichgewicht halten", ("balance",), True, False),
        ("Auf einem Kissen sitzen", ("balance",), True, False),
        ("Zur Seite springen", ("load",), True, False),
        ("So fest wie du kannst auf ein Handtuch schlagen", ("load",), True, True),
        ("Kniebeugen mit dem Schläger", ("load",), True, True),
        ("Die rechte Ferse anheben", (), True, False),
        ("Die Hüften drehen", (), True, False),
        ("Die Arme hängen lassen", (), False, True),
        ("Ruhig atmen, die Augen geöffnet", (), False, False),
        ("Being patient, in the spring", (), False, False),
    ],
)
def test_a_drill_written_in_german_needs_the_same_cautions(text, cautions, knee, wrist):
    drill = Exercise("d", text)
    assert cautions_of(drill) == cautions
    assert (may_load(drill, "knee"), may_load(drill, "wrist")) == (knee, wrist)


@pytest.mark.parametrize(
    ("areas", "words", "spared"),
    [
        (("shoulder", "elbow", "wrist", "hand"), ARM, [*LEG, "turn"]),
        (("knee",), [*LEG, "turn"], ARM),
        (("ankle", "heel", "foot", "calf"), LEG, [*ARM, "turn"]),
        (("lower back", "upper back", "neck", "hip"), [*ARM, *LEG, "turn", "breathe"], []),
    ],
)  # fmt: skip
def test_each_word_loads_the_areas_that_work_with_it_on_either_side_and_no_other(areas, words, spared):
    for area in areas:
        for side in ("", "lead ", "trail ", "left ", "right "):
            for text in (*words, *(f"{word}s" for word in words), *(f"{word}ing" for word in words)):
                assert may_load(Exercise("d", f"Now {text.upper()}, slowly"), side + area), (area, text)
        if "step" in words:
            assert may_load(Exercise("d", "Stepping over, then stepped back"), area)
        for word in spared:
            assert not may_load(Exercise("d", f"Now {word}, slowly"), area), (area, word)


@pytest.mark.parametrize("side", ["lead", "trail", "left", "right"])
def test_what_is_left_to_do_is_the_same_for_either_side(side):
    for area, left in (
        ("knee", ("seated", "hands", "talk")),
        ("hip", ("seated", "hands", "talk")),
        ("ankle", ("seated", "hands", "short_game", "talk")),
        ("heel", ("seated", "hands", "short_game", "talk")),
        ("foot", ("seated", "hands", "short_game", "talk")),
        ("calf", ("seated", "hands", "short_game", "talk")),
        ("wrist", ("seated", "talk")),
    ):
        assert quiet_work([f"{side} {area}"]) == quiet_work([f"{side}_{area.upper()}"]) == left
    assert quiet_work([f"{side} heel", "lower back"]) == ("seated", "hands", "talk")
    assert quiet_work([f"{side} heel"], lasting=True) == ("seated", "hands", "talk")


@pytest.mark.parametrize(("ago", "lasting"), [(0, False), (21, False), (22, True), (400, True)])
def test_pain_open_for_over_three_weeks_lasts_and_rules_out_every_drill_until_it_is_over(ago, lasting):
    day = TODAY - timedelta(days=ago)
    note = {
        "student": "s1",
        "at": datetime(day.year, day.month, day.day),  # noqa: DTZ001
        "day": day,
        "code": "heel",
        "grade": 1,
    }
    opened = pl.DataFrame([note | {"kind": "discomfort"}])
    words = Exercise("d1", "Say what you feel")
    body = Body.by_notes(GROWN, TODAY, opened)
    assert (body.lasting, body.may_do(words)) == (lasting, not lasting)
    assert (body.safe_choice(Exercise("d2", "Step"), [words]) is None) == lasting
    over = pl.concat([opened, pl.DataFrame([note | {"kind": "discomfort_over"}])])
    assert Body.by_notes(GROWN, TODAY, over).lasting is False


def test_the_safe_choice_is_the_easier_check_or_a_drill_of_the_same_aim_that_is_allowed():
    drills = [
        Exercise("d1", "Ten slow swings", aim="other"), Exercise("d2", "Step through", aim="x"),
        Exercise("d3", "Breathe out", aim="x"), Exercise("d4", "Eyes closed breathing", aim="x"),
    ]  # fmt: skip
    child, sore = Body(born(12), TODAY), Body(GROWN, TODAY, ("knee",), NO_FALL)
    assert child.safe_choice(nudge_check("closed"), drills) == nudge_check("open")
    assert sore.safe_choice(nudge_check("closed"), drills) is None
    assert child.safe_choice(drills[3], drills) == drills[1]
    assert sore.safe_choice(drills[1], drills) == drills[2]
    assert Body(GROWN, TODAY, ("lower back",)).safe_choice(drills[1], drills) is None


def test_sore_places_are_said_in_the_order_in_which_they_were_noted_and_each_once():
    places = [
        "wrist",
        "left_knee",
        "hip",
        "neck",
        "right_ankle",
        "elbow",
        "hand",
        "left_calf",
        "shoulder",
        "heel",
    ]
    lines = notes(*(("s1", 1, "discomfort", place) for place in [*places, *reversed(places)]))
    lines = lines.with_columns(day=pl.lit(TODAY), grade=pl.lit(None, pl.Int64))
    body = Body.by_notes(GROWN, TODAY, lines)
    assert body.areas == tuple(place.replace("_", " ") for place in places)


@given(
    st.text(max_size=60), st.one_of(st.none(), st.integers(0, 99)), st.one_of(st.none(), st.dates(max_value=TODAY)),
    st.lists(st.one_of(st.none(), st.sampled_from(["knee", "lower back", "wrist", "left_calf", "?"])), max_size=3),
)  # fmt: skip
def test_whatever_a_drill_says_it_is_allowed_only_where_nothing_speaks_against_it(
    text, min_age, birth, areas
):
    drill = Exercise("d", text, min_age=min_age)
    body = Body(birth, TODAY, tuple(areas))
    assert set(cautions_of(drill)) <= set(CAUTIONS)
    assert body.may_do(drill) is (
        body.too_young_for(drill) is None
        and not drill.eyes_closed  # nobody asked about falls
        and not any(may_load(drill, a) for a in areas)
    )
    chosen = body.safe_choice(drill, [Exercise("e", "Breathe"), drill])
    assert chosen is None or (body.may_do(chosen) and chosen.code != "d")


def notes(*rows):
    known = [
        (who, datetime(2026, 5, day, tzinfo=UTC).replace(tzinfo=None), kind, code)
        for who, day, kind, code in rows
    ]
    schema = {"student": pl.String, "at": pl.Datetime("us"), "kind": pl.String, "code": pl.String}
    return pl.DataFrame(known, schema, orient="row")


def test_discomfort_is_open_until_it_is_over_for_its_place_or_for_all():
    lines = notes(
        ("s1", 1, "discomfort", "Left knee"), ("s1", 1, "discomfort", "wrist"), ("s2", 1, "discomfort", "left_knee"),
        ("s1", 3, "discomfort_over", "left_knee"), ("s1", 5, "discomfort", "left knee"), ("s2", 4, "saw", "x"),
        ("s3", 5, "discomfort", None), ("s3", 6, "discomfort_over", None), ("s4", 2, "discomfort_over", "hip"),
        ("s6", 4, "discomfort", "hip"), ("s6", 5, "discomfort_over", "hip"),
        ("s4", 3, "discomfort", "hip"), ("s5", 3, "discomfort", "hip"), ("s5", 3, "discomfort_over", "hip"),
    )  # fmt: skip
    found = {(row["student"], row["code"]) for row in open_discomfort(lines).iter_rows(named=True)}
    assert found == {("s1", "wrist"), ("s2", "left_knee"), ("s1", "left knee"), ("s4", "hip")}
    then = open_discomfort(lines, datetime(2026, 5, 4, tzinfo=UTC).replace(tzinfo=None))
    assert {(row["student"], row["code"]) for row in then.iter_rows(named=True)} == {
        ("s1", "wrist"), ("s2", "left_knee"), ("s4", "hip"), ("s6", "hip"),
    }  # fmt: skip


def test_no_other_module_decides_what_age_or_pain_rules_out():
    words = re.compile(
        r"min_age[\"\'\]]* *(<|>)|(<|>)=? *[\w.\[\]\"\']*min_age|eyes closed\b.* in |discomfort_over.*EXISTS"
    )
    copies = {
        path.relative_to(ROOT).as_posix()
        for wing in ("warehouse", "ingest", "models", "dashboard")
        for path in (ROOT / wing).rglob("*")
        if path.suffix in {".py", ".sql"} and words.search(path.read_text(encoding="utf-8"))
    }
    assert copies == set()
