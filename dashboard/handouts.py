"""Documents written as files: HTML or PDF, for one student or for everyone."""

from collections.abc import Callable, Mapping
from contextlib import closing
from pathlib import Path

from dashboard.pdf import pdfs
from dashboard.text.catalogue import _
from warehouse.errors import CallError
from warehouse.home import Home
from warehouse.reach import students_on
from warehouse.store import Snapshot, open_snapshot

Make = Callable[[Snapshot, str], str]  # a student's document as HTML


class NotHandedOutError(CallError):
    """A student's document may not be handed out today."""


def place(home: Home, target: Path | None, name: str) -> Path:
    """Where a document goes: to `target`, into it under its usual name if it is a folder; else pages/."""
    if target is None:
        return home.pages / name
    return target / name if target.is_dir() else target


def write(home: Home, name: str, text: str, target: Path | None, *, as_pdf: bool) -> Path:
    """Write a document, `name` being its usual name without the ending; returns its file."""
    file = place(home, target, name + _ending(as_pdf))
    _save(home, {file: text}, as_pdf=as_pdf)
    return file


def write_of_student(
    home: Home, kind: str, make: Make, student: str, target: Path | None = None, *, as_pdf: bool = False
) -> Path:
    """Write one student's document; its name begins with its `kind`."""
    with closing(open_snapshot(home)) as snapshot:
        text = make(snapshot, student)
    return write(home, f"{kind}-{student}", text, target, as_pdf=as_pdf)


def write_of_everyone(
    home: Home,
    kind: str,
    make: Make,
    folder: Path | None = None,
    *,
    as_pdf: bool = False,
    step: Callable[[int, int, str], None] = lambda _done, _total, _name: None,
) -> tuple[list[Path], list[str]]:
    """As `write_of_student`, for everyone on the roster today: one file each, or none at all.

    Returns the files, and for each student whose document may not be handed out the reason.

    Raises
        CallError: `folder` is a file, the roster has no student, or a student's document can't be made.
    """
    folder = folder or home.pages
    if folder.exists() and not folder.is_dir():
        raise CallError(_("{file} is a file; name a folder for what is written.").format(file=folder))
    texts, left_out = {}, []
    with closing(open_snapshot(home)) as snapshot:
        students = students_on(snapshot, home.settings().today)
        if not students:
            raise CallError(_("The roster has no student; add one to people.csv and load it."))
        for k, student in enumerate(students, 1):
            try:
                texts[folder / f"{kind}-{student}{_ending(as_pdf)}"] = make(snapshot, student)
            except NotHandedOutError as reason:
                left_out.append(str(reason))
            step(k, len(students), student)
    _save(home, texts, as_pdf=as_pdf)
    return list(texts), left_out


def _ending(as_pdf: bool) -> str:  # noqa: FBT001 - there are two
    return ".pdf" if as_pdf else ".html"


def _save(home: Home, texts: Mapping[Path, str], *, as_pdf: bool) -> None:
    """Write all of these files or, if one can't be written, none: each is first written beside its place."""
    made = pdfs([*texts.values()], home.settings().paper) if as_pdf else map(str.encode, texts.values())
    parts = {file: file.with_name(file.name + ".part") for file in texts}
    try:
        for part, content in zip(parts.values(), made, strict=True):
            part.parent.mkdir(parents=True, exist_ok=True)
            part.write_bytes(content)
        for file, part in parts.items():
            part.replace(file)
    finally:
        for part in parts.values():
            part.unlink(missing_ok=True)
