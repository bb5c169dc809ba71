"""What a stage has done so far, shot by shot, kept on disk until the stage is done.

A stage whose shots are independent hands them to a :class:`~pipeline.crew.Spread`. :func:`kept` wraps one such that
every result is put into a folder as it comes, and what is there already is not worked on again. The folder belongs to
one key of the stage (:func:`~pipeline.night.stages.stage_key`), which stands for everything that its results depend
on, so the number of the call and of the item in it tell a result.
"""

from __future__ import annotations

import hashlib
import itertools
import os
import pickle
from collections.abc import Callable, Iterable, Iterator, Sequence
from pathlib import Path

from pipeline.crew import Item, Result, Spread
from pipeline.whole_files import temporary_of

DIGEST_BYTES = hashlib.sha256().digest_size


def kept(spread: Spread, folder: Path) -> Spread:
    """The same spread, whose results outlive a kill.

    Parameters
    ----------
    spread : Spread
    folder : Path
        Of one key of a stage, which makes its calls in the same order whenever it runs.
    """
    return _Kept(spread, folder)


class _Kept:
    def __init__(self, spread: Spread, folder: Path) -> None:
        self._spread, self._folder = spread, folder
        self._calls = itertools.count()

    def __call__(self, work: Callable[[Item], Result], items: Sequence[Item]) -> Iterable[Result]:
        call = next(self._calls)
        places = [self._folder / f"{call:03d}-{number:05d}" for number in range(len(items))]
        return self._results(work, items, places)

    def _results(
        self, work: Callable[[Item], Result], items: Sequence[Item], places: Sequence[Path]
    ) -> Iterator[Result]:
        there = [place.is_file() and _is_whole(place) for place in places]
        to_do = iter(self._spread(work, [item for item, known in zip(items, there, strict=True) if not known]))
        for place, known in zip(places, there, strict=True):
            if known:
                yield pickle.loads(place.read_bytes()[DIGEST_BYTES:])
                continue
            result = next(to_do)
            _keep(place, pickle.dumps(result, protocol=pickle.HIGHEST_PROTOCOL))
            yield result


def make_units(folder: Path) -> None:
    """Make a stage's folder in a game that is there: a game that is not is on a share that has gone away."""
    folder.parent.mkdir(exist_ok=True)
    folder.mkdir(exist_ok=True)


def _keep(place: Path, content: bytes) -> None:
    """Write a result; its digest, and not a wait for the disk, tells after a power cut whether it is whole."""
    make_units(place.parent)
    temporary = temporary_of(place)
    temporary.write_bytes(hashlib.sha256(content).digest() + content)
    os.replace(temporary, place)


def _is_whole(place: Path) -> bool:
    content = place.read_bytes()
    return content[:DIGEST_BYTES] == hashlib.sha256(content[DIGEST_BYTES:]).digest()
