"""Sections written in names: 600x300, 24x12in, 24"x12", D200, Ø8in."""

import json
import re
import unicodedata
from collections.abc import Iterable, Sequence
from functools import lru_cache

from . import fractions
from .quantity_words import section_words
from .sections import LARGEST_SIDE, Section, flat_oval, rectangular, round_section
from .units import UNITS

_UNIT = r"(?:\s?((?i:mm|cm|in(?:ch(?:es)?)?)|\"|″|”|''))?"
_NUMBER = r"(\d+(?:\.\d+)?)"
_OVAL = r"(?i:(?:flat\s+)?oval)"
_ROUND_SIGN = "(?:DN|dn|[DdØø⌀])"
# Neither the end of a number with a mark in it, as 1,200, nor one of several ducts.
_APART = r"(?<!\d[,'’])(?<!\d[xX×*]\s)(?<!\d\s[xX×*]\s)"
# A word of its own: not inside another word, and not one of three numbers.
_RECTANGLE = re.compile(
    rf"(\b{_OVAL}\s+)?"
    rf"(?<![\w.×*]){_APART}{_NUMBER}{_UNIT}\s?[xX×*]\s?{_NUMBER}{_UNIT}"
    rf"(?![\w×*\"″”]|[.,]\d)(\s+\(?{_OVAL}\b\)?)?",
)
_ROUND = re.compile(
    rf"(?<!\w){_APART}{_ROUND_SIGN}\s?{_NUMBER}{_UNIT}(?![\w\"″”]|[.,]\d)"
)
_OTHER_UNIT = re.compile(
    rf"(?<![\w.×*])(?:{_NUMBER}\s?\w{{0,2}}\s?[xX×*]|(?<!\w){_ROUND_SIGN})"
    rf"\s?{_NUMBER}\s?(?:m|ft|')(?!\w)"
)
# One length, with a unit that is no word.
_ALONE = re.compile(
    rf"(?<![\w.×*,'’/-]){_NUMBER}(?:\s?(?:mm|cm|(?i:inch(?:es)?))|(?i:in)|\"|″|”|'')(?!\w)"
)
_MARK = re.compile(r"\d[,'’]\d")
_MARKED = r"\d[\d.,'’]{0,20}"
_MARKED_SIZE = re.compile(
    rf"(?<!\w)(?:{_MARKED}{_UNIT}\s?[xX×*]|{_ROUND_SIGN})\s?{_MARKED}{_UNIT}"
)
_SEVERAL = re.compile(
    rf"\d\s?[xX×*]\s(?:{_NUMBER}\s?[xX×*]\s?|{_ROUND_SIGN}\s?){_NUMBER}{_UNIT}(?!\w)"
)
# The same with a fraction of an inch in a side; whether there is one tells the reader.
_SIDE = rf"({fractions.FRACTION}|\d+(?:\.\d+)?)"
_BROKEN_RECTANGLE = re.compile(
    rf"(?<![\w.×*]){_SIDE}{_UNIT}\s?[xX×*]\s?{_SIDE}{_UNIT}(?![\w×*/\"″”]|\.\d)"
)
_BROKEN_ROUND = re.compile(rf"(?<!\w){_ROUND_SIGN}\s?{_SIDE}{_UNIT}(?![\w/\"″”]|\.\d)")
_MIXED = re.compile(fractions.MIXED)
_METRIC = ("mm", "cm")
_SIGN = re.compile("[xX×*DdØø⌀]")  # without one of these there is no section
_COPY = re.compile(r"\.\d{3}$")  # what some tools append to a name used twice
# The same, and what `unique` and other tools put there.
_NUMBER_OF_COPY = re.compile(r"(?:\.\d{3}| \((?:[2-9]|[1-9]\d+)\))+$")
_NUMBER_WITHIN = re.compile(r"\.\d{3}(?!\d)| \((?:[2-9]|[1-9]\d+)\)")
_SECTION_KEYS = {"toml": 'section = "600x300 mm", ', "obj": ""}  # of a run, by format
_BARE_RANGE = (50.0, 5000.0)  # bare numbers outside it are no duct in millimetres


def section_in_name(name: str) -> tuple[Section, str] | None:
    """Find a section in a name.

    Parameters
    ----------
    name
        A name; an underscore counts as a blank.

    Returns
    -------
    found
        The section and how it was read, or None. Numbers without a unit are
        millimetres, and both must lie between 50 and 5000. A unit behind the second
        of two sides is of both; behind the first alone it makes no section. A side
        in inches may have a fraction behind its whole number, 3 1/4 or 3-1/4. An 'in'
        behind a blank and numbers that could be millimetres leaves a doubt: None.

    Examples
    --------
    >>> section_in_name("T1 600x300")[0].words
    '600×300 mm'
    >>> section_in_name("supply_D8in")[0].words
    'Ø203.2 mm'
    >>> section_in_name('T1 24"x12"')[0].words_in("in")
    '24×12 in'
    >>> section_in_name("stack 3 1/4x12in")[0].words_in("in")
    '3.25×12 in'
    >>> section_in_name("beam 600x300x2000") is None
    True
    """
    found = _search(name)
    return None if found is None else found[:2]


def whole_section(text: str) -> tuple[Section, str] | None:
    """Section of a text that says nothing else, as `section_in_name` has it, or None.

    An 'in' behind it is a unit there, never a word.

    Examples
    --------
    >>> whole_section("600x300")[0].words
    '600×300 mm'
    >>> whole_section("60x54 in")[0].words_in("in")
    '60×54 in'
    >>> whole_section("2 of 600x300") is None
    True
    """
    text = text.strip()
    found = None if _COPY.search(text) else _search(text, is_name=False)
    if found is None or found[2] != (0, len(_decimal(_plain(text))[0])):
        return None
    return found[:2]


def other_section_in_name(name: str) -> str | None:
    """Words of a second section in a name, unless it is the same one.

    Examples
    --------
    >>> other_section_in_name("T1 600x300 D200")
    'Ø200 mm (7.87 in)'
    >>> other_section_in_name("duct 600x300") is None
    True
    """
    if len(_SIGN.findall(name)) < 2 or (found := _search(name)) is None:
        return None
    begin, end = found[2]
    plain = _decimal(_plain(name))[0]
    other = _search(plain[:begin] + " , " + plain[end:])
    return None if other is None or other[0] == found[0] else section_words(other[0])


def unread_in_name(name: str) -> tuple[str, str] | None:
    """Find what looks like a section in a name and is not taken as one.

    Parameters
    ----------
    name
        A name, in which `section_in_name` finds nothing.

    Returns
    -------
    found
        What was seen with why it was not taken, and how to write it; or None.

    Examples
    --------
    >>> unread_in_name("trunk 24x12")[1]
    'write "24x12in" if it is in inches'
    >>> unread_in_name("trunk 24x12 flat oval")[1]
    'write "24x12in flat oval" if it is in inches'
    >>> unread_in_name("trunk oval 24x12")[1]
    'write "oval 24x12in" if it is in inches'
    >>> unread_in_name("trunk 0.6x0.3m")[1]
    'write mm, cm or in'
    >>> unread_in_name("stack 3/4x12in")[1]
    "write a whole number before the fraction, or a decimal number, as '3.25x12in'"
    >>> unread_in_name("master 8in")[1]
    "write 'D8in' if it is one"
    >>> unread_in_name("trunk 7") is None
    True
    """
    plain = _plain(name)
    if fault := _broken_fault(plain):
        return fault
    for marked in _MARKED_SIZE.finditer(plain):
        if _MARK.search(marked[0]):
            return (
                f"'{marked[0].strip()}' was not taken: a comma or an apostrophe within "
                "a number is not read",
                "write no mark between thousands, and a decimal point",
            )
    if several := _SEVERAL.search(plain):
        return (
            f"'{several[0].strip()}' was not taken: it may be a number of ducts",
            "draw each duct as a line of its own, and name the section of one",
        )
    if match := _OTHER_UNIT.search(plain):
        why = "is in a unit that no section in a name has"
        return f"'{match[0].strip()}' was not taken: it {why}", "write mm, cm or in"
    if match := _RECTANGLE.search(plain):
        seen, unit = match[0].strip(), match[5] or match[3]
        if match[3] and not match[5]:
            return (
                f"'{seen}' was not taken: its second side has no unit",
                "write the unit behind it",
            )
    elif match := _ROUND.search(plain):
        seen, unit = match[0].strip(), match[2]
    if match and not unit:
        more = match[6] or "" if match.re is _RECTANGLE else ""
        sides = seen.removesuffix(more)
        return _too_far(seen), f'write "{sides}in{more}" if it is in inches'
    if match and _may_be_a_word(match):
        return (
            f"'{seen}' was not taken: its '{unit}' may be inches or a word",
            "write the unit without a blank before it, as in 60x50mm or 60x50in",
        )
    if not match and (match := _ALONE.search(plain)):
        seen = match[0].strip()
        return (
            f"'{seen}' was not taken: no D before it says that it is a diameter",
            f"write 'D{seen}' if it is one",
        )
    return None


def _may_be_a_word(match: re.Match[str]) -> bool:
    """Whether the 'in' behind what may be millimetres is one, as in 'D200 in shaft'.

    Also at the end of a name, where it may say which way the air goes.
    """
    is_rectangle = match.re is _RECTANGLE
    unit = 5 if is_rectangle else 2
    return (
        (match[unit] or "").lower() == "in"
        and match.string[match.start(unit) - 1].isspace()
        and all(map(_is_bare, (match[2], match[4]) if is_rectangle else (match[1],)))
        and not (is_rectangle and match[6])
    )


def _too_far(seen: str) -> str:
    """Why a section without a unit is none."""
    low, high = _BARE_RANGE
    return (
        f"'{seen}' was not taken: without a unit it would be in millimetres, and bare "
        f"numbers must lie between {low:.0f} and {high:.0f} for that"
    )


def no_section(name: str) -> str:
    """Say that a run has no section, and what of its name was not taken as one."""
    unread = unread_in_name(name)
    return "the run has no section" + (f", and {unread[0]}" if unread else "")


def without_section(name: str, line: str, file: str) -> str:
    """Say how to give a run of a name its section.

    `line` is that of the schedule; the ending of `file` says what its runs can hold.
    """
    unread = unread_in_name(name)
    kind = file.lower().rpartition(".")[2]
    own = _SECTION_KEYS.get(kind, "width_m and height_m or diameter_m in the extras, ")
    return (
        f"{unread[1]}, or " if unread else ""
    ) + f"give it {own}a name such as 600x300 or D200, or {line}"


def bare_section_fault(text: str) -> tuple[str, str] | None:
    """Why a section that is written without a unit is not taken; None for others."""
    plain = text.strip()
    match = _RECTANGLE.fullmatch(plain) or _ROUND.fullmatch(plain)
    if match is None or _may_be_a_word(match):
        return None
    if _COPY.search(plain):
        return (
            f"'{plain}' was not taken: three digits behind a point at its end are read "
            "as the number of a copy",
            "write its unit behind it, mm, cm or in",
        )
    return unread_in_name(plain)


def bare_name(name: str) -> str:
    """Name without its sections and without a copy's number; may be empty.

    Examples
    --------
    >>> bare_name("T1 600x300.001")
    'T1'
    """
    plain = _COPY.sub("", name).strip()
    while (found := _search(plain)) is not None:
        begin, end = found[2]
        plain = _decimal(plain.replace("_", " "))[0]
        plain = re.sub(r"[\s_]+", " ", plain[:begin] + " " + plain[end:]).strip()
    return plain


def without_number(name: str) -> str:
    """Name without the number of a copy.

    Examples
    --------
    >>> without_number("T1 600x300 (2)"), without_number("T1.001"), without_number("T1")
    ('T1 600x300', 'T1', 'T1')
    """
    if name[-1:] != ")" and name[-4:-3] != ".":
        return name
    return _NUMBER_OF_COPY.sub("", name)


def any_may_be_copies(names: Iterable[str]) -> bool:
    """Whether one of some names may have the number of a copy, wherever it stands.

    Examples
    --------
    >>> any_may_be_copies(["T1", "T1 (2) D200"]), any_may_be_copies(["T1", "T2 0.25m"])
    (True, False)
    """
    return _NUMBER_WITHIN.search("\n".join(names)) is not None


def numbered(name: str) -> tuple[str, str]:
    """Name without its sections and the number of a copy, and that number.

    Examples
    --------
    >>> numbered("T1 600x300.001"), numbered("T1 (2) D200"), numbered("T1 D200")
    (('T1', '.001'), ('T1', ' (2)'), ('T1', ''))
    """
    plain = without_number(name)
    bare = bare_name(plain)
    if plain == name:  # its section may stand behind the number
        plain = without_number(bare)
        return plain, bare[len(plain) :]
    return bare, name[len(plain) :]


def unsized(name: str) -> str:
    """Name without its sections, with the number of a copy; may be empty.

    Examples
    --------
    >>> unsized("T1 600x300.001"), unsized("T1 600x300 (2)"), unsized("600x300.001")
    ('T1.001', 'T1 (2)', '')
    """
    bare, number = numbered(name)
    return bare and bare + number


def toml_key(name: str) -> str:
    r"""Name as a key or a text of TOML, quoted so that it is valid whatever it holds.

    Examples
    --------
    >>> print(toml_key("T1"), toml_key('T1 24"x12"'), toml_key("6'"), toml_key("a\\b"))
    "T1" 'T1 24"x12"' "6'" 'a\b'
    """
    printable = all(sign >= " " and sign != "\x7f" for sign in name)
    if '"' not in name and "\\" not in name and printable:
        return f'"{name}"'
    if "'" not in name and printable:
        return f"'{name}'"
    # Every text of JSON is one of TOML too, but for this sign.
    return json.dumps(name, ensure_ascii=False).replace("\x7f", "\\u007f")


def composed(name: str) -> str:
    r"""Name with its accents in the one form that names are compared in.

    The same letters come as one sign or as two, as keyboards and file systems have it;
    whatever makes a drawing or reads a schedule composes them: Unicode Standard Annex
    15, form NFC.

    Examples
    --------
    >>> composed("Ku\u0308che") == "K\xfcche"
    True
    """
    return unicodedata.normalize("NFC", name)


def unique(names: Sequence[str]) -> list[str]:
    """Names with a number behind those that are there already.

    Examples
    --------
    >>> unique(["a", "a", "a (2)"])
    ['a', 'a (3)', 'a (2)']
    """
    if len(set(names)) == len(names):
        return list(names)
    taken, given, count = set(names), set[str](), dict[str, int]()
    out = []
    for name in names:
        if name in given:
            number = count.get(name, 1) + 1
            while f"{name} ({number})" in taken:
                number += 1
            count[name], name = number, f"{name} ({number})"
            taken.add(name)
        given.add(name)
        out.append(name)
    return out


@lru_cache(maxsize=4096)  # a node and its mesh often go by one name
def _search(
    name: str, is_name: bool = True
) -> tuple[Section, str, tuple[int, int]] | None:
    if not _SIGN.search(name):
        return None
    plain, is_clear = _decimal(_plain(name))
    if not is_clear:
        return None
    for match in _RECTANGLE.finditer(plain):
        before, wide, unit, tall, last, behind = match.groups()
        if (unit and not last) or (is_name and _may_be_a_word(match)):
            continue
        sides = _metres(wide, unit or last), _metres(tall, last)
        if sides[0] is None or sides[1] is None:
            continue
        make = flat_oval if before or behind else rectangular
        return make(sides[0], sides[1]), _how(match[0], last), match.span()
    for match in _ROUND.finditer(plain):
        diameter = _metres(match[1], match[2])
        if diameter is not None and not (is_name and _may_be_a_word(match)):
            return round_section(diameter), _how(match[0], match[2]), match.span()
    return None


def _plain(name: str) -> str:
    """Name without a copy's number, and with blanks for underscores."""
    return _COPY.sub("", name).replace("_", " ")


def _decimal(plain: str) -> tuple[str, bool]:
    """Name with decimals for the fractions of its sides in inches; False if in doubt.

    Whatever could be meant otherwise is left to the reader of the message: a fraction
    alone may be a count, as in 'AHU 3/4x12in', and what follows two sides that are a
    duct in millimetres may be said of its lining.
    """
    if not fractions.seen_in(plain):
        return plain, True
    is_clear = True

    def written(match: re.Match[str]) -> str:
        nonlocal is_clear
        text = match[0]
        if match.re is _BROKEN_RECTANGLE:
            sides, unit = [match[1], match[3]], match[4]
            bare = match[2] is None and not fractions.seen_in(match[1])
        else:
            sides, unit, bare = [match[1]], match[2], True
        broken = [side for side in sides if fractions.seen_in(side)]
        if not broken or unit is None:
            return text
        values = [fractions.inches(side) for side in broken]
        mixed = [_MIXED.fullmatch(side) is not None for side in broken]
        if unit.lower() in _METRIC or None in values:
            is_clear &= not any(mixed)
            return text
        if bare and all(_is_bare(side) for side in sides):
            if max(map(_whole, sides)) * UNITS["in"].factor <= LARGEST_SIDE:
                is_clear = False
            return text
        if not all(mixed):
            is_clear = False
            return text
        for side, value in zip(broken, values, strict=True):
            text = text.replace(side, f"{value:.10g}", 1)
        return text

    for pattern in (_BROKEN_RECTANGLE, _BROKEN_ROUND):
        plain = pattern.sub(written, plain)
    return plain, is_clear


def _whole(side: str) -> float:
    """Number of a side without its fraction; 0 of a fraction alone."""
    match = re.match(r"\d+(?:\.\d+)?(?!/)", side)
    return float(match[0]) if match and not re.match(r"\d+/", side) else 0.0


def _is_bare(side: str) -> bool:
    return _BARE_RANGE[0] <= _whole(side) <= _BARE_RANGE[1]


def _broken_fault(plain: str) -> tuple[str, str] | None:
    """Why a section with a fraction is none, and how to write it; None for others."""
    if not fractions.seen_in(plain):
        return None
    for pattern in (_BROKEN_RECTANGLE, _BROKEN_ROUND):
        for match in pattern.finditer(plain):
            *sides, unit = (
                (match[1], match[3], match[4])
                if pattern is _BROKEN_RECTANGLE
                else (match[1], match[2])
            )
            if not any(map(fractions.seen_in, sides)):
                continue
            seen = match[0].strip()
            if unit is None:
                return (
                    f"'{seen}' was not taken: a fraction is one of inches, and it "
                    "has no unit",
                    f'write "{seen}in" if it is in inches',
                )
            return (
                f"'{seen}' was not taken: its fraction may be read in more than one "
                "way",
                "write a whole number before the fraction, or a decimal number, as "
                "'3.25x12in'",
            )
    return None


def _metres(number: str, unit: str | None) -> float | None:
    value = float(number)
    if unit is None:
        return value / 1000 if _BARE_RANGE[0] <= value <= _BARE_RANGE[1] else None
    metres = value * UNITS[unit.lower()].factor
    return metres if 0.0 < metres <= LARGEST_SIDE else None


def _how(words: str, unit: str | None) -> str:
    words = words.strip()
    return f"'{words}' in the name" + ("" if unit else ", taken as millimetres")
