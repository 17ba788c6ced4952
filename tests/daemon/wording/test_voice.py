"""A voice: times, numbers and names in a household's units, and what may go wrong in its macros."""

import os
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from sillward.errors import ConfigError
from sillward.text.units import Units
from sillward.wording import macro_trial, macros, reason_phrases
from sillward.wording.macro_check import max_length
from sillward.wording.macros import packaged, with_own
from sillward.wording.voice import Voice
from sillward_rules.chore import Reason
from tests.support.cases import for_each
from tests.support.desks import SITE, local

VOICE = Voice(SITE)
US = Voice(SITE, Units("°F", "12 h", "mph"))
NOW = local("17:00")


def speaking(folder: Path, text: str, units: Units = Units()) -> Voice:  # noqa: B008
    """Return a voice with one file of the grower's."""
    (folder / "own.jinja").write_text(text, encoding="utf-8")
    return Voice(SITE, units, with_own(folder))


def refused(folder: Path, text: str | bytes, name: str = "own.jinja") -> list[str]:
    """Return what is wrong with a file of the grower's."""
    (folder / name).write_bytes(text.encode() if isinstance(text, str) else text)
    with pytest.raises(ConfigError) as raised:
        with_own(folder)
    return list(raised.value.lines)


# -- times and numbers


@pytest.mark.parametrize(
    ("at", "told", "in_us"),
    [
        (NOW, "now", "now"),
        (NOW - timedelta(hours=3), "now", "now"),
        (local("18:40"), "18:40", "6:40 pm"),
        (local("10:35") + timedelta(days=1), "tomorrow 10:35", "tomorrow 10:35 am"),
        (local("10:35") + timedelta(days=2), "Sat 10:35", "Sat 10:35 am"),
    ],
)
def test_a_time_as_people_say_it(at: datetime, told: str, in_us: str) -> None:
    assert VOICE.clock(at, NOW) == told
    assert US.clock(at, NOW) == in_us


def test_days_and_hours_are_those_of_the_site() -> None:
    at = datetime(2026, 5, 15, 2, 30, tzinfo=UTC)  # 23:30 of the day before in Mendoza

    assert VOICE.day(at) == "Thu 14 May"
    assert VOICE.long_day(at) == "Thursday 14 May 2026, 23:30"
    assert US.day_and_hour(at) == "Thu 11:30 pm"


@pytest.mark.parametrize("month", range(1, 13))
def test_days_are_named_as_the_calendar_has_them(month: int) -> None:
    """The reference is strftime in the C locale."""
    for day in (1, 9, 10, 28):
        at = datetime(2026, month, day, 15, tzinfo=UTC)

        assert VOICE.day(at) == f"{at:%a %d %b}"
        assert VOICE.long_day(at).startswith(f"{at:%A %d %B %Y}, ")


@pytest.mark.parametrize(
    ("value", "told", "in_us"),
    [(4.12, "4.1 °C", "39.4 °F"), (-0.04, "0.0 °C", "31.9 °F"), (None, "?", "?")],
)
def test_a_temperature(value: float | None, told: str, in_us: str) -> None:
    assert VOICE.degrees(value) == told
    assert US.degrees(value) == in_us


@pytest.mark.parametrize(
    ("value", "told", "in_us"), [(13.0, "13 °C", "55.4 °F"), (12.5, "12.5 °C", "54.5 °F")]
)
def test_a_limit_is_as_short_as_it_was_written(value: float, told: str, in_us: str) -> None:
    assert VOICE.bound(value) == told
    assert US.bound(value) == in_us


@pytest.mark.parametrize("units", [Units(), Units("°F")])
@pytest.mark.parametrize("limit", [8.0, 10.0, 13.0, 13.3])
@pytest.mark.parametrize("beyond", [0.001, 0.004, 0.02, 0.04, 0.06, 0.4])
def test_a_value_has_digits_enough_to_show_its_side_of_the_limit(
    units: Units, limit: float, beyond: float
) -> None:
    voice = Voice(SITE, units)
    shown = float(voice.bare(limit, "°C"))

    for value in (limit - beyond, limit + beyond):
        reason = Reason("Pot", "leaf temperature", value, "°C", limit, NOW, "yours")
        told = float(reason_phrases.number(reason, voice).split()[0])
        assert (told < shown) == (value < limit)
        assert told != shown


# -- own wording


def test_a_macro_of_the_growers_replaces_the_packaged_one_everywhere(tmp_path: Path) -> None:
    voice = speaking(
        tmp_path, '{% macro plants(count) %}{{ count }} planta{{ "s" if count != 1 }}{% endmacro %}'
    )

    assert voice.plants(3) == "3 plantas"
    assert voice.say("head_stay", count=1) == "keep 1 planta in"
    assert VOICE.plants(3) == "3 plants"


def test_a_macro_of_the_growers_has_the_units_and_the_filters(tmp_path: Path) -> None:
    each = "{% for spot, c in lows %}{{ spot }}={{ c | degrees }} {% endfor %}"
    voice = speaking(tmp_path, f"{{% macro lows(lows) %}}{each}{{% endmacro %}}", Units("°F"))

    assert voice.say("lows", lows=[("bench", 10.0), ("roof", 0.0)]) == "bench=50.0 °F roof=32.0 °F"


def test_a_macro_of_the_growers_may_add_to_the_packaged_line(tmp_path: Path) -> None:
    text = "{% macro stay_in(who) %}{{ say.stay_in(who) }} (and close the door){% endmacro %}"

    assert speaking(tmp_path, text).say("stay_in", who="Pot") == "Keep in: Pot (and close the door)"


@pytest.mark.parametrize(
    "body",
    [
        "{{ nonsense }}",
        "{{ who.__class__.__mro__ }}",
        "{{ who.ljust(10 ** 9) }}",
        "{{ 'x' * 99999999 }}",
        "{{ 10 ** 10 ** 10 }}",
        "{{ '%999999999d' % 1 }}",
        "{{ '{:>999999999}'.format(1) }}",
        "{{ 1 / 0 }}",
        "{{ say.no_such_line() }}",
        "{{ say._voice }}",
        "{{ cycler.__init__.__globals__ }}",
        "{% for one in range(10) %}x{% endfor %}",
        "{% include '/etc/passwd' %}",
        "{% import 'push.jinja' as push %}{{ push.stay_in(who) }}",
        "",
        "  \n ",
        "{{ 'x' * 9000 }}",
        "{% set a = say.stay_tonight(who) %}{{ a * 9000 }}",
        "{% for a in 'x' * 9999 %}{% for b in 'x' * 9999 %}{% endfor %}{% endfor %}{{ who }}",
        "{{ ('a' * 9999) | replace('a', 'a' * 9999) }}",
        "{{ 'a'.join(['b' * 9999] * 999) }}",
        "{{ ('a' * 999).replace('a', 'b' * 999) }}",
        "{{ ['a' * 9999] | join | list | join('b' * 999) }}",
        "{% set a = 'a' * 9999 %}{% set a = a ~ a %}{{ who }}",
        "{% set a = 'a' * 9999 %}{% set a = a + a + a %}{{ who }}",
        "{{ 1.5 | degrees(400000000) }}",
    ],
)
def test_a_macro_that_fails_or_is_blank_or_too_long_costs_nothing(
    tmp_path: Path, body: str
) -> None:
    voice = speaking(tmp_path, f"{{% macro stay_in(who) %}}{body}{{% endmacro %}}")

    assert voice.say("stay_in", who="Left pot") == "Keep in: Left pot"
    (line,) = macro_trial.problems(voice)
    assert line.startswith("own.jinja: macro stay_in: ")
    assert len(line) < 300


def test_macros_that_call_each_other_come_to_an_end(tmp_path: Path) -> None:
    night, day = "{{ say.stay_tonight(who) }}", "{{ say.stay_in(who) }}"
    voice = speaking(
        tmp_path,
        f"{{% macro stay_in(who) %}}{night}, {night}{{% endmacro %}}"
        f"{{% macro stay_tonight(who) %}}{day}! {day}!{{% endmacro %}}",
    )

    assert voice.say("stay_in", who="Pot") == "Keep in: Pot"
    assert macro_trial.problems(voice)


def test_names_are_not_rendered_as_templates(tmp_path: Path) -> None:
    voice = speaking(tmp_path, "{% macro stay_in(who) %}In: {{ who }}{% endmacro %}")

    assert voice.say("stay_in", who="{{ 7 * 7 }} {% raw %} <b>") == "In: {{ 7 * 7 }} {% raw %} <b>"


def test_a_line_is_one_line(tmp_path: Path) -> None:
    voice = speaking(tmp_path, "{% macro stay_in(who) %}\n  In\n\n   {{ who }}  \n{% endmacro %}")

    assert voice.say("stay_in", who="Pot") == "In Pot"


# -- what is refused when it is read


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (
            "{% macro stay_inn(who) %}x{% endmacro %}",
            "own.jinja: line 1: macro stay_inn: there is no such line to word "
            "(did you mean stay_in?)",
        ),
        (
            "\n{% macro stay_in(whom) %}x{% endmacro %}",
            "own.jinja: line 2: macro stay_in: whom: is not told here (known: who)",
        ),
        ("{% macro stay_in(who) %}{{ who", "own.jinja: line 1: unexpected end of template"),
        ("{% macro stay_in(who) %}{{ who | nope }}{% endmacro %}", "No filter named 'nope'"),
        ("hello", "own.jinja: line 1: only macros and comments may stand here"),
        ("{# nothing #}\n", "own.jinja: there is no macro in it"),
        (b"\xff\xfe", "own.jinja: is not UTF-8 text (byte 0)"),
        ("x" * 100_001, "own.jinja: cannot be read: it is larger than 100 kB"),
        ("{{ " + "(" * 5_000, "own.jinja: "),
        ("{% macro stay_in(who, who) %}x{% endmacro %}", "own.jinja: cannot be read as a template"),
        ("{% macro stay_in(who) %}{{ " + "9" * 5_000 + " }}{% endmacro %}", "own.jinja: "),
        ("{% if 1 %}" * 120 + "{% endif %}" * 120, "own.jinja: is nested too deeply"),
        (
            "{% macro stay_in(who) %}{{ stay_in(who) }}{{ stay_in(who) }}{% endmacro %}",
            "own.jinja: line 1: write say.stay_in for another macro",
        ),
        (
            "{% macro stay_in(who) %}x{% endmacro %}{% macro stay_in(who) %}y{% endmacro %}",
            "own.jinja: line 1: macro stay_in: own.jinja has it already",
        ),
    ],
)
def test_faults_of_a_file_are_told_with_their_lines(
    tmp_path: Path, text: str | bytes, told: str
) -> None:
    assert any(told in line for line in refused(tmp_path, text))


def test_all_faults_are_told_at_once(tmp_path: Path) -> None:
    (tmp_path / "a.jinja").write_text("{% macro nope(x) %}x{% endmacro %}\nhello")

    lines = refused(tmp_path, "{{ ", name="b.jinja")

    assert [line.split(":")[0] for line in lines] == ["a.jinja", "a.jinja", "b.jinja"]


def test_a_folder_without_files_is_refused(tmp_path: Path) -> None:
    with pytest.raises(ConfigError, match=r"no file there whose name ends in \.jinja"):
        with_own(tmp_path)
    with pytest.raises(ConfigError, match="cannot be read"):
        with_own(tmp_path / "not there")


def test_other_files_of_the_folder_are_left_alone(tmp_path: Path) -> None:
    for name in (".#own.jinja", "._own.jinja", "own.jinja~", "notes.txt"):
        (tmp_path / name).write_text("hello")
    (tmp_path / "own.jinja").write_text("{% macro stay_in(who) %}In: {{ who }}{% endmacro %}")

    assert set(with_own(tmp_path).own) == {"stay_in"}


def test_a_pipe_is_not_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "own.jinja")

    with pytest.raises(ConfigError, match=r"own\.jinja: .*it is a pipe"):
        with_own(tmp_path)


def test_a_thousand_files_are_not_read(tmp_path: Path) -> None:
    for number in range(51):
        (tmp_path / f"{number}.jinja").write_text("hello")

    with pytest.raises(ConfigError, match="more than 50 files"):
        with_own(tmp_path)


def test_a_failure_of_a_macro_is_logged_once(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    voice = speaking(tmp_path, "{% macro stay_in(who) %}{{ x }}{% endmacro %}")

    for _ in range(3):
        voice.say("stay_in", who="Pot")

    assert [record.message for record in caplog.records] == [
        "wording.failed macro=stay_in reason=UndefinedError: 'x' is undefined"
    ]


# -- the page of the week


def test_an_own_page_that_fails_is_replaced_by_the_packaged_one(tmp_path: Path) -> None:
    (tmp_path / macros.PAGE).write_text("<p>{{ nonsense }}</p>")
    voice = Voice(SITE, wording=with_own(tmp_path))

    with pytest.raises(Exception, match="nonsense"):
        voice.page(strict=True, site="Court")
    with pytest.raises(Exception, match="undefined"):  # ours, which misses most
        voice.page(strict=False, site="Court")


def test_an_own_page_is_escaped(tmp_path: Path) -> None:
    (tmp_path / macros.PAGE).write_text("<p>{{ site }}: {{ sentence }}</p>")

    page = Voice(SITE, wording=with_own(tmp_path)).page(strict=True, site="<b>", sentence="A & B")

    assert page == "<p>&lt;b&gt;: A &amp; B</p>"


@pytest.mark.parametrize("text", ["{# nothing #}", "<p>{{ site }}</p>"])
def test_an_own_page_that_says_too_little_is_not_used(tmp_path: Path, text: str) -> None:
    (tmp_path / macros.PAGE).write_text(text)
    voice = Voice(SITE, wording=with_own(tmp_path))

    with pytest.raises(ValueError, match="does not tell `sentence`"):
        voice.page(strict=True, site="Court", sentence="A mild week.")


# -- the trial of macros


@for_each(packaged().ours)
def test_each_of_our_macros_tells_each_of_its_facts(name: str) -> None:
    """So the samples reach every branch, and no fact is passed for nothing."""
    facts = packaged().ours[name].facts
    cases = list(macro_trial.samples(name, facts))

    assert all(VOICE.in_our_words(name, case.facts) for case in cases[:1])
    for fact in facts:
        changed = [case for case in cases if case.changed == fact]
        assert any(
            VOICE.in_our_words(name, sample.facts) != VOICE.in_our_words(name, sample.usual)
            for sample in changed
        ), fact


@for_each(packaged().ours)
def test_our_macros_say_nothing_odd(name: str) -> None:
    for voice in (VOICE, US):
        for case in macro_trial.samples(name, packaged().ours[name].facts):
            said = voice.in_our_words(name, case.facts)

            assert said == said.strip()
            assert not {"None", "nan", "Undefined", "-0.0"} & set(said.replace(",", " ").split())
            assert "  " not in said.replace(")  (", ") (") or name in ("night", "night_behind")
            assert len(said) < max_length(said)


def test_every_macro_is_used() -> None:
    """Each is used by the code, by another macro, or by a remark of its name."""
    package = Path(macros.__file__).parents[1]
    code = "".join(file.read_text(encoding="utf-8") for file in package.rglob("*.py"))
    templates = "".join(macros.packaged_texts().values())
    kinds = {name for name, source in packaged().ours.items() if source.file == "remarks.jinja"}

    for name in packaged().ours:
        used = f'"{name}"' in code or f"'{name}'" in code or f"say.{name}(" in templates
        assert used or name in kinds, name


def test_every_sample_is_used() -> None:
    known = {f"{name}.{fact}" for name, source in packaged().ours.items() for fact in source.facts}

    assert set(macro_trial.SPECIFIC_FACTS) <= known
    assert set(macro_trial.FACTS) <= {fact.rpartition(".")[2] for fact in known}


def test_facts_that_an_own_wording_leaves_out_are_found(tmp_path: Path) -> None:
    voice = speaking(
        tmp_path,
        "{% macro stay_in(who) %}Adentro: {{ who }}{% endmacro %}"
        "{% macro lows(lows) %}Minimas: {{ lows | map('first') | join(', ') }}.{% endmacro %}"
        "{% macro why(quantity, value) %}{{ value }}!{% endmacro %}",
    )

    assert macro_trial.problems(voice) == []
    assert macro_trial.left_out(voice) == [
        "own.jinja: macro why does not tell quantity, hour, limit, plant, above, chance"
    ]


@pytest.mark.parametrize(
    ("text", "lost"),
    [
        ("carry_in(when, spot) %}{{ when }} {{ spot }}", 'ways, here "5 plants"'),
        ("carry_in(when, spot, ways) %}{{ when }} {{ spot }} {{ ways[0] | join(' > ') }}", "ways"),
        ("minutes_left(minutes) %}Quedan {{ minutes }} min", "title"),
        ("head_in(by, later, later_by) %}Entrar {{ by }} {{ later }} {{ later_by }}", "count"),
        ("watch_out(text) %}!", "text"),
    ],
)
def test_a_wording_that_leaves_out_a_required_fact_is_not_used(
    tmp_path: Path, text: str, lost: str
) -> None:
    voice = speaking(tmp_path, f"{{% macro {text}{{% endmacro %}}")

    (line,) = macro_trial.problems(voice)
    assert f"leaves out {lost}" in line
    name = text.partition("(")[0]
    facts = list(macro_trial.samples(name, packaged().ours[name].facts))
    worst = [VOICE.in_our_words(name, sample.facts) for sample in facts]
    assert all(voice.say(name, **sample.facts) for sample in facts)
    assert any(
        voice.say(name, **sample.facts) == ours for sample, ours in zip(facts, worst, strict=True)
    )


def test_the_number_one_may_be_written_as_a_word(tmp_path: Path) -> None:
    words = "{{ 'una planta' if count == 1 else count ~ ' plantas' }}"
    voice = speaking(tmp_path, f"{{% macro plants(count) %}}{words}{{% endmacro %}}")

    assert macro_trial.problems(voice) == []
    assert (voice.plants(1), voice.plants(3)) == ("una planta", "3 plantas")


def test_our_own_files_as_the_growers_say_the_same(tmp_path: Path) -> None:
    for name, text in macros.packaged_texts().items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    voice = Voice(SITE, wording=with_own(tmp_path))

    assert macro_trial.problems(voice) == []
    assert macro_trial.left_out(voice) == []
    assert set(voice.wording.own) == set(packaged().ours)
