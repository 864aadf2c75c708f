"""A file that can't be read as records at all."""

__all__ = ["UnreadableError"]


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
