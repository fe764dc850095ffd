"""The shipped reference and guides, and the parts of them that a word is in."""

import re
from importlib.resources import files

from elbowroom.layout import nearest, refusal

# What each file is, in the order in which they are searched.
_FILES = {
    "viewer/reference.md": "every key, word, column and option",
    "layout/drawing.md": "how a drawing and a schedule are read",
    "physics/method.md": "how the numbers are made",
}
# Of so many words some have letters in common with any: 'Both' with 'boot'.
_CLOSE = 0.78


def reference(word: str = "") -> str:
    """Text of the reference, or what stands of a word in it and in the guides.

    Parameters
    ----------
    word
        In a heading, which gives all that stands below it, else in rows and paragraphs,
        each below its heading, which names the file; as a whole word where there is
        one. The name of a file, or its title, gives all of it. Without a word it is
        the reference, and a line that names the guides.

    Raises
    ------
    BadInput
        If it is nowhere.
    """
    word = word.strip()
    texts = {name: _text(name) for name in _FILES}
    own, *guides = _FILES
    if not word:
        told = "; ".join(f"{name}, {_FILES[name]}" for name in guides)
        return f"{texts[own]}\nGuides, printed by name and searched too: {told}.\n"
    for name, text in texts.items():
        title = text.partition("\n")[0].lstrip("# ")
        if word.lower() in (name, name.partition("/")[2], title.lower()):
            return text
    for pattern in (rf"(?<!\w){re.escape(word)}(?!\w)", re.escape(word)):
        wanted = re.compile(pattern, re.IGNORECASE)
        found = [part for name in texts for part in _parts(name, texts[name], wanted)]
        if found:
            return "\n\n".join(found) + "\n"
    known = re.findall(r"\w{3,}", "\n".join(texts.values()))
    near = nearest(word, dict.fromkeys(known), _CLOSE)
    raise refusal(
        "reference",
        f"'{word}' is neither in it nor in the guides",
        f"did you mean '{near}'"
        if near
        else "give another word, or none for all of it",
    )


def _text(name: str) -> str:
    """What a file of a room holds."""
    room, _, file = name.partition("/")
    return files(f"elbowroom.{room}").joinpath(file).read_text("utf-8")


def _parts(name: str, text: str, word: re.Pattern[str]) -> list[str]:
    """What stands of a word in a file, heading by heading."""
    found = []
    within = 0  # rank of the heading with the word above, 0 below none
    for part in re.split(r"^(?=##+ )", text, flags=re.MULTILINE)[1:]:
        heading, _, below = part.partition("\n")
        rank = heading.index(" ")
        if not within or rank <= within:
            within = rank if word.search(heading) else 0
        kept = [below.strip()] if within else _blocks(below, word)
        if kept:
            found.append("\n\n".join([f"{heading} ({name})", *kept]))
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
