"""Who may look without an identity provider: invitations that are open, browsers that were let in.

What changes any of them raises AccessError when the viewer is no head coach (any more).
"""

import re
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import segno

from dashboard.inbox import as_head_coach
from dashboard.text.catalogue import _
from dashboard.text.labels import ROLES
from dashboard.text.numbers import on
from warehouse import browsers, journal
from warehouse.access import Reader
from warehouse.errors import CallError

DAYS = (1, browsers.INVITATION_DAYS, 7, 14)  # for which an invitation may be valid
_FAMILIES = {"Edg": "Edge", "Firefox": "Firefox", "Chrom": "Chrome", "Safari": "Safari"}


@dataclass(frozen=True)
class Made:
    """An invitation that was just made: for whom, and its link."""

    name: str
    link: str

    def qr(self) -> str:
        """The link as a QR code, in SVG."""
        return str(segno.make(self.link, error="m").svg_inline(scale=6, border=4))


@dataclass(frozen=True)
class Line:
    """One open invitation or browser, in words, and what ends it."""

    key: str
    sentence: str


def people(reader: Reader) -> dict[str, str]:
    """Everyone who could be invited, staff first: name and role by code."""
    rows = reader.sql(
        """
        SELECT person, display_name, role FROM person WHERE "left" IS NULL OR "left" >= ?
        ORDER BY list_position(['head_coach', 'coach', 'student', 'guardian'], role), display_name, person
        """,
        [reader.today],
    )
    return {person: f"{name}, {ROLES.get(role, role)}" for person, name, role in rows.iter_rows()}


def invite(reader: Reader, person: str, days: int, address: str) -> Made:
    """A new invitation for one person; `address` is where they reach the pages.

    Raises
        CallError: nobody of this code may look, or the days are too few or too many.
    """
    now = as_head_coach(reader)
    names = people(now)
    if person not in names:
        raise CallError(_("There is nobody with the code {code} to invite.").format(code=person))
    if not 1 <= days <= browsers.MOST_INVITATION_DAYS:
        raise CallError(
            _("An invitation can be valid for 1 to {most} days.").format(most=browsers.MOST_INVITATION_DAYS)
        )
    token = browsers.invite(now.home, person, timedelta(days=days), made_by=now.viewer.person)
    journal.record(now.home, "invited", viewer=now.viewer.person, person=person, days=days)
    return Made(names[person], f"{address}/invitation?key={token}")


def end(reader: Reader, key: str) -> None:
    """End a browser for good."""
    now = as_head_coach(reader)
    browsers.end(now.home, key, "ended_by_head_coach")
    journal.record(now.home, "browser_ended", viewer=now.viewer.person)


def withdraw(reader: Reader, name: str) -> None:
    """End an invitation that was not used."""
    now = as_head_coach(reader)
    browsers.withdraw(now.home, name)
    journal.record(now.home, "invitation_withdrawn", viewer=now.viewer.person)


def open_invitations(reader: Reader) -> list[Line]:
    """Invitations that nobody has used yet."""
    names = people(reader)
    return [
        Line(
            found.name,
            _("{person}: not used yet, valid until {day}").format(
                person=names.get(found.person or "", found.person), day=_day(reader, found.until)
            ),
        )
        for found in browsers.open_invitations(as_head_coach(reader).home)
    ]


def open_browsers(reader: Reader) -> list[Line]:
    """Browsers that are let in, whoever uses them."""
    names = people(reader)
    return [
        Line(
            found.key,
            _("{person}: {device}, since {first}, last seen {last}").format(
                person=names.get(found.person or "", _("the head coach")), device=device(found.device),
                first=_day(reader, found.opened), last=_day(reader, found.seen),
            ),
        )
        for found in browsers.open_browsers(as_head_coach(reader).home)
    ]  # fmt: skip


def device(said: str) -> str:
    """A device by what its browser says of itself."""
    kind = _("phone") if re.search("Mobi|Android|iPhone|iPad", said) else _("computer")
    family = next((name for mark, name in _FAMILIES.items() if mark in said), "")
    return f"{kind} ({family})" if family else kind


def is_local(links_to: str) -> bool:
    """Whether an address works on this machine alone."""
    return re.match(r"https?://(localhost|127\.0\.0\.1|\[::1\])(:|/|$)", links_to) is not None


def _day(reader: Reader, seconds: float) -> str:
    return on(datetime.fromtimestamp(seconds, UTC).astimezone(reader.settings.zone).date())
