"""Feed: what must hold for any label, salt and strength."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sillward_rules.plants import fertiliser
from sillward_rules.plants.fertiliser import ELEMENTS, SALTS, Fertiliser, Mix, Salt, parse_npk

repeatable = settings(deadline=None, derandomize=True)

grams = st.floats(0, 20)
percents = st.floats(0.1, 33)
salts = st.sampled_from(list(SALTS.values()))
waters = st.floats(0, 2)

PLAIN = Fertiliser(20, 20, 20)


@st.composite
def fertilisers(draw: st.DrawFn) -> Fertiliser:
    """With nitrogen; half of them with an EC on the label."""
    n_pct, p2o5_pct, k2o_pct = (draw(percents) for _ in range(3))
    told = draw(st.none() | st.floats(0.1, 2))
    return Fertiliser(n_pct, p2o5_pct, k2o_pct, ec_per_100_ppm_n=told)


# -- labels


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("20-20-20", (20, 20, 20)),
        ("12.5-0-25", (12.5, 0, 25)),
        (" 15-0-15 ", (15, 0, 15)),
        ("0-60-40", (0, 60, 40)),
    ],
)
def test_a_label_is_read(text: str, expected: tuple[float, float, float]) -> None:
    assert parse_npk(text) == expected


@pytest.mark.parametrize(
    ("text", "word"),
    [
        ("20-20", "N-P-K"),
        ("20-20-20-2", "N-P-K"),
        ("20/20/20", "N-P-K"),
        ("a-b-c", "N-P-K"),
        ("nan-20-20", "N-P-K"),
        ("", "N-P-K"),
        ("20--5-10", "below 0"),
        ("-20-5-10", "below 0"),
        ("40-40-40", "120"),
    ],
)
def test_a_wrong_label_is_refused_in_words(text: str, word: str) -> None:
    with pytest.raises(ValueError, match=word):
        parse_npk(text)


@repeatable
@given(n=percents, p2o5=percents, k2o=percents)
def test_a_label_survives_being_written_and_read(n: float, p2o5: float, k2o: float) -> None:
    n, p2o5, k2o = (round(part, 1) for part in (n, p2o5, k2o))

    assert parse_npk(Fertiliser(n, p2o5, k2o).label) == (n, p2o5, k2o)


@pytest.mark.parametrize(
    "wrong",
    [
        {"n_pct": -1.0},
        {"n_pct": float("nan")},
        {"n_pct": 70.0},
        {"mg_pct": -2.0},
        {"ca_pct": 50.0},
        {"ec_per_100_ppm_n": 0.0},
        {"ec_per_100_ppm_n": float("nan")},
        {"ec_per_100_ppm_n": float("inf")},
        {"n_pct": 0.0, "ec_per_100_ppm_n": 0.5},
    ],
)
def test_an_impossible_fertiliser_is_refused(wrong: dict[str, float]) -> None:
    label = {"n_pct": 20.0, "p2o5_pct": 20.0, "k2o_pct": 20.0}

    with pytest.raises(ValueError, match=r"\w"):
        Fertiliser(**(label | wrong))


def test_what_a_label_does_not_tell_is_unknown_and_not_zero() -> None:
    told = Fertiliser(15, 5, 15, mg_pct=2, ca_pct=5)

    assert [np.isnan(PLAIN.pct(element)) for element in ELEMENTS] == [False] * 3 + [True] * 3
    assert (told.pct("Mg"), told.pct("Ca")) == (2, 5)
    assert np.isnan(told.pct("S"))


# -- amounts


@repeatable
@given(ppm=st.floats(0, 1e4), pct=percents)
def test_grams_for_a_wanted_ppm_give_it(ppm: float, pct: float) -> None:
    back = fertiliser.ppm(fertiliser.grams_per_litre_for(ppm, pct), pct)

    assert back == pytest.approx(ppm, rel=1e-12)


@repeatable
@given(strength=grams, gallons=st.floats(0.1, 1000))
def test_ounces_weigh_what_the_litres_ask_for(strength: float, gallons: float) -> None:
    weight_g = fertiliser.ounces(strength, gallons) * fertiliser.OUNCE_G

    assert weight_g == pytest.approx(strength * gallons * fertiliser.US_GALLON_L, rel=1e-12)


def test_functions_take_arrays_and_carry_the_unknown() -> None:
    strengths = np.array([0.0, 0.25, np.nan])

    assert fertiliser.ppm(strengths, 20) == pytest.approx([0, 50, np.nan], nan_ok=True)
    assert fertiliser.grams_per_litre_for([0, 50, np.nan], 20) == pytest.approx(
        strengths, nan_ok=True
    )
    assert fertiliser.film_ec([0.5, np.nan], [[0.0], [0.5]]) == pytest.approx(
        np.array([[0.5, np.nan], [1.0, np.nan]]), nan_ok=True
    )


def test_impossible_amounts_are_refused() -> None:
    with pytest.raises(ValueError, match="grams per litre"):
        fertiliser.ppm([0.1, -0.1], 20)
    with pytest.raises(ValueError, match="ppm"):
        fertiliser.grams_per_litre_for(-1, 20)
    with pytest.raises(ValueError, match="without the element"):
        fertiliser.grams_per_litre_for(50, 0)
    with pytest.raises(ValueError, match="grams per litre"):
        fertiliser.ounces(np.inf)
    with pytest.raises(ValueError, match="grams per litre"):
        Mix(PLAIN, -0.1, 0.2)
    with pytest.raises(ValueError, match="water"):
        Mix(PLAIN, 0.1, -0.2)
    with pytest.raises(ValueError, match="KNO3"):
        Mix(PLAIN, 0.1, 0.2, ((SALTS["KNO3"], -1.0),))
    with pytest.raises(ValueError, match="EC"):
        fertiliser.film_ec(-0.5, 0.5)


# -- salts


@pytest.mark.parametrize("salt", SALTS.values(), ids=SALTS)
def test_a_salt_weighs_what_its_elements_do(salt: Salt) -> None:
    counted = dict(salt.atoms)
    uncounted = sum(
        fertiliser.ATOMIC_WEIGHT[element] * counted.get(element, 0) for element in ("H", "C", "O")
    )

    total = sum(salt.pct(element) for element in ELEMENTS) + 100 * uncounted / salt.molar_mass

    assert total == pytest.approx(100)


CHARGES = {"K": 1, "Mg": 2, "Ca": 2, "NO3": -1, "H2PO4": -1, "SO4": -2}
ATOM_OF = {"NO3": "N", "H2PO4": "P", "SO4": "S"}


@pytest.mark.parametrize(
    "salt", [salt for salt in SALTS.values() if salt.equivalents], ids=lambda salt: salt.formula
)
def test_the_charges_of_a_salt_are_those_of_its_ions(salt: Salt) -> None:
    counted = dict(salt.atoms)

    positive = counted[salt.cation] * CHARGES[salt.cation]
    negative = counted[ATOM_OF[salt.anion]] * CHARGES[salt.anion]

    assert (positive, negative) == (salt.equivalents, -salt.equivalents)


@pytest.mark.parametrize("formula", [formula for formula in SALTS if formula != "urea"])
def test_the_ec_of_a_salt_is_not_below_the_growers_rule(formula: str) -> None:
    # EC = (meq/L) / 10 is the rule; 0.01 mol/L KCl, 10 meq/L, reads 1.408 mS/cm (Wu, Koch and
    # Pratt 1991), and no common salt conducts better than it by more than a tenth.
    salt = SALTS[formula]
    rule = salt.meq_per_litre(0.5) / 10

    assert rule < salt.ec(0.5) < 1.408 * 1.1 * rule


def test_urea_feeds_and_adds_no_ec() -> None:
    with_urea = Mix(PLAIN, 0.25, 0.2, ((SALTS["urea"], 0.1),))
    without = Mix(PLAIN, 0.25, 0.2)

    assert with_urea.ec == without.ec
    assert with_urea.ppm("N") - without.ppm("N") == pytest.approx(46.65, abs=0.01)  # IUPAC


# -- mixes


def test_a_mix_adds_up_and_does_not_hide_what_nobody_told() -> None:
    mix = Mix(PLAIN, 0.25, 0.2, ((SALTS["MgSO4.7H2O"], 0.1), (SALTS["KNO3"], 0.1)))

    assert mix.ppm("N") == pytest.approx(50 + 13.85, abs=0.01)  # KNO3 13.85 % N
    assert mix.ppm("K") == pytest.approx(41.5 + 38.67, abs=0.02)  # 1 g/L of 20 % K2O is 166 ppm
    assert mix.ppm_of_salts("Mg") == pytest.approx(9.86, abs=0.01)  # MgSO4.7H2O 9.86 % Mg
    assert np.isnan(mix.ppm("Mg"))
    assert Mix(PLAIN, 0.0, 0.2, mix.supplements).ppm("Mg") == mix.ppm_of_salts("Mg")


def test_a_mix_of_many_strengths_is_that_of_each() -> None:
    strengths = np.array([0.1, 0.5, 1.0])
    salt = SALTS["KNO3"]
    together = Mix(PLAIN, strengths, 0.2, ((salt, 0.1),))

    apart = [Mix(PLAIN, grams, 0.2, ((salt, 0.1),)) for grams in strengths]

    assert together.ec == pytest.approx([float(single.ec) for single in apart])
    assert together.ppm("K") == pytest.approx([float(single.ppm("K")) for single in apart])


@repeatable
@given(
    fertiliser=fertilisers(),
    strengths=st.tuples(grams, grams),
    salt=salts,
    of_salt=st.tuples(grams, grams),
    water=waters,
)
def test_ec_never_falls_with_more_salt(
    fertiliser: Fertiliser,
    strengths: tuple[float, float],
    salt: Salt,
    of_salt: tuple[float, float],
    water: float,
) -> None:
    steps = [
        (min(strengths), min(of_salt)),
        (max(strengths), min(of_salt)),
        (max(strengths), max(of_salt)),
    ]

    ecs = [float(Mix(fertiliser, own, water, ((salt, other),)).ec) for own, other in steps]

    assert ecs[0] >= water
    assert all(after >= before for before, after in pairwise(ecs))


@repeatable
@given(fertiliser=fertilisers(), strength=grams, times=st.floats(0, 10))
def test_the_ec_of_a_feed_is_proportional(
    fertiliser: Fertiliser, strength: float, times: float
) -> None:
    once, often = fertiliser.ec(strength), fertiliser.ec(times * strength)

    assert often.value == pytest.approx(times * once.value, rel=1e-9)


@repeatable
@given(fertiliser=fertilisers(), strength=grams, water=waters, salt=salts, of_salt=grams)
def test_the_strongest_feed_within_a_limit_reaches_it(
    fertiliser: Fertiliser, strength: float, water: float, salt: Salt, of_salt: float
) -> None:
    supplements = ((salt, of_salt),)
    limit = Mix(fertiliser, strength, water, supplements).ec

    most = Mix(fertiliser, strength, water, supplements).grams_within(limit)

    assert most == pytest.approx(strength, abs=1e-6)


def test_no_feed_is_within_a_limit_that_the_water_reaches() -> None:
    assert Mix(PLAIN, 0.5, 0.9).grams_within(0.8) == 0
    assert Mix(Fertiliser(0, 0, 0), 0.5, 0.2).grams_within(0.8) == np.inf
    assert Mix(Fertiliser(0, 0, 0), 0.5, 0.9).grams_within(0.8) == 0


def test_the_ec_says_whether_it_is_the_labels() -> None:
    told = Fertiliser(20, 20, 20, ec_per_100_ppm_n=0.4)

    assert Mix(told, 0.5, 0.0).ec_of_feed.origin == "label"
    assert Mix(told, 0.5, 0.0).ec == pytest.approx(0.4)
    assert Mix(PLAIN, 0.5, 0.0).ec_of_feed.origin == "estimate"
    assert Mix(PLAIN, 0.5, 0.0).ec == pytest.approx(fertiliser.EC_PER_100_PPM_N)


@pytest.mark.parametrize(
    ("fertiliser", "formula"),
    [
        (Fertiliser(0, 52.15, 34.61), "KH2PO4"),
        (Fertiliser(0, 0, 54.06), "K2SO4"),
        (Fertiliser(13.85, 0, 46.58), "KNO3"),
        (Fertiliser(10.93, 0, 0, mg_pct=9.48), "Mg(NO3)2.6H2O"),
        (Fertiliser(11.86, 0, 0, ca_pct=16.97), "Ca(NO3)2.4H2O"),
        (Fertiliser(0, 0, 0, mg_pct=9.86), "MgSO4.7H2O"),
    ],
    ids=lambda value: value if isinstance(value, str) else value.label,
)
def test_a_feed_that_is_one_pure_salt_is_as_strong_as_that(
    fertiliser: Fertiliser, formula: str
) -> None:
    # The label as it would stand on a bag of it; most of them have too little nitrogen, or
    # none, for a rule that goes by nitrogen.
    assert fertiliser.ec(1.0).value == pytest.approx(SALTS[formula].ec(1.0), rel=0.02)


# -- drying


@repeatable
@given(lost=st.floats(0, 0.999))
def test_factor_and_share_are_inverse(lost: float) -> None:
    assert fertiliser.share_lost_at(fertiliser.concentration_factor(lost)) == pytest.approx(
        lost, abs=1e-9
    )


@repeatable
@given(ec=st.floats(0.01, 5), lost=st.floats(0, 0.99))
def test_a_drying_film_keeps_its_salt(ec: float, lost: float) -> None:
    water_left = 1 - lost

    assert fertiliser.film_ec(ec, lost) * water_left == pytest.approx(ec)


def test_a_film_is_never_weaker_and_never_quite_dry() -> None:
    assert fertiliser.share_lost_at([1.0, np.inf]) == pytest.approx([0, 1])
    for wrong in (-0.1, 1.0, 1.5, [0.5, 1.0]):
        with pytest.raises(ValueError, match="below 1"):
            fertiliser.concentration_factor(wrong)
    for wrong in (0.99, 0.0, -2.0):
        with pytest.raises(ValueError, match="at least 1"):
            fertiliser.share_lost_at(wrong)


@pytest.mark.parametrize("text", ["MgSO4.7H2O", "mgso4·7h2o", " Epsom salt ", "MGSO4*7H2O"])
def test_a_salt_is_found_however_it_is_spelled(text: str) -> None:
    assert fertiliser.salt_named(text) is fertiliser.SALTS["MgSO4.7H2O"]


def test_what_is_no_salt_is_none() -> None:
    assert fertiliser.salt_named("sodium chloride") is None
    assert fertiliser.salt_named("calcium nitrate") is None  # shops sell another salt as that
    assert "calcium nitrate tetrahydrate" in fertiliser.names_of_salts()
