"""A film and the heel lanes beside it, with one slider that moves both. Nothing is fetched."""

from dashboard.components import Component
from dashboard.text.catalogue import Words

WORDS = Words({
    "play": "Play", "pause": "Pause", "time": "Time in the swing",
    "lead": "lead heel", "trail": "trail heel",
    "lanes": "Load under the lead heel upward, under the trail heel downward, in % of body weight",
    "reading": "{t} s: lead heel {lead} %, trail heel {trail} % of body weight",
    "nudge": "Shift the film along the load, frame by frame",
    "keep": "Keep this place", "sending": "Sending…", "strike": "This picture shows the strike",
    "asked": "Which picture shows the strike?",
    "candidate": "Picture {n}, at {t} s of the film",
    "unplayable": "This browser can't play this film's format.",
    "unplayable_lanes": "This browser can't play this film's format; the lanes still move.",
})  # fmt: skip
# Its data: film (base64), kind, title, times, lead, trail, events (name, s), offset_s; picture_s, the length
# of a picture, where the film may be moved against the lanes; impact_s, when the ball was struck by the
# lanes; asked, the places among which a coach has to choose. Without times the film has no lanes beside it.
show = Component("film_player", WORDS, sends="kept").show
