"""Finding the steps of a tablet, whichever way it lies."""

import numpy as np
import pytest

from negcat.densitometry import find_steps, fit_profile, step_codes
from negcat.errors import CalibrationError
from tests.simulation import scanbench as bench

PX_PER_MM = 5.0
TWENTY_ONE = bench.tablet(21)
THIRTY_ONE = bench.tablet(31, 0.05, 0.1)
UNEVEN = bench.tablet(21, error=0.012, seed=3)


DRAWN = {}


def scan(tablet, bed=None, seed=7, px_per_mm=PX_PER_MM):
    # A tablet is drawn once and scanned by as many scanners as want it.
    key = (repr(tablet), seed, px_per_mm)
    if key not in DRAWN:
        rng = np.random.default_rng(seed)
        DRAWN[key] = 10.0 ** -bench.grain(tablet.draw(px_per_mm, rng), px_per_mm, rng, 0.004)
    return (bed or bench.Bed()).codes(DRAWN[key], np.random.default_rng(seed + 1))


def ideal(densities, bed=None):
    bed = bed or bench.Bed()
    return bed.toned((10.0 ** -np.asarray(densities) + bed.flare) * bed.exposure).astype(float)


def miss(found, densities, bed=None):
    """Greatest miss of the seen steps up to density 2.4, in log10 code."""
    codes, right = np.array(found.codes), ideal(densities, bed)
    return float(np.nanmax(np.abs(np.log10(codes / right))[np.asarray(densities) < 2.4]))


@pytest.mark.parametrize("surround", ["mask", "glass"])
@pytest.mark.parametrize("along", ["x", "y"])
@pytest.mark.parametrize("turned", [False, True])
@pytest.mark.parametrize("tilt", [0.0, 3.0, -2.0])
def test_it_lies_any_way(surround, along, turned, tilt):
    tablet = bench.Tablet(TWENTY_ONE, surround=surround, along=along, reversed=turned, tilt_deg=tilt)
    found = find_steps(scan(tablet), TWENTY_ONE)
    assert found.missing == ()
    assert found.axis == along
    assert found.reversed is turned
    assert found.tilt_deg == pytest.approx(tilt if along == "x" else -tilt, abs=0.3)
    assert miss(found, TWENTY_ONE) < 0.004


@pytest.mark.parametrize(
    "bed",
    [
        bench.Bed(gamma=2.2),
        bench.Bed(srgb=True, flare=1e-3),
        bench.Bed(exposure=0.5),
        bench.Bed(noise=2e-4, shot=4e-3),
    ],
    ids=["gamma", "srgb", "dark", "noisy"],
)
def test_any_scanner(bed):
    tablet = bench.Tablet(TWENTY_ONE, surround="glass", tilt_deg=1.0)
    found = find_steps(scan(tablet, bed), TWENTY_ONE)
    assert found.missing == ()
    assert miss(found, TWENTY_ONE, bed) < 0.006


@pytest.mark.parametrize(
    "tablet",
    [
        bench.Tablet(THIRTY_ONE, pitch_mm=4.0, surround="glass", tilt_deg=1.5),
        bench.Tablet(THIRTY_ONE, pitch_mm=4.0, along="y"),
        bench.Tablet(bench.tablet(11, 0.05, 0.3), pitch_mm=10.0),
        bench.Tablet(bench.tablet(5, 0.1, 0.4), pitch_mm=12.0),
        bench.Tablet(TWENTY_ONE, neighbour=True),
        bench.Tablet(TWENTY_ONE, neighbour=True, surround="glass", tilt_deg=-1.0),
        bench.Tablet(TWENTY_ONE, dust=300, surround="glass"),
        bench.Tablet(TWENTY_ONE, border_mm=2.0),
        bench.Tablet(TWENTY_ONE, gap_mm=0.5),
        bench.Tablet(TWENTY_ONE, width_mm=6.0, tilt_deg=2.0),
    ],
    ids=["31", "31 upright", "11", "5", "beside", "beside on glass", "dust", "border", "ruled", "narrow"],
)
def test_any_tablet(tablet):
    found = find_steps(scan(tablet, px_per_mm=6.0), tablet.densities)
    assert found.missing == ()
    assert miss(found, tablet.densities) < 0.006


def test_boxes_lie_inside_their_steps():
    tablet = bench.Tablet(TWENTY_ONE, tilt_deg=3.0)
    image = scan(tablet)
    found = find_steps(image, TWENTY_ONE)
    for box, code in zip(found.boxes[:15], ideal(TWENTY_ONE)[:15], strict=True):
        rows, columns = box.pixels(*image.shape)
        assert np.abs(image[rows, columns] / code - 1).max() < 0.12


def test_other_channels_are_read_from_the_same_boxes():
    image = scan(bench.Tablet(TWENTY_ONE))
    found = find_steps(image, TWENTY_ONE)
    codes, clipped = step_codes(image // 2, found.boxes)
    assert np.array(codes) == pytest.approx(np.array(found.codes) / 2, abs=1.0)
    assert clipped == (0.0,) * 21


def test_a_region_is_enough_and_places_stay_those_of_the_scan():
    tablet = bench.Tablet(TWENTY_ONE, neighbour=True)
    image = scan(tablet)
    whole = find_steps(image, TWENTY_ONE)
    part = find_steps(image, TWENTY_ONE, region=(0.0, 0.0, 1.0, 0.3))
    assert np.array(part.boxes) == pytest.approx(np.array(whole.boxes), abs=0.005)


@pytest.mark.parametrize("region", [(0.5, 0, 0.2, 1), (0, 0, 1, 1.5), (0, 0, 0.005, 1)])
def test_a_region_that_is_none_is_refused(region):
    with pytest.raises(CalibrationError, match="region"):
        find_steps(scan(bench.Tablet(TWENTY_ONE)), TWENTY_ONE, region=region)


@pytest.mark.parametrize(
    ("tablet", "missing"),
    [
        (bench.Tablet(TWENTY_ONE, hidden=(18, 19, 20)), (18, 19, 20)),
        (bench.Tablet(TWENTY_ONE, hidden=(18, 19, 20), surround="glass"), (18, 19, 20)),
        (bench.Tablet(TWENTY_ONE, hidden=(0, 1), surround="glass"), (0, 1)),
        (bench.Tablet(UNEVEN, hidden=(0, 1)), (0, 1)),
        (bench.Tablet(TWENTY_ONE, hidden=(9,)), (9,)),
        (bench.Tablet(TWENTY_ONE, hidden=(9, 10), surround="glass", tilt_deg=1.0), (9, 10)),
        (bench.Tablet(TWENTY_ONE, hidden=(4,), cover=0.1), (4,)),
        (bench.Tablet(TWENTY_ONE, crop_steps=(0, 3.6)), (17, 18, 19, 20)),
        (bench.Tablet(TWENTY_ONE, crop_steps=(2.5, 0)), (0, 1, 2)),
        (bench.Tablet(TWENTY_ONE, crop_steps=(2.5, 0), surround="glass"), (0, 1, 2)),
    ],
    ids=[
        "dark",
        "dark, glass",
        "light, glass",
        "uneven",
        "one",
        "two",
        "label",
        "cut dark",
        "cut light",
        "cut, glass",
    ],
)
def test_hidden_steps_are_named(tablet, missing):
    found = find_steps(scan(tablet), tablet.densities)
    assert found.missing == missing
    assert np.isnan(np.array(found.codes)[list(missing)]).all()
    assert f"{len(missing)} of 21 steps are not seen" in found.note
    assert miss(found, tablet.densities) < 0.005


@pytest.mark.parametrize("bed", [bench.Bed(), bench.Bed(bits=8), bench.Bed(exposure=1.3)])
def test_nothing_is_guessed_where_it_cant_be_told_which_steps_are_hidden(bed):
    with pytest.raises(CalibrationError, match="can't be told which ones"):
        find_steps(scan(bench.Tablet(TWENTY_ONE, hidden=(0, 1)), bed), TWENTY_ONE)


def test_steps_lost_in_clipped_glass_are_missing_and_the_others_right():
    bed = bench.Bed(exposure=1.3)
    found = find_steps(scan(bench.Tablet(TWENTY_ONE, surround="glass"), bed), TWENTY_ONE)
    assert found.missing == (0,)
    assert miss(found, TWENTY_ONE, bed) < 0.005


def test_a_tablet_of_more_steps_than_its_record_is_refused():
    with pytest.raises(CalibrationError, match="31 steps, its record has 21"):
        find_steps(scan(bench.Tablet(THIRTY_ONE, pitch_mm=4.0)), TWENTY_ONE)


def test_a_tablet_of_fewer_steps_than_its_record_is_refused_on_glass():
    with pytest.raises(CalibrationError, match="21 steps, its record has 31"):
        find_steps(scan(bench.Tablet(TWENTY_ONE, surround="glass")), THIRTY_ONE)


def test_a_positive_of_a_tablet_is_refused():
    image = 65535 - scan(bench.Tablet(TWENTY_ONE))
    with pytest.raises(CalibrationError):
        find_steps(image, TWENTY_ONE)


def no_tablets():
    rng = np.random.default_rng(2)
    sheet, _ = bench.Sheet(sky=0.05, tilt_deg=1.0).draw(5.0, rng)
    slope = np.linspace(0.1, 2.5, 700)[None, :] + np.zeros((300, 1))
    fence = np.where(np.arange(700) // 20 % 2, 0.3, 1.2)[None, :] + np.zeros((300, 1))
    return {
        "sheet": sheet,
        "slope": slope,
        "fence": fence,
        "noise": 1 + 0.2 * rng.normal(size=(300, 500)),
        "nothing": np.full((300, 400), 0.4),
        "hills": bench.landscape((400, 500), rng, 0.2, 1.8),
    }


@pytest.mark.parametrize("kind", ["sheet", "slope", "fence", "noise", "nothing", "hills"])
@pytest.mark.parametrize("steps", [21, 5])
def test_what_is_no_tablet_is_refused_helpfully(kind, steps):
    image = bench.Bed().codes(10.0 ** -no_tablets()[kind], np.random.default_rng(1))
    with pytest.raises(CalibrationError, match=r"--region|whole tablet"):
        find_steps(image, bench.tablet(steps, 0.05, 3.0 / (steps - 1)))


@pytest.mark.parametrize("densities", [[0.1, 0.2, 0.3], [0.1, 0.5, 0.4, 0.8, 1.0]])
def test_a_record_that_is_no_tablets_is_refused(densities):
    with pytest.raises(CalibrationError, match="lightest step first"):
        find_steps(scan(bench.Tablet(TWENTY_ONE)), densities)


def test_a_tiny_image_is_refused():
    with pytest.raises(CalibrationError, match="16 pixels"):
        find_steps(np.zeros((8, 8), np.uint16), TWENTY_ONE)


def test_found_steps_make_a_profile():
    found = find_steps(scan(bench.Tablet(TWENTY_ONE, surround="glass", tilt_deg=2.0)), TWENTY_ONE)
    profile = fit_profile(
        found.codes, TWENTY_ONE, channel="grey", bits=16, mode="grey", clipped=found.clipped
    )
    assert profile.residual_sd < 0.01
    assert profile.density_range[1] > 2.9


@pytest.mark.parametrize("surround", ["mask", "glass"])
@pytest.mark.parametrize("gamma", [1.0, 2.2])
@pytest.mark.parametrize("noise", [6e-4, 2e-3])
def test_steps_drowned_in_noise_are_lost_not_unseen(surround, gamma, noise):
    bed = bench.Bed(noise=noise, gamma=gamma)
    found = find_steps(scan(bench.Tablet(TWENTY_ONE, surround=surround, tilt_deg=1.0), bed), TWENTY_ONE)
    assert found.missing == ()
    assert found.lost == tuple(range(found.lost[0], 21))
    assert "lost in the scanner's noise at the dark end" in found.note
    profile = fit_profile(
        found.codes, TWENTY_ONE, channel="grey", bits=16, mode="grey", clipped=found.clipped
    )
    assert any("are lost at the dark end" in note for note in profile.notes)
    assert profile.density_range[1] > 1.9
    codes, right = np.array(found.codes), ideal(TWENTY_ONE, bed)
    assert np.abs(np.log10(codes / right))[:12].max() < 0.01


def broken(seed):
    """A tablet with steps covered or broken off somewhere, and the scanner that sees it."""
    rng = np.random.default_rng([seed, 21])
    count = int(rng.integers(1, 5))
    hidden = {
        "light": tuple(range(count)),
        "dark": tuple(range(21 - count, 21)),
        "both": (*range(count), 19, 20),
        "middle": tuple(range(8, 8 + count)),
    }[str(rng.choice(["light", "dark", "both", "middle"]))]
    tablet = bench.Tablet(
        bench.tablet(21, error=0.008, seed=seed),
        pitch_mm=5.0,
        width_mm=9.0,
        tilt_deg=float(rng.uniform(-3, 3)),
        along=str(rng.choice(["x", "y"])),
        reversed=bool(rng.random() < 0.5),
        surround="glass",
        hidden=hidden,
        cover=float(rng.choice([0.0, 5.0])),
    )
    bed = bench.Bed(gamma=float(rng.choice([1.0, 2.2])), exposure=float(rng.choice([0.6, 0.85, 0.93])))
    return tablet, bed


@pytest.mark.parametrize("seed", range(12))
def test_on_open_glass_hidden_steps_never_shift_the_others(seed):
    tablet, bed = broken(seed)
    try:
        found = find_steps(scan(tablet, bed, px_per_mm=4.0), tablet.densities)
    except CalibrationError as refused:
        assert "can't be told" in str(refused) or "--region" in str(refused)  # noqa: PT017
        return
    assert miss(found, tablet.densities, bed) < 0.02
