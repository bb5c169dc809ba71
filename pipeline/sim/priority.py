"""Keeping an encoder from raising this thread's priority for good.

SVT-AV1 4.1, in a process of root's, puts the thread that opens the encoder into the real-time class ``SCHED_FIFO`` at
99 and leaves it there (seen with ``chrt``): that thread, and every process that it starts from then on, keeps all
others from the processor.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def same_priority() -> Iterator[None]:
    """Within it this thread may be given another scheduling class; afterwards it has the one from before."""
    if not hasattr(os, "sched_getscheduler"):  # not Linux
        yield
        return
    policy, priority = os.sched_getscheduler(0), os.sched_getparam(0)
    try:
        yield
    finally:
        os.sched_setscheduler(0, policy, priority)
