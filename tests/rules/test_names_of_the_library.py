"""The names that the core offers as a library: each is where it says, and none comes too early."""

import subprocess
import sys

import pytest

import sillward_rules


@pytest.mark.parametrize("name", sillward_rules.__all__)
def test_each_name_is_offered_and_is_from_the_core(name: str) -> None:
    found = getattr(sillward_rules, name)

    assert found.__module__.startswith("sillward_rules.")
    assert name in dir(sillward_rules)


def test_a_name_that_there_is_not_is_an_attribute_error() -> None:
    with pytest.raises(AttributeError, match="no attribute 'Sheets'"):
        sillward_rules.Sheets  # noqa: B018


def test_nothing_is_imported_before_it_is_asked_for() -> None:
    program = (
        "import sys, sillward_rules\n"
        "assert not [name for name in sys.modules if name.startswith('sillward_rules.')]\n"
        "assert 'numpy' not in sys.modules\n"
        "from sillward_rules import Chore\n"
        "assert Chore is sys.modules['sillward_rules.chore'].Chore\n"
    )
    subprocess.run([sys.executable, "-c", program], check=True)
