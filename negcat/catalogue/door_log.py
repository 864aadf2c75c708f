"""The log of the door: what was written through the pages, and who signed in.

An entry is never changed once it is finished, and never dropped. What the change itself was, record by record,
stands in the history; what the command line writes names itself there.
"""

from __future__ import annotations

from negcat.catalogue.connection import CatalogueFile, now

__all__ = ["DoorLogged"]


class DoorLogged(CatalogueFile):
    """Notes what happens at the door of the pages."""

    def note_at_door(self, address: str, session: str | None, what: str, outcome: str | None = None) -> int:
        """Note what is about to be written, or what happened.

        Parameters
        ----------
        address : where it was asked from.
        session : what the session is called; None without one.
        what : the page that was sent something, or a few words.
        outcome : what came of it; None while that isn't known.

        Returns
        -------
        The entry's number.
        """
        with self.writing() as database:
            entry = database.execute(
                "insert into door_log (at, address, session, what, outcome) values (?, ?, ?, ?, ?)",
                [now(), address, session, what, outcome],
            )
            return int(entry.lastrowid or 0)

    def finish_at_door(self, number: int, outcome: str, led_to: str | None) -> None:
        """Note what came of an entry.

        Parameters
        ----------
        number : the entry's.
        outcome : ``done``, ``refused`` or ``failed``.
        led_to : the page it led to, which is that of the record that was written.
        """
        with self.writing() as database:
            database.execute(
                "update door_log set outcome = ?, led_to = ? where id = ? and outcome is null",
                [outcome, led_to, number],
            )
