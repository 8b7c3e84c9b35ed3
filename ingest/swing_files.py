"""Every file of a session that holds samples of the feet: which swing it is, and what came of reading it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from ingest.formats.format import SampleFormat, SessionContext, files_of
from ingest.plate_rows import SampleFile
from ingest.refusals import of_swing, refuse
from ingest.session_file import FILE, SessionHeader
from warehouse.errors import Refusal, Refused

_AGAIN = "correct it and deliver the session again"


@dataclass
class Measured:
    """What a session's sample files came to.

    `header` has what a recording itself says and session.toml does not: stance, body mass. `events` are those
    labelled in a swing's own recording; `flags` what a reader saw of a swing, with a count each; `refused`
    swings whose own recording can't be taken; `notices` what was repaired while reading, a sentence each.
    """

    header: SessionHeader
    files: list[SampleFile] = field(default_factory=list)
    events: dict[int, dict[str, float]] = field(default_factory=dict)
    flags: dict[int, dict[str, int]] = field(default_factory=dict)
    refused: list[Refusal] = field(default_factory=list)
    notices: list[str] = field(default_factory=list)

    def take(self, found: SampleFile) -> None:
        """Add what one file holds."""
        self.files.append(found)
        self.events |= found.events
        for no, flags in found.flags.items():
            self.flags.setdefault(no, {}).update(flags)
        if found.notice is not None:
            self.notices.append(f"Session {self.header.session}, {found.file}: {found.notice}")
        self.header = replace(
            self.header,
            stance_mm=self.header.stance_mm or found.stance_mm,
            body_mass_kg=self.header.body_mass_kg or found.body_mass_kg,
        )


def sample_files(names: Sequence[str], header: SessionHeader) -> dict[str, SampleFormat]:
    """The files among a session's that hold samples: by their usual name, or as a [[swing]] names them."""
    return files_of(SampleFormat, names, {swing.file for swing in header.swings.values()})


def read_measured(context: SessionContext) -> Measured:
    """Read every sample file of a session.

    Raises
        Refused: a file of several swings can't be read, or the student's hand is needed and not known.
    """
    measured = Measured(context.header)
    files = sample_files(context.names, context.header)
    for name, kind in files.items():
        if not kind.one_swing:
            alike = [other for other in files if files[other] is kind]
            no = _swing_of(context.header, name, alike)
            measured.take(kind.read(name, no, replace(context, header=measured.header)))
    for no, name in _swings_of(context.header, files).items():
        try:
            if name not in files or not files[name].one_swing:
                what = f"{name} is not a plate file or recording in the session's folder"
                raise refuse("no_samples", what, _AGAIN, file=FILE, column="file")
            measured.take(files[name].read(name, no, replace(context, header=measured.header)))
        except Refused as refused:
            measured.refused.append(of_swing(refused.refusal, no, context.header.session))
    return measured


def _swing_of(header: SessionHeader, name: str, alike: Sequence[str]) -> int | None:
    """Which swing a plate file is, if it is one: as its [[swing]] names it, or one file of one swing."""
    named = [no for no, swing in header.swings.items() if swing.file == name]
    if len(named) == 1:
        return named[0]
    return next(iter(header.swings)) if len(alike) == len(header.swings) == 1 and not header.holds else None


def _swings_of(header: SessionHeader, files: Mapping[str, SampleFormat]) -> dict[int, str]:
    """Which swing each recording is: as its [[swing]] names it; one recording of one swing needs no name."""
    named = {
        no: swing.file
        for no, swing in header.swings.items()
        if swing.file is not None and (swing.file not in files or files[swing.file].one_swing)
    }
    recordings = [name for name, kind in files.items() if kind.one_swing]
    if not named and len(recordings) == 1 and len(header.swings) == 1:
        return {next(iter(header.swings)): recordings[0]}
    unnamed = [name for name in recordings if name not in named.values()]
    if unnamed:
        what = f"{unnamed[0]} is not named by any [[swing]]"
        todo = f'add file = "{unnamed[0]}" to the swing it is, and deliver the session again'
        raise refuse("unmatched_swing", what, todo, session=header.session, file=FILE)
    return named
