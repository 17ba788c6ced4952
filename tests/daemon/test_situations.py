"""What growers are told in all situations: as it was, and what must hold of every message."""

import pytest

from tests.daemon.situations import GOLDEN, files, golden, path_of


@pytest.mark.parametrize("file", files())
def test_the_messages_are_as_they_were(file: str) -> None:
    """`python -m tests.daemon.situations` renews them."""
    assert golden(file) == path_of(file).read_text(encoding="utf-8")


def test_no_file_is_kept_that_nobody_writes() -> None:
    assert {path.stem for path in GOLDEN.glob("*.txt")} == set(files())
