"""Where large arrays get their memory from."""

import numpy as np

_LARGEST = (32 << 20) - (64 << 10)  # bytes; glibc looks at nothing of 32 MiB and above


def keep_freed_memory() -> None:
    """Let freed arrays of up to some 30 MB stay with the process for the next ones.

    The GNU allocator begins by handing each larger array back to the system when it is
    freed, and the next one is then paid for page by page: a fifth of an analysis. It
    leaves this off for sizes that it has once seen freed, so it is shown one, which is
    never touched and so takes no memory. At most twice that size stays unused. Other
    allocators do not mind.

    Source: mallopt(3), "dynamic mmap threshold", from memory.
    """
    np.empty(_LARGEST, dtype=np.uint8)
