"""Scores of one simulated academy: how often the season's tables were right, or wrong, and of how many.

`found` holds season tables by name; `listed` in it is what `claims.listed` makes of a season of weekly lists.
"""

from collections.abc import Callable

import polars as pl

from season_worlds.academy import METRICS, SWC, SeasonWorld, change_until

CALLED = ["improving", "slipping"]
Tables = dict[str, pl.DataFrame]
Score = Callable[[SeasonWorld, Tables], tuple[float, float]]


# --- lines -----------------------------------------------------------------------------------------------------------


def trends(world: SeasonWorld, found: Tables) -> pl.DataFrame:
    """season.student_trend in x, beside the truth: true, x_lo, x_hi, label."""
    sign = pl.col("metric").replace_strict(
        {code: one[0] for code, one in METRICS.items()}, return_dtype=pl.Int32
    )
    turned = [sign * pl.col("change_lo"), sign * pl.col("change_hi")]
    rows = found["student_trend"].with_columns(x_lo=pl.min_horizontal(turned), x_hi=pl.max_horizontal(turned))
    rows = rows.join(world.changes.rename({"change": "true"}), on=["student", "metric"])
    return rows if world.groups is None else rows.join(world.groups, on="student")


def covered(group: str | None = None) -> Score:
    """Of the 90 % intervals of change, those that hold it."""

    def score(world: SeasonWorld, found: Tables) -> tuple[float, float]:
        rows = trends(world, found).drop_nulls("change")
        rows = rows if group is None else rows.filter(group=group)
        return rows.filter(pl.col("true").is_between("x_lo", "x_hi")).height, len(rows)

    return score


def called_of(worth: float) -> Score:
    """Of the students whose change is so many smallest worthwhile changes, those it is said of, the right way."""

    def score(world: SeasonWorld, found: Tables) -> tuple[float, float]:
        rows = trends(world, found).filter((pl.col("true").abs() - worth * SWC).abs() < 1e-6)
        if worth == 0:
            return rows.filter(pl.col("label").is_in(CALLED)).height, len(rows)
        way = pl.when(pl.col("true") > 0).then(pl.lit("improving")).otherwise(pl.lit("slipping"))
        return rows.filter(pl.col("label") == way).height, len(rows)

    return score


def wrong_way(world: SeasonWorld, found: Tables) -> tuple[float, float]:
    """Of what is called Improving or Slipping, that which did not change that way."""
    rows = trends(world, found).filter(pl.col("label").is_in(CALLED))
    toward = pl.when(pl.col("label") == "improving").then(pl.col("true")).otherwise(-pl.col("true"))
    return rows.filter(toward <= 1e-9).height, len(rows)


def called_a_season(world: SeasonWorld, found: Tables) -> tuple[float, float]:
    """Rows called Improving or Slipping, for each 60 students."""
    rows = trends(world, found)
    return rows.filter(pl.col("label").is_in(CALLED)).height, rows["student"].n_unique() / 60


def holding_despite(worth: float) -> Score:
    """Of what is called Holding, that which changed by more than so many smallest worthwhile changes."""

    def score(world: SeasonWorld, found: Tables) -> tuple[float, float]:
        rows = trends(world, found).filter(label="holding")
        return rows.filter(pl.col("true").abs() > worth * SWC).height, len(rows)

    return score


def holding(world: SeasonWorld, found: Tables) -> tuple[float, float]:
    """Of all students, those called Holding."""
    return trends(world, found).filter(label="holding").height, len(trends(world, found))


# --- the week --------------------------------------------------------------------------------------------------------


def wrong_new_rows(world: SeasonWorld, found: Tables) -> tuple[float, float]:
    """Of the changes listed in a season, those that were not beyond the smallest worthwhile one that way by then."""
    rows = found["listed"].filter(pl.col("kind").is_in(CALLED))
    wrong = 0
    for (day,), some in rows.group_by("day"):
        true = change_until(world.paths, day)
        both = some.join(true, left_on=["student", "subject"], right_on=["student", "metric"])
        toward = pl.when(pl.col("kind") == "improving").then(pl.col("change")).otherwise(-pl.col("change"))
        wrong += both.filter(toward <= SWC).height
    return wrong, len(rows)


def true_new_rows(world: SeasonWorld, found: Tables) -> tuple[float, float]:
    """Changes listed in a season that were beyond the smallest worthwhile one by then."""
    wrong, of = wrong_new_rows(world, found)
    return of - wrong, 1


def new_rows(world: SeasonWorld, found: Tables) -> tuple[float, float]:
    """Changes listed in a season."""
    return found["listed"].filter(pl.col("kind").is_in(CALLED)).height, 1


def new_faults(*, planted: bool | None = None) -> Score:
    """New faults listed in a season; of those planted from a day before, or of the others."""

    def score(world: SeasonWorld, found: Tables) -> tuple[float, float]:
        return _new_faults(world, found, planted), 1

    return score


def _new_faults(world: SeasonWorld, found: Tables, planted: bool | None) -> int:
    rows = found["listed"].filter(kind="new_fault")
    truth = world.faults.rename({"day": "since"})
    both = rows.join(truth, left_on=["student", "subject"], right_on=["student", "fault"], how="left")
    right = (pl.col("since") <= pl.col("day")).fill_null(value=False)
    return len(rows) if planted is None else both.filter(right if planted else ~right).height


def wrong_new_faults(world: SeasonWorld, found: Tables) -> tuple[float, float]:
    """Of the new faults listed in a season, those that were not planted."""
    return _new_faults(world, found, planted=False), _new_faults(world, found, planted=None)


def rate_called(*, planted: bool) -> Score:
    """Of the fault rates that stay the same, those called better or worse; of those that rose, those called worse."""

    def score(world: SeasonWorld, found: Tables) -> tuple[float, float]:
        rows = (
            found["student_fault_rate"]
            .filter(span="now")
            .join(
                world.faults.select("student", "fault") if planted else world.rates, on=["student", "fault"]
            )
        )
        return rows.filter(pl.col("label").is_in(["worse"] if planted else ["better", "worse"])).height, len(
            rows
        )

    return score


def rate_covered(world: SeasonWorld, found: Tables) -> tuple[float, float]:
    """Of the 90 % intervals of a season's fault rate, those that hold it."""
    rows = found["student_fault_rate"].filter(span="season").rename({"rate": "seen"})
    rows = rows.join(world.rates, on=["student", "fault"])
    return rows.filter(pl.col("rate").is_between("rate_lo", "rate_hi")).height, len(rows)


def held_falsely(world: SeasonWorld, found: Tables) -> tuple[float, float]:
    """Of the paces at which a movement is said to hold, those at which the fault shows in a fifth of swings or more."""
    rows = _held(found).join(
        world.rates, left_on=["student", "fault", "holds_at"], right_on=["student", "fault", "pace"]
    )
    return rows.filter(pl.col("rate") >= 0.2).height, len(rows)


def held_truly(world: SeasonWorld, found: Tables) -> tuple[float, float]:
    """Of the faults that show in under a tenth of full swings, those said to hold at full pace."""
    rows = world.rates.filter(pl.col("rate") < 0.1, pace="full")
    held = _held(found).filter(holds_at="full")
    return rows.join(held, on=["student", "fault"], how="semi").height, len(rows)


def _held(found: Tables) -> pl.DataFrame:
    return found["pace_ladder"].select("student", "fault", "holds_at").unique().drop_nulls()


# --- drills ----------------------------------------------------------------------------------------------------------


def effects(world: SeasonWorld, found: Tables) -> pl.DataFrame:
    """season.drill_effect of the drills' own aim, beside the truth: true_kept, on_the_day."""
    return (
        found["drill_effect"]
        .filter(aim_kind="metric")
        .join(world.drills.rename({"kept": "true_kept"}), on="drill")
    )


def same_day_bias(world: SeasonWorld, found: Tables) -> tuple[float, float]:
    """How far the same-day effect is above the truth, in smallest worthwhile changes."""
    rows = effects(world, found).drop_nulls("same_day").filter(pl.col("same_day").is_not_nan())
    return float((rows["same_day"] - rows["on_the_day"]).sum()) / SWC, len(rows)


def same_day_above(world: SeasonWorld, found: Tables) -> tuple[float, float]:
    """Of the drills with a same-day effect, those whose 90 % interval lies above 0."""
    rows = effects(world, found).drop_nulls("same_day").filter(pl.col("same_day").is_not_nan())
    return rows.filter(pl.col("same_day_lo") > 0).height, len(rows)


def helps(world: SeasonWorld, found: Tables) -> tuple[float, float]:
    """Of the drills that were given enough, those called Helps."""
    rows = effects(world, found).filter(pl.col("label") != "too_little_data")
    return rows.filter(label="helps").height, len(rows)


def kept_bias(world: SeasonWorld, found: Tables) -> tuple[float, float]:
    """How far what a drill kept is above the truth, in x."""
    rows = effects(world, found).drop_nulls("kept").filter(pl.col("label") != "too_little_data")
    return float((rows["kept"] - rows["true_kept"]).sum()), len(rows)


def either_kept(world: SeasonWorld, found: Tables) -> tuple[float, float]:
    """Academies in which random draws are said to show that something is kept, either way."""
    rows = effects(world, found).drop_nulls("lots")
    return float(rows.filter((pl.col("lots_lo") > 0) | (pl.col("lots_hi") < 0)).height > 0), 1


def better_kept(world: SeasonWorld, found: Tables) -> tuple[float, float]:
    """Academies in which random draws are said to show that the better drill of the two is the better."""
    rows = effects(world, found).drop_nulls("lots")
    better = world.contrasts["drill"][0]
    right = pl.when(pl.col("drill") == better).then(pl.col("lots_lo") > 0).otherwise(pl.col("lots_hi") < 0)
    return float(rows.filter(right).height > 0), 1


# --- coaches and ball ------------------------------------------------------------------------------------------------


def outside_funnel(coach: str | None = None, *, above: bool = False) -> Score:
    """Of the coaches with a dot, those outside the limits that 95 of 100 equal coaches lie within."""

    def score(world: SeasonWorld, found: Tables) -> tuple[float, float]:
        rows = found["coach_gain"].filter("shown").drop_nulls("raw")
        rows = rows if coach is None else rows.filter(coach=coach)
        high, low = pl.col("raw") > pl.col("hi95"), pl.col("raw") < pl.col("lo95")
        return rows.filter(high if above else high | low).height, len(rows)

    return score


def has_dot(world: SeasonWorld, found: Tables) -> tuple[float, float]:
    """Of all coaches, those with a dot."""
    return found["coach_gain"].filter("shown").drop_nulls("raw").height, len(world.coaches)


def links(world: SeasonWorld, found: Tables) -> pl.DataFrame:
    """season.ball_link beside the truth: linked."""
    return found["ball_link"].join(world.links, on=["student", "metric"])


def students_with_false_link(world: SeasonWorld, found: Tables) -> tuple[float, float]:
    """Of the students, those with a link that is none; a link is with carry alone."""
    none = ~pl.col("linked") | (pl.col("outcome") != "carry_m")
    rows = links(world, found).filter(none, label="goes_together")
    return rows["student"].n_unique(), world.links["student"].n_unique()


def links_found(world: SeasonWorld, found: Tables) -> tuple[float, float]:
    """Of the metrics that go with carry, those of which it is said."""
    rows = links(world, found).filter("linked", outcome="carry_m")
    return rows.filter(label="goes_together").height, world.links["linked"].sum()


# --- agreed aims -----------------------------------------------------------------------------------------------------


def aims_reached(worth: float) -> Score:
    """Of the aims whose metrics changed by so many smallest worthwhile changes since, those said to be reached."""

    def score(world: SeasonWorld, found: Tables) -> tuple[float, float]:
        rows = found["agreed_aim"].join(world.groups.filter(group=f"{worth:g}"), on="student")
        return rows.filter(label="reached").height, len(rows)

    return score


def aims_reached_falsely(world: SeasonWorld, found: Tables) -> tuple[float, float]:
    """Of the aims whose metrics together did not change the better way since, those said to be reached."""
    both = found["agreed_aim"].join(world.paths, on="student").filter(pl.col("day") >= pl.col("agreed"))
    rows = (
        both.sort("day").group_by("student", "metric", "label").agg(pl.col("x").last() - pl.col("x").first())
    )
    together = rows.group_by("student", "label").agg(pl.col("x").mean()).filter(pl.col("x") <= 1e-9)
    return together.filter(label="reached").height, len(together)
