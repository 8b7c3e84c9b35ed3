"""What waits in refused/: its why.json files, and which of it a later delivery replaces."""

import json
from contextlib import suppress
from pathlib import Path
from typing import Any

from ingest import filing
from ingest.deliveries import ROSTER, WHY, Delivery
from warehouse.home import Home


class Waiting:
    """The refused deliveries of a home, read once until something changes."""

    def __init__(self, home: Home) -> None:
        self.home = home
        self._whys: dict[Path, dict[str, Any]] | None = None

    def changed(self) -> None:
        """Something was refused or left: read anew when next asked."""
        self._whys = None

    def whys(self) -> list[tuple[Path, dict[str, Any]]]:
        """Every why.json of refused/ that can be read; they are read once, until something is refused."""
        if self._whys is None:
            self._whys = {}
            for why in sorted(self.home.refused.resolve().glob(f"*/{WHY}")):
                with suppress(ValueError, OSError):
                    told = json.loads(why.read_text(encoding="utf-8"))
                    if isinstance(told, dict):
                        self._whys[why] = told
        return list(self._whys.items())

    def settle(self, delivery: Delivery, content: str, *, keeps_films: bool) -> None:
        """Refused copies of what now stands leave; earlier refused versions are marked as replaced.

        Films of those go where the student's films are not kept, as they would have gone from filed/.
        """
        for why, told in self.whys():
            if why.parent == delivery.base:
                self._whys = None
            elif told.get("delivery") == content:
                filing.remove(why.parent)
                self._whys = None
        self.supersede(delivery, content, keeps_films=keeps_films)

    def supersede(self, delivery: Delivery, content: str, *, keeps_films: bool = True) -> None:
        """Mark refused versions of a session or a roster file as replaced, so that no retry takes them.

        Of a roster file that is refused the latest is the one to try: an older one must not come over it.
        Loose notes and shots are not versions of one another, though many have the same name.
        """
        for why, told in self.whys():
            if delivery.kind == ROSTER:
                same = told.get("kind") == ROSTER and told.get("name") == delivery.name
            else:
                same = delivery.session is not None and told.get("session") == delivery.session
            if same and why.parent != delivery.base and told.get("delivery") != content:
                filing.supersede(why, told, content, keeps_films=keeps_films)
