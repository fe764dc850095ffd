"""What is to be said of options side by side: of one alone, of several, of all."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace

from elbowroom.layout import Notice
from elbowroom.physics import Option

_COUNT = re.compile(r"\band (\d+) more\b")  # as `some` ends a list
# What a clash says, and the effect of a fitting without room, on either side.
_GRAVE = "cannot be built as drawn"


def told_of(options: Sequence[Option]) -> list[tuple[tuple[str, ...], list[Notice]]]:
    """What is to be said of options, each thing once, with those that it is of.

    Two notices are one where only the name of the option's own file or schedule tells
    them apart, or how many more there are behind a list: then neither file is named,
    and the least and the greatest of these numbers are.

    Parameters
    ----------
    options
        At least one.

    Returns
    -------
    told
        Names of options, and what is to be said of these: first of each alone, then of
        several, at last of all; what cannot be built as drawn before all else.
    """
    plans = {option.analysis.graph.schedule.file for option in options}
    told: dict[str, dict[int, Notice]] = {}
    grave: set[str] = set()
    for place, option in enumerate(options):
        graph = option.analysis.graph
        own = {graph.drawing.file: "the drawing"}
        if len(plans) > 1:
            own[graph.schedule.file] = "the schedule"
        for said in option.flags:
            key = _COUNT.sub("and more", _without(said, own).sentence)
            while told.get(key, {}).get(place, said).sentence != said.sentence:
                key += "'"  # this option has another one that differs in a number
            told.setdefault(key, {})[place] = said
            if _GRAVE in f"{said.what}; {said.effect}":
                grave.add(key)
    groups: dict[tuple[int, ...], list[Notice]] = {}
    for key in sorted(told, key=lambda key: key not in grave):
        found = told[key]
        one = next(iter(found.values()))
        if len({said.sentence for said in found.values()}) > 1:
            one = _of_several(found, options)
        groups.setdefault(tuple(found), []).append(one)
    return [
        (tuple(options[place].name for place in places), groups[places])
        for places in sorted(groups, key=lambda places: (len(places), places))
    ]


def _of_several(found: Mapping[int, Notice], options: Sequence[Option]) -> Notice:
    """One notice for several that differ in their files' names and in counts."""
    plain = []
    for place, said in found.items():
        graph = options[place].analysis.graph
        files = {graph.drawing.file: "the drawing", graph.schedule.file: "the schedule"}
        plain.append(_without(said, files))
    where, what, remedy = (
        _joined([getattr(said, part) for said in plain])
        for part in ("where", "what", "remedy")
    )
    return replace(plain[0], where=where, what=what, remedy=remedy)


def _without(said: Notice, files: Mapping[str, str]) -> Notice:
    """A notice with other words for names of files; a drawing is no place to name."""
    parts = {part: getattr(said, part) for part in ("where", "what", "remedy")}
    for file, words in files.items():
        if not file:
            continue
        name = re.compile(rf"(?<![\w.-]){re.escape(file)}(?![\w-])")
        if words == "the drawing":
            where = re.sub(rf"^{name.pattern}(, |$)", "", parts["where"])
            parts["where"] = where
        parts = {part: name.sub(words, text) for part, text in parts.items()}
    return replace(said, **parts)


def _joined(texts: Sequence[str]) -> str:
    """Texts that differ in how many more there are, as one."""
    counts = [list(map(int, _COUNT.findall(text))) for text in texts]
    ranges = iter(zip(*counts, strict=True))

    def words(_: re.Match[str]) -> str:
        of = next(ranges)
        low, high = min(of), max(of)
        return f"and {low} more" if low == high else f"and {low} to {high} more"

    return _COUNT.sub(words, texts[0])
