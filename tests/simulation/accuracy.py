"""How near the truth measuring comes, by kind of scan: a seeded run over many simulated scans.

``python -m tests.simulation.accuracy`` writes ACCURACY.md beside this file.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from negcat.densitometry import (
    NoRebate,
    ScannerProfile,
    find_rebate,
    find_steps,
    fit_profile,
    measure_spot,
    net_density,
    step_codes,
)
from tests.simulation import scanbench as bench

PAGE = Path(__file__).with_name("ACCURACY.md")
PATCHES = (0.05, 0.3, 0.6, 0.9, 1.2, 1.6, 2.0, 2.35, 2.7)
BANDS = ((0.0, 0.4), (0.4, 0.8), (0.8, 1.2), (1.2, 1.6), (1.6, 2.0), (2.0, 2.4), (2.4, 3.2))
PX_PER_MM = 4.0
SCANS = 60
SEED = 2026
TOGETHER = "All scans of 16 bits"
PART = 2  # scans of each kind that the test makes again
FIRST_STEPS = (0.05, 0.08, 0.11)


@dataclass(frozen=True)
class Kind:
    """One kind of scan: its name, and what is the same in all of them; the rest is thrown anew each time."""

    name: str
    gamma: float = 1.0
    bits: int = 16
    surrounds: tuple[str, ...] = ("glass", "mask")
    tilt_deg: float = 1.0
    channels: tuple[str, ...] = ("grey",)
    measured: str = "grey"
    askew_mask: bool = False


KINDS = (
    Kind("16 bit, linear", surrounds=("glass", "mask")),
    Kind("16 bit, gamma 2.2", gamma=2.2),
    Kind("8 bit, gamma 2.2", gamma=2.2, bits=8),
    Kind("8 bit, linear", bits=8),
    Kind("open glass, askew", surrounds=("glass",), tilt_deg=2.0),
    Kind("black mask, askew", surrounds=("mask",), tilt_deg=1.2, askew_mask=True),
    Kind("RGB, stained film, blue", channels=("red", "green", "blue"), measured="blue"),
)


@dataclass(frozen=True)
class Found:
    """One net density, or one base+fog, beside its truth."""

    truth: float
    found: float
    sd: float

    @property
    def error(self) -> float:
        return self.found - self.truth


@dataclass(frozen=True)
class Result:
    """What one kind of scan gave."""

    kind: Kind
    spots: tuple[Found, ...]
    bases: tuple[Found, ...]
    ranges: tuple[tuple[float, float], ...]
    without_base: int
    beyond: int


def _bed(kind: Kind, rng: np.random.Generator) -> bench.Bed:
    return bench.Bed(
        exposure=float(rng.uniform(0.75, 0.93)),
        gamma=kind.gamma,
        flare=float(10 ** rng.uniform(-4.3, -3.5)),
        veil=float(10 ** rng.uniform(-4.3, -3.3)),
        blur_px=float(rng.uniform(0.4, 1.0)),
        noise=float(rng.uniform(3e-5, 8e-5)),
        bits=kind.bits,
    )


def _drift(bed: bench.Bed, rng: np.random.Generator) -> bench.Bed:
    """The same scanner another day: its lamp a little brighter or darker."""
    return replace(bed, exposure=bed.exposure * float(10 ** rng.normal(0, 0.001)))


def _profile(kind: Kind, bed: bench.Bed, rng: np.random.Generator) -> ScannerProfile:
    """A profile from the scan of a tablet whose record is off by a few thousandths at every step."""
    first = float(rng.choice(FIRST_STEPS))
    record = np.round(first + 0.15 * np.arange(21) + rng.normal(0, 0.012, 21), 2)
    true = record + rng.normal(0, 0.007, record.size)
    tablet = bench.Tablet(
        true,
        pitch_mm=5.0,
        width_mm=10.0,
        tilt_deg=float(rng.uniform(-2, 2)),
        along=str(rng.choice(["x", "y"])),
        reversed=bool(rng.random() < 0.5),
        surround=str(rng.choice(kind.surrounds)),
    )
    drawn = bench.grain(tablet.draw(PX_PER_MM, rng), PX_PER_MM, rng, 0.004)
    codes = bed.codes(10.0**-drawn, rng, PX_PER_MM)
    steps = find_steps(codes, record)
    means, clipped = step_codes(codes, steps.boxes)
    mode = "grey" if kind.channels == ("grey",) else "rgb"
    return fit_profile(means, record, channel=kind.measured, bits=kind.bits, mode=mode, clipped=clipped)


def measure(kind: Kind, scans: int, seed: int) -> Result:
    """Calibrate, scan and measure so many times, each with another scanner, tablet and sheet."""
    spots: list[Found] = []
    bases: list[Found] = []
    ranges: list[tuple[float, float]] = []
    without = beyond = 0
    for number in range(scans):
        rng = np.random.default_rng([seed, number, len(kind.name), ord(kind.name[0])])
        bed = _bed(kind, rng)
        profile = _profile(kind, bed, rng)
        ranges.append(profile.density_range)
        stain = 1.0 if kind.measured == "grey" else float(rng.uniform(1.1, 1.35))  # blue over visual density
        surround = str(rng.choice(kind.surrounds))
        sheet = bench.Sheet(
            size_mm=(100.0, 80.0),
            base=float(rng.uniform(0.14, 0.35)),
            rebate_mm=tuple(float(x) for x in rng.uniform(2.5, 5.5, 4)),
            high=2.2,
            tilt_deg=float(rng.uniform(-kind.tilt_deg, kind.tilt_deg)),
            surround=surround,
            sky=float(rng.uniform(0.03, 0.1)) if rng.random() < 0.4 else None,
            patches=tuple(patch * stain if patch * stain < 2.75 else patch for patch in PATCHES),
            granularity=float(rng.uniform(0.008, 0.02)),
            mask_overlap_mm=0.8 if kind.askew_mask else None,
            mask_tilt_deg=float(rng.uniform(-0.8, 0.8)) if kind.askew_mask else 0.0,
        )
        density, truth = sheet.draw(PX_PER_MM, rng)
        codes = _drift(bed, rng).codes(10.0**-density, rng, PX_PER_MM)
        margin = find_rebate(codes, PX_PER_MM, profile)
        if isinstance(margin, NoRebate) or margin.density is None or margin.sd is None:
            without += 1
            continue
        bases.append(Found(sheet.base, margin.density, margin.sd))
        for centre, net in zip(truth["centres"], sheet.patches, strict=True):
            spot = measure_spot(codes, centre, 1.0 * PX_PER_MM, profile)
            if spot.density is None or spot.sd is None:
                beyond += 1
                continue
            found = net_density(spot.density, spot.sd, margin.density, margin.sd, profile)
            spots.append(Found(net, found.density, found.sd))
    return Result(kind, tuple(spots), tuple(bases), tuple(ranges), without, beyond)


def rms(values: NDArray[np.float64]) -> float:
    """Root mean square."""
    return float(np.sqrt(np.mean(np.square(values)))) if values.size else float("nan")


def _row(name: str, found: tuple[Found, ...]) -> str:
    errors = np.array([one.error for one in found])
    scaled = np.array([one.error / one.sd for one in found])
    if not errors.size:
        return f"| {name} | 0 | | | | |"
    return (
        f"| {name} | {errors.size} | {errors.mean():+.4f} | {rms(errors):.4f} | {np.abs(errors).max():.4f} "
        f"| {rms(scaled):.2f} |"
    )


def bands_of(result: Result) -> list[tuple[tuple[float, float], tuple[Found, ...]]]:
    """The spots of a kind by density band, in net density."""
    return [(band, tuple(spot for spot in result.spots if band[0] <= spot.truth < band[1])) for band in BANDS]


def part_of(result: Result) -> str:
    """A line on the first few scans, which a test makes again."""
    found = ", ".join(f"{base.found:.3f}" for base in result.bases[:PART])
    nets = ", ".join(f"{spot.found:.2f}" for spot in result.spots[: PART * 4])
    return f"First scans: base+fog {found}; net densities {nets}."


def section(result: Result) -> str:
    """The page's part on one kind of scan."""
    low = np.array([ends[0] for ends in result.ranges])
    high = np.array([ends[1] for ends in result.ranges])
    lines = [
        f"## {result.kind.name}",
        "",
        f"Densities known from {np.median(low):.2f} to {np.median(high):.2f}, in the worst scans {low.max():.2f} to",
        f"{high.min():.2f}; {result.beyond} spots lay beyond and got a bound. Base+fog was found in",
        f"{len(result.bases)} of {len(result.bases) + result.without_base} scans.",
        "",
        part_of(result),
        "",
        *_table(result),
    ]
    return "\n".join(lines)


def _table(result: Result) -> list[str]:
    lines = ["| net density | n | bias | rms | max | rms of error/sd |", "|---|---|---|---|---|---|"]
    lines += [_row(f"{band[0]:.1f} to {band[1]:.1f}", spots) for band, spots in bands_of(result)]
    lines += [_row("all up to 2.4", tuple(s for s in result.spots if s.truth <= 2.4))]
    return [*lines, _row("base+fog", result.bases), ""]


def page(measured: Callable[[Kind], Result]) -> str:
    """The whole page."""
    head = f"""# How near the truth

Written by `python -m tests.simulation.accuracy`; don't edit it. {SCANS} times for each kind of scan a scanner of
its own tone curve, flare, blur and noise is drawn, a step tablet of 21 steps whose record is off by 0.007 rms is
scanned and its steps found, a profile is fitted, a sheet with grain, rebate and nine even patches is scanned with a
lamp that has drifted by 0.2 %, its rebate found, and spots of 2 mm are measured. `n` counts spots; densities are
above base+fog; `error` is found minus true; `sd` is what negcat states. The last column should lie between 0.8 and
1.25: below, negcat is better than it says, above, worse.

"""
    results = [measured(kind) for kind in KINDS]
    return head + "\n".join([together(results), *map(section, results)])


def together(results: list[Result]) -> str:
    """The page's part on all scans of 16 bits."""
    fine = [result for result in results if result.kind.bits == 16]
    whole = replace(
        fine[0],
        spots=tuple(spot for result in fine for spot in result.spots),
        bases=tuple(base for result in fine for base in result.bases),
    )
    return "\n".join([f"## {TOGETHER}", "", *_table(whole)])


def run(kind: Kind) -> Result:
    """The page's own run of one kind."""
    return measure(kind, SCANS, SEED)


if __name__ == "__main__":
    PAGE.write_text(page(run), encoding="utf-8")
