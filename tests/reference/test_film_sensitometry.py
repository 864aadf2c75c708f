"""Standard figures of characteristic curves, from standards and publications and worked by hand from them.

No published table of densities with its speed, gradient and contrast index printed beside it could be had;
where a publication gives densities alone, the figures are worked by hand from its definitions, and
`test_sensitometry_known_truth` recovers curves of known truth.
"""

import numpy as np
import pytest

from negcat.sensitometry import (
    ContrastTest,
    FilmCurve,
    built_in_target,
    contrast_of,
    film_figures,
    fit_contrast,
    fit_film_curve,
)

# Tablet of 21 steps, 0.15 apart, exact, as none other is in these examples.
STEPS = 0.05 + 0.15 * np.arange(21)


def straight(gradient: float, *, log_h_m: float, fog: float = 0.10) -> FilmCurve:
    """A film without a toe: level, then a straight line through point m."""
    log_h = log_h_m + 2.2 - (STEPS - STEPS[0])
    densities = fog + np.maximum(0.10 + gradient * (log_h - log_h_m), 0.0)
    return fit_film_curve(
        log_h.tolist(), densities.tolist(), [0.001] * 21, absolute=True, tablet_sd=0.0, recorded_base_fog=fog
    )


# ISO 6:1993: point m 0.10 above base+fog, point n 1.30 log H further, 0.80 ± 0.05 denser; S = 0.8/H_m.
@pytest.mark.parametrize(("h_m", "speed"), [(0.008, 100.0), (0.002, 400.0), (0.016, 50.0)])
def test_speed_by_iso_6(h_m: float, speed: float):
    figures = film_figures(straight(0.80 / 1.30, log_h_m=float(np.log10(h_m))))
    assert figures.speed.value == pytest.approx(speed, rel=0.02)
    assert figures.rise.value == pytest.approx(0.80, abs=0.01)
    assert figures.contrast_condition == "holds"
    # Adams, The Negative: zone I lies on m four stops under the meter's zone V; 0.63 is two thirds of a stop less.
    assert figures.zone_i_index.value == pytest.approx(speed * 2 ** (-2 / 3), rel=0.025)


@pytest.mark.parametrize(
    ("rise", "condition"), [(0.80, "holds"), (0.60, "does not hold"), (1.0, "does not hold")]
)
def test_contrast_condition_of_iso_6(rise: float, condition: str):
    assert film_figures(straight(rise / 1.30, log_h_m=-2.1)).contrast_condition == condition


# Nelson and Simonds, J. Opt. Soc. Am. 46 (1956): ΔX = 0.83 − 0.86·ΔD + 0.24·ΔD²; worked by hand:
# ΔD 0.80 → 0.2956, ΔD 0.60 → 0.4004, ΔD 1.00 → 0.2100.
@pytest.mark.parametrize(("rise", "delta_x"), [(0.80, 0.2956), (0.60, 0.4004), (1.00, 0.2100)])
def test_speed_by_delta_x(rise: float, delta_x: float):
    figures = film_figures(straight(rise / 1.30, log_h_m=-2.1))
    assert figures.delta_x_speed.value is not None
    # At the standard contrast both speeds are one: ΔX is 0.296 there.
    expected = 0.8 / 10**-2.1 * 10 ** (delta_x - 0.296)
    assert np.log10(figures.delta_x_speed.value / expected) == pytest.approx(0.0, abs=0.015)


# On a straight line average gradient, contrast index and the line's own gradient are one figure.
@pytest.mark.parametrize("gradient", [0.45, 0.56, 0.615, 0.75, 0.90])
def test_gradients_of_a_straight_line(gradient: float):
    figures = film_figures(straight(gradient, log_h_m=-2.1))
    assert figures.average_gradient.value == pytest.approx(gradient, rel=0.01)
    assert figures.contrast_index.value == pytest.approx(gradient, rel=0.01)


# Published measured net densities of zones 0 to X of one film and developer, for a condenser (M. Milsaps,
# 1991, in a class handout on zones): .02 .11 .21 .34 .48 .62 .76 .97 1.18 1.33 1.44.
MEASURED = (0.02, 0.11, 0.21, 0.34, 0.48, 0.62, 0.76, 0.97, 1.18, 1.33, 1.44)


def test_figures_of_published_densities_worked_by_hand():
    log_h = -2.1 + 0.30103 * (np.arange(-2, 11) - 1.0)
    net = (0.0, 0.0, *MEASURED)
    curve = fit_film_curve(
        log_h.tolist(), [0.1 + density for density in net], [0.003] * 13, absolute=False, tablet_sd=0.0
    )
    figures = film_figures(curve)
    # By straight lines between the zones: m at zone 0.889; 1.50 log H are 4.983 zones, at zone 5.872 it is 0.742.
    assert figures.average_gradient.value == pytest.approx((0.742 - 0.10) / 1.50, rel=0.02)
    # 1.30 log H are 4.319 zones, at zone 5.208 it is 0.649.
    assert figures.rise.value == pytest.approx(0.549, abs=0.012)
    # Net 1.20, the condenser target's VIII, at zone 8.133; its I, 0.10, at 0.889: 7 stops became 7.244.
    contrast = contrast_of(curve, built_in_target("silver, condenser"))
    assert contrast.value == pytest.approx(7.0 / 7.244, rel=0.02)


# Sheppard and Mees, Investigations on the Theory of the Photographic Process (1907): from the contrasts γ1, γ2
# at a time t and at 2t, k = ln(γ1/(γ2 − γ1))/t and γ∞ = γ1²/(2γ1 − γ2).
def test_limit_and_rate_by_sheppard_and_mees():
    first, second, minutes = 0.80, 1.20, 6.0
    rate = np.log(first / (second - first)) / minutes
    limit = first**2 / (2.0 * first - second)
    tests = [
        ContrastTest(60.0 * t, 20.0, limit * (1.0 - np.exp(-rate * t)), 1e-4)
        for t in (3.0, minutes, 9.0, 2.0 * minutes, 18.0, 30.0)
    ]
    law = fit_contrast(tests)
    assert law is not None
    assert law.form == "limit"
    assert law.limit.value == pytest.approx(limit, rel=0.01)
    assert law.rate_per_min.value == pytest.approx(rate, rel=0.02)


# Adams, The Negative: N+1 fills the print's scale from a subject a stop shorter, 6 stops instead of 7.
@pytest.mark.parametrize(("n", "stops"), [(-2.0, 9.0), (-1.0, 8.0), (0.0, 7.0), (1.0, 6.0), (2.0, 5.0)])
def test_contrast_of_an_n(n: float, stops: float):
    target = built_in_target()
    zones = np.arange(-2.0, 12.0, 0.25)
    net = np.array([max(target.density(zone), 0.0) for zone in zones])
    log_h = (zones - 1.0) * 0.30103 * stops / 7.0
    curve = fit_film_curve(
        log_h.tolist(), (0.1 + net).tolist(), [0.002] * len(zones), absolute=False, tablet_sd=0.0
    )
    found = contrast_of(curve, target)
    assert found.value is not None
    assert 7.0 - 7.0 / found.value == pytest.approx(n, abs=0.06)
