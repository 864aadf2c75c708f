"""What a scanner makes of density: the profile fitted to a scanned step tablet.

A profile is a smooth, falling map from log10(code) to density. Outside the steps it was fitted to there is no
density.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.interpolate import PchipInterpolator

from negcat.errors import CalibrationError

__all__ = ["FULL_SCALE", "ScannerProfile", "StepFit"]

FULL_SCALE = 65535.0
"""The code of a sensor that can take no more light, whatever the file's own depth."""

_Floats = NDArray[np.float64]


@dataclass(frozen=True)
class StepFit:
    """One step of the tablet beside what the profile makes of it.

    Parameters
    ----------
    density : the step's known density.
    code : its mean 16-bit code value, nan where the step was not seen.
    residual : fitted minus known density; None where the step stands outside the profile.
    left_out : the same from a fit that does not know this step.
    used : whether the profile was fitted to it.
    note : why it was not used, else empty.
    """

    density: float
    code: float
    residual: float | None
    left_out: float | None = None
    used: bool = True
    note: str = ""


@dataclass(frozen=True)
class ScannerProfile:
    """The density behind a code value, for one channel of one scanner in one mode.

    Parameters
    ----------
    channel : ``grey``, ``red``, ``green`` or ``blue``.
    bits : bits a sample of the scans that it holds for, 8 or 16.
    mode : ``grey`` or ``rgb``.
    log_codes : knots of the map, log10 of the 16-bit code, rising.
    densities : the densities at the knots, falling.
    residual_sd : root mean square of the leave-one-step-out residuals, in density.
    density_range : least and greatest density that the profile knows.
    steps : every step of the tablet, lightest first.
    sds : one standard deviation of the map itself at the knots; empty: `residual_sd` everywhere.
    notes : what the user should know about the fit, sentences.
    shared : a row for every knot: what the map's errors at two knots have in common is the dot product of
        their rows, in density squared; empty where it isn't known.
    """

    channel: str
    bits: int
    mode: str
    log_codes: tuple[float, ...]
    densities: tuple[float, ...]
    residual_sd: float
    density_range: tuple[float, float]
    steps: tuple[StepFit, ...]
    sds: tuple[float, ...] = ()
    notes: tuple[str, ...] = field(default=())
    shared: tuple[tuple[float, ...], ...] = ()

    @cached_property
    def _map(self) -> PchipInterpolator:
        return PchipInterpolator(self.log_codes, self.densities, extrapolate=False)

    @cached_property
    def _table(self) -> NDArray[np.float32]:
        codes = np.arange(65536, dtype=np.float64)
        first, last = 10.0 ** self.log_codes[0], 10.0 ** self.log_codes[-1]
        known = np.clip(codes, first, last)
        density = self._map(np.clip(np.log10(known), self.log_codes[0], self.log_codes[-1]))
        table = 10.0 ** -np.asarray(density, dtype=np.float64)
        slope = self._map.derivative()
        for end, outside in ((first, codes < first), (last, codes > last)):
            at_end = float(np.clip(np.log10(end), self.log_codes[0], self.log_codes[-1]))
            # dT/dcode from dD/dlog10(code): T = 10^-D, so dT/T = -ln10 dD and dlog10(code) = dcode / (code
            # ln10)
            grade = -(10.0 ** -float(self._map(at_end))) * float(slope(at_end)) / end
            table[outside] += grade * (codes[outside] - end)
        table.setflags(write=False)
        result = table.astype(np.float32)
        result.setflags(write=False)
        return result

    def density(self, code: ArrayLike) -> _Floats:
        """Return the density behind code values.

        Parameters
        ----------
        code : array of any shape, 16-bit-scaled code values.

        Returns
        -------
        Densities of the same shape; nan outside `density_range`, where nothing is known.

        Examples
        --------
        >>> from negcat.densitometry import fit_profile
        >>> steps = [0.05 + 0.15 * k for k in range(21)]
        >>> codes = [60000 * 10**-d for d in steps]
        >>> profile = fit_profile(codes, steps, channel="grey", bits=16, mode="grey")
        >>> profile.density([6000, 3]).round(3).tolist()
        [1.0, nan]
        """
        codes = np.asarray(code, dtype=np.float64)
        with np.errstate(divide="ignore", invalid="ignore"):
            logs = np.log10(codes)
        # Rounding in log10 must not push the outermost steps themselves out of the range.
        slack = 1e-9
        lowest, highest = self.log_codes[0], self.log_codes[-1]
        inside = (logs >= lowest - slack) & (logs <= highest + slack)
        return np.where(inside, self._map(np.clip(np.where(inside, logs, lowest), lowest, highest)), np.nan)

    def code(self, density: ArrayLike) -> _Floats:
        """Return the code value that a density scans to, nan outside `density_range`.

        Parameters
        ----------
        density : array of any shape, densities.

        Returns
        -------
        16-bit-scaled code values of the same shape.
        """
        values = np.asarray(density, dtype=np.float64)
        logs = np.linspace(self.log_codes[0], self.log_codes[-1], 4096)
        falling = self._map(logs)
        found = 10.0 ** np.interp(values, falling[::-1], logs[::-1])
        low, high = self.density_range
        return np.where((values >= low - 1e-9) & (values <= high + 1e-9), found, np.nan)

    def sd(self, density: ArrayLike) -> _Floats:
        """Return one standard deviation of the map itself at a density.

        Parameters
        ----------
        density : array of any shape, densities.

        Returns
        -------
        Standard deviations in density, of the same shape; the nearest end's outside the range.

        Notes
        -----
        This is the error of the fitted line (its leverage times the residual variance), which is smaller than
        the residual of a single step, as the line rests on many of them.
        """
        values = np.asarray(density, dtype=np.float64)
        if not self.sds:
            return np.full(values.shape, self.residual_sd)
        return np.asarray(np.interp(values, self.densities[::-1], self.sds[::-1]), dtype=np.float64)

    def covariance(self, first: float, second: float) -> float:
        """Return what the map's errors at two densities have in common.

        Parameters
        ----------
        first, second : densities.

        Returns
        -------
        Their covariance in density squared, at most the product of their `sd`; 0 where it isn't known.

        Notes
        -----
        Both densities come through one fitted line. What shifts that line moves both, and goes out of their
        difference.
        """
        if not self.shared:
            return 0.0
        rows = np.asarray(self.shared)
        at = np.clip([first, second], self.densities[-1], self.densities[0])
        here, there = (
            np.array([np.interp(d, self.densities[::-1], term[::-1]) for term in rows.T]) for d in at
        )
        return float(here @ there)

    def transmittance_table(self) -> NDArray[np.float32]:
        """Return the transmittance of every code value from 0 to 65535.

        Returns
        -------
        65536 float32, read-only. Past the profile's ends the table goes on straight in code and
        transmittance, so that an average over grain near an end is not bent; such an average is a density
        only if it lies inside `density_range` itself.
        """
        return self._table

    def transmittance(self, codes: ArrayLike) -> _Floats:
        """Return transmittances of code values through `transmittance_table`, whole codes or not.

        Parameters
        ----------
        codes : array of any shape, 16-bit-scaled code values from 0 to 65535.

        Returns
        -------
        Transmittances of the same shape, for averaging.
        """
        given = np.asarray(codes)
        if given.dtype == np.uint16:
            return np.asarray(self._table[given], dtype=np.float64)
        wanted = np.clip(given.astype(np.float64), 0.0, FULL_SCALE)
        below = np.minimum(wanted.astype(np.int64), 65534)
        part = wanted - below
        light = self._table[below] * (1.0 - part) + self._table[below + 1] * part
        return np.asarray(light, dtype=np.float64)

    def to_json(self) -> dict[str, Any]:
        """Return the profile as plain lists and numbers, to be stored.

        Returns
        -------
        A mapping that `from_json` turns back into an equal profile.
        """
        return {
            "channel": self.channel,
            "bits": self.bits,
            "mode": self.mode,
            "log_codes": list(self.log_codes),
            "densities": list(self.densities),
            "sds": list(self.sds),
            "residual_sd": self.residual_sd,
            "density_range": list(self.density_range),
            "steps": [
                {
                    "density": step.density,
                    "code": None if np.isnan(step.code) else step.code,
                    "residual": step.residual,
                    "left_out": step.left_out,
                    "used": step.used,
                    "note": step.note,
                }
                for step in self.steps
            ],
            "notes": list(self.notes),
            "shared": [[float(f"{term:.4g}") for term in row] for row in self.shared],
        }

    @classmethod
    def from_json(cls, stored: Mapping[str, Any]) -> "ScannerProfile":
        """Return the profile that `to_json` wrote down.

        Parameters
        ----------
        stored : the mapping.

        Returns
        -------
        The profile.

        Raises
        ------
        CalibrationError
            Where the mapping is not one of `to_json`'s.
        """
        try:
            return cls(
                channel=str(stored["channel"]),
                bits=int(stored["bits"]),
                mode=str(stored["mode"]),
                log_codes=tuple(float(x) for x in stored["log_codes"]),
                densities=tuple(float(x) for x in stored["densities"]),
                residual_sd=float(stored["residual_sd"]),
                density_range=(float(stored["density_range"][0]), float(stored["density_range"][1])),
                steps=tuple(
                    StepFit(
                        density=float(step["density"]),
                        code=float("nan") if step["code"] is None else float(step["code"]),
                        residual=None if step["residual"] is None else float(step["residual"]),
                        left_out=None if step.get("left_out") is None else float(step["left_out"]),
                        used=bool(step.get("used", True)),
                        note=str(step.get("note", "")),
                    )
                    for step in stored["steps"]
                ),
                sds=tuple(float(x) for x in stored.get("sds", ())),
                notes=tuple(str(note) for note in stored.get("notes", ())),
                shared=tuple(tuple(float(x) for x in row) for row in stored.get("shared", ())),
            )
        except (KeyError, TypeError, ValueError, IndexError) as fault:
            raise CalibrationError(
                f"the stored scanner profile can't be read ({fault!r}); calibrate this scanner again"
            ) from fault
