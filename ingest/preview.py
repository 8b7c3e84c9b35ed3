"""What the files of one visit would be read as, before anything is kept; the readers are those of a load.

Where the device has no recipe yet, one is proposed, and the files are read by it.
"""

import tomllib
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from ingest.academy import Academy, Person
from ingest.formats.c3d import C3d
from ingest.formats.explanation import Knowing
from ingest.formats.format import (
    RosterFormat,
    SampleFormat,
    SessionContext,
    explain,
    files_of,
    is_in_memory,
    is_known,
)
from ingest.formats.plate_layout import swing_in
from ingest.formats.plate_table import PlateTable
from ingest.formats.sensor_grid import SensorGrid
from ingest.plate_rows import SampleFile
from ingest.previewed_swings import shares, swings
from ingest.reading_process import read_within_limits
from ingest.recording.swings import after
from ingest.recording.turns import Lines, turns_of_c3d, turns_of_grid, turns_of_table
from ingest.refusals import UNREADABLE, refuse, refused_for
from ingest.session_file import session_of_nobody
from ingest.swing_files import sample_files
from warehouse.devices import DeviceSettings, read_devices
from warehouse.errors import Refused, UnderfootError
from warehouse.preview import Brought, Moments, Preview, PreviewedFilm
from warehouse.vocabulary import is_film

MOST_NUMBER = 200  # beyond it a number in a file's name is a day or a code


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
    roster = next(iter(files_of(RosterFormat, (path.name for path in brought.folder.iterdir()))), None)
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
    shared = shares(brought, read) if files.can_be_cut() else ()
    return replace(found, swings=swings(files.context.header, read, moments), shares=shared)


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
    from ingest.film.pictures import captured_rate, head_of  # noqa: PLC0415

    try:
        head = head_of(path, path.name)
    except Refused as refused:
        return PreviewedFilm(path.name, problem=refused.refusal.sentence)
    seconds = head.pictures / head.rate if head.rate else 0.0
    return PreviewedFilm(path.name, seconds, captured_rate(path) or head.rate)


@dataclass(frozen=True)
class BroughtFiles:
    """The sample files of a folder, as a session that nothing is known of."""

    context: SessionContext
    kinds: Mapping[str, SampleFormat]

    @classmethod
    def of(cls, brought: Brought, names: list[str], device: DeviceSettings) -> "BroughtFiles":
        """Those of a visit, by the names they have in its folder."""
        settings = replace(brought.settings, devices={device.name: device})
        person = Person(brought.student, "student", brought.handed, brought.foot_length_mm)
        header = replace(session_of_nobody((), brought.body_mass_kg, device.name), student=brought.student)
        held = {n: (brought.folder / n).read_bytes() for n in names if is_in_memory(n)}
        context = SessionContext(
            header, Academy(settings, {brought.student: person}), brought.folder, names, held
        )
        return cls(context, sample_files(names, header))

    def can_be_cut(self) -> bool:
        """Whether one person's turns can be cut out of each file."""
        kinds, layout = self.kinds.values(), self.context.layout
        tables = any(isinstance(kind, PlateTable) for kind in kinds)
        apart = tables and layout is not None and layout.feet == "files"
        return not apart and all(isinstance(kind, PlateTable | C3d | SensorGrid) for kind in kinds)

    def cut_to(self, only: Collection[int]) -> list[str]:
        """Leave nothing of recordings in the folder but the turns of these swings; the names of what is left.

        Raises
            Refused: they can't be cut.
        """
        if not self.can_be_cut():
            todo = "bring it as files that hold both feet"
            raise refuse("unreadable", "this recording can't be shared out among people", todo)
        left: dict[str, bytes] = {}
        last = 0
        for name, kind in self.kinds.items():
            path, context = self.context.base / name, self.context
            try:
                if isinstance(kind, SensorGrid):
                    cut = kind.cut(name, context)
                else:
                    cut = kind.read(name, None, context)
            except UNREADABLE:
                if not kind.one_swing:
                    raise
                path.unlink()  # it is left out of the whole too
                continue
            own = {no - last for no in only} & cut.found.keys()
            last += max(cut.found, default=0)
            if own and isinstance(kind, PlateTable):
                first = int(kind.uncut(name, None, self.context).lines.min())
                lines = Lines.of(first, cut, own)
                left |= turns_of_table(self.context.held[name], name, lines, self.context.layout)
            elif own:
                turns_of = turns_of_c3d if isinstance(kind, C3d) else turns_of_grid
                left |= turns_of(path, Lines.of(0, cut, own))
            path.unlink()
        for name, data in left.items():
            (self.context.base / name).write_bytes(data)
        return list(left)

    def read(self, *, recordings: bool) -> tuple[list[tuple[SampleFile, bool]], dict[str, str]]:
        """Each file's samples, and whether it is one swing that does not say its number; what is left out.

        Recordings of platforms are of one swing each, unless there are several in one of them, or all are
        `recordings`. One of them that can't be read is left out, by its name and why, where others can.

        Raises
            Refused: none can be read.
        """
        whole = [name for name, kind in self.kinds.items() if not kind.is_part(name, self.context)]
        numbers = [int(swing_in(name) or 0) for name in whole]
        plain = not all(0 < n <= MOST_NUMBER for n in numbers) or len(set(numbers)) < len(numbers)
        if not recordings and len(whole) > 1:
            recordings = any(self._runs_on(name) for name in whole)
        found: list[tuple[SampleFile, bool]] = []
        left_out: dict[str, Exception] = {}
        for place, (name, number) in enumerate(zip(whole, numbers, strict=True), start=1):
            no = place if plain else number
            try:
                read, single = self._read(name, no, several=len(whole) > 1, recordings=recordings)
            except UNREADABLE as error:
                if not self.kinds[name].one_swing or len(whole) == 1:
                    raise
                left_out[name] = error
                continue
            last = max((n for one, _ in found for n in one.found), default=0)
            found.append((after(read, last), single))
        if left_out and not found:
            raise next(iter(left_out.values()))
        refused = {name: refused_for(error, name, file=name).refusal for name, error in left_out.items()}
        return found, {name: refusal.sentence for name, refusal in refused.items()}

    def _runs_on(self, name: str) -> bool:
        """Whether a recording of platforms holds several swings."""
        kind = self.kinds[name]
        try:
            return kind.one_swing and len(kind.read(name, None, self.context).found) > 1
        except UNREADABLE:
            return False

    def _read(self, name: str, no: int, *, several: bool, recordings: bool) -> tuple[SampleFile, bool]:
        """A file, and whether it is one swing without a number: where there are several such, each is one."""
        kind = self.kinds[name]
        if several and not (recordings and kind.one_swing) and (kind.one_swing or self._has_no_numbers(kind)):
            return kind.read(name, no, self.context), True
        try:
            read = kind.read(name, None, self.context)
        except Refused as refused:
            if refused.refusal.reason != "no_swing_found" or (recordings and kind.one_swing):
                raise
            return kind.read(name, no, self.context), True
        device = self.context.device
        if several and read.found and not recordings and device is not None and device.layout is None:
            return kind.read(name, no, self.context), True
        return read, False

    def _has_no_numbers(self, kind: SampleFormat) -> bool:
        """Whether a device's recipe tells no swings apart within a file."""
        device = self.context.device
        if device is None or device.layout is None or not isinstance(kind, PlateTable):
            return False
        return device.layout.swings == "column" and "swing_no" not in device.columns
