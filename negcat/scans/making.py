"""Making a scan's pyramid while it is taken: tiles put aside as they come, then one file, whole or not at all."""

import io
import json
import os
import tempfile
from collections.abc import Iterator
from pathlib import Path
from threading import Lock
from typing import Any, BinaryIO

import imagecodecs
import numpy as np
import numpy.typing as npt
import tifffile

from negcat.scans.levels import TILE, Levels, level_sizes
from negcat.scans.model import ScanHeader, ScanInfo
from negcat.scans.picture import Picture
from negcat.scans.pyramid import PYRAMID_VERSION, pyramid_path
from negcat.scans.tones import ToneCurve, tone_curve
from negcat.whole_files import written_whole

__all__ = ["QUALITY", "NewPyramid", "write_pyramid"]

QUALITY = 85
"""Of the JPEG tiles, 1 to 100: at 85 the grain is still grain; colour isn't subsampled."""

LARGEST_PROFILE = 4096
"""Bytes of a colour profile that every tile can carry; those made of a matrix and curves have a tenth of that."""

CLASSIC_LIMIT = 4_000_000_000
"""Bytes beyond which only BigTIFF counts far enough."""


class NewPyramid:
    """The pyramid of one scan, to be handed to `take`, which fills it.

    A pyramid that can't be written is no reason to refuse the scan: `fault` then says why, and `path` and `data` stay
    None.

    Parameters
    ----------
    previews : the folder of derivatives. The file goes to where `pyramid_path` says. None: it isn't here, and `data`
        becomes the file's bytes, for `write_pyramid` where it is.
    linear : see `tone_curve`.
    """

    def __init__(self, previews: Path | None, *, linear: bool | None = None) -> None:
        self.path: Path | None = None
        self.data: bytes | None = None
        self.fault: str | None = None
        self._previews = previews
        self._linear = linear
        self._lock = Lock()
        self._spool: BinaryIO | None = None
        self._end = 0
        self._places: list[dict[tuple[int, int], tuple[int, int]]] = []

    # -- for `take` ---------------------------------------------------------------------------------------

    def begin(self, picture: Picture, header: ScanHeader) -> Levels:
        """Make ready for a picture's parts."""
        curve = tone_curve(header, self._linear)
        self._curve, self._channels = curve, picture.geometry.channels
        icc = picture.told.icc if self._channels == 3 and not curve.linear else b""
        self._icc, self._segment = icc, _profile_segment(icc)
        sizes = level_sizes(*picture.geometry.upright_size)
        self._places = [{} for _ in sizes]
        try:
            # Not the archive's folder too: where that is gone, its disk is away, and nothing belongs in its place.
            if self._previews is not None:
                self._previews.mkdir(exist_ok=True)
            # without a name from the beginning: nothing is left behind, however the run ends
            self._spool = tempfile.TemporaryFile(dir=self._previews, buffering=0)  # noqa: SIM115
        except OSError as error:
            self._fail(error)
        return Levels(picture.geometry, curve.table, self._put)

    def finish(self, info: ScanInfo, levels: Levels) -> None:
        """Write the file; nothing of the picture may be missing."""
        try:
            if self.fault is None and levels.complete:
                self._write(info)
        except OSError as error:
            self._fail(error)
        finally:
            self.discard()

    def discard(self) -> None:
        """Forget what was put aside."""
        if self._spool is not None:
            self._spool.close()
            self._spool = None

    # -----------------------------------------------------------------------------------------------------

    def _fail(self, error: OSError) -> None:
        self.fault = _unwritten(self._previews or Path(tempfile.gettempdir()), error)

    def _put(self, level: int, column: int, row: int, tones: npt.NDArray[np.uint8]) -> None:
        """Encode one tile and put it aside; in any thread."""
        if self.fault is not None or self._spool is None:
            return
        grey = self._channels == 1
        data = imagecodecs.jpeg8_encode(
            tones[..., 0] if grey else tones,
            level=QUALITY,
            colorspace="GRAYSCALE" if grey else "RGB",
            outcolorspace="GRAYSCALE" if grey else "YCBCR",
            subsampling="444",
        )
        if self._segment:
            after = 4 + int.from_bytes(data[4:6], "big")  # start of image, then the JFIF segment
            data = data[:after] + self._segment + data[after:]
        with self._lock:
            start = self._end
            self._end += len(data)
            self._places[level][row, column] = (start, len(data))
        try:
            done = 0
            while done < len(data):
                done += os.pwrite(self._spool.fileno(), data[done:], start + done)
        except OSError as error:
            self._fail(error)

    def _tiles(self, level: int, width: int, height: int) -> Iterator[bytes]:
        assert self._spool is not None
        places = self._places[level]
        for row in range(-(-height // TILE)):
            for column in range(-(-width // TILE)):
                start, count = places[row, column]
                yield os.pread(self._spool.fileno(), count, start)

    def _write(self, info: ScanInfo) -> None:
        if self._previews is None:
            file = io.BytesIO()
            self._write_tiff(file, info, _description(info, self._curve))
            self.data = file.getvalue()
            return
        target = pyramid_path(self._previews, info.scan)
        target.parent.mkdir(exist_ok=True)
        with written_whole(target) as unfinished:
            self._write_tiff(unfinished, info, _description(info, self._curve))
        self.path = target

    def _write_tiff(self, file: Path | BinaryIO, info: ScanInfo, description: str) -> None:
        colours: dict[str, Any] = {"photometric": "minisblack"}
        if self._channels == 3:
            colours = {"photometric": "ycbcr", "subsampling": (1, 1), "planarconfig": "contig"}
            if self._icc:
                colours["iccprofile"] = self._icc
        with tifffile.TiffWriter(file, bigtiff=self._end > CLASSIC_LIMIT) as writer:
            for level, (width, height) in enumerate(level_sizes(info.width, info.height)):
                dots = (info.dpi / 2**level,) * 2 if info.dpi is not None else None
                writer.write(
                    self._tiles(level, width, height),
                    shape=(height, width) if self._channels == 1 else (height, width, 3),
                    dtype=np.uint8,
                    tile=(TILE, TILE),
                    compression="jpeg",
                    subfiletype=1 if level else 0,
                    description=description if level == 0 else None,
                    resolution=dots,
                    resolutionunit="INCH" if dots else "NONE",
                    metadata=None,
                    software=False,
                    **colours,
                )


def write_pyramid(previews: Path, scan: str, data: bytes) -> str | None:
    """Write a pyramid that was made elsewhere; why it couldn't be written, None where it was.

    Parameters
    ----------
    previews : the folder of derivatives.
    scan : the scan's id.
    data : of `NewPyramid`.
    """
    target = pyramid_path(previews, scan)
    try:
        previews.mkdir(exist_ok=True)
        target.parent.mkdir(exist_ok=True)
        with written_whole(target) as unfinished:
            unfinished.write_bytes(data)
    except OSError as error:
        return _unwritten(previews, error)
    return None


def _unwritten(folder: Path, error: OSError) -> str:
    reason = (error.strerror or str(error)).lower()
    return f"{folder}: the pyramid can't be written ({reason}); check the folder and the space on its disk."


def _profile_segment(icc: bytes) -> bytes:
    """Make the JPEG segment that carries a colour profile (ICC.1, annex B.4); empty for a large one."""
    if not icc or len(icc) > LARGEST_PROFILE:
        return b""
    body = b"ICC_PROFILE\0\1\1" + icc
    return b"\xff\xe2" + (len(body) + 2).to_bytes(2, "big") + body


def _description(info: ScanInfo, curve: ToneCurve) -> str:
    """Write what the pyramid is, for its ImageDescription; ASCII, as TIFF wants it."""
    return json.dumps(
        {
            "pyramid": PYRAMID_VERSION,
            "sha256": info.sha256,
            "linear": curve.linear,
            "reason": curve.reason,
            "codes": curve.codes(info.bits).tolist(),
        },
        separators=(",", ":"),
    )
