"""The wheel holds all that the program reads, and works where there is no checkout.

That pipx and uv install it is tried by `packaging/try-wheel`, which needs the network.
"""

import plistlib
import subprocess
import sys
import sysconfig
import tomllib
import zipfile
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

from sillward.assembly.examples import DEMOS
from tests.packaging.conftest import Built, build
from tests.support.paths import ROOT

PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]

HANDED_OUT = ("charts", "metrics", "mqtt", "page", "postgres", "webpush")
"""The extras that a package and an image hold."""


def test_the_source_distribution_builds_the_same_wheel(
    built: Built, unpacked: Path, tmp_path: Path
) -> None:
    again = build(unpacked, tmp_path, "wheel")

    assert again.wheel.name == built.wheel.name
    assert again.wheel.read_bytes() == built.wheel.read_bytes()


def test_the_wheel_holds_every_file_of_the_source_and_what_is_beside_it(built: Built) -> None:
    held = set(zipfile.ZipFile(built.wheel).namelist())
    sources = [
        path.relative_to(root).as_posix()
        for root in (ROOT / "daemon", ROOT / "rules")
        for path in root.rglob("sillward*/**/*")
        if path.is_file() and "__pycache__" not in path.parts
    ]
    shared = f"sillward-{PROJECT['version']}.data/data/share/sillward"

    assert {"sillward/page/static/page.js", "sillward/wording/templates/push.jinja"} < {*sources}
    assert sorted({*sources} - held) == []
    for demo in DEMOS:
        assert f"sillward/examples/recorded/{demo}.json" in held
    for path in (ROOT / "systemd").rglob("*.service"):
        assert f"{shared}/{path.relative_to(ROOT).as_posix()}" in held
    assert f"{shared}/macos/sillward.plist" in held
    assert not [name for name in held if "__pycache__" in name or "tests/" in name]


def test_the_installed_wheel_needs_nothing_of_the_checkout(built: Built, tmp_path: Path) -> None:
    """Without `site` no .pth file is read: an installation for development is not seen."""
    place = tmp_path / "installed"
    zipfile.ZipFile(built.wheel).extractall(place)
    libraries = sysconfig.get_path("purelib")
    program = f"""
import sys
sys.path += [{str(place)!r}, {libraries!r}]
import sillward, sillward_rules
print(sillward.__file__, sillward_rules.__file__, sillward.__version__)
from sillward.cli import main
main(["demo"], prog_name="sillward")
"""
    result = subprocess.run(
        [sys.executable, "-I", "-S", "-c", program],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=True,
    )

    first, _, rest = result.stdout.partition("\n")
    shell, core, version = first.split()
    assert Path(shell).is_relative_to(place)
    assert Path(core).is_relative_to(place)
    assert version == PROJECT["version"]
    assert "The dusk push" in rest


@pytest.mark.parametrize(
    ("file", "needed"),
    [
        (
            "requirements.txt",
            [
                *PROJECT["dependencies"],
                *(each for extra in HANDED_OUT for each in PROJECT["optional-dependencies"][extra]),
            ],
        ),
        (
            "build-requirements.txt",
            tomllib.loads((ROOT / "pyproject.toml").read_text())["build-system"]["requires"],
        ),
    ],
)
def test_what_packages_are_built_with_is_pinned_and_is_what_the_project_asks_for(
    file: str, needed: list[str]
) -> None:
    text = (ROOT / "packaging" / file).read_text(encoding="utf-8")
    entries = [each for each in text.replace("\\\n", "").splitlines() if each[0].isalpha()]
    pins: dict[str, list[str]] = {}
    for entry in entries:
        pin, *hashes = entry.split("--hash=")
        name, _, version = pin.partition(";")[0].partition("==")
        assert version, entry
        assert hashes, entry
        assert all(each.startswith("sha256:") for each in hashes), entry
        pins.setdefault(canonicalize_name(name), []).append(version.strip())

    assert len(needed) >= 1
    for asked in map(Requirement, needed):
        found = pins.get(canonicalize_name(asked.name), [])
        assert found, asked
        assert all(version in asked.specifier for version in found), f"{asked}: {found}"


def test_the_file_for_launchd_starts_the_daemon_again() -> None:
    job = plistlib.loads((ROOT / "packaging" / "macos" / "sillward.plist").read_bytes())

    assert job["ProgramArguments"][1:] == ["run"]
    assert job["KeepAlive"] is True
    assert job["Umask"] == 0o077
    assert job["ProcessType"] == "Standard"
