"""Found, and the verdict: how a sheet's densities stand to what was planned for it.

Every reading with a net density has a print zone, the print target read backwards. All of a sheet's readings
together lie on its line: what was given, shifted by the stops that film, cell, shutter, meter and batch
added (r), stretched by the contrast that development reached (n)::

    print zone = P(given zone + r; n)        P(z; n) = 1 + c(n)·(z − 1) from zone I up, z below it

r and n are estimated together, against a weak prior (r: 0 ± 1 stop; n: the tag ± ½), so that one reading, or
two close together, give wide honest errors. Two kinds of deviation are kept apart throughout: with
everything in it, for whoever asks what the film or the developer did; and without the metering's part, for
how this negative stands to its plan as recorded. The verdict speaks of the negative and uses the second.

`result` holds what goes in and what comes out, `line` the estimate, `words` the sentences; `verdict` joins
them.
"""

from negcat.judgement.line import METERING_SD
from negcat.judgement.result import (
    DevelopmentVerdict,
    ExposureVerdict,
    FoundReading,
    JudgedReading,
    Judgement,
    PaperNeed,
)
from negcat.judgement.verdict import (
    DEVELOPMENT_TOLERANCE,
    EXPOSURE_TOLERANCE,
    JUDGEMENT_VERSION,
    judge,
)

__all__ = [
    "DEVELOPMENT_TOLERANCE",
    "EXPOSURE_TOLERANCE",
    "JUDGEMENT_VERSION",
    "METERING_SD",
    "DevelopmentVerdict",
    "ExposureVerdict",
    "FoundReading",
    "JudgedReading",
    "Judgement",
    "PaperNeed",
    "judge",
]
