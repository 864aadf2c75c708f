"""A file that can't be read as records at all, and how much of one is read.

The bounds hold what a file may cost: a few bytes can stand for more than memory holds, and every fault of every record
is put into a sentence.
"""

from typing import Final

__all__ = ["MAX_FIELDS", "MAX_LETTERS", "MAX_RECORDS", "UnreadableError"]

MAX_RECORDS: Final = 500_000
"""Records of a file: five lives of a photographer."""

MAX_FIELDS: Final = 1_000
"""Fields of one mapping; the longest has some forty."""

MAX_LETTERS: Final = 100_000
"""Letters of one value, as written; a note has 20,000 at most."""


class UnreadableError(Exception):
    """Why a file can't be read, in one sentence, and where in it the trouble lies.

    Parameters
    ----------
    what : the sentence.
    where : ``line 3, column 7``, or nothing where it is the file as a whole.
    """

    def __init__(self, what: str, where: str = "") -> None:
        self.what = what
        self.where = where
        super().__init__(what)
