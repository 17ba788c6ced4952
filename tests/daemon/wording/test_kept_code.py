"""The code of packaged templates is kept beside them, and is that of their present text."""

import os
import sys
from collections.abc import Callable
from pathlib import Path
from types import CodeType

import pytest

from sillward.wording import kept_code


class Maker:
    """Compiles a template, and counts how often."""

    def __init__(self, folder: Path, text: str = "1 + 1") -> None:
        self.template, self.module = folder / "lines.jinja", folder / "maker.py"
        self.template.write_text(text, encoding="utf-8")
        self.module.write_text("", encoding="utf-8")
        self.times = 0

    def compiled(self) -> CodeType:
        self.times += 1
        return compile(self.template.read_text(encoding="utf-8"), "<template>", "eval")

    def value(self) -> object:
        code = kept_code.code_of(self.template, [str(self.module)], self.compiled)
        return eval(code)


@pytest.fixture
def maker(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Maker:
    monkeypatch.setattr(sys, "dont_write_bytecode", False)
    monkeypatch.setattr(sys, "pycache_prefix", None)
    return Maker(tmp_path)


def kept(maker: Maker) -> Path:
    (path,) = (maker.template.parent / "__pycache__").iterdir()
    return path


def test_it_is_compiled_once(maker: Maker) -> None:
    assert [maker.value(), maker.value()] == [2, 2]
    assert maker.times == 1
    assert kept(maker).name == f"lines.{sys.implementation.cache_tag}.pyc"


def _another_text(maker: Maker) -> None:
    maker.template.write_text("1 + 2", encoding="utf-8")


def _a_newer_compiler(maker: Maker) -> None:
    os.utime(maker.module, (1, 1))


def _cut_short(maker: Maker) -> None:
    kept(maker).write_bytes(kept(maker).read_bytes()[:-1])


def _empty(maker: Maker) -> None:
    kept(maker).write_bytes(b"")


def _a_byte_changed(maker: Maker) -> None:
    data = bytearray(kept(maker).read_bytes())
    data[-1] ^= 1
    kept(maker).write_bytes(bytes(data))


@pytest.mark.parametrize(
    "happens", [_another_text, _a_newer_compiler, _cut_short, _empty, _a_byte_changed]
)
def test_what_is_not_of_now_is_compiled_again(
    maker: Maker, happens: Callable[[Maker], None]
) -> None:
    maker.value()
    happens(maker)

    assert maker.value() == (3 if happens is _another_text else 2)
    assert maker.times == 2


def test_where_nothing_can_be_kept_it_is_compiled_each_time(maker: Maker) -> None:
    (maker.template.parent / "__pycache__").write_bytes(b"")

    assert [maker.value(), maker.value()] == [2, 2]
    assert maker.times == 2


def test_who_wants_no_bytecode_gets_none(maker: Maker, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "dont_write_bytecode", True)

    assert maker.value() == 2
    assert not (maker.template.parent / "__pycache__").exists()
