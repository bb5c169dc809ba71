"""How often somebody may do something: a bucket of tokens for each, filled at an even rate."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Hashable

MOST_KEPT = 10_000


class Limit:
    """At most so many a minute for each key, a whole minute's worth at once.

    Parameters
    ----------
    per_minute : int
    clock : callable
        Seconds that only go forward.
    """

    def __init__(self, per_minute: int, clock: Callable[[], float] = time.monotonic) -> None:
        self._most, self._per_s, self._clock = float(per_minute), per_minute / 60, clock
        self._left: dict[Hashable, tuple[float, float]] = {}
        self._lock = threading.Lock()

    def wait_s(self, key: Hashable) -> float:
        """Take one token; 0 when there was one, else the seconds until there is one."""
        with self._lock:
            now = self._clock()
            left, at = self._left.get(key, (self._most, now))
            left = min(self._most, left + (now - at) * self._per_s)
            if len(self._left) > MOST_KEPT:
                self._forget(now)
            if left < 1:
                self._left[key] = (left, now)
                return (1 - left) / self._per_s
            self._left[key] = (left - 1, now)
            return 0.0

    def _forget(self, now: float) -> None:
        """Drop the buckets that have filled up again."""
        self._left = {
            k: (left, at) for k, (left, at) in self._left.items() if left + (now - at) * self._per_s < self._most
        }
