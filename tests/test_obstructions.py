"""Things that stand in a duct, against the print and in the limit."""

import numpy as np
import pytest
from prints import columns

from elbowroom.physics import LookupRefused, Note, book, obstructions

KINDS = sorted(obstructions.OBSTRUCTIONS)


@pytest.mark.parametrize("kind", KINDS)
def test_obstruction_is_read_back(kind: str) -> None:
    # SMACNA HVAC Systems Duct Design; ASHRAE Fundamentals appendix after Idelchik,
    # section X: all from memory.
    where = {"obstruction": obstructions.OBSTRUCTIONS[kind]}
    share, printed = columns("obstruction_in_duct", where, "blockage_ratio", "C")
    found = obstructions.obstruction(kind, share)
    np.testing.assert_allclose(found.value, printed, rtol=1e-12)
    assert not found.notes.any()


@pytest.mark.parametrize("kind", KINDS)
def test_the_more_it_blocks_the_more_it_costs_from_nothing_on(kind: str) -> None:
    end = 0.2 if kind == "cylinder" else 0.5
    found = obstructions.obstruction(kind, np.linspace(0.0, end, 501))
    assert found.value[0] == 0.0
    assert not found.notes[0]
    assert (np.diff(found.value) > 0.0).all()
    # 500 steps; where the slope of the first rows goes on below them it is gentle.
    assert np.diff(found.value).max() < 0.05 * found.value[-1]


def test_below_the_first_row_the_power_law_goes_on_and_is_noted() -> None:
    # ln C is straight in ln blockage: halving goes by the slope of the first two rows.
    slope = np.log(0.55 / 0.2) / np.log(2.5)
    found = obstructions.obstruction("pipe", 0.05)
    assert found.value[0] == pytest.approx(0.2 * 0.5**slope)
    assert found.notes[0] == int(Note.EXTENDED)


def test_an_easement_is_worth_its_sheet() -> None:
    share = np.linspace(0.02, 0.5, 30)
    pipe, bar, eased = (
        obstructions.obstruction(kind, share).value
        for kind in ("pipe", "bar", "streamlined")
    )
    assert (eased < pipe).all()
    assert (pipe < bar).all()


@pytest.mark.parametrize(
    ("kind", "share"),
    [("pipe", 0.6), ("cylinder", 0.3), ("bar", -0.1), ("bar", np.nan)],
)
def test_blockages_that_no_table_reaches_are_refused(kind: str, share: float) -> None:
    with pytest.raises(LookupRefused, match="of the duct"):
        obstructions.obstruction(kind, [0.1, share])


@pytest.mark.parametrize("kind", KINDS)
def test_obstructions_stand_in_the_book(kind: str) -> None:
    entry = book.find_kind(f"obstruction {kind}")
    values, _ = book.complete(entry, {"blockage_ratio": 0.1})
    (found,) = entry.evaluate(values, float("nan")).values()
    assert found.value[0] == obstructions.obstruction(kind, 0.1).value[0]
