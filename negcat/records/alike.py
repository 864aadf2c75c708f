"""Readings that stand alike in many sheets, looked at once.

A collection repeats the same few names, values and zones: a reading that was found sound need not be read again where
it is written in just the same words.
"""

from typing import Any

from pydantic import ValidationError

from negcat.records.sheet import Reading

__all__ = ["ReadingsAlike"]

_REMEMBERED = 20_000


class ReadingsAlike:
    """The readings found sound so far, by what was written."""

    def __init__(self) -> None:
        self._sound: dict[tuple[tuple[str, str], ...], Reading] = {}

    def put_in(self, item: dict[str, Any]) -> dict[str, Any] | None:
        """Give a sheet as it was written with its readings read; None where one isn't plainly sound.

        Parameters
        ----------
        item : the sheet as plain data; it stays as it is.
        """
        written = item.get("readings")
        if type(written) is not list:
            return None
        readings = []
        for one in written:
            # Only text stands for itself: true, 1 and 1.0 are the same key.
            if type(one) is not dict or any(type(value) is not str for value in one.values()):
                return None
            words = tuple(one.items())
            reading = self._sound.get(words)
            if reading is None:
                try:
                    reading = Reading.model_validate(one)
                except ValidationError:
                    return None
                if len(self._sound) < _REMEMBERED:
                    self._sound[words] = reading
            readings.append(reading)
        return {**item, "readings": readings}
