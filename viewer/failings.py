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
from elbowroom.physics import Analysis, Option

from .display import METRIC, Display
from .gaps import Gap

STRICT = "exit code 1, as --strict asks:"
MOST_NAMED = 5  # faults in the lines at the head, and clashes among the flags


def failing_lines(option: Option, display: Display) -> list[str]:
    """Why a layout fails, for the head of what is printed; empty if it does not."""
    return [line for line, _ in _reasons(option, display)]


def failing_sentence(options: Sequence[Option]) -> str:
    """Why layouts end a strict command with 1, each reason with its count; '' if none.

    A return that stands beside several is told once.
    """
    several = len({option.name for option in options}) > 1
    told: dict[str, None] = {}
    for option in options:
        if reasons := [short for _, short in _reasons(option, METRIC)]:
            of = f"'{option.name}': " if several else ""
            told[of + ", ".join(reasons)] = None
    return f"{STRICT} {'; '.join(told)}." if told else ""


def _reasons(option: Option, display: Display) -> list[tuple[str, str]]:
    """Each reason why a layout fails, as a line of its own and in short."""
    system, out = option.analysis.system, []
    if faults := option.faults_in(display.side):
        why = some(faults, MOST_NAMED, "; ")
        out.append((f"It cannot be built as drawn: {why}.", _unbuilt(len(faults))))
    if system.is_short and system.spare is not None:
        lacking = f"{display.pressures(-system.spare)} {display.pressure} are lacking"
        short = "the fan does not carry it"
        out.append((f"The fan does not carry it: {lacking}.", short))
    failed = unkept_checks(option.analysis)
    return [*out, failed] if any(failed) else out


def unkept_checks(analysis: Analysis) -> tuple[str, str]:
    """Which checks are not kept, as a sentence and in short; '' if all are."""
    failed = [check.rule for check in analysis.checks if not check.is_kept]
    if not failed:
        return "", ""
    limited = sum(check.limit is not None for check in analysis.checks)
    are, which = "is" if len(failed) == 1 else "are", "; ".join(failed)
    return (
        f"{len(failed)} of {counted(limited, 'check')} {are} not kept: {which}.",
        f"{counted(len(failed), 'check')} {are} not kept ({which})",
    )


def drawing_failings(errors: int, lacking: int) -> str:
    """Why a drawing ends `check --strict` with 1, as `failing_sentence` has it."""
    reasons = []
    if errors:
        reasons.append(f"{counted(errors, 'error')} in the drawing")
    if lacking:
        reasons.append(_unbuilt(lacking))
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
        for gap in clashing[:MOST_NAMED]
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


def _unbuilt(faults: int) -> str:
    return f"it cannot be built as drawn, for {counted(faults, 'reason')}"
