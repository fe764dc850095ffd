"""The shipped reference, and the parts of it that a word is in."""

import re
from importlib.resources import files

from elbowroom.layout import nearest, refusal


def reference(word: str = "") -> str:
    """Text of the reference, or what stands there of a word.

    Parameters
    ----------
    word
        In a heading, which gives all that stands below it, else in rows and paragraphs,
        each below its heading; as a whole word where there is one. All without it.

    Raises
    ------
    BadInput
        If it is nowhere.
    """
    text = files("elbowroom.viewer").joinpath("reference.md").read_text("utf-8")
    if not word.strip():
        return text
    wanted = re.escape(word.strip())
    for pattern in (rf"(?<!\w){wanted}(?!\w)", wanted):
        found = _parts(text, re.compile(pattern, re.IGNORECASE))
        if found:
            return "\n\n".join(found) + "\n"
    near = nearest(word, dict.fromkeys(re.findall(r"\w{3,}", text)))
    raise refusal(
        "reference",
        f"'{word}' is not in it",
        f"did you mean '{near}'"
        if near
        else "give another word, or none for all of it",
    )


def _parts(text: str, word: re.Pattern[str]) -> list[str]:
    """What stands of a word, heading by heading."""
    found = []
    within = 0  # rank of the heading with the word above, 0 below none
    for part in re.split(r"^(?=##+ )", text, flags=re.MULTILINE)[1:]:
        heading, _, below = part.partition("\n")
        rank = heading.index(" ")
        if not within or rank <= within:
            within = rank if word.search(heading) else 0
        kept = [below.strip()] if within else _blocks(below, word)
        if kept:
            found.append("\n\n".join([heading, *kept]))
    return found


def _blocks(text: str, word: re.Pattern[str]) -> list[str]:
    """Paragraphs with a word, and rows of tables below the heads of these."""
    found = []
    for block in text.strip().split("\n\n"):
        if not block.startswith("|"):
            found += [block] if word.search(block) else []
            continue
        *heads, rows = block.split("\n", 2)
        kept = [row for row in rows.split("\n") if word.search(row)]
        found += ["\n".join([*heads, *kept])] if kept else []
    return found
