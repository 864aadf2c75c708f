"""From the codes of a scanned tablet to a scanner's profile: which steps can be used, and what they say."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from negcat.densitometry.profile import FULL_SCALE, ScannerProfile, StepFit
from negcat.densitometry.tone_curve import Curve, fit_curve
from negcat.errors import CalibrationError

__all__ = ["fit_profile"]

_Floats = NDArray[np.float64]

_SATURATED_FROM = 0.998 * FULL_SCALE
_CLIPPED_SHARE = 0.005
_FLAT = 0.2  # of the usual response: from here on a step says more about flare than about density
_DEAD = 0.04  # of the usual response: no answer at all, so the step before stands on the floor already
_OUTLIER = 0.03
_LARGEST_RESIDUAL_SD = 0.06
_FEWEST_STEPS = 5
_STEEPEST = (
    1.6  # log10 code a density: 1 is linear, less is gamma-encoded; an S curve may reach 1.5 in its middle
)
_EIGHT_BIT = 257.0  # codes between neighbours in a scan of 8 bits
_COARSEST = 0.02  # density: where rounding to 8 bits is worse than that, a step says nothing
_USUAL_ERROR = 0.01  # density: what a tablet's own values are usually off by


def fit_profile(
    codes: Sequence[float] | NDArray[Any],
    densities: Sequence[float] | NDArray[Any],
    *,
    channel: str,
    bits: int,
    mode: str,
    clipped: Sequence[float] | None = None,
) -> ScannerProfile:
    """Fit the profile of one channel to the steps of a scanned tablet.

    Parameters
    ----------
    codes : mean 16-bit code of each step, nan for a step that was not seen.
    densities : the known density of each step, lightest first, rising.
    channel : ``grey``, ``red``, ``green`` or ``blue``.
    bits : bits a sample of the scan, 8 or 16.
    mode : ``grey`` or ``rgb``.
    clipped : share of each step's pixels at 0 or full scale (0 to 1), where known.

    Returns
    -------
    The profile; its range ends at the last steps that still answer to density.

    Raises
    ------
    CalibrationError
        Codes that do not fall as density rises, or fall much faster than light does; fewer than five usable
        steps; steps that do not follow the tablet's densities.

    Notes
    -----
    The curve is `tone_curve.fit_curve`'s. A step that stands far off it is left out and named.

    Examples
    --------
    >>> steps = [0.05 + 0.15 * k for k in range(21)]
    >>> codes = [60000 * (10**-d + 0.0004) ** (1 / 2.2) for d in steps]
    >>> profile = fit_profile(codes, steps, channel="grey", bits=16, mode="grey")
    >>> round(float(profile.density(60000 * (10**-1.4 + 0.0004) ** (1 / 2.2))), 3)
    1.4
    >>> [round(end, 2) for end in profile.density_range]
    [0.05, 3.05]
    """
    known = np.asarray(densities, dtype=np.float64)
    seen = np.asarray(codes, dtype=np.float64)
    _check_input(seen, known)
    shares = np.zeros(known.size) if clipped is None else np.asarray(clipped, dtype=np.float64)
    why = _unusable(seen, known, shares)
    coarse = _rounding(seen, known) if bits == 8 else np.zeros(known.size)
    if bits == 8:
        for index in np.flatnonzero(coarse > _COARSEST):
            why[index] = why[index] or "too dark for a scan of 8 bits"
    usable = np.array([not reason for reason in why])
    _check_usable(seen, known, usable)

    fit = fit_curve(np.log10(seen[usable]), known[usable], coarse[usable])
    spread = 1.4826 * float(np.median(np.abs(fit.left_out)))
    strays = np.abs(fit.left_out) > max(_OUTLIER, 4.0 * spread)
    if (
        strays.any()
        and strays.sum() <= max(1, usable.sum() // 10)
        and usable.sum() - strays.sum() >= _FEWEST_STEPS
    ):
        # The fit without them must still cover their place, so an outermost step is kept whatever it does.
        strays[[0, -1]] = False
        for index in np.flatnonzero(usable)[strays]:
            why[index] = "stands off the line of the others: dust, a scratch or a wrong density in the record"
        usable = np.array([not reason for reason in why])
        fit = fit_curve(np.log10(seen[usable]), known[usable], coarse[usable])
    trust = 1.0 / (1.0 + (coarse[usable] / _USUAL_ERROR) ** 2)
    residual_sd = float(np.sqrt(np.average(fit.left_out**2, weights=trust)))
    if residual_sd > _LARGEST_RESIDUAL_SD:
        raise CalibrationError(
            f"the steps found do not follow the tablet's densities (they miss them by {residual_sd:.2f} "
            "rms): check "
            "that the record names this tablet, lightest step first, and that the region holds nothing else"
        )
    return _profile(fit, residual_sd, seen, known, usable, why, channel=channel, bits=bits, mode=mode)


def _check_input(seen: _Floats, known: _Floats) -> None:
    if seen.ndim != 1 or seen.shape != known.shape:
        raise CalibrationError(
            f"{seen.size} step codes don't go with {known.size} tablet densities: the record must list "
            "every step"
        )
    if not np.all(np.isfinite(known)) or np.any(np.diff(known) <= 0):
        raise CalibrationError(
            "a tablet's densities must rise from step to step: lightest step first in its record"
        )
    if np.any(seen < 0):
        raise CalibrationError(
            "a step with a code below 0 can't come from a scan: scale the codes to 0…65535"
        )


def _unusable(seen: _Floats, known: _Floats, clipped: _Floats) -> list[str]:
    """Return per step why it can't be used, empty where it can."""
    why = [""] * known.size
    for index, code in enumerate(seen):
        if not np.isfinite(code):
            why[index] = "not seen in the scan"
        elif code >= _SATURATED_FROM:
            why[index] = "at full scale"
        elif code < 1.0:
            why[index] = "at zero"
        elif clipped[index] > _CLIPPED_SHARE:
            why[index] = "partly clipped"
    left = [k for k in range(known.size) if not why[k]]
    if len(left) < _FEWEST_STEPS:
        return why
    logs = np.log10(seen[left])
    answer = -np.diff(logs) / np.diff(known[left])
    usual = float(np.median(answer))
    if usual <= 0:
        return why
    answer = answer / usual
    # From each end inward: flat means saturated. A dead-flat pair condemns both its steps.
    last = len(left) - 1
    while last > 0 and answer[last - 1] < _FLAT:
        why[left[last]] = "no longer told from the scanner's floor"
        if answer[last - 1] < _DEAD and (last == 1 or answer[last - 2] >= _FLAT):
            why[left[last - 1]] = "no longer told from the scanner's floor"
        last -= 1
    first = 0
    while first < last and answer[first] < _FLAT:
        why[left[first]] = "no longer told from the scanner's brightest"
        if answer[first] < _DEAD and answer[min(first + 1, answer.size - 1)] >= _FLAT:
            why[left[first + 1]] = "no longer told from the scanner's brightest"
        first += 1
    return why


def _rounding(seen: _Floats, known: _Floats) -> _Floats:
    """Return what rounding to 8 bits does to the density of a step: the deviation of a uniform error."""
    finite = np.isfinite(seen) & (seen > 0)
    if finite.sum() < 2:
        return np.zeros(known.size)
    logs = np.log10(seen[finite])
    slope = float(np.ptp(known[finite]) / max(np.ptp(logs), 1e-6))
    with np.errstate(divide="ignore", invalid="ignore"):
        step = slope * _EIGHT_BIT / np.sqrt(12.0) / (seen * np.log(10.0))
    return np.asarray(np.nan_to_num(step, posinf=9.0), dtype=np.float64)


def _check_usable(seen: _Floats, known: _Floats, usable: NDArray[np.bool_]) -> None:
    finite = np.isfinite(seen)
    if finite.sum() >= _FEWEST_STEPS:
        trend = (
            np.corrcoef(np.log10(np.maximum(seen[finite], 1.0)), known[finite])[0, 1]
            if np.ptp(seen[finite])
            else 0.0
        )
        if trend > 0.5:
            raise CalibrationError(
                "the codes rise with the tablet's density: the scan is a positive (inverted) or the "
                "tablet's record "
                "runs from dark to light; scan it as a plain transparency, or list the lightest step first"
            )
    if usable.sum() < _FEWEST_STEPS:
        raise CalibrationError(
            f"only {int(usable.sum())} of {known.size} steps can be used, {_FEWEST_STEPS} are needed: the "
            "others are "
            "clipped, equal or not seen; scan the whole tablet again without automatic levels"
        )
    logs, steps = np.log10(seen[usable]), known[usable]
    drop = -np.diff(logs)
    usual = float(np.median(drop / np.diff(steps)))
    wrong = np.flatnonzero(drop < -0.02 * max(usual, 0.2))
    if usual <= 0 or wrong.size:
        at = f" between {steps[wrong[0]]:.2f} and {steps[wrong[0] + 1]:.2f}" if wrong.size else ""
        raise CalibrationError(
            f"the codes do not fall steadily as density rises{at}: this is not the tablet of that record, "
            "or the "
            "steps were not found where they are; give --region around the tablet alone"
        )
    if usual > _STEEPEST:
        # Densities recorded at half their distance would halve every density measured, with a perfect fit.
        raise CalibrationError(
            f"from step to step the codes fall {usual:.1f} times as fast as the light through the recorded "
            f"densities: either this is another tablet, whose steps lie about {usual:.1f} times as far apart as "
            "the record says, or the scan was given more contrast; name the tablet that was scanned, or scan it "
            "without any correction"
        )


def _profile(
    fit: Curve,
    residual_sd: float,
    seen: _Floats,
    known: _Floats,
    usable: NDArray[np.bool_],
    why: list[str],
    *,
    channel: str,
    bits: int,
    mode: str,
) -> ScannerProfile:
    profile = ScannerProfile(
        channel=channel,
        bits=bits,
        mode=mode,
        log_codes=tuple(float(x) for x in fit.knots),
        densities=tuple(float(x) for x in fit.values),
        residual_sd=residual_sd,
        density_range=(float(fit.values[-1]), float(fit.values[0])),
        steps=(),
        sds=tuple(float(x) for x in fit.sds),
        # Rounded as it is stored, so that a profile comes back the same.
        shared=tuple(tuple(float(f"{x:.4g}") for x in row) for row in fit.shared),
    )
    found = profile.density(np.where(np.isfinite(seen), seen, 0.0))
    left_out = np.full(known.size, np.nan)
    left_out[usable] = fit.left_out
    steps = tuple(
        StepFit(
            density=float(known[k]),
            code=float(seen[k]),
            residual=float(found[k] - known[k]) if np.isfinite(found[k]) else None,
            left_out=float(left_out[k]) if usable[k] else None,
            used=bool(usable[k]),
            note=why[k],
        )
        for k in range(known.size)
    )
    return replace(profile, steps=steps, notes=_notes(steps))


def _notes(steps: tuple[StepFit, ...]) -> tuple[str, ...]:
    notes = []
    used = [k for k, step in enumerate(steps) if step.used]
    bright = [step for step in steps[: used[0]] if step.note != "not seen in the scan"]
    dark = [step for step in steps[used[-1] + 1 :] if step.note != "not seen in the scan"]
    if bright:
        notes.append(
            f"Steps up to density {bright[-1].density:.2f} are clipped at the bright end and tell nothing."
        )
    if dark:
        notes.append(
            f"Steps from density {dark[0].density:.2f} on are lost at the dark end and tell nothing."
        )
    if bright and dark:
        notes.append(
            "Both ends are clipped, as automatic levels do: scan tablet and negatives with fixed settings."
        )
    notes.extend(
        f"The step of density {step.density:.2f} {step.note}."
        for step in steps[used[0] : used[-1]]
        if not step.used and step.note.startswith("stands")
    )
    return tuple(notes)
