"""What a preview shows of the swings read: their lines and moments, and whose they seem to be."""

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from ingest.owners import Known, Shown, likely_owners
from ingest.plate_rows import SampleFile, SwingSamples, join
from ingest.recording import shares as recording
from ingest.recording.shares import share_out
from ingest.samples import Samples
from ingest.session_file import SessionHeader, session_of_nobody
from warehouse.preview import MOST_POINTS, Brought, Moments, PreviewedSwing, Share

SURE = 0.8  # chance from which a share is somebody's until a coach says otherwise; common practice, no source
_OTHER_HAND = {"right": "left", "left": "right"}


def shares(brought: Brought, read: Sequence[tuple[SampleFile, bool]]) -> tuple[Share, ...]:
    """Whose the swings of recordings seem to be; none where they are one person's, or shares of a load."""
    unknown = any("shares_only" in flags for one, _ in read for flags in one.flags.values())
    single = any(single or not one.found for one, single in read)
    found = {no: swing for one, _ in read for no, swing in one.found.items()}
    shared = [] if unknown or single else share_out(found)
    return tuple(_share(brought, one) for one in shared) if len(shared) > 1 else ()


def _share(brought: Brought, one: recording.Share) -> Share:
    """Whoever plays with the other hand is less likely than anyone who plays with this one."""
    hand = brought.handed if one.toward == 1 else _OTHER_HAND.get(brought.handed or "")
    fitting = {
        code: Known(player.body_mass_kg)
        for code, player in brought.players.items()
        if hand is None or player.handed in (None, hand)
    }
    owners = likely_owners(fitting, Shown(one.mass_kg))
    first = next((o.person for o in owners[:1] if one.clear and o.chance >= SURE), None)
    others = sorted(brought.players.keys() - fitting.keys())
    return Share(one.swings, one.mass_kg, (*(o.person for o in owners), *others), first)


def swings(
    head: SessionHeader, read: Sequence[tuple[SampleFile, bool]], moments: Moments | None
) -> tuple[PreviewedSwing, ...]:
    """Each swing of the files read, a file with whether it is one swing, and why one is refused."""
    own_file = {no: one.file for one, single in read if single for no in one.numbers}
    numbers = sorted({no for one, _ in read for no in one.numbers})
    cut = {no: swing for one, _ in read for no, swing in one.found.items()}
    mass = head.body_mass_kg or next((r.body_mass_kg for r, _ in read if r.body_mass_kg), None)
    header = session_of_nobody(numbers, mass, head.device)
    samples = Samples(join([one for one, _ in read]), header)
    refused = {r.swing_no: r.sentence for r in samples.refused}
    marked = {no: events for one, _ in read for no, events in one.events.items()}
    shown = moments(samples.trace(samples.good)) if moments is not None and samples.good else {}
    found = []
    for no in numbers:
        file = own_file.get(no)
        if no in samples.good:
            events = shown.get(no, {}) | {event: (at, 0.0) for event, at in marked.get(no, {}).items()}
            swing = _swing(samples, samples.good[no], file, events)
        else:
            swing = PreviewedSwing(no, file, refused=refused.get(no, ""))
        found.append(replace(swing, kind=cut[no].kind, sure=cut[no].sure) if no in cut else swing)
    return tuple(found)


def _swing(
    samples: Samples, swing: SwingSamples, file: str | None, events: Mapping[str, tuple[float, float]]
) -> PreviewedSwing:
    """A swing's loads at no more points than its picture shows, and its moments."""
    order = np.arange(len(samples.values["t_s"]))[swing.order]
    order = order[np.linspace(0, len(order) - 1, min(len(order), MOST_POINTS)).astype(np.int64)]
    t_s, lead, trail = (
        tuple(np.round(samples.values[name][order], 3).tolist()) for name in ("t_s", "lead_n", "trail_n")
    )
    start = swing.t0_s
    return PreviewedSwing(
        swing.swing_no, file, tuple(t - start for t in t_s), lead, trail, swing.end_s - start, t0_s=start,
        events={event: (at - start, error) for event, (at, error) in events.items()},
    )  # fmt: skip
