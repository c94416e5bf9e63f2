"""Single-number ratings."""

import pytest

from materials.rating import noise_reduction_coefficient, practical_alpha, weighted_alpha


def test_example_of_the_standard() -> None:
    # ISO 11654:1997, Annex A, example A.2.
    rating = weighted_alpha([0.35, 1.00, 0.65, 0.60, 0.55])
    assert rating.alpha_w == pytest.approx(0.60)
    assert str(rating) == "0.60(M)"
    assert rating.absorber_class == "C"


def test_reference_curve_and_nothing() -> None:
    best = weighted_alpha([0.80, 1.00, 1.00, 1.00, 0.90])
    assert (best.alpha_w, best.indicators, best.absorber_class) == (1.0, "", "A")
    none = weighted_alpha([0.0] * 5)
    assert none.absorber_class == "unclassified"
    assert none.alpha_w <= 0.1


@pytest.mark.parametrize(
    ("alpha_w", "name"),
    # ISO 11654:1997, Annex B.
    [(1.0, "A"), (0.9, "A"), (0.85, "B"), (0.8, "B"), (0.75, "C"), (0.6, "C"), (0.55, "D"),
     (0.3, "D"), (0.25, "E"), (0.15, "E"), (0.1, "unclassified")],
)  # fmt: skip
def test_classes(alpha_w: float, name: str) -> None:
    shift = 1.0 - alpha_w
    curve = [max(r - shift, 0.0) for r in (0.8, 1.0, 1.0, 1.0, 0.9)]
    rating = weighted_alpha(curve)
    assert rating.alpha_w == pytest.approx(alpha_w)
    assert rating.absorber_class == name


def test_low_and_high_indicators() -> None:
    assert weighted_alpha([1.0, 0.5, 0.5, 0.5, 0.4]).indicators == "L"
    assert weighted_alpha([0.3, 0.5, 0.5, 0.9, 0.9]).indicators == "H"


def test_practical_coefficient() -> None:
    # ISO 11654 4.1: 0.92 gives 0.90, at most 1.00.
    assert practical_alpha([0.90, 0.92, 0.94]) == pytest.approx(0.90)
    assert practical_alpha([1.1, 1.2, 1.3]) == 1.0


@pytest.mark.parametrize(("mean", "nrc"), [(0.625, 0.65), (0.675, 0.70), (0.624, 0.60)])
def test_noise_reduction_coefficient_rounds_up_at_the_midpoint(mean: float, nrc: float) -> None:
    # ASTM C423: nearest 0.05, exact midpoint up.
    assert noise_reduction_coefficient([mean] * 4) == pytest.approx(nrc)


def test_ratings_want_their_bands() -> None:
    with pytest.raises(ValueError, match="five"):
        weighted_alpha([0.5] * 4)
    with pytest.raises(ValueError, match="four"):
        noise_reduction_coefficient([0.5] * 5)
    with pytest.raises(ValueError, match="three"):
        practical_alpha([0.5])
