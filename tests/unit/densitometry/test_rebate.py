"""Base+fog from the film's margin, and from nothing else."""

import numpy as np
import pytest

from negcat.densitometry import NoRebate, Rebate, find_rebate, fit_profile
from negcat.errors import QuantityError
from tests.simulation import scanbench as bench

PX_PER_MM = 4.0
STEPS = np.concatenate([[0.02], bench.tablet(21)])


def profile_of(bed):
    codes = bed.toned((10.0**-STEPS + bed.flare) * bed.exposure).astype(float)
    return fit_profile(codes, STEPS, channel="grey", bits=bed.bits, mode="grey")


DRAWN = {}


def scan(sheet, bed=None, seed=5, px_per_mm=PX_PER_MM):
    # A sheet is drawn once and scanned by as many scanners as want it.
    key = (repr(sheet), seed, px_per_mm)
    if key not in DRAWN:
        density, truth = sheet.draw(px_per_mm, np.random.default_rng(seed))
        DRAWN[key] = (10.0**-density).astype(np.float32), truth
    light, truth = DRAWN[key]
    return (bed or bench.Bed()).codes(light.astype(float), np.random.default_rng(seed + 1), px_per_mm), truth


def look(sheet, bed=None, seed=5, calibrated=True):
    bed = bed or bench.Bed()
    codes, truth = scan(sheet, bed, seed)
    return find_rebate(codes, PX_PER_MM, profile_of(bed) if calibrated else None), truth, codes.shape


BEDS = [bench.Bed(), bench.Bed(gamma=2.2), bench.Bed(srgb=True, exposure=0.7)]
SHEETS = {
    "glass": bench.Sheet(),
    "glass askew": bench.Sheet(tilt_deg=2.0),
    "mask": bench.Sheet(surround="mask"),
    "mask askew": bench.Sheet(surround="mask", tilt_deg=-2.0),
    "thin sky": bench.Sheet(sky=0.03),
    "thin sky askew": bench.Sheet(sky=0.05, tilt_deg=-1.0),
    "two millimetres": bench.Sheet(rebate_mm=(2, 2, 2, 2)),
    "seven millimetres below": bench.Sheet(rebate_mm=(3, 3, 3, 7)),
    "notches, clips, dust": bench.Sheet(notch=True, clips=2, dust=200),
    "dense base": bench.Sheet(base=0.4),
    "clear base": bench.Sheet(base=0.07),
    "mask over the film": bench.Sheet(mask_overlap_mm=1.0),
    "mask askew to the film": bench.Sheet(mask_overlap_mm=1.0, rebate_mm=(5, 5, 5, 5), tilt_deg=1.2),
    "mask with a gap": bench.Sheet(mask_overlap_mm=-3.0),
    "wide bed": bench.Sheet(size_mm=(100, 80), margin_mm=(30, 40, 50, 20)),
    "cropped in the margin": bench.Sheet(margin_mm=(-1, -1, -1, -1)),
    "dark subject": bench.Sheet(low=0.0, high=0.5, sky=0.02, sky_share=0.6),
}


@pytest.mark.parametrize(("place", "name"), list(enumerate(SHEETS)), ids=SHEETS)
def test_base_fog_is_found(place, name):
    sheet, bed = SHEETS[name], BEDS[place % len(BEDS)]
    found, truth, shape = look(sheet, bed)
    assert isinstance(found, Rebate), found
    assert found.density == pytest.approx(sheet.base, abs=0.005)
    assert found.tilt_deg == pytest.approx(sheet.tilt_deg, abs=0.3)
    assert len(found.edges) == 4
    millimetres = (
        np.subtract(found.picture_frame, truth["frame"]) * np.array([shape[1], shape[0]] * 2) / PX_PER_MM
    )
    assert np.abs(millimetres).max() < 0.4


@pytest.mark.parametrize(
    ("rebate", "edges"),
    [
        ((4, 0, 0, 0), ("left",)),
        ((0, 0, 0, 3), ("bottom",)),
        ((0, 0, 3, 3), ("top", "bottom")),
        ((3, 3, 0, 3), ("left", "right", "bottom")),
    ],
)
@pytest.mark.parametrize("surround", ["glass", "mask"])
def test_on_one_to_four_edges(rebate, edges, surround):
    found, _, _ = look(bench.Sheet(rebate_mm=rebate, surround=surround, tilt_deg=0.6))
    assert isinstance(found, Rebate), found
    assert found.edges == edges
    assert found.density == pytest.approx(0.2, abs=0.005)
    assert found.surround == surround


@pytest.mark.parametrize(("sky", "seed"), [(None, 0), (0.02, 1), (0.04, 0), (0.08, 1)])
@pytest.mark.parametrize("share", [0.05, 0.4, 0.95])
def test_never_from_a_sky_where_the_margin_is_cropped_away(sky, seed, share):
    sheet = bench.Sheet(margin_mm=(-5, -5, -5, -5), sky=sky, sky_share=share, sky_slope=0.01, tilt_deg=0.5)
    found, _, _ = look(sheet, seed=seed)
    assert isinstance(found, NoRebate), found
    assert found.reason


@pytest.mark.parametrize("sky", [None, 0.02, 0.05])
@pytest.mark.parametrize("seed", range(2))
@pytest.mark.parametrize("bed", BEDS, ids=["linear", "gamma", "srgb"])
def test_never_from_open_glass(sky, seed, bed):
    found, _, _ = look(bench.Sheet(rebate_mm=(0, 0, 0, 0), sky=sky), bed, seed)
    assert isinstance(found, NoRebate), found


@pytest.mark.parametrize("seed", range(4))
def test_a_thin_sky_beside_a_cropped_margin_is_not_mixed_in(seed):
    sheet = bench.Sheet(margin_mm=(-1, -1, -5, -1), sky=0.03, sky_slope=0.0)
    found, _, _ = look(sheet, seed=seed)
    assert isinstance(found, Rebate), found
    assert "top" not in found.edges
    assert found.density == pytest.approx(0.2, abs=0.005)


def test_under_the_mask_there_is_none():
    found, _, _ = look(bench.Sheet(mask_overlap_mm=3.6))
    assert isinstance(found, NoRebate)


def test_without_a_profile_there_is_a_code_and_a_frame():
    bed = bench.Bed()
    found, _, _ = look(bench.Sheet(), bed, calibrated=False)
    assert isinstance(found, Rebate)
    assert found.density is None
    assert found.sd is None
    assert float(profile_of(bed).density(found.code)) == pytest.approx(0.2, abs=0.005)


def test_a_base_clearer_than_the_profile_has_a_reason_and_no_density():
    bed = bench.Bed()
    steps = bench.tablet(21, 0.3)
    codes = bed.toned((10.0**-steps + bed.flare) * bed.exposure).astype(float)
    image, _ = scan(bench.Sheet(base=0.2), bed)
    found = find_rebate(image, PX_PER_MM, fit_profile(codes, steps, channel="grey", bits=16, mode="grey"))
    assert isinstance(found, Rebate)
    assert found.density is None
    assert "clearer than 0.30" in found.reason


def test_boxes_lie_in_the_margin():
    sheet = bench.Sheet(tilt_deg=2.0, sky=0.04)
    image, _ = scan(sheet)
    found = find_rebate(image, PX_PER_MM, profile_of(bench.Bed()))
    assert len(found.boxes) > 20
    for box in found.boxes:
        rows, columns = box.pixels(*image.shape)
        assert image[rows, columns].mean() == pytest.approx(found.code, rel=0.01)


def test_film_edge_is_told_where_it_is_in_the_scan():
    found, _, shape = look(bench.Sheet())
    edge = np.array(found.film_edge) * np.array([shape[1], shape[0]] * 2) / PX_PER_MM
    assert edge == pytest.approx([6, 6, 131, 106], abs=0.3)
    cropped, _, _ = look(bench.Sheet(margin_mm=(-1, -1, -1, -1)))
    assert cropped.film_edge is None


@pytest.mark.parametrize("surround", ["glass", "mask"])
def test_a_positive_is_recognised_and_not_measured(surround):
    image, _ = scan(bench.Sheet(surround=surround))
    found = find_rebate(65535 - image, PX_PER_MM, profile_of(bench.Bed()))
    assert isinstance(found, NoRebate)


@pytest.mark.parametrize(
    "image", [np.zeros((400, 500)), np.full((400, 500), 65535.0), np.full((30, 30), 9.0)]
)
def test_an_empty_scan_has_none(image):
    assert isinstance(find_rebate(image, PX_PER_MM), NoRebate)


def test_a_finer_scan_gives_the_same():
    sheet = bench.Sheet()
    bed = bench.Bed()
    image, _ = scan(sheet, bed, px_per_mm=9.0)
    found = find_rebate(image, 9.0, profile_of(bed))
    assert found.density == pytest.approx(0.2, abs=0.005)


def test_wrong_use_is_refused():
    with pytest.raises(QuantityError, match="one channel"):
        find_rebate(np.zeros((90, 90, 3)), 5.0)
    with pytest.raises(QuantityError, match="scale"):
        find_rebate(np.zeros((90, 90)), 0.0)


def framed(border, depth_mm, inner):
    """A cropped scan: an even border along the top only, a straight inner edge, a picture below."""
    rng = np.random.default_rng(8)
    density = bench.landscape((450, 550), rng, *inner)
    density[: round(depth_mm * PX_PER_MM)] = border
    density = bench.grain(density, PX_PER_MM, rng)
    return bench.Bed().codes(10.0**-density, rng)


def test_an_even_strip_denser_than_much_of_the_picture_is_no_margin():
    assert isinstance(
        find_rebate(framed(0.45, 5.0, (0.25, 1.6)), PX_PER_MM, profile_of(bench.Bed())), NoRebate
    )


def test_a_strip_deeper_than_any_margin_is_a_sky():
    assert isinstance(
        find_rebate(framed(0.22, 15.0, (0.4, 1.6)), PX_PER_MM, profile_of(bench.Bed())), NoRebate
    )


def test_a_clear_strip_along_one_edge_of_a_cropped_scan_may_as_well_be_a_sky():
    found = find_rebate(framed(0.2, 5.0, (0.25, 1.6)), PX_PER_MM, profile_of(bench.Bed()))
    assert isinstance(found, NoRebate)
    assert "thin sky" in found.reason


def test_round_a_corner_the_same_strip_is_a_margin():
    found, _, _ = look(bench.Sheet(margin_mm=(-1, -5, -1, -5)))
    assert isinstance(found, Rebate)
    assert found.edges == ("left", "top")
    assert found.density == pytest.approx(0.2, abs=0.005)
