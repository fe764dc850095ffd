"""Ways in which a fitting can be made, in the trade's words."""

from enum import IntEnum
from typing import Literal


class ElbowConstruction(IntEnum):
    """How an elbow is made; a number, so that a column of an array can hold it."""

    SMOOTH = 0
    MITRED = 1
    SINGLE_VANES = 2
    DOUBLE_VANES = 3
    SQUARE_THROAT = 4
    SQUARE_HEEL = 5
    SPLITTERS = 6
    SEGMENTED = 7
    PLEATED = 8

    @property
    def words(self) -> str:
        """The words that a schedule writes and a report prints."""
        return _ELBOW_WORDS[self]

    @property
    def is_vaned(self) -> bool:
        """Whether it is a mitred elbow with turning vanes."""
        return self in (ElbowConstruction.SINGLE_VANES, ElbowConstruction.DOUBLE_VANES)

    @property
    def is_smooth(self) -> bool:
        """Whether the air finds a plain radius: of one piece, or of several."""
        return self in (ElbowConstruction.SMOOTH, ElbowConstruction.SEGMENTED)

    @property
    def takes_vanes(self) -> bool:
        """Whether its throat is square and nothing guides the air: vanes could."""
        return self.turn != "arc" and not self.is_vaned

    @property
    def turn(self) -> Literal["arc", "corner", "square throat"]:
        """What its throat is; the radius of all but an arc follows from that.

        Only for an arc may a drawn one stand. A construction that is left out here is
        an error to the type checker.
        """
        kinds = ElbowConstruction
        match self:
            case kinds.SMOOTH | kinds.SQUARE_HEEL | kinds.SPLITTERS:
                return "arc"
            case kinds.SEGMENTED | kinds.PLEATED:
                return "arc"
            case kinds.MITRED | kinds.SINGLE_VANES | kinds.DOUBLE_VANES:
                return "corner"
            case kinds.SQUARE_THROAT:
                return "square throat"


_ELBOW_WORDS = {
    ElbowConstruction.SMOOTH: "smooth radius",
    ElbowConstruction.MITRED: "mitred",
    ElbowConstruction.SINGLE_VANES: "mitred with single vanes",
    ElbowConstruction.DOUBLE_VANES: "mitred with double vanes",
    ElbowConstruction.SQUARE_THROAT: "square throat, radius heel",
    ElbowConstruction.SQUARE_HEEL: "radius throat, square heel",
    ElbowConstruction.SPLITTERS: "smooth radius with splitters",
    ElbowConstruction.SEGMENTED: "segmented",
    ElbowConstruction.PLEATED: "pleated",
}
ELBOW_CONSTRUCTIONS = {words: code for code, words in _ELBOW_WORDS.items()}
ELBOW_PIECES = (3, 4, 5)  # of a segmented elbow, as they are tabled
PIECES_TAKEN, SPLITTERS_TAKEN = 5, 1  # where nobody says how many


class TakeoffEntry(IntEnum):
    """How a branch leaves its main; a number, so that an array can hold it."""

    PLAIN = 0
    ENTRY_45 = 1
    CONICAL = 2
    RADIUS = 3
    PLAIN_DAMPER = 4
    ENTRY_45_DAMPER = 5
    EXTRACTOR = 6

    @property
    def words(self) -> str:
        """The words that a schedule writes and a report prints."""
        return _ENTRY_WORDS[self]


_ENTRY_WORDS = {
    TakeoffEntry.PLAIN: "plain",
    TakeoffEntry.ENTRY_45: "45 degree entry",
    TakeoffEntry.CONICAL: "conical",
    TakeoffEntry.RADIUS: "radius",
    TakeoffEntry.PLAIN_DAMPER: "plain with damper",
    TakeoffEntry.ENTRY_45_DAMPER: "45 degree entry with damper",
    TakeoffEntry.EXTRACTOR: "extractor",
}
TAKEOFF_ENTRIES = {words: code for code, words in _ENTRY_WORDS.items()}
