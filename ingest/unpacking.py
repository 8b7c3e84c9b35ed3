"""Archives among the deliveries of one load: opened first, gone once everything in them is settled."""

import shutil
from collections.abc import Iterator

from ingest import filing
from ingest.archives import unpack
from ingest.deliveries import ARCHIVE, Delivery, find
from ingest.job import Job
from ingest.refusals import UNREADABLE, refuse, unreadable
from warehouse.errors import Refused


class Unpacking:
    """Unpacks archives under the home for the length of one load.

    An archive stays in the inbox until the load has settled all it held, so a crash loses nothing: the next
    load unpacks it again and finds what was taken unchanged.
    """

    def __init__(self, job: Job) -> None:
        self.job = job
        self.folder = job.home.path / filing.UNPACKED
        self._opened: list[Delivery] = []

    def open(self, delivery: Delivery) -> Iterator[Delivery]:
        """What an archive holds; any other delivery itself; nothing when the archive is refused."""
        if delivery.kind != ARCHIVE:
            yield delivery
            return
        target = self.folder / str(len(self._opened)) / delivery.path.name.split(".")[0]
        try:
            unpack(delivery.path, target)
            inside = find([target])
            if not inside:
                what, todo = "there is no file in the archive", "pack the sessions' folders and deliver again"
                raise refuse("empty_file", what, todo, file=delivery.name)
        except Refused as refused:
            self._refuse(delivery, refused)
        except UNREADABLE as error:
            self._refuse(delivery, unreadable(delivery.name, None, delivery.name, error))
        else:
            self._opened.append(delivery)
            yield from inside

    def _refuse(self, delivery: Delivery, refused: Refused) -> None:
        try:
            contents = delivery.read()
        except OSError:
            self.job.report.refused.append(refused.refusal)  # it can't be read, so it stays where it is
            return
        self.job.refuse(delivery, contents, [refused.refusal])

    def close(self) -> None:
        """Everything is settled: archives of the inbox go, and so does what was unpacked."""
        for delivery in self._opened:
            filing.take_away(self.job.home, delivery)
        shutil.rmtree(self.folder, ignore_errors=True)
