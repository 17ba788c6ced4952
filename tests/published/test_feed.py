"""Feed against extension tables, measured conductivities and handbooks."""

from collections.abc import Callable
from typing import Any

import pytest

from sillward_rules.plants import fertiliser
from sillward_rules.plants.fertiliser import SALTS, Fertiliser, Mix, parse_npk

Inputs = dict[str, Any]
Agrees = Callable[[object], None]


@pytest.mark.published("feed_ppm")
def test_ppm_of_a_label(inputs: Inputs, agrees: Agrees) -> None:
    feed = Fertiliser(*parse_npk(inputs["label"]))

    agrees(Mix(feed, inputs["grams_per_litre"], 0.0).ppm(inputs["element"]))


@pytest.mark.published("feed_ounces")
def test_ounces_of_american_tables(inputs: Inputs, agrees: Agrees) -> None:
    grams_per_litre = fertiliser.grams_per_litre_for(inputs["ppm"], inputs["pct"])

    agrees(fertiliser.ounces(grams_per_litre, inputs["us_gallons"]))


@pytest.mark.published("feed_grams")
def test_grams_of_the_same_tables(inputs: Inputs, agrees: Agrees) -> None:
    grams_per_litre = fertiliser.grams_per_litre_for(inputs["ppm"], inputs["pct"])

    agrees(grams_per_litre * inputs["us_gallons"] * fertiliser.US_GALLON_L)


@pytest.mark.published("feed_ounce_constant")
def test_ppm_of_one_ounce(inputs: Inputs, agrees: Agrees) -> None:
    ounces_per_ppm = fertiliser.ounces(
        fertiliser.grams_per_litre_for(1.0, inputs["pct"]), inputs["us_gallons"]
    )

    agrees(1 / ounces_per_ppm)


@pytest.mark.published("salt_percents")
def test_percents_of_a_salt(inputs: Inputs, agrees: Agrees) -> None:
    agrees([SALTS[inputs["formula"]].pct(element) for element in inputs["elements"]])


@pytest.mark.published("salt_molar_mass")
def test_molar_mass_of_a_salt(inputs: Inputs, agrees: Agrees) -> None:
    agrees(SALTS[inputs["formula"]].molar_mass)


@pytest.mark.published("salt_ppm")
def test_ppm_of_a_salt(inputs: Inputs, agrees: Agrees) -> None:
    salt = SALTS[inputs["formula"]]

    agrees(fertiliser.ppm(inputs["grams_per_litre"], salt.pct(inputs["element"])))


@pytest.mark.published("salt_ec")
def test_ec_of_a_salt(inputs: Inputs, agrees: Agrees) -> None:
    agrees(SALTS[inputs["formula"]].ec(inputs["grams_per_litre"]))


@pytest.mark.published("feed_ec_by_label")
def test_ec_by_the_label(inputs: Inputs, agrees: Agrees) -> None:
    feed = Fertiliser(20, 20, 20, ec_per_100_ppm_n=inputs["ec_per_100_ppm_n"])

    agrees(feed.ec(fertiliser.grams_per_litre_for(inputs["ppm_n"], 20)).value)


@pytest.mark.published("feed_ec_estimate")
def test_the_estimate_is_not_below_what_was_measured(inputs: Inputs, agrees: Agrees) -> None:
    feed = Fertiliser(*parse_npk(inputs["label"]))
    grams = fertiliser.grams_per_litre_for(inputs["ppm_n"], feed.n_pct)

    agrees(min(float(feed.ec(grams).value), inputs["measured"]))


@pytest.mark.published("mix_ec")
def test_ec_of_feed_and_water(inputs: Inputs, agrees: Agrees) -> None:
    feed = Fertiliser(20, 20, 20, ec_per_100_ppm_n=inputs["ec_per_100_ppm_n"])
    grams = fertiliser.grams_per_litre_for(inputs["ppm_n"], 20)

    agrees(Mix(feed, grams, inputs["water_ec"]).ec)


@pytest.mark.published("concentration_factor")
def test_concentration_of_a_drying_film(inputs: Inputs, agrees: Agrees) -> None:
    agrees(fertiliser.concentration_factor(inputs["lost_share"]))


@pytest.mark.published("film_ec")
def test_ec_of_a_drying_film(inputs: Inputs, agrees: Agrees) -> None:
    agrees(fertiliser.film_ec(inputs["ec"], inputs["lost_share"]))
