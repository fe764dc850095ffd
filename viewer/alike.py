"""Findings of one kind told as one: the first in full, of the others their places."""

import re
from collections.abc import Iterable, Sequence

from elbowroom.layout import Notice, Severity, some

_FEW = 3  # fewer than this are each told in full
_LISTED = 5  # places behind the first
_OFFERS = "did you mean"
# What differs between findings of one kind: names, then numbers with their units.
_NAME = re.compile(r"'[^']*'")
_NUMBER = re.compile(r"Ø?[-\d.]*\d(?:[×x][\d.]+)?(?: ?(?:mm|m|in|ft))?\b")


def alike(findings: Iterable[Notice]) -> list[list[Notice]]:
    """Findings in groups of one kind, each where its first one stood.

    Parameters
    ----------
    findings
        The gravest first.

    Returns
    -------
    groups
        One finding each, or several that differ by names and numbers alone.
    """
    every = list(findings)
    kinds: dict[object, list[Notice]] = {}
    for one in every:
        texts = [one.what, one.remedy, one.effect]
        kind = [_NUMBER.sub("#", _NAME.sub("'", text)) for text in texts]
        if one.remedy.startswith(_OFFERS):  # each has its own to be told
            kind = [one.sentence]
        kinds.setdefault((one.severity, *kind), []).append(one)
    groups: list[list[Notice]] = []
    for group in kinds.values():
        groups += [group] if len(group) >= _FEW else [[one] for one in group]
    order = {id(one): place for place, one in enumerate(every)}
    return sorted(groups, key=lambda group: order[id(group[0])])


def others(group: Sequence[Notice], file: str) -> str:
    """The places of a group behind its first: a few, and how many more.

    What has to be mended is told with each, where it is not word for word the same.

    Parameters
    ----------
    group
        Findings of one kind.
    file
        Name of the drawing, which need not be told at each.
    """
    told = []
    for one in group[1:]:
        same = one.what == group[0].what or one.severity == Severity.NOTE
        where = one.where.removeprefix(f"{file}, ")
        told.append(where if same else f"{where}: {one.what}")
    return some(told, _LISTED, "; ")
