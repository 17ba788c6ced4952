"""The wheel and the source distribution of this checkout, built once and without the network."""

import os
import subprocess
import sys
import tarfile
from dataclasses import dataclass
from pathlib import Path

import pytest

from tests.support.paths import ROOT


@dataclass(frozen=True)
class Built:
    """What hatchling makes of a folder."""

    wheel: Path
    sdist: Path | None = None


def build(source: Path, folder: Path, *targets: str) -> Built:
    options = [word for target in targets for word in ("-t", target)]
    subprocess.run(
        [sys.executable, "-m", "hatchling", "build", *options, "-d", folder],
        cwd=source,
        env=os.environ | {"SOURCE_DATE_EPOCH": "1750000000"},
        capture_output=True,
        check=True,
    )
    return Built(next(folder.glob("*.whl")), next(folder.glob("*.tar.gz"), None))


@pytest.fixture(scope="session")
def built(tmp_path_factory: pytest.TempPathFactory) -> Built:
    return build(ROOT, tmp_path_factory.mktemp("built"), "wheel", "sdist")


@pytest.fixture(scope="session")
def unpacked(built: Built, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of the source distribution."""
    assert built.sdist is not None
    folder = tmp_path_factory.mktemp("sdist")
    with tarfile.open(built.sdist) as archive:
        archive.extractall(folder, filter="data")
    (source,) = folder.iterdir()
    return source
