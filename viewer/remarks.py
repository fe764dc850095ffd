"""Remarks of reviewers, as the review page saves them."""

import json
from collections.abc import Mapping, Sequence
from pathlib import Path

from elbowroom.layout import check_file, refusal
from elbowroom.physics import Analysis

_KEYS = ("option", "element", "name", "text")


def read_remarks(path: Path) -> list[dict[str, str]]:
    """Read remarks that a review page has saved, as `remarks.schema.json` says.

    Raises
    ------
    BadInput
        If the file holds no remarks of such a page.
    """
    remedy = "give the file that the page saved"
    check_file(path)
    try:
        content = json.loads(path.read_text("utf-8-sig"))
        if content["schema"] != "elbowroom.remarks/1":
            why = f"its schema is '{content['schema']}'"
        else:
            found = [{key: one[key] for key in _KEYS} for one in content["remarks"]]
            if all(isinstance(text, str) for one in found for text in one.values()):
                return found
            why = "a remark holds something else than text"
    except OSError as problem:
        why = f"it cannot be read: {(problem.strerror or str(problem)).lower()}"
    except KeyError as problem:
        why = f"'{problem.args[0]}' is missing"
    except (ValueError, TypeError, RecursionError):
        why = "it is other JSON, or none"
    raise refusal(path.name, f"it holds no remarks of a review page ({why})", remedy)


def astray(
    remarks: Sequence[Mapping[str, str]], layouts: Mapping[str, Analysis]
) -> list[str]:
    """Why each remark is of no piece of these layouts; '' where it is of one.

    A piece is known by its id and its name together: ids count along the layout, so
    after a change of it the same id may be another piece.

    Parameters
    ----------
    remarks
        As read.
    layouts
        Layouts by the names that the page gives them.
    """
    there = {
        (layout, identifier, analysis.name(row))
        for layout, analysis in layouts.items()
        for row, identifier in enumerate(analysis.ids)
    }
    return [
        f"there is no layout '{one['option']}' here"
        if one["option"] not in layouts
        else ""
        if (one["option"], one["element"], one["name"]) in there
        else f"'{one['option']}' has no such piece now"
        for one in remarks
    ]
