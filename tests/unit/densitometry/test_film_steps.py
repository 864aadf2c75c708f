"""The steps of a tablet exposed on film, found in the film's scan and measured."""

import numpy as np
import pytest

from negcat.densitometry import find_film_steps, fit_profile, measure_film_steps
from negcat.errors import CalibrationError
from tests.simulation import scanbench as bench

PX_PER_MM = 5.0
STEPS = bench.tablet(21)
FOG = 0.14


def on_film(gradient: float = 0.62, inertia: float = -1.9, top: float = 0.6) -> np.ndarray:
    """Densities of the film under each step, the clearest first."""
    log_h = top - (STEPS - STEPS[0])
    return FOG + gradient * 0.12 * np.logaddexp(0.0, (log_h - inertia) / 0.12)


def drawn(film: np.ndarray, **more) -> np.ndarray:
    """The film on the bed: its lightest step at one end, as a tablet's."""
    tablet = bench.Tablet(film[::-1], **more)
    rng = np.random.default_rng(4)
    return bench.grain(tablet.draw(PX_PER_MM, rng), PX_PER_MM, rng, 0.004)


def scanned(density: np.ndarray, bed: bench.Bed | None = None) -> np.ndarray:
    return (bed or bench.Bed()).codes(10.0**-density, np.random.default_rng(9))


def profile(bed: bench.Bed | None = None):
    bed = bed or bench.Bed()
    codes = bed.toned((10.0**-STEPS + bed.flare) * bed.exposure).astype(float)
    return fit_profile(codes, STEPS, channel="grey", bits=16, mode="grey")


@pytest.mark.parametrize("along", ["x", "y"])
@pytest.mark.parametrize("turned", [False, True])
@pytest.mark.parametrize(
    "around",
    [
        {"border_mm": 12.0, "border_density": 1.85},  # the sheet around the tablet was exposed
        {"border_mm": 12.0, "border_density": FOG},  # it was covered
        {"surround": "mask"},  # the strip lies in a mask
    ],
    ids=["exposed", "covered", "mask"],
)
def test_its_steps_are_measured_any_way_round(along: str, turned: bool, around: dict):
    film = on_film()
    density = drawn(film, along=along, reversed=turned, margin_mm=(16.0, 16.0), tilt_deg=1.0, **around)
    image = scanned(density)
    steps = find_film_steps(image, 21)
    densities, sds, shared = measure_film_steps(image, steps, profile())
    seen = np.isfinite(densities)
    # Clear steps at the far end may be hidden in a mask; they tell nothing but base+fog.
    assert seen[:14].all()
    assert np.abs(densities - film)[seen].max() < 0.02
    assert (sds[seen] >= 0.003).all()
    assert shared.shape == (21, 21)
    assert np.all(np.diag(shared)[seen] > 0.0)


def test_a_curve_of_measured_steps_gives_the_films_gradient():
    from negcat.sensitometry import film_figures, fit_film_curve

    film = on_film()
    image = scanned(drawn(film, border_mm=12.0, border_density=FOG, margin_mm=(16.0, 16.0)))
    densities, sds, shared = measure_film_steps(image, find_film_steps(image, 21), profile())
    log_h = 0.6 - (STEPS - STEPS[0])
    curve = fit_film_curve(log_h.tolist(), densities.tolist(), sds.tolist(), absolute=True, shared=shared)
    exact = fit_film_curve(log_h.tolist(), film.tolist(), [0.002] * 21, absolute=True, tablet_sd=0.0)
    found, true = film_figures(curve), film_figures(exact)
    assert found.average_gradient.value == pytest.approx(true.average_gradient.value, rel=0.02)
    assert found.log_h_m.value == pytest.approx(true.log_h_m.value, abs=0.05)


def test_steps_outside_the_scanners_range_have_no_density():
    film = on_film(gradient=0.9, top=1.4)
    image = scanned(drawn(film, border_mm=12.0, border_density=FOG, margin_mm=(16.0, 16.0)))
    codes = [60000 * 10**-d for d in STEPS[:14]]
    narrow = fit_profile(codes, STEPS[:14], channel="grey", bits=16, mode="grey")
    densities, _, _ = measure_film_steps(image, find_film_steps(image, 21), narrow)
    assert np.isnan(densities[film > 2.1]).all()
    assert np.isfinite(densities[(film > 0.3) & (film < 1.9)]).all()


def test_a_picture_is_no_film_test():
    rng = np.random.default_rng(3)
    picture = bench.landscape((300, 400), rng, 0.2, 1.6)
    with pytest.raises(CalibrationError, match="type the densities in"):
        find_film_steps(scanned(picture), 21)


def test_a_densest_end_cut_off_is_not_guessed():
    film = on_film()
    tablet = bench.Tablet(
        film[::-1], border_mm=12.0, border_density=FOG, margin_mm=(16.0, 16.0), crop_steps=(0.0, 4.5)
    )
    density = tablet.draw(PX_PER_MM, np.random.default_rng(4))
    with pytest.raises(CalibrationError, match="cut off"):
        find_film_steps(scanned(density), 21)


def test_more_steps_than_the_record_has_are_refused():
    image = scanned(drawn(on_film(), border_mm=12.0, border_density=1.9, margin_mm=(16.0, 16.0)))
    with pytest.raises(CalibrationError, match="the tablet's record has 11"):
        find_film_steps(image, 11)
