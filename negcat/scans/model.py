"""What is known of a scan: its header, its identity, and the whole picture made small."""

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from negcat.places import Place

__all__ = ["FileFormat", "Mode", "Reduced", "ScanHeader", "ScanInfo"]

FileFormat = Literal["TIFF", "PNG", "JPEG", "DNG"]
Mode = Literal["grey", "rgb"]


@dataclass(frozen=True, kw_only=True)
class ScanHeader:
    """What an image file says of itself, before its pixels are read.

    Parameters
    ----------
    path : where the file lies, as it was given: a path, or an address.
    size_bytes, modified_ns : length and time of last change (see :class:`negcat.places.Seen`); reading refuses the
        file when they have moved.
    file_format : told from the first bytes, never from the name.
    width, height : pixels of the upright picture, after the orientation tag.
    bits : 8 or 16 per channel.
    mode : ``grey`` or ``rgb``; an alpha channel is dropped and doesn't count.
    dpi : pixels per inch along both axes. None where the file says nothing, gives no absolute unit, differs
        along the two axes by more than 1 %, is outside 50 to 20,000, or would make the film longer than
        700 mm: no sheet film is, so such a figure is a program's filler (often 72).
    make, model, software : of the scanner, as the tags say; None where they don't.
    description : every text in which someone may have written which sheet this is, in the order found,
        without repeats: ImageDescription, DocumentName, PageName, XPTitle, XPSubject, XPComment,
        UserComment, XMP title, description and identifier, PNG texts, JPEG comments.
    taken_at : when the scan was made, ISO 8601 to the second, as the tags say (digitised before original
        before changed); None where they don't.
    orientation : the tag, 1 to 8.
    compression : ``none``, ``lzw``, ``deflate``, ``packbits``, ``zstd``, ``lzma`` or ``jpeg``.
    lossy : whether that compression changes code values.
    pages : pages in the file; the first full-size one is the scan.
    colour_profile : the name of the embedded ICC profile, None where there is none.
    exponent : the power by which light follows code, as the file's colour profile, gamma, colour space or transfer
        function says: 1 for codes proportional to light, 2.2 or so for those made for the screen. None where the
        file says nothing.
    notes : sentences on what was seen and passed over: further pages, a dpi not believed, alpha dropped.
    """

    path: Place
    size_bytes: int
    modified_ns: int
    file_format: FileFormat
    width: int
    height: int
    bits: int
    mode: Mode
    dpi: float | None
    make: str | None
    model: str | None
    software: str | None
    description: tuple[str, ...]
    taken_at: str | None
    orientation: int
    compression: str
    lossy: bool
    pages: int
    colour_profile: str | None
    exponent: float | None
    notes: tuple[str, ...]

    @property
    def channels(self) -> int:
        """1 for grey, 3 for rgb."""
        return 3 if self.mode == "rgb" else 1

    @property
    def px_per_mm(self) -> float | None:
        """Pixels per millimetre of film, None where `dpi` is."""
        return None if self.dpi is None else self.dpi / 25.4


@dataclass(frozen=True, kw_only=True)
class ScanInfo(ScanHeader):
    """A scan identified: its header and the SHA-256 of the whole file, 64 lower-case hex digits."""

    sha256: str

    @property
    def scan(self) -> str:
        """The scan's id: the first 12 hex digits of its SHA-256."""
        return self.sha256[:12]


@dataclass(frozen=True)
class Reduced:
    """The whole upright picture as means of square blocks, and the spread of its code values.

    Parameters
    ----------
    codes : float32 (h, w, channels), 0 to 65,535; more = more light reached the sensor. Blocks start at the
        upright top left; those at the right and bottom edge may be cut short and are means of what is there.
    factor : pixels along a block's side, 1 or more: pixel (x, y) lies in block (x // factor, y // factor).
    histogram : int64 (channels, 65536), pixels of each 16-bit code value among those sampled.
    sampled : pixels sampled for the histogram: all of a small picture, every 16th (every fourth of every
        fourth row) of a large one.
    """

    codes: npt.NDArray[np.float32]
    factor: int
    histogram: npt.NDArray[np.int64]
    sampled: int

    @property
    def clipped_low(self) -> tuple[float, ...]:
        """Per channel, the fraction of sampled pixels at code value 0."""
        return tuple(float(count) / self.sampled for count in self.histogram[:, 0])

    @property
    def clipped_high(self) -> tuple[float, ...]:
        """Per channel, the fraction of sampled pixels at full scale."""
        return tuple(float(count) / self.sampled for count in self.histogram[:, -1])
