"""Whether a session that stands would be read otherwise now: its refusals mended, or its settings changed."""

from ingest import ledger
from ingest.deliveries import SESSION, Contents, Delivery
from ingest.job import Job
from ingest.rows import SessionRows
from warehouse.errors import UnderfootError
from warehouse.settings import Settings, parse_settings
from warehouse.vocabulary import is_film


class StandingReads:
    """What the standing sessions were read by, and what of them was refused, by their content hashes.

    It is looked up once, before sessions are read on threads, and kept up with what is taken since.
    """

    def __init__(self, job: Job) -> None:
        self.job = job
        self._versions: dict[str, str] = {}
        self._refused: dict[str, list[str]] = {}
        self._alike: dict[str, bool] = {}

    def look(self) -> None:
        """Read the ledger and the standing refusals."""
        self._versions = {
            entry["content"]: entry["settings"]
            for entry in ledger.entries(self.job.home)
            if entry["kind"] == SESSION and entry["outcome"] != "refused"
        }
        self._refused, self._alike = {}, {}
        told = self.job.writer.sql(
            "SELECT delivery, sentence FROM academy.refusal WHERE delivery IS NOT NULL"
        )
        for content, sentence in told.iter_rows():
            self._refused.setdefault(content, []).append(sentence)
        for version in set(self._versions.values()):
            self._alike[version] = self._reads_alike(version)

    def may_differ(self, delivery: Delivery, contents: Contents) -> bool:
        """Whether the same bytes should be read again: some were refused, or the settings were others.

        Sessions with films are not, since what was kept of their films belongs to the reading that stands.
        """
        if any(is_film(name) for name in delivery.files):
            return False
        content = contents.fingerprint
        return bool(self._refused.get(content)) or self._other_settings(content)

    def differ(self, contents: Contents, rows: SessionRows) -> bool:
        """Whether what was read again is to replace what stands: other settings, or other refusals."""
        content = contents.fingerprint
        told = sorted(refusal.sentence for refusal in rows.refused)
        return self._other_settings(content) or told != sorted(self._refused.get(content, []))

    def note(self, contents: Contents, rows: SessionRows) -> None:
        """A session was taken: it is read by the present settings now."""
        content = contents.fingerprint
        self._versions[content] = self.job.academy.settings.version
        self._alike[self.job.academy.settings.version] = True
        self._refused[content] = [refusal.sentence for refusal in rows.refused]

    def _other_settings(self, content: str) -> bool:
        version = self._versions.get(content)
        return version is not None and not self._alike.get(version, True)

    def _reads_alike(self, version: str) -> bool:
        """Whether a session is read by settings of then as by those of now; unknown ones count as such."""
        now = self.job.academy.settings
        if version == now.version:
            return True
        try:
            then = parse_settings(ledger.settings_of(self.job.home, version), past=True)
        except UnderfootError:
            return True
        return _read_by(then) == _read_by(now)


def _read_by(settings: Settings) -> tuple[object, ...]:
    """What of the settings a session is read by."""
    devices = {name: dict(device.raw) for name, device in settings.devices.items()}
    return settings.time_zone, dict(settings.club_families), devices
