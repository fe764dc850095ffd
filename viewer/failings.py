"""Why a layout fails: what cannot be built, what the fan lacks, which checks do."""

from collections.abc import Sequence

from elbowroom.layout import (
    Notice,
    counted,
    length_words,
    place_words,
    some,
    warning,
)
from elbowroom.physics import Analysis, Check, Option, checks

from .display import Display
from .gaps import Gap

STRICT = "exit code 1, as --strict asks:"
_MOST_NAMED = 5  # faults in the lines at the head, and clashes among the flags


def failing_lines(
    analysis: Analysis,
    faults: Sequence[str],
    found: Sequence[Check],
    display: Display,
) -> list[str]:
    """Why a layout fails, for the head of what is printed; empty if it does not.

    Parameters
    ----------
    analysis
        The layout.
    faults
        Why it cannot be built as drawn, the gravest first.
    found
        Its checks.
    display
        Units.
    """
    out = []
    if faults:
        why = some(faults, _MOST_NAMED, "; ")
        out.append(f"It cannot be built as drawn: {why}.")
    system = analysis.system
    if system.is_short and system.spare is not None:
        lacking = f"{display.pressures(-system.spare)} {display.pressure}"
        out.append(f"The fan does not carry it: {lacking} are lacking.")
    if failed := checks_words(found):
        out.append(failed)
    return out


def checks_words(found: Sequence[Check]) -> str:
    """Which checks are not kept, as a sentence; '' if all are."""
    failed = [check.rule for check in found if not check.is_kept]
    limited = sum(check.limit is not None for check in found)
    if not failed:
        return ""
    return (
        f"{len(failed)} of {counted(limited, 'check')} {_are(len(failed))} not kept: "
        f"{'; '.join(failed)}."
    )


def failing_sentence(options: Sequence[Option]) -> str:
    """Why layouts end a strict command with 1, each reason with its count; '' if none.

    A return that stands beside several is told once.
    """
    several = len({option.name for option in options}) > 1
    told: dict[str, None] = {}
    for option in options:
        faults = len(option.faults)
        failed = [check.rule for check in checks(option.analysis) if not check.is_kept]
        reasons = []
        if faults:
            why = counted(faults, "reason")
            reasons.append(f"it cannot be built as drawn, for {why}")
        if option.analysis.system.is_short:
            reasons.append("the fan does not carry it")
        if failed:
            count, which = counted(len(failed), "check"), "; ".join(failed)
            reasons.append(f"{count} {_are(len(failed))} not kept ({which})")
        if reasons:
            of = f"'{option.name}': " if several else ""
            told[of + ", ".join(reasons)] = None
    return f"{STRICT} {'; '.join(told)}." if told else ""


def drawing_failings(errors: int, lacking: int) -> str:
    """Why a drawing ends `check --strict` with 1, as `failing_sentence` has it."""
    reasons = []
    if errors:
        reasons.append(f"{counted(errors, 'error')} in the drawing")
    if lacking:
        reasons.append(f"it cannot be built as drawn, for {counted(lacking, 'reason')}")
    return f"{STRICT} {', '.join(reasons)}." if reasons else ""


def clash_flags(room: Sequence[Gap], file: str) -> list[Notice]:
    """What is to be said of ducts without room: the gravest, and how many more."""
    clashing = [gap for gap in room if not gap.is_kept]
    found = [
        warning(
            file,
            "it cannot be built as drawn: "
            + gap.words(length_words, f" at {place_words(gap.place, gap.unit)}"),
            "lead it another way, or give it another size",
            place=gap.place,
        )
        for gap in clashing[:_MOST_NAMED]
    ]
    left = len(clashing) - len(found)
    if left:
        found.append(
            warning(
                file,
                f"it cannot be built as drawn in {counted(left, 'further place')} too: "
                "the table of the room around the ducts has them",
            )
        )
    return found


def _are(count: int) -> str:
    return "is" if count == 1 else "are"
