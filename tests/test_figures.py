"""No figure of a table changes unseen: every file has the checksum that was reviewed.

After a change that is meant, look at the print again, then write the list anew:

    python tests/test_figures.py
"""

from hashlib import sha256
from pathlib import Path

DATA = Path(__file__).parents[1] / "physics" / "data"
LIST = Path(__file__).parent / "data" / "tables.sha256"


def checksums() -> str:
    """Checksum and name of every table, in the form of sha256sum."""
    return "".join(
        f"{sha256(path.read_bytes()).hexdigest()}  {path.name}\n"
        for path in sorted(DATA.glob("*.csv"))
    )


def test_every_table_is_as_it_was_reviewed() -> None:
    found, reviewed = checksums().splitlines(), LIST.read_text().splitlines()
    changed = [line.split()[1] for line in set(found) ^ set(reviewed)]
    assert sorted(set(changed)) == [], "look at the print again, then write the list"


if __name__ == "__main__":
    LIST.write_text(checksums(), encoding="utf-8")
