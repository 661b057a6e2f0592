"""How the program starts, and how it stops when it is asked to: whatever is begun is unwound."""

import os
import sys

TYPE_CHECKING = False
if TYPE_CHECKING:
    from types import FrameType
    from typing import NoReturn

#: Signals that end a run; a run that was started to outlive them (nohup) goes on.
ENDING = ("SIGINT", "SIGTERM", "SIGHUP")


def main() -> "NoReturn":
    """Run the command line. Exit codes: those of `geoprune.cli`, or 128 + the signal that ended the run."""
    try:
        heed_signals()
        from geoprune.cli import run

        code = run()
    except KeyboardInterrupt:
        os._exit(130)  # before our own answer to it was in place: nothing is begun that needs unwinding
    sys.exit(code)


def heed_signals() -> None:
    """Let signals that end a run unwind it."""
    import signal

    for name in ENDING:
        number = getattr(signal, name, None)
        if number is not None and signal.getsignal(number) is not signal.SIG_IGN:
            signal.signal(number, _leave)


def _leave(number: int, frame: "FrameType | None") -> "NoReturn":
    """Unwind everything, so that nothing half-written stays."""
    raise SystemExit(128 + number)


if __name__ == "__main__":
    main()
