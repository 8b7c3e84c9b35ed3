"""How sure are we: what a session's value is worth, how often our claims hold, and eye against plate."""

import polars as pl
import streamlit as st

from dashboard import frame, layout
from dashboard.charts import eye_and_plate, held_to_account, reliability
from dashboard.queries import people, trust
from dashboard.text.claims import in_words
from dashboard.text.labels import FAMILIES
from dashboard.text.numbers import count, listed
from dashboard.text.sentences import FEW_SWINGS
from warehouse.access import Reader

ALL = "all"
ENOUGH_SWINGS = 10
RELIABLE_HOW = (
    "The intraclass correlation is the share of the spread between session means that comes from "
    "differences between students, not from the day and the swings. The pale strip starts at 0.75, from "
    "where a session tells students apart well. A measure below it can still show one student's change, "
    "over more sessions."
)
REAL_HOW = (
    "Typical error: how far a session's value lies from the student's own, most days. Real from: a change "
    "between two sessions smaller than this may be noise. Swings wanted: from here on more swings in a "
    "session hardly help."
)
CALIBRATION_HOW = (
    "Before this academy's numbers were looked at, the same models ran on simulated academies whose truth "
    "was known. Each mark is one size of academy; the pale strip is the goal. Missed goals are shown like "
    "the others."
)
EYE_HOW = (
    "Kappa is the agreement beyond what chance would make: 1 always, 0 no more than chance; bars hold the "
    "true value nine times in ten. Neither eye nor plate is the truth: a disagreement asks for a look at the "
    "film, and perhaps at the fault's limit in academy.toml."
)


def show(reader: Reader) -> None:
    """The page."""
    st.title("How sure are we", anchor=False)
    seasons = people.seasons(reader)
    if not seasons:
        layout.empty(
            "No session is measured in a season yet, so there is nothing to be sure of.",
            "Drop a delivery on the Deliveries page.",
        )
    when = layout.choose("Season", {name: name for name in seasons}, "season")
    _reliability(reader, when)
    _calibration(reader)
    _eye(reader, when)
    if reader.viewer.role == "head_coach":
        st.header("What was left out")
        st.write("Every swing and delivery that stays out of these answers, by reason, device and coach.")
        frame.link("quality", "Open Data quality →")


def _reliability(reader: Reader, when: str) -> None:
    st.header("What one session is worth")
    families = trust.reliability_families(reader, when)
    if not families:
        layout.say(
            "Not known yet: it takes students measured in several sessions each. More sessions will bring it."
        )
        return
    family = layout.choose("Clubs", {f: FAMILIES.get(f, f) for f in families}, "clubs")
    rows = trust.reliability(reader, when, family)
    shown = rows.filter(pl.col("core")) if rows["core"].any() else rows
    if shown["icc_session"].is_not_null().any():
        finding = reliability.finding(shown, FAMILIES.get(family, family))
        picture = reliability.picture(shown, finding, narrow=layout.narrow())
        layout.picture(picture, reliability.words(shown), reliability.table(rows))
        layout.aside(RELIABLE_HOW)
    else:
        layout.table(reliability.table(rows), f"reliability {when} {family}")
    layout.aside(REAL_HOW)
    wanted = shown["swings_wanted"].drop_nulls()
    more = int((wanted > ENOUGH_SWINGS).sum())
    still = f" On {more} of {len(wanted)} measures more would still help." if more else ""
    st.write(
        f"Ask for 8 to {ENOUGH_SWINGS} swings a club. Fewer than {FEW_SWINGS} in a session are shown as too "
        f"few.{still}"
    )


def _calibration(reader: Reader) -> None:
    st.header("How often our claims hold")
    rows = in_words(trust.calibration(reader))
    if rows.is_empty():
        layout.say("The calibration has not been run for this version; run: make calibration")
        return
    claims = rows["claim"].unique(maintain_order=True).to_list()
    chosen = layout.choose("Claim", {claim: claim for claim in claims}, "claim")
    shown = rows.filter(pl.col("claim") == chosen)
    picture = held_to_account.picture(shown, held_to_account.finding(shown), narrow=layout.narrow())
    layout.picture(picture, held_to_account.words(shown), held_to_account.table(shown))
    layout.aside(CALIBRATION_HOW)
    missed = rows.filter(~pl.col("met"))["claim"].unique(maintain_order=True).to_list()
    judged = len(rows.drop_nulls("met"))
    met = int(rows["met"].sum() or 0)
    told = f" Missed somewhere: {listed([f'“{claim}”' for claim in missed])}." if missed else ""
    st.write(f"Of {count(judged, 'figure')} with a goal, {met} met it.{told}")
    with st.expander("All figures as a table"):
        layout.table(held_to_account.table(rows), "calibration")


def _eye(reader: Reader, when: str) -> None:
    st.header("Eye and plate")
    coaches = trust.eye_plate_coaches(reader, when)
    coach = ALL
    if coaches:
        coach = layout.choose("Whose eye", {ALL: "All coaches", **coaches}, "eye")
    rows = trust.eye_plate(reader, when, None if coach == ALL else coach)
    if rows.is_empty():
        layout.say(
            "Nothing to compare yet: it takes lessons in which a coach noted a fault that the plate also "
            "judged."
        )
        return
    if rows["kappa"].is_not_null().any():
        picture = eye_and_plate.picture(rows, eye_and_plate.finding(rows), narrow=layout.narrow())
        layout.picture(picture, eye_and_plate.words(rows), eye_and_plate.table(rows))
    else:
        layout.table(eye_and_plate.table(rows), f"eye and plate {when}")
    layout.aside(EYE_HOW)
