"""A memo keeps a few results, and forgets the oldest."""

from sillward_rules.memo import Memo


def test_a_result_is_made_once_while_it_is_kept() -> None:
    memo = Memo(2)
    made: list[str] = []

    def work_out(key: str) -> str:
        made.append(key)
        return key.upper()

    def make(key: str) -> str:
        return memo.of(key, lambda: work_out(key))

    assert [make(key) for key in "abab"] == ["A", "B", "A", "B"]
    assert made == ["a", "b"]
    make("c")
    assert make("b") == "B"
    make("a")

    assert made == ["a", "b", "c", "a"]
