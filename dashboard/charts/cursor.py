"""Values at the cursor: the nearest place on the time axis, a line there, and what each course says."""

from collections.abc import Mapping

import altair as alt
import polars as pl

from dashboard import theme


def layers(rows: pl.DataFrame, x: alt.X, said: Mapping[str, str]) -> list[alt.Chart]:
    """A line that follows the pointer, with a tooltip.

    `rows`: position, and one text column for each key of `said` (column → its name in the tooltip).
    """
    near = alt.selection_point(
        name="cursor", nearest=True, on="pointerover", clear="pointerout", fields=["position"], empty=False
    )
    tips = [alt.Tooltip(f"{column}:N", title=name) for column, name in said.items()]
    return [
        alt.Chart(rows)
        .mark_rule(color=theme.INK, strokeWidth=1)
        .encode(x=x, opacity=alt.condition(near, alt.value(0.7), alt.value(0)), tooltip=tips)
        .add_params(near)
    ]
