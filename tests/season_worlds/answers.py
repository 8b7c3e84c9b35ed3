"""What the season's models say of a simulated academy: its tables go in, the plan's own steps run, tables come out."""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import date
from pathlib import Path

import polars as pl

import builders
from models.plan import PLAN, Run
from models.samples import temporary
from models.swing.faults import load_rules
from season_worlds.academy import SeasonWorld
from warehouse.home import Home
from warehouse.store import Writer, writer

GIVEN = ("academy.swing_metric", "academy.setup_target", "academy.swing_fault")  # by the world itself
BUILD_EVERY = 2  # looks: loads come in between, under the last build's fits


class Answers:
    """A warehouse that one world after another is put into."""

    def __init__(self, home: Home, opened: Writer) -> None:
        self.home, self.writer = home, opened
        self.steps = [step for step in PLAN if not set(step.tables) & set(GIVEN)]
        self.rules = load_rules(home.settings())
        self.filled: set[str] = set()

    def of(self, world: SeasonWorld, *asked: str) -> dict[str, pl.DataFrame]:
        """The season tables `asked` for (without their schema), everything they need made for the world alone."""
        self.clear(world)
        self.add(world.tables)
        return self.made(asked)

    def clear(self, world: SeasonWorld) -> None:
        """Nothing of the world before is left."""
        for table in (
            self.filled | set(world.tables) | {table for step in self.steps for table in step.tables}
        ):
            self.writer.execute(f"DELETE FROM {table}")
        self.filled = set(world.tables)

    def looks(
        self, world: SeasonWorld, days: Sequence[date], *asked: str, without: Sequence[str] = ()
    ) -> Iterator[dict[str, pl.DataFrame]]:
        """The tables as they stand on each of these days, after the loads before it and every other time a build.

        `without`: tables that are left empty, as what is asked for does not depend on them.
        """
        before = date.min
        for number, day in enumerate(days):
            came = came_between(world.tables, before, day)
            if before == date.min:
                self.clear(world)
            self.add(came)
            yield self.made(asked, whole=number % BUILD_EVERY == 0, without=without)
            before = day

    def add(self, tables: dict[str, pl.DataFrame]) -> None:
        """More rows, as a load would bring them."""
        for table, rows in tables.items():
            self.writer.append(table, rows)

    def made(
        self, asked: Sequence[str], *, whole: bool = True, without: Sequence[str] = ()
    ) -> dict[str, pl.DataFrame]:
        """Run the steps behind these tables over what has been put in; `whole` as a build does."""
        wanted, steps = {f"season.{name}" for name in asked}, []
        for step in reversed(self.steps):
            if wanted & set(step.tables) - set(without):
                steps.append(step)
                wanted |= set(step.needs)
        students = self.writer.sql("SELECT DISTINCT student FROM academy.session ORDER BY 1")["student"]
        run = Run(self.home, self.writer, self.rules, whole=whole, sessions=[], progress=None)
        with self.writer.transaction():
            temporary(self.writer, "touched", "student", students.to_list())
            temporary(self.writer, "place", "time_zone", [self.home.settings().time_zone])
            for step in reversed(steps):
                step.run(run)
        return {name: self.writer.sql(f"SELECT * FROM season.{name}") for name in asked}


def came_between(tables: dict[str, pl.DataFrame], after: date, until: date) -> dict[str, pl.DataFrame]:
    """The rows that came after one day, up to another; what has no day comes with the first."""
    within = pl.col("day").is_between(after, until, closed="right")
    sessions = tables["academy.session"].filter(within)
    came = {}
    for table, rows in tables.items():
        if table == "academy.session":
            came[table] = sessions
        elif "day" in rows.columns:
            came[table] = rows.filter(within)
        elif "session" in rows.columns:
            came[table] = rows.join(
                sessions.select("session"), on="session", how="semi", maintain_order="left"
            )
        elif after == date.min:
            came[table] = rows
    return came


@contextmanager
def answering(folder: Path) -> Iterator[Answers]:
    """A home of its own to put worlds into."""
    home = builders.make_home(folder)
    with writer(home) as opened:
        yield Answers(home, opened)
