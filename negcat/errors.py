"""What can go wrong, in one tree.

::

    NegcatError
    ├── NotationError          a stop, time, tag or zone that can't be read
    ├── QuantityError          a number outside the range in which the formula holds
    ├── RecordError            a record file with faults, all of them
    ├── ScanError              an image file that can't be taken
    ├── CalibrationError       a scan in which the step tablet can't be found or fitted
    ├── ArchiveError           the archive as a whole: absent, present already, too new, locked
    │   └── OlderArchiveError  an older negcat made it, and it must be brought up to date first
    └── UnknownNameError       a sheet, lens, film … that the archive doesn't hold

Every message is one readable sentence that says what, where and how to mend it. This module imports
nothing of negcat's.
"""

from collections.abc import Sequence
from dataclasses import dataclass

__all__ = [
    "ArchiveError",
    "CalibrationError",
    "Fault",
    "NegcatError",
    "NotationError",
    "OlderArchiveError",
    "QuantityError",
    "RecordError",
    "ScanError",
    "UnknownNameError",
]


class NegcatError(Exception):
    """Any fault that negcat explains to its user: what, where and how to mend it."""


class NotationError(NegcatError, ValueError):
    """A stop, time, tag or zone that can't be read."""


class QuantityError(NegcatError, ValueError):
    """A number outside the range in which a formula holds."""


class ScanError(NegcatError):
    """An image file that can't be taken: missing, damaged, truncated, of an unknown kind."""


class CalibrationError(NegcatError):
    """A scan in which the step tablet can't be found, or whose steps can't be fitted."""


class ArchiveError(NegcatError):
    """The archive as a whole: absent, there already, too new, in use."""


class OlderArchiveError(ArchiveError):
    """An older negcat made the archive; it must be opened for writing once, which brings it up to date."""


class UnknownNameError(NegcatError, LookupError):
    """A sheet, lens, film, scan … that the archive doesn't hold."""


@dataclass(frozen=True)
class Fault:
    """One fault of a record file.

    Parameters
    ----------
    file : the file's path as the user gave it.
    where : the place in the file: ``line 12, sheets[3].stop (sheet BW-07)``.
    what : what is wrong and how to mend it.
    path : the way to the field, ``("sheets", 3, "stop")``; empty where the file as a whole is at fault.
    """

    file: str
    where: str
    what: str
    path: tuple[str | int, ...] = ()

    def __str__(self) -> str:
        return f"{self.file}: {self.where}: {self.what}" if self.where else f"{self.file}: {self.what}"


class RecordError(NegcatError):
    """A record file with faults, all of them at once.

    Parameters
    ----------
    faults : at least one :class:`Fault`.
    """

    def __init__(self, faults: Sequence[Fault]) -> None:
        self.faults = tuple(faults)
        super().__init__("\n".join(str(fault) for fault in self.faults))
