"""What the files of one visit would be read as, before anything is kept; the readers are those of a load.

Where the device has no recipe yet, one is proposed, and the files are read by it.
"""

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from ingest.brought_files import BroughtFiles
from ingest.formats.explanation import Knowing
from ingest.formats.format import (
    RosterFormat,
    SampleFormat,
    explain,
    files_of,
    formats,
    is_known,
)
from ingest.formats.plate_table import PlateTable
from ingest.formats.sensor_grid import SensorGrid
from ingest.owners import Known, Shown, likely_owners
from ingest.plate_rows import SampleFile, SwingSamples, join
from ingest.reading_process import read_within_limits
from ingest.recording import shares as recording
from ingest.recording.shares import share_out
from ingest.refusals import UNREADABLE, refuse
from ingest.samples import Samples
from ingest.session_file import session_of_nobody
from warehouse.devices import read_devices
from warehouse.errors import Refused, UnderfootError
from warehouse.preview import MOST_POINTS, Brought, Moments, Preview, PreviewedFilm, PreviewedSwing, Share
from warehouse.vocabulary import is_film

SURE = 0.8  # chance from which a share is somebody's until a coach says otherwise; common practice, no source
_OTHER_HAND = {"right": "left", "left": "right"}


def preview_apart(brought: Brought, moments: Moments | None = None) -> Preview:
    """As `preview`, in a process of its own, within the limits of a load."""
    try:
        return read_within_limits("the export", preview, brought, moments)
    except Refused as refused:
        return Preview({}, problems=((refused.refusal.reason, refused.refusal.sentence),))


def preview(brought: Brought, moments: Moments | None = None) -> Preview:
    """What the files of a folder would be read as; they are renamed there as they would be delivered.

    `moments` gives the events of a trace's swings as the plate shows them.
    """
    roster = next((path.name for path in brought.folder.iterdir() if _is_roster(path.name)), None)
    if roster is not None:
        sentence = f"{roster} is a roster file; people and drills have pages of their own."
        return Preview({}, problems=(("roster", sentence),))
    found = Preview({})
    try:
        found = Preview(_delivered_names(brought.folder))
        return _read(brought, found, moments)
    except Refused as refused:
        return replace(found, problems=((refused.refusal.reason, refused.refusal.sentence),))
    except UnderfootError as error:
        return replace(found, problems=(("unreadable", str(error)),))
    except UNREADABLE as error:
        sentence = f"These files can't be read ({type(error).__name__}); export them again."
        return replace(found, problems=(("unreadable", sentence),))


def _is_roster(name: str) -> bool:
    return any(one.recognises(name) for one in formats(RosterFormat))


def _delivered_names(folder: Path) -> dict[str, str]:
    """Give the files of a folder the names by which a load knows them; what each is called now.

    Raises
        Refused: two of them would have the same one.
    """
    names = {}
    for path in sorted(folder.iterdir()):
        name = path.name
        if not is_known(name) and SensorGrid().looks_like(path):
            name = f"frames{path.suffix.lower()}"
        elif not is_known(name) and name.lower().endswith(PlateTable.endings):
            name = f"plate-{name}"
        if name != path.name and (folder / name).exists():
            what, todo = f"{path.name} is a second file of a sensor grid", "bring one a session"
            raise refuse("unreadable", what, todo)
        path.rename(folder / name)
        names[path.name] = name
    return names


def _read(brought: Brought, found: Preview, moments: Moments | None) -> Preview:
    names = sorted(found.names.values())
    found = replace(found, films=_films(brought.folder, names))
    samples = files_of(SampleFormat, names)
    if not samples:
        return found
    device, table = brought.settings.devices.get(brought.device), None
    tables = [name for name, kind in samples.items() if isinstance(kind, PlateTable)]
    if tables and (device is None or not (device.columns or device.layout)):
        knowing = Knowing(brought.answers, brought.body_mass_kg, brought.device)
        explanation = explain(brought.folder / tables[0], knowing)
        found = replace(found, explained=explanation.to_json())
        if explanation.questions or explanation.doubts:
            return found
        if explanation.table:
            table = tomllib.loads(explanation.table)["device"][brought.device]
    if device is None or table is not None:
        table = {**(table or {}), **(device.raw if device is not None else {"kind": brought.kind})}
        found = replace(found, recipe=table)
        device = read_devices({brought.device: table}, "the proposed table")[brought.device]
    files = BroughtFiles.of(brought, names, device)
    if brought.only:
        cut = files.cut_to(brought.only)
        kept = {n: now for n, now in found.names.items() if now not in files.kinds}
        found = replace(found, names=kept | {name: name for name in cut})
        files = BroughtFiles.of(brought, sorted(found.names.values()), device)
    read, left_out = files.read(recordings=bool(brought.only))
    for name in left_out:
        (brought.folder / name).unlink()
    came = {now: n for n, now in found.names.items()}
    found = replace(
        found,
        names={n: now for n, now in found.names.items() if now not in left_out},
        left_out={came[name]: why for name, why in left_out.items()},
    )
    return replace(found, swings=_swings(files, read, moments), shares=_shares(brought, files, read))


def _films(folder: Path, names: Sequence[str]) -> tuple[PreviewedFilm, ...]:
    """The films among the files, by when they were taken where all of them say so, else by name."""
    films = [name for name in names if is_film(name)]
    if not films:
        return ()
    from ingest.film.pictures import taken_by  # noqa: PLC0415 - video is slow to import

    taken = {name: taken_by(folder / name) for name in films}
    if all(taken.values()):
        films.sort(key=lambda name: str(taken[name]))
    return tuple(_film(folder / name) for name in films)


def _film(path: Path) -> PreviewedFilm:
    from ingest.film.pictures import head_of  # noqa: PLC0415

    try:
        head = head_of(path, path.name)
    except Refused as refused:
        return PreviewedFilm(path.name, problem=refused.refusal.sentence)
    return PreviewedFilm(path.name, head.pictures / head.rate if head.rate else 0.0, head.rate)


def _shares(
    brought: Brought, files: BroughtFiles, read: Sequence[tuple[SampleFile, bool]]
) -> tuple[Share, ...]:
    """Whose the swings of recordings seem to be; none where they are one person's, or shares of a load."""
    unknown = any("shares_only" in flags for one, _ in read for flags in one.flags.values())
    single = any(single or not one.found for one, single in read)
    found = {no: swing for one, _ in read for no, swing in one.found.items()}
    shared = [] if unknown or single or not files.can_be_cut() else share_out(found)
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


def _swings(
    files: BroughtFiles, read: Sequence[tuple[SampleFile, bool]], moments: Moments | None
) -> tuple[PreviewedSwing, ...]:
    own_file = {no: one.file for one, single in read if single for no in one.numbers}
    numbers = sorted({no for one, _ in read for no in one.numbers})
    cut = {no: found for one, _ in read for no, found in one.found.items()}
    mass = files.context.header.body_mass_kg or next(
        (r.body_mass_kg for r, _ in read if r.body_mass_kg), None
    )
    header = session_of_nobody(numbers, mass, files.context.header.device)
    samples = Samples(join([one for one, _ in read]), header)
    refused = {r.swing_no: r.sentence for r in samples.refused}
    marked = {no: events for one, _ in read for no, events in one.events.items()}
    shown = moments(samples.trace(samples.good)) if moments is not None and samples.good else {}
    swings = []
    for no in numbers:
        file = own_file.get(no)
        if no in samples.good:
            events = shown.get(no, {}) | {event: (at, 0.0) for event, at in marked.get(no, {}).items()}
            swing = _swing(samples, samples.good[no], file, events)
        else:
            swing = PreviewedSwing(no, file, refused=refused.get(no, ""))
        swings.append(replace(swing, kind=cut[no].kind, sure=cut[no].sure) if no in cut else swing)
    return tuple(swings)


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
