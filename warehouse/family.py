"""What a family sends from a progress page: films that wait for a coach, and how often they reported.

Each film has a folder of its own under from_families/, with the film and sent.json beside it. Nothing there
is loaded. Once a coach has taken a film up or declined it, the film itself is removed, and what became of it
stays.
"""

import json
import secrets
import shutil
from contextlib import suppress
from dataclasses import asdict, dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path, PurePath

from filelock import FileLock

from warehouse.home import Home, put_folder, write_synced

FOLDER, LOCK, RECORD, PRACTICE = "from_families", "from_families.lock", "sent.json", "practice.json"
WAITING, ACCEPTED, DECLINED = "waiting", "accepted", "declined"
MOST_FILM_BYTES = 40 << 20  # a swing lasts two seconds; a page takes a film of this size at once
MOST_FILMS_WAITING, MOST_FILMS_A_DAY, MOST_REPORTS_A_DAY = 3, 6, 12  # of one student
_A_DAY = timedelta(hours=24)
_ENDINGS = {b"ftyp": (4, ".mp4"), b"\x1a\x45\xdf\xa3": (0, ".webm")}  # by bytes, and where they are


@dataclass(frozen=True)
class SentFilm:
    """A film that a family sent, and what became of it; times are UTC, ISO.

    `link` is the name of the link it came by; null: its sender signed in. `by`: the coach who took it up (it
    is `session` then) or declined it, with a `reason`.
    """

    film: str
    student: str
    sent_by: str
    link: str | None
    sent_at: str
    club: str
    day: str
    file: str
    n_bytes: int
    state: str = WAITING
    by: str | None = None
    decided_at: str | None = None
    reason: str | None = None
    session: str | None = None


def film_ending(data: bytes) -> str | None:
    """The usual ending of a film by what it begins with; None where these bytes are no film."""
    return next((ending for mark, (at, ending) in _ENDINGS.items() if data.startswith(mark, at)), None)


def films(home: Home, student: str) -> list[SentFilm]:
    """Every film that was sent of a student, newest first; a record that can't be read is passed over."""
    found = []
    for path in _folder(home, student).glob(f"*/{RECORD}"):
        with suppress(OSError, ValueError, TypeError):
            found.append(SentFilm(**json.loads(path.read_text("utf-8"))))
    return sorted(found, key=lambda film: film.sent_at, reverse=True)


def film_path(home: Home, film: SentFilm) -> Path:
    """Where a film lies while it waits."""
    return _folder(home, film.student) / film.film / film.file


def room_for_film(home: Home, student: str) -> bool:
    """Whether one more film of a student is taken now."""
    sent = films(home, student)
    since = (datetime.now(UTC) - _A_DAY).isoformat(timespec="seconds")
    waiting = sum(film.state == WAITING for film in sent)
    return waiting < MOST_FILMS_WAITING and sum(film.sent_at > since for film in sent) < MOST_FILMS_A_DAY


def keep_film(
    home: Home, student: str, data: bytes, *, sent_by: str, link: str | None, club: str, day: str
) -> SentFilm | None:
    """Keep a film, flushed to disk, until a coach decides; None where there is no more room for it.

    Raises
        OSError: the disk did not take it.
    """
    with FileLock(home.path / LOCK):
        if not room_for_film(home, student):
            return None
        now = datetime.now(UTC)
        name = f"{now:%Y%m%dT%H%M%SZ}-{secrets.token_hex(4)}"
        film = SentFilm(
            name, student, sent_by, link, now.isoformat(timespec="seconds"), club, day,
            f"film{film_ending(data)}", len(data),
        )  # fmt: skip
        folder, record = _folder(home, student), json.dumps(asdict(film)) + "\n"
        named = {PurePath(film.file): data, PurePath(RECORD): record.encode()}
        put_folder(folder / name, folder / f".arriving-{name}", named)
        return film


def decide(
    home: Home, film: SentFilm, state: str, by: str, *, reason: str | None = None, session: str | None = None
) -> bool:
    """Note what became of a waiting film, and remove the film itself; false where it waits no more."""
    with FileLock(home.path / LOCK):
        if next((one.state for one in films(home, film.student) if one.film == film.film), None) != WAITING:
            return False
        at = datetime.now(UTC).isoformat(timespec="seconds")
        decided = replace(film, state=state, by=by, decided_at=at, reason=reason, session=session)
        path = film_path(home, film)
        write_synced(path.parent / RECORD, json.dumps(asdict(decided)) + "\n")
        path.unlink(missing_ok=True)
    return True


def count_report(home: Home, student: str) -> bool:
    """Count one more report of a student; false where a day's are full and it is not taken."""
    with FileLock(home.path / LOCK):
        path = _folder(home, student) / PRACTICE
        since = (datetime.now(UTC) - _A_DAY).isoformat(timespec="seconds")
        sent = []
        with suppress(OSError, ValueError, TypeError):
            sent = [str(at) for at in json.loads(path.read_text("utf-8")) if str(at) > since]
        if len(sent) >= MOST_REPORTS_A_DAY:
            return False
        path.parent.mkdir(parents=True, exist_ok=True)
        write_synced(path, json.dumps([*sent, datetime.now(UTC).isoformat(timespec="seconds")]) + "\n")
    return True


def forget(home: Home, student: str) -> int:
    """Remove everything that was sent of a student; returns how many films there were."""
    count = len(films(home, student))
    shutil.rmtree(_folder(home, student), ignore_errors=True)
    return count


def _folder(home: Home, student: str) -> Path:
    return home.path / FOLDER / f"of-{student}"
