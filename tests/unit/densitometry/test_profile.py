"""Scanner profiles: what they fit, what they refuse, where they end."""

import json

import numpy as np
import pytest

from negcat.densitometry import ScannerProfile, fit_profile
from negcat.errors import CalibrationError

STEPS = 0.05 + 0.15 * np.arange(21)


def codes_of(density, gamma=1.0, flare=3e-4, full=58000.0):
    return full * (10.0 ** -np.asarray(density) + flare) ** (1 / gamma)


def profile_of(codes, densities=STEPS, **more):
    return fit_profile(codes, densities, **{"channel": "grey", "bits": 16, "mode": "grey", **more})


@pytest.mark.parametrize(
    ("gamma", "flare"), [(1.0, 0.0), (1.0, 2e-3), (1.8, 5e-4), (2.2, 1e-3), (2.2, -2e-4)]
)
def test_it_follows_a_scanner_of_any_tone_curve_and_flare(gamma, flare):
    profile = profile_of(codes_of(STEPS, gamma, flare))
    between = np.linspace(0.06, 3.0, 50)
    assert profile.density(codes_of(between, gamma, flare)) == pytest.approx(between, abs=0.006)


def test_it_follows_the_srgb_curve():
    def srgb(density):
        light = 0.9 * 10.0 ** -np.asarray(density)
        return 65535 * np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)

    between = np.linspace(0.06, 2.4, 50)
    assert profile_of(srgb(STEPS)).density(srgb(between)) == pytest.approx(between, abs=0.01)


def test_it_smooths_the_tablets_own_errors():
    errors = []
    for seed in range(20):
        known = STEPS + np.random.default_rng(seed).normal(0, 0.01, STEPS.size)
        between = np.linspace(0.2, 2.4, 30)
        errors.append(profile_of(codes_of(STEPS, 2.2), known).density(codes_of(between, 2.2)) - between)
    assert np.sqrt(np.mean(np.square(errors))) < 0.005


def test_its_deviation_is_that_of_the_line_not_of_a_step():
    known = STEPS + np.random.default_rng(3).normal(0, 0.01, STEPS.size)
    profile = profile_of(codes_of(STEPS), known)
    assert 0.005 < profile.residual_sd < 0.02
    assert float(profile.sd(1.5)) < 0.6 * profile.residual_sd
    assert float(profile.sd(0.05)) > float(profile.sd(1.5))


def test_there_is_no_density_outside_its_range():
    profile = profile_of(codes_of(STEPS))
    low, high = profile.density_range
    assert low == pytest.approx(0.05, abs=0.005)
    assert high == pytest.approx(3.05, abs=0.01)
    assert np.isnan(profile.density([0, codes_of(3.2), codes_of(0.0), 65535])).all()
    assert np.isfinite(profile.density(codes_of(STEPS))).all()
    assert np.isnan(profile.code([low - 0.01, high + 0.01])).all()


def test_the_table_agrees_with_the_map_and_goes_on_straight_outside():
    profile = profile_of(codes_of(STEPS, 2.2))
    table = profile.transmittance_table()
    assert table.shape == (65536,)
    assert table.dtype == np.float32
    codes = np.array([3500, 9000, 30000, 50000])
    assert -np.log10(table[codes]) == pytest.approx(profile.density(codes), abs=1e-5)
    assert np.all(np.diff(table) > 0)
    darkest = int(codes_of(3.05, 2.2))
    steps = np.diff(table[: darkest - 1].astype(float))
    assert steps == pytest.approx(steps[0], rel=0.02)


def test_fractional_codes_lie_between_whole_ones():
    profile = profile_of(codes_of(STEPS))
    low, middle, high = profile.transmittance(np.array([9000.0, 9000.5, 9001.0]))
    assert middle == pytest.approx((low + high) / 2, rel=1e-6)


def test_steps_at_full_scale_and_on_the_floor_are_left_out():
    codes = np.maximum(np.minimum(codes_of(STEPS, full=90000.0), 65535), 200)
    profile = profile_of(codes)
    assert not profile.steps[0].used
    assert not profile.steps[-1].used
    assert profile.steps[0].residual is None
    low, high = profile.density_range
    assert low > 0.19
    assert high < 2.65
    assert any("clipped at the bright end" in note for note in profile.notes)
    assert any("Both ends" in note for note in profile.notes)


def test_a_partly_clipped_step_is_left_out():
    shares = [0.02] + [0.0] * 20
    assert profile_of(codes_of(STEPS), clipped=shares).density_range[0] == pytest.approx(0.2, abs=0.01)


def test_a_flare_floor_ends_the_range():
    profile = profile_of(codes_of(STEPS, flare=0.02))
    assert 1.9 < profile.density_range[1] < 2.6


def test_a_step_not_seen_is_named_and_bridged():
    codes = codes_of(STEPS)
    codes[9] = np.nan
    profile = profile_of(codes)
    assert profile.steps[9].note == "not seen in the scan"
    assert float(profile.density(codes_of(STEPS[9]))) == pytest.approx(STEPS[9], abs=0.003)


def test_a_step_under_dust_is_left_out_and_named():
    codes = codes_of(STEPS)
    codes[8] *= 0.75
    profile = profile_of(codes)
    assert not profile.steps[8].used
    assert float(profile.density(codes_of(1.3))) == pytest.approx(1.3, abs=0.01)
    assert any("1.25" in note for note in profile.notes)


def test_eight_bits_cost_the_dense_end():
    codes = np.round(codes_of(STEPS) / 257) * 257
    assert profile_of(codes, bits=8).density_range[1] < 2.0
    finer = np.round(codes_of(STEPS, 2.2) / 257) * 257
    assert profile_of(finer, bits=8).density_range[1] > 2.4


def test_residuals_are_fitted_minus_known():
    known = STEPS.copy()
    known[10] -= 0.02
    step = profile_of(codes_of(STEPS), known).steps[10]
    assert step.residual == pytest.approx(0.02, abs=0.006)
    assert step.left_out > step.residual


@pytest.mark.parametrize(
    ("codes", "densities", "words"),
    [
        (codes_of(STEPS)[::-1], STEPS, "positive"),
        (codes_of(STEPS)[:20], STEPS, "every step"),
        (codes_of(STEPS), STEPS[::-1], "rise from step to step"),
        (np.full(21, 40000.0), STEPS, "fall steadily"),
        (np.where(np.arange(21) > 3, np.nan, codes_of(STEPS)), STEPS, "only 4 of 21"),
        (codes_of(STEPS)[np.r_[0:8, 12, 9:12, 8, 13:21]], STEPS, "fall steadily"),
        (-codes_of(STEPS), STEPS, "below 0"),
        (codes_of(np.cumsum(np.tile([0.02, 0.35], 11))[:21]), STEPS, "do not follow"),
    ],
)
def test_nonsense_is_refused_in_a_sentence(codes, densities, words):
    with pytest.raises(CalibrationError, match=words):
        profile_of(codes, densities)


def test_it_comes_back_from_json_as_it_was():
    codes = codes_of(STEPS, 2.2)
    codes[3] = np.nan
    profile = profile_of(codes)
    again = ScannerProfile.from_json(json.loads(json.dumps(profile.to_json())))
    assert again.log_codes == profile.log_codes
    assert again.density_range == profile.density_range
    assert np.isnan(again.steps[3].code)
    assert again.steps[4] == profile.steps[4]
    assert float(again.sd(1.0)) == float(profile.sd(1.0))
    assert float(again.density(20000)) == float(profile.density(20000))


def test_a_broken_stored_profile_is_refused():
    with pytest.raises(CalibrationError, match="calibrate this scanner again"):
        ScannerProfile.from_json({"channel": "grey"})
