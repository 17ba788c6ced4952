"""The command `mix`: what it prints, what it says to machines, and what it refuses."""

import json
import re
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from sillward.cli import main
from tests.support.collection_files import SIX, garden

USUAL = ("--npk", "20-20-20", "--ppm-n", "50", "--water-ec", "0.2")
EPSOM = ("--salt", "MgSO4.7H2O=0.1")


def mix(*arguments: object) -> Result:
    result = CliRunner().invoke(main, ["mix", *map(str, arguments)])
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result


def shown(*arguments: object) -> str:
    result = mix(*arguments)
    assert (result.exit_code, result.stderr) == (0, ""), result.output
    return result.stdout


def document(*arguments: object) -> Any:
    return json.loads(shown(*arguments, "--json"))


def row(text: str, name: str, block: int) -> list[str]:
    """The words after this name in the block (weights, nutrients, strength)."""
    lines = text.split("\n\n")[block].splitlines()
    return next(line for line in lines if line.startswith(name)).removeprefix(name).split()


def test_a_mix_on_one_screen() -> None:
    text = shown(*USUAL, *EPSOM, "--litres", 1.5, "--limit", 0.8)

    assert row(text, "20-20-20", 0) == ["0.250", "g", "0.375", "g", "3.34"]
    assert row(text, "MgSO4.7H2O", 0) == ["0.100", "g", "0.150", "g", "1.34"]
    # 1 g/L of 20-20-20 is 200 N, 87 P, 166 K; of MgSO4.7H2O 98.6 Mg and 130 S.
    assert row(text, "20-20-20", 1) == ["50.0", "21.8", "41.5", "?", "?", "?"]
    assert row(text, "salts", 1) == ["0.0", "0.0", "0.0", "9.9", "0.0", "13.0"]
    assert row(text, "sum", 1) == ["50.0", "21.8", "41.5", "9.9+", "?", "13.0+"]
    assert "Mg, Ca, S: not given" in text
    assert row(text, "water", 2) == ["0.20"]
    assert row(text, "20-20-20", 2)[:3] == ["0.40", "estimate,", "errs"]
    assert row(text, "salts", 2)[0] == "0.11"
    assert row(text, "sum", 2) == ["0.71"]
    assert "50 % dried: twice as strong, 1.42 mS/cm" in text
    assert "11 % dried: at the limit of 0.8 mS/cm" in text  # 1 - 0.708 / 0.8
    assert "rinse with plain water before 11 %" in text
    for word in ("Weigh", "skin", "eyes", "label", "run-off"):
        assert word in text


@pytest.mark.parametrize(
    "arguments",
    [
        [*USUAL],
        [*USUAL, *EPSOM, "--litres", 1.5, "--limit", 0.8],
        [*USUAL, *EPSOM, "--litres", 10000, "--limit", 0.3],
        [
            *("--npk", "12.25-12.25-12.25", "--grams-per-litre", 999, "--water-ec", 19.99),
            *("--litres", 1234.567, "--limit", 0.001, "--salt", "Ca(NO3)2.4H2O=999"),
            *("--salt", "KH2PO4=999", "--salt", "Mg(NO3)2.6H2O=999", "--salt", "urea=999"),
        ],
        ["--npk", "0-0-0", "--grams-per-litre", 0, "--water-ec", 0],
    ],
)
def test_it_fits_78_columns(arguments: list[object]) -> None:
    lines = shown(*arguments).splitlines()

    assert max(map(len, lines)) <= 78
    assert all(line == line.rstrip() for line in lines)


def test_grams_or_ppm_ask_for_the_same() -> None:
    by_grams = shown("--npk", "20-20-20", "--grams-per-litre", 0.25, "--water-ec", 0.2)

    assert by_grams == shown(*USUAL)


def test_the_label_is_believed_and_named() -> None:
    text = shown(*USUAL, "--ec-per-100", 0.4, "--mg", 2, "--ca", 5)

    assert row(text, "20-20-20", 2) == ["0.20", "by", "its", "label"]
    assert row(text, "20-20-20", 1)[3:] == ["5.0", "12.5", "?"]  # 0.25 g/L: 2.5 ppm for each %
    assert "S: not given" in text


def test_without_a_volume_or_limit_neither_is_spoken_of() -> None:
    text = shown(*USUAL)

    assert "limit" not in text
    assert "scale" not in text
    assert row(text, "20-20-20", 0) == ["0.250", "g", "3.34"]
    assert "rinse with plain water before 50 %" in text


def test_over_the_limit_it_warns_and_says_how_much_would_do() -> None:
    text = shown(*USUAL, "--limit", 0.5)

    assert "from the start: at the limit of 0.5 mS/cm" in text
    said = re.search(r"! over the limit of 0.5 mS/cm; at most ([\d.]+) g/L of 20-20-20", text)
    assert said is not None
    within = document(*("--npk", "20-20-20", "--grams-per-litre", said[1]), "--water-ec", 0.2)
    assert 0.49 < within["ec"]["sum"] <= 0.5


def test_over_the_limit_by_the_water_alone() -> None:
    text = shown("--npk", "20-20-20", "--ppm-n", 50, "--water-ec", 0.9, "--limit", 0.5)

    assert "! over the limit of 0.5 mS/cm; water and salts alone reach it" in text


def test_at_the_limit_is_not_over_it() -> None:
    told = document(*USUAL, "--ec-per-100", 0.6, "--limit", 0.5)

    assert (told["ec"]["sum"], told["ec"]["over"]) == (0.5, False)
    assert told["film"]["dried_pct_at_limit"] == 0
    assert not any("over" in warning for warning in told["warnings"])


def test_small_weights_want_a_fine_scale() -> None:
    assert "under 1 g" in shown(*USUAL, "--litres", 1.5)
    assert "under 1 g" not in shown(*USUAL, "--litres", 10)


@pytest.mark.parametrize(
    ("salts", "clouds"),
    [
        (["Ca(NO3)2.4H2O=0.1"], True),  # with the phosphate of 20-20-20
        (["KNO3=0.1"], False),
        (["MgSO4.7H2O=0.1"], False),
    ],
)
def test_calcium_that_meets_phosphate_is_warned_of(salts: list[str], clouds: bool) -> None:
    text = shown(*USUAL, *(part for salt in salts for part in ("--salt", salt)))

    assert ("calcium clouds" in text) == clouds


def test_calcium_with_sulphate_or_alone() -> None:
    alone = ("--npk", "15-0-15", "--ppm-n", 50, "--water-ec", 0.1, "--salt", "Ca(NO3)2.4H2O=0.1")

    assert "calcium clouds" not in shown(*alone)
    assert "calcium clouds" in shown(*alone, *EPSOM)
    assert "calcium clouds" in shown(*USUAL, "--ca", 5, *EPSOM)
    assert "calcium clouds" not in shown(*USUAL, "--ca", 5)


@pytest.mark.parametrize("name", ["mgso4.7h2o", "Epsom salt", "EPSOM SALT"])
def test_a_salt_is_known_by_formula_and_name(name: str) -> None:
    assert shown(*USUAL, "--salt", f"{name}=0.1") == shown(*USUAL, *EPSOM)


def test_plain_water_has_nothing_to_leave() -> None:
    text = shown("--npk", "0-0-0", "--grams-per-litre", 0, "--water-ec", 0, "--limit", 0.5)

    assert "nothing is left when it dries" in text


def test_the_document() -> None:
    told = document(*USUAL, *EPSOM, "--litres", 2, "--limit", 0.8)

    assert set(told) == {
        *("schema", "litres", "weigh", "ppm", "ec", "film", "warnings", "cautions"),
    }
    assert told["schema"] == 1
    assert told["weigh"][0] == {
        "what": "20-20-20",
        "grams_per_litre": 0.25,
        "grams": 0.5,
        "ounces_per_100_us_gallons": pytest.approx(3.338, abs=0.001),
    }
    assert told["ppm"]["N"] == {"fertiliser": 50, "salts": 0, "sum": 50}
    assert told["ppm"]["Mg"] == {
        "fertiliser": None,
        "salts": pytest.approx(9.86, abs=0.01),
        "sum": None,
    }
    parts = told["ec"]
    assert parts["sum"] == pytest.approx(parts["water"] + parts["fertiliser"] + parts["salts"])
    assert (parts["fertiliser_from"], parts["limit"], parts["over"]) == ("estimate", 0.8, False)
    assert told["film"]["dried_pct_at_twice"] == 50
    assert told["film"]["dried_pct_at_limit"] == pytest.approx(
        100 * (1 - parts["sum"] / 0.8), abs=0.02
    )
    assert any("under 1 g" in warning for warning in told["warnings"])


def test_the_document_without_salt_or_limit_says_null() -> None:
    told = document("--npk", "0-0-0", "--grams-per-litre", 0, "--water-ec", 0)

    assert told["film"] == {"dried_pct_at_twice": None, "dried_pct_at_limit": None}
    assert (told["litres"], told["ec"]["limit"]) == (None, None)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--npk", "20-20", "--ppm-n", 50, "--water-ec", 0.2], "20-20"),
        (["--npk", "50-50-50", "--ppm-n", 50, "--water-ec", 0.2], "150"),
        (["--npk", "0-52-34", "--ppm-n", 50, "--water-ec", 0.2], "no nitrogen"),
        (["--npk", "0.1-0-0", "--ppm-n", 5000, "--water-ec", 0.2], "5000 g/L"),
        (["--npk", "20-20-20", "--water-ec", 0.2], "either --ppm-n or --grams"),
        ([*USUAL, "--grams-per-litre", 1], "either --ppm-n or --grams"),
        (["--npk", "20-20-20", "--ppm-n", -5, "--water-ec", 0.2], "--ppm-n -5"),
        (["--npk", "20-20-20", "--ppm-n", "nan", "--water-ec", 0.2], "--ppm-n nan"),
        (["--npk", "20-20-20", "--grams-per-litre", "inf", "--water-ec", 0.2], "--grams"),
        (["--npk", "20-20-20", "--ppm-n", 50, "--water-ec", 200], "1000 uS/cm is 1 mS/cm"),
        ([*USUAL, "--litres", 0], "--litres must be above 0"),
        ([*USUAL, "--limit", 0], "--limit must be above 0"),
        ([*USUAL, "--limit", 800], "--limit 800"),
        ([*USUAL, "--ec-per-100", 0], "--ec-per-100 must be above 0"),
        ([*USUAL, "--mg", -1], "below 0"),
        ([*USUAL, "--ca", 60], "more than 100"),
        ([*USUAL, "--salt", "KNO3"], "NAME=GRAMS"),
        ([*USUAL, "--salt", "=0.1"], "NAME=GRAMS"),
        ([*USUAL, "--salt", "NaCl=0.1"], "potassium nitrate"),
        ([*USUAL, "--salt", "KNO3=some"], '"some"'),
        ([*USUAL, "--salt", "KNO3=-1"], "-1"),
        ([*USUAL, "--salt", "KNO3=nan"], "nan"),
        ([*USUAL, "--salt", "KNO3=1", "--salt", "kno3=1"], "twice"),
    ],
)
def test_a_wrong_call_ends_with_2_and_one_line(arguments: list[object], words: str) -> None:
    result = mix(*arguments)

    assert (result.exit_code, result.stdout) == (2, ""), result.output
    assert words in result.stderr
    assert result.stderr.startswith("sillward: ")
    assert result.stderr.count("\n") == 1


@pytest.mark.parametrize(
    "arguments", [[], ["--npk", "20-20-20", "--ppm-n", 50], [*USUAL, "--litres", "many"]]
)
def test_what_is_missing_or_no_number_ends_with_2(arguments: list[object]) -> None:
    result = mix(*arguments)

    assert (result.exit_code, result.stdout) == (2, "")
    assert "Error: " in result.stderr


# -- acid and stock


def test_the_acid_for_an_aimed_ph() -> None:
    text = shown(*USUAL, "--alkalinity", 150, "--water-ph", 7.6, "--aim-ph", 5.8, "--litres", 5)

    assert "3.00 mmol/L of charge, pH 7.6" in text
    assert "to pH 5.8: 2.31 mmol/L of acid" in text
    # 2.31 mmol/L are half as much sulphuric acid: 0.1131 g, in 0.441 g/mL.
    assert re.search(r"sulphuric 35 % +0\.26 mL +2\.56 mL +1\.28 mL  37 mg/L S", text)
    for word in ("never water into acid", "goggles", "bleach", "safety data sheet", "meter"):
        assert word in text
    assert all(len(line) <= 78 for line in text.splitlines())


def test_a_mix_that_asks_for_no_acid_says_nothing_of_it() -> None:
    assert "acid" not in shown(*USUAL)
    assert "water" not in document(*USUAL)


def test_rain_makes_water_weaker_and_needs_less_acid() -> None:
    whole = document(*USUAL, "--alkalinity", 150)
    half = document(*USUAL, "--alkalinity", 150, "--rain", 0.5)

    assert half["ec"]["water"] == whole["ec"]["water"] / 2
    assert half["water"]["acid_mmol_per_litre"] == pytest.approx(
        whole["water"]["acid_mmol_per_litre"] / 2, abs=0.01
    )
    assert "never water into acid" in whole["water"]["cautions"]


def test_water_without_buffer_is_told() -> None:
    text = shown(*USUAL, "--alkalinity", 10, "--water-ph", 5.9)

    assert "No acid is needed" in text
    assert "hardly any buffer" in text


def test_a_syringe_errs_at_small_volumes() -> None:
    told = document(*USUAL, "--alkalinity", 40, "--acid", "nitric-67")["water"]["warnings"]

    assert any("syringe" in text for text in told)


def test_what_must_not_go_into_one_stock() -> None:
    salts = ("--salt", "Ca(NO3)2.4H2O=0.5", *EPSOM)
    told = document(*USUAL, *salts, "--stock", 100)["water"]["stock"]["warnings"]
    thin = document("--npk", "15-0-0", "--ppm-n", 50, "--water-ec", 0, *salts, "--stock", 1)

    assert [text.split()[2] for text in told] == ["sulphate", "phosphate", "a"]
    assert thin["water"]["stock"]["warnings"] == []
    assert "% of what dissolves" in shown(*USUAL, *salts, "--stock", 100)


@pytest.mark.parametrize(
    ("option", "value"),
    [
        ("--aim-ph", 3),
        ("--rain", 50),
        ("--alkalinity", -1),
        ("--stock", 0.5),
        ("--acid", "vinegar"),
    ],
)
def test_options_of_the_water_that_cannot_be(option: str, value: object) -> None:
    result = mix(*USUAL, "--alkalinity", 100, option, value)

    assert result.exit_code == 2
    assert option in result.stderr


WITH_WATER = """
[water]
ec = 0.62
alkalinity = 150
ph = 7.6
rain = 0.5
aim_ph = 5.8

[feed]
npk = "15-0-15"
ppm_n = 60
salts = { "Ca(NO3)2.4H2O" = 0.1 }

[[courses]]
name = "magnesium"
salt = "MgSO4.7H2O"
grams_per_litre = 0.5
times = 3
"""


def test_a_feed_of_the_collection_is_mixed_with_its_water(tmp_path: Path) -> None:
    path = tmp_path / "garden.toml"
    path.write_text(garden(SIX, WITH_WATER), encoding="utf-8")
    of = ("feed", "--collection", path)
    told = document(*of, "--stock", 100)

    assert (told["ec"]["water"], told["water"]["alkalinity"], told["water"]["aim_ph"]) == (
        0.31,
        75,
        5.8,
    )
    # 1.5 mmol/L of charge, of which 0.2199 / 0.9468 are left.
    assert told["water"]["acid_mmol_per_litre"] == pytest.approx(1.153, abs=0.01)
    (only,) = told["water"]["stock"]["warnings"]
    assert only.startswith("not in one stock with magnesium: calcium and sulphate")
    assert "88 % of rain in all" in shown(*of)  # 17 of 150 mg/L are left
    assert all(len(line) <= 78 for line in shown(*of, "--stock", 100).splitlines())
    assert "--rain" in mix(*of, "--rain", 0.2).stderr
