"""What is kept of films in filed/: the film cut to the feet, the tracks, and the originals or not.

The original of a minor's film may show more than feet, so it is kept only where consents.csv says so
(`keep_film`); its size and hash are noted, so that the delivery can still be told by its content. So it is
with one that was refused while its session was taken; why it was is noted too.
"""

from collections.abc import Iterable, Sequence
from dataclasses import asdict
from pathlib import Path

from ingest.film.kept import write_kept
from ingest.film.points import write_tracks
from ingest.film.tracks import Filmed, Unread
from warehouse import filed
from warehouse.home import sync, write_synced


def keep_films(folder: Path, filmed: Iterable[Filmed], unread: Sequence[Unread] = ()) -> None:
    """Write .film/ into a delivery's folder; take out what is not to be kept, once it is written down.

    The folder is on its way into filed/, or stands there and was read again by a mended roster.
    """
    shelf = folder / filed.FILM_FOLDER
    shelf.mkdir(exist_ok=True)
    going = {one.name: filed.facts_of(folder / one.name) for one in unread}
    gone = filed.films_not_kept(folder) | going
    why = {name: asdict(said) for name, said in filed.films_refused(folder).items()}
    why |= {one.name: asdict(one.refusal) for one in unread if one.refusal is not None}
    for film in filmed:
        kept = filed.kept_film(folder, film.swing_no)
        write_kept(folder / film.name, film.name, film.tracks, film.order, film.slower, kept)
        filed.kept_tracks(folder, film.swing_no).write_bytes(write_tracks(film.tracks))
        if not film.keep_original:
            going[film.name] = gone[film.name] = filed.facts_of(folder / film.name)
    files = sorted(path for path in shelf.iterdir() if path.name != filed.FILM_LIST)
    for path in files:
        sync(path)
    listed = filed.film_list({path.name: filed.facts_of(path) for path in files}, gone, why)
    write_synced(shelf / filed.FILM_LIST, listed)
    sync(shelf)
    for name in going:
        (folder / name).unlink()
    sync(folder)
