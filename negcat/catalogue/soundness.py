"""Looking a whole catalogue over: the file itself, its references, and what is kept so that searches are quick."""

from __future__ import annotations

import sqlite3

from negcat.catalogue.connection import CatalogueFile, sentence_of
from negcat.catalogue.searching_schema import COUNTED, FACTS
from negcat.catalogue.tallying import untrue

__all__ = ["Sound"]


class Sound(CatalogueFile):
    """How a catalogue is seen to be sound."""

    def faults(self) -> list[str]:
        """Look the whole file over.

        Returns
        -------
        One sentence for each fault: of the file itself, of a reference that leads nowhere, of a search
        index that doesn't say what the records say. Empty when it is sound.
        """
        if found := self.damage():
            return found
        try:
            return self._search_faults()
        except sqlite3.Error as error:
            return [sentence_of(error, self.path)]

    def damage(self) -> list[str]:
        """Look over what can't be made anew: the file itself, and its references.

        Returns
        -------
        One sentence for each fault; empty when there is none.
        """
        try:
            found = [
                f"the file is damaged: {line}"
                for (line,) in self.connection.execute("pragma integrity_check(20)")
                if line != "ok"
            ]
            return found or [
                f"a row of '{table}' refers to something '{parent}' doesn't hold (row {rowid})"
                for table, rowid, parent, _ in self.connection.execute("pragma foreign_key_check")
            ]
        except sqlite3.Error as error:
            return [sentence_of(error, self.path)]

    def _search_faults(self) -> list[str]:
        """Compare what is searched with what is recorded."""
        stale = self.connection.execute(
            "select count(*) from (select * from sheet_facts except"
            f" select {', '.join(FACTS)}, printing_range from sheet_search)"
        ).fetchone()[0]
        surplus = self.connection.execute(
            "select count(*) from sheet_search where sheet not in (select sheet from sheets)"
        ).fetchone()[0]
        found = []
        if stale or surplus:
            found.append(f"the search index doesn't fit the records in {stale + surplus} places")
        counted = ", ".join(COUNTED)
        for table, columns in (("sheet_counts", counted), ("places", "place")):
            recount = f"select {columns}, count(*) from sheet_search where {columns.split(',')[0]} <> ''"
            kept = f"select {columns}, sheets from {table}"
            differing = self.connection.execute(
                f"select count(*) from (select * from ({recount} group by {columns}) except {kept}"
                f" union all select * from ({kept} except {recount} group by {columns}))"
            ).fetchone()[0]
            if differing:
                found.append(f"the counts in '{table}' don't fit the records in {differing} places")
        if differing := untrue(self.connection):
            found.append(f"the tallies don't fit the records in {differing} places")
        if not self.readonly:
            for index in ("sheet_search_fts", "places_fts"):
                try:
                    self.connection.execute(
                        f"insert into {index} ({index}, rank) values ('integrity-check', 1)"
                    )
                except sqlite3.DatabaseError:
                    found.append(f"the full text in '{index}' doesn't fit what it was made from")
        return found
