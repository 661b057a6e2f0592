"""Blocks that are laid out and wait for their turn: a few in memory, the others in files, so that an estate may be large."""

from __future__ import annotations

import pickle
import shutil
import tempfile
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Generic, TypeVar, overload

from geoprune.owned import clear_left_over, owned_folder
from geoprune.plan.preparing import Prepared

Item = TypeVar("Item")
#: Blocks that stay in memory; about 1 MB each.
MOST_HELD = 50
#: How the folder of those that do not is called among temporary files. Only this run writes and reads it, and removes it.
FOLDER = ("geoprune-", ".blocks")


class Lazily(Sequence[Item], Generic[Item]):
    """A sequence whose items are made when they are asked for."""

    def __init__(self, count: int, make: Callable[[int], Item]) -> None:
        self._count, self._make = count, make

    def __len__(self) -> int:
        return self._count

    @overload
    def __getitem__(self, position: int) -> Item: ...
    @overload
    def __getitem__(self, position: slice) -> Sequence[Item]: ...
    def __getitem__(self, position: Any) -> Any:
        """Return one item; of a slice, those in it."""
        if isinstance(position, slice):
            return [self[place] for place in range(*position.indices(self._count))]
        if not -self._count <= position < self._count:
            raise IndexError(position)
        return self._make(position % self._count)


class Shelf(Lazily[Prepared]):
    """Blocks laid out, in order.

    Attributes
    ----------
    names : list of str
    vines : list of int
        How many places each block has.
    """

    def __init__(self, folder: Path) -> None:
        super().__init__(0, self._taken)
        self._folder, self._held = folder, list[Prepared]()
        self.names: list[str] = []
        self.vines: list[int] = []

    def append(self, block: Prepared) -> None:
        """Put a block behind the others."""
        if len(self._held) < MOST_HELD:
            self._held.append(block)
        else:
            try:
                with self._place(len(self.names)).open("wb") as target:
                    pickle.dump(block, target, protocol=pickle.HIGHEST_PROTOCOL)
            except OSError as error:  # with the place named that is full
                raise OSError(error.errno, error.strerror, str(self._folder.parent)) from error
        self.names.append(block.settings.block)
        self.vines.append(len(block.trellis.vines))
        self._count += 1

    def _taken(self, position: int) -> Prepared:
        if position < len(self._held):
            return self._held[position]
        with self._place(position).open("rb") as source:
            found: Prepared = pickle.load(source)
        return found

    def _place(self, position: int) -> Path:
        return self._folder / str(position)


@contextmanager
def empty_shelf() -> Iterator[Shelf]:
    """Yield a shelf; what is on it is gone at the end, and what killed runs left is cleared first."""
    where = Path(tempfile.gettempdir())
    clear_left_over(where, *FOLDER)
    with owned_folder(where, *FOLDER) as folder:
        try:
            yield Shelf(folder)
        finally:
            shutil.rmtree(folder, ignore_errors=True)
