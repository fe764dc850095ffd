"""Where large arrays get their memory from."""

import platform
import subprocess
import sys

import pytest

# Page faults of 20 rounds in which four arrays of 3 MB are made and let go.
_ROUNDS = """
import resource
import numpy as np
{first}
def rounds(count):
    for _ in range(count):
        arrays = [np.ones(3 << 17) for _ in range(4)]
        del arrays
rounds(2)
before = resource.getrusage(resource.RUSAGE_SELF).ru_minflt
rounds(20)
print(resource.getrusage(resource.RUSAGE_SELF).ru_minflt - before)
"""


def _faults(first: str) -> int:
    code = _ROUNDS.format(first=first)
    run = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True
    )
    return int(run.stdout)


@pytest.mark.skipif(
    platform.libc_ver()[0] != "glibc", reason="other allocators have rules of their own"
)
def test_freed_arrays_serve_the_next_ones() -> None:
    """Against the same arrays in a process that has only numpy."""
    assert _faults("import elbowroom.layout") < 0.1 * _faults("")
