"""Plans of blocks that are kept from one run to the next, so that a run goes on where the last one stopped.

They lie in the user's own cache folder, a folder for each folder of results, and never among the results: what is read
back is trusted as the program itself is, and results may come from anywhere.
"""

from __future__ import annotations

import hashlib
import os
import pickle
import sys
import tempfile
from collections.abc import Collection
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from geoprune.plan import BlockPlan


def cache_folder() -> Path:
    """Return the user's cache folder: by the XDG base directory specification, or the system's own."""
    if given := os.environ.get("XDG_CACHE_HOME", ""):
        return Path(given)
    if sys.platform == "win32" and (given := os.environ.get("LOCALAPPDATA", "")):
        return Path(given)
    return Path.home() / (Path("Library") / "Caches" if sys.platform == "darwin" else ".cache")


@dataclass(frozen=True)
class KeptPlans:
    """The plans kept for one folder of results, each under the digest of what it was made from."""

    folder: Path

    @classmethod
    def beside(cls, out: Path) -> KeptPlans:
        """Return those of a folder of results."""
        place = hashlib.sha256(os.fsencode(out.absolute())).hexdigest()[:20]
        return cls(cache_folder() / "geoprune" / "plans" / place)

    def read(self, key: str) -> BlockPlan | None:
        """Return a plan; None where there is none, or it is damaged."""
        try:
            data = (self.folder / key).read_bytes()
            if hashlib.sha256(data[32:]).digest() != data[:32]:
                return None
            plan = pickle.loads(data[32:])
        except (OSError, EOFError, pickle.UnpicklingError, AttributeError, ImportError, ValueError, TypeError):
            return None
        return plan if isinstance(plan, BlockPlan) else None

    def keep(self, key: str, plan: BlockPlan) -> None:
        """Keep a plan; where the disk does not take it, the next run makes it again."""
        data = pickle.dumps(plan, protocol=pickle.HIGHEST_PROTOCOL)
        with suppress(OSError):
            self.folder.mkdir(mode=0o700, parents=True, exist_ok=True)
            number, name = tempfile.mkstemp(dir=self.folder, suffix=".part")
            with os.fdopen(number, "wb") as target:
                target.write(hashlib.sha256(data).digest() + data)
            os.replace(name, self.folder / key)

    def forget_others(self, keys: Collection[str]) -> None:
        """Remove what is kept under other keys."""
        with suppress(OSError):
            for path in self.folder.iterdir():
                if path.name not in keys:
                    path.unlink(missing_ok=True)
