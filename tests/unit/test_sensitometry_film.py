"""The characteristic curve, its figures and its refusals."""

import numpy as np
import pytest

from negcat.errors import QuantityError
from negcat.sensitometry import (
    ContrastTest,
    built_in_target,
    contrast_of,
    film_figures,
    fit_contrast,
    fit_film_curve,
)

STEPS = 0.05 + 0.15 * np.arange(21)


def densities_at(log_h: np.ndarray, gradient: float = 0.6, fog: float = 0.12) -> np.ndarray:
    return fog + gradient * 0.12 * np.logaddexp(0.0, (log_h + 1.9) / 0.12)


def curve_of(top: float = 0.6, *, absolute: bool = True, gradient: float = 0.6, noise: float = 0.0, **more):
    log_h = top - (STEPS - STEPS[0])
    densities = densities_at(log_h, gradient) + noise * np.random.default_rng(5).normal(size=21)
    return fit_film_curve(
        log_h.tolist(), densities.tolist(), [max(noise, 0.005)] * 21, absolute=absolute, **more
    )


def test_the_curve_never_falls_and_ends_where_the_steps_end():
    curve = curve_of(noise=0.03)
    assert np.all(np.diff(curve.densities) >= -1e-12)
    assert (curve.log_h[0], curve.log_h[-1]) == (pytest.approx(-2.4), pytest.approx(0.6))


def test_more_scatter_widens_every_figure():
    quiet, noisy = film_figures(curve_of(noise=0.005)), film_figures(curve_of(noise=0.03))
    for name in ("log_h_m", "average_gradient", "contrast_index", "rise"):
        assert getattr(noisy, name).sd > 1.5 * getattr(quiet, name).sd


def test_errors_that_all_densities_share_do_not_average_out():
    alone = film_figures(curve_of())
    together = film_figures(curve_of(shared=np.outer(STEPS, STEPS) * 0.02**2))
    # A scale error common to all densities is a scale error of the gradient.
    assert together.average_gradient.sd > alone.average_gradient.sd * 1.3


def test_without_an_absolute_exposure_there_is_no_speed_but_all_else():
    figures = film_figures(curve_of(absolute=False))
    for speed in (figures.speed, figures.delta_x_speed, figures.zone_i_index):
        assert speed.value is None
        assert "lux" in speed.note
    assert figures.speed_sd_log is not None
    assert figures.average_gradient.value is not None
    assert figures.rise.value is not None


def test_speed_and_its_deviation_hang_together():
    figures = film_figures(curve_of(noise=0.01))
    assert figures.speed.value == pytest.approx(0.8 / 10**figures.log_h_m.value)
    assert figures.speed.sd / figures.speed.value == pytest.approx(
        figures.log_h_m.sd * np.log(10.0), rel=0.05
    )


def test_a_film_that_is_nowhere_clear_has_no_figures_without_a_recorded_base_fog():
    log_h = 1.8 - (STEPS - STEPS[0])
    densities = densities_at(log_h, 0.6)
    curve = fit_film_curve(log_h.tolist(), densities.tolist(), [0.01] * 21, absolute=True)
    figures = film_figures(curve)
    assert curve.base_fog.value is None
    assert "no base+fog is on record" in curve.base_fog.note
    assert figures.speed.value is None
    assert figures.densest.value is None
    assert contrast_of(curve, built_in_target()).value is None


def test_a_recorded_base_fog_serves_where_no_step_is_clear():
    log_h = 1.1 - (STEPS - STEPS[0])
    keep = log_h > -1.55
    densities = densities_at(log_h, 0.6)
    curve = fit_film_curve(
        log_h[keep].tolist(),
        densities[keep].tolist(),
        [0.02] * int(keep.sum()),
        absolute=True,
        recorded_base_fog=0.12,
    )
    assert curve.base_fog.value == 0.12
    assert "record" in curve.base_fog.note


def test_a_recorded_base_fog_denser_than_the_film_is_not_believed():
    log_h = 1.8 - (STEPS - STEPS[0])
    curve = fit_film_curve(
        log_h.tolist(), densities_at(log_h).tolist(), [0.01] * 21, absolute=True, recorded_base_fog=1.9
    )
    assert curve.base_fog.value is None
    assert "1.90" in curve.base_fog.note


def test_what_the_tablet_did_not_reach_has_no_figure_and_says_so():
    figures = film_figures(curve_of(top=-0.7))
    assert figures.average_gradient.value is None
    assert "1.50" in figures.average_gradient.note
    assert figures.rise.value is None
    assert figures.contrast_condition is None
    assert figures.contrast_index.value is None


def test_without_a_shoulder_the_useful_range_is_a_lower_bound():
    figures = film_figures(curve_of())
    assert figures.useful_range.at_least
    assert figures.useful_range.value == pytest.approx(0.6 - figures.log_h_m.value)


def test_a_shoulder_ends_the_useful_range():
    log_h = 0.6 - (STEPS - STEPS[0])
    straight = densities_at(log_h)
    bent = 1.1 - 0.1 * np.logaddexp(0.0, (1.1 - straight) / 0.1)
    figures = film_figures(fit_film_curve(log_h.tolist(), bent.tolist(), [0.005] * 21, absolute=True))
    assert not figures.useful_range.at_least
    # The straight line would pass 1.1 at log H −0.27; past it the gradient runs out within a stop.
    assert -0.3 < figures.log_h_m.value + figures.useful_range.value < 0.1


def test_steps_not_read_are_left_out():
    log_h = 0.6 - (STEPS - STEPS[0])
    densities = densities_at(log_h)
    densities[[0, 7]] = np.nan
    curve = fit_film_curve(log_h.tolist(), densities.tolist(), [0.01] * 21, absolute=True)
    assert np.isnan(curve.residuals[7])
    assert curve.log_h[-1] == pytest.approx(0.45)


@pytest.mark.parametrize(
    ("log_h", "densities", "says"),
    [
        ([0.0, 0.15, 0.3, 0.45], [0.1, 0.2, 0.3, 0.4], "at least 5"),
        ([0.0, 0.15, 0.3, 0.45, 0.6], [0.9, 0.7, 0.5, 0.3, 0.1], "clearest step first"),
        ([0.0, 0.05, 0.1, 0.15, 0.2], [0.1, 0.2, 0.3, 0.4, 0.5], "one stop"),
        ([0.0, 0.15], [0.1, 0.2, 0.3], "one for each step"),
    ],
)
def test_what_makes_no_curve_is_refused(log_h: list[float], densities: list[float], says: str):
    with pytest.raises(QuantityError, match=says):
        fit_film_curve(log_h, densities, [0.01] * len(densities), absolute=False)


def test_contrast_from_a_film_that_ends_before_zone_viii_says_so():
    whole = contrast_of(curve_of(top=0.6), built_in_target())
    short = contrast_of(curve_of(top=-0.1), built_in_target())
    assert whole.note == ""
    assert "zone VIII" in short.note
    assert short.value == pytest.approx(whole.value, rel=0.06)
    assert short.sd > whole.sd


def test_contrast_of_a_film_that_ends_before_zone_v_is_not_told():
    assert contrast_of(curve_of(top=-1.0), built_in_target()).value is None


# Times ------------------------------------------------------------------------------------------------------


def developed(*minutes: float, temperature: float | None = 20.0) -> list[ContrastTest]:
    return [ContrastTest(60.0 * t, temperature, 1.8 * (1.0 - np.exp(-0.1 * t)), 0.01) for t in minutes]


def test_one_time_gives_no_law():
    assert fit_contrast(developed(8.0)) is None
    assert fit_contrast(developed(8.0, 8.0, 8.1)) is None
    assert fit_contrast([]) is None


def test_two_times_give_a_line_three_the_limit():
    two, three = fit_contrast(developed(6.0, 12.0)), fit_contrast(developed(6.0, 8.0, 12.0))
    assert two is not None
    assert two.form == "logarithm"
    assert two.limit.value is None
    assert three is not None
    assert three.form == "limit"
    assert three.limit.value == pytest.approx(1.8, rel=0.15)


def test_a_time_is_longer_for_more_contrast_and_shorter_when_warmer():
    law = fit_contrast(developed(5.0, 7.0, 10.0, 14.0))
    assert law is not None
    times = [law.time_for(n).time_s for n in (-2.0, -1.0, 0.0, 1.0)]
    assert times == sorted(times)
    cool, warm = law.time_for(0.0, 20.0), law.time_for(0.0, 24.0)
    assert warm.time_s == pytest.approx(cool.time_s / 2.0**0.4, rel=0.01)
    # How much quicker isn't tested, and the interval says so.
    assert np.log(warm.high_s / warm.low_s) > np.log(cool.high_s / cool.low_s)
    assert not law.q10_fitted


def test_tests_at_two_temperatures_fit_q10():
    quick = [
        ContrastTest(one.time_s / 3.0**0.4, 24.0, one.contrast, one.sd) for one in developed(6.0, 8.0, 12.0)
    ]
    law = fit_contrast([*developed(6.0, 8.0, 12.0), *quick])
    assert law is not None
    assert law.q10_fitted
    assert law.q10.value == pytest.approx(3.0, abs=0.4)


def test_contrast_beyond_the_limit_has_no_time_and_says_why():
    tests = [
        ContrastTest(60.0 * t, 20.0, 1.1 * (1.0 - np.exp(-0.25 * t)), 0.005)
        for t in (4.0, 6.0, 9.0, 14.0, 20.0)
    ]
    law = fit_contrast(tests)
    assert law is not None
    never = law.time_for(2.0)
    assert never.time_s is None
    assert "levels off" in never.note


def test_without_a_temperature_on_record_there_is_no_time_for_another():
    law = fit_contrast(developed(6.0, 8.0, 12.0, temperature=None))
    assert law is not None
    assert law.time_for(0.0).time_s is not None
    other = law.time_for(0.0, 24.0)
    assert other.time_s is None
    assert "temperature" in other.note


def test_a_time_outside_those_tried_is_marked():
    law = fit_contrast(developed(6.0, 8.0, 10.0))
    assert law is not None
    assert not law.time_for(0.0).outside_tried
    assert law.time_for(2.0).outside_tried


def test_scatter_beyond_the_tests_own_widens_the_interval():
    quiet = developed(5.0, 7.0, 9.0, 11.0, 14.0)
    loud = [
        ContrastTest(one.time_s, 20.0, one.contrast * (1.1 if k % 2 else 0.9), one.sd)
        for k, one in enumerate(quiet)
    ]
    calm, rough = fit_contrast(quiet), fit_contrast(loud)
    assert calm is not None
    assert rough is not None
    assert rough.batch_sd > 2.0 * calm.batch_sd
    width = [np.log(law.time_for(0.0).high_s / law.time_for(0.0).low_s) for law in (calm, rough)]
    assert width[1] > 1.5 * width[0]
