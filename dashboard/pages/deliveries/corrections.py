"""Fix what was refused: corrected files join those kept of a delivery, which is then delivered again."""

from collections.abc import Sequence
from pathlib import Path

from dashboard import inbox
from dashboard.text.catalogue import _, ngettext
from dashboard.text.numbers import listed
from warehouse import filed, journal
from warehouse.access import Reader
from warehouse.errors import AccessError, CallError
from warehouse.filed import WHY, why_refused
from warehouse.home import Home

FILMS_NOT_KEPT = "films_not_kept"
MOST_BYTES = 1 << 30  # beyond this, the folder itself is corrected: a browser is the wrong way


def kept_files(home: Home, delivery: str) -> dict[str, Path]:
    """Files of a delivery, by their relative names, as they were kept when it was refused whole or in part.

    `delivery` is its content hash. Empty when nothing is kept under it. What was made of its films, and films
    that are not kept, are left out.
    """
    for folder in (home.filed / delivery, refused_folder(home, delivery)):
        if folder is not None and folder.is_dir():
            return {
                path.relative_to(folder).as_posix(): path
                for path in sorted(folder.rglob("*"))
                if path.is_file() and path.name != WHY and not path.is_relative_to(folder / filed.FILM_FOLDER)
            }
    return {}


def refused_folder(home: Home, delivery: str) -> Path | None:
    """Where a delivery that was refused whole is kept; None where it loaded in part, or nothing is kept."""
    folders = home.refused.glob(f"*-{delivery[:8]}")
    return next((folder for folder in folders if why_refused(folder).get("delivery") == delivery), None)


def drop(reader: Reader, delivery: str, name: str) -> None:
    """Ask for a refused delivery to be dropped for good; the loader does it within moments.

    Raises
        AccessError: the viewer is no head coach, or has not been told of this refusal.
        CallError: nothing of it is kept in refused/.
        OSError: the disk did not take it.
    """
    now = reader.anew()
    unseen = now.sql("SELECT 1 FROM refusal WHERE delivery = ? LIMIT 1", [delivery]).is_empty()
    if now.viewer.role != "head_coach" or unseen:
        raise AccessError(_("There is no refused delivery {name} that you may discard.").format(name=name))
    folder = refused_folder(now.home, delivery)
    if folder is None:
        raise CallError(_("Nothing is kept of {name} any more; deliver its files again.").format(name=name))
    filed.ask_to_drop(folder, now.viewer.person)
    journal.record(now.home, "drop_asked", viewer=now.viewer.person, delivery=delivery, name=name)


def _films_not_kept(home: Home, delivery: str) -> set[str]:
    """Films that came with a delivery and are gone from what is kept of it."""
    refusals = map(why_refused, home.refused.glob(f"*-{delivery[:8]}"))
    named = {
        name
        for refusal in refusals
        if refusal.get("delivery") == delivery
        for name in refusal.get(FILMS_NOT_KEPT, [])
    }
    return named | filed.films_not_kept(home.filed / delivery).keys()


def deliver_again(
    reader: Reader, delivery: str, name: str, corrected: Sequence[tuple[str, bytes]] = ()
) -> Path:
    """Put a delivery into the inbox again, files of the same name replaced by the corrected ones.

    Without corrected files it is tried as it is, for when a person, a device or a consent has come since.
    Where some of it has loaded, it names itself as what it corrects.

    Raises
        AccessError: the viewer may not deliver, or has not been told of this refusal.
        CallError: nothing is kept of it, a corrected file's name is none of its own, a film of it that is not
            kept does not come with them, it is too large, or it is not theirs (see `inbox.deliver`).
        OSError: the disk did not take it.
    """
    now = reader.anew()
    home = now.home
    if now.sql("SELECT 1 FROM refusal WHERE delivery = ? LIMIT 1", [delivery]).is_empty():
        raise AccessError(_("There is no refused delivery {name} that you may see.").format(name=name))
    kept = kept_files(home, delivery)
    if not kept:
        raise CallError(_("Nothing is kept of {name} any more; deliver its files again.").format(name=name))
    new = {str(inbox.safe_name(given)): data for given, data in corrected}
    unknown = sorted(set(new) - set(kept))
    if unknown and "session.toml" not in kept and "session.toml" not in new and len(kept) == 1:
        raise CallError(
            _(
                "{file} is not a file of {name}, which holds {kept}; rename it to that and drop it again."
            ).format(file=unknown[0], name=name, kept=next(iter(kept)))
        )
    missing = sorted(_films_not_kept(home, delivery) - new.keys())
    if missing:
        raise CallError(
            ngettext(
                "{films} of {name} is not kept here, as films of minors are not; drop it with the "
                "corrected files, as it was delivered.",
                "{films} of {name} are not kept here, as films of minors are not; drop them with "
                "the corrected files, as they were delivered.",
                len(missing),
            ).format(films=listed(missing), name=name)
        )
    if sum(path.stat().st_size for path in kept.values()) > MOST_BYTES:
        raise CallError(
            _("{name} is too large to correct here; correct its folder and put that into the inbox.").format(
                name=name
            )
        )
    files = {given: path.read_bytes() for given, path in kept.items() if given not in new} | new
    single = len(files) == 1 and "session.toml" not in files
    put = [(given if single else f"{name}/{given}", data) for given, data in files.items()]
    loaded = now.sql("SELECT DISTINCT delivery FROM session WHERE delivery = ?", [delivery])
    return inbox.deliver(now, put, corrects=loaded["delivery"].to_list())
