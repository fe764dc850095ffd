"""What a value rests on: drawn, declared or assumed."""

from enum import IntEnum


class Basis(IntEnum):
    """What a value rests on; a number, so that a column of an array can hold it."""

    DRAWN = 0  # measured on the centreline or the section
    DECLARED = 1  # written in the file or the schedule by the designer
    ASSUMED = 2  # chosen by the tool; every report lists these

    @property
    def word(self) -> str:
        """The word that reports print."""
        return self.name.lower()
