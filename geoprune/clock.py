"""The time that is written into results: now, or the one that the environment fixes so that two runs give the same bytes."""

from __future__ import annotations

import os
from datetime import UTC, date, datetime

#: Seconds since 1970-01-01 UTC (https://reproducible-builds.org/specs/source-date-epoch/).
FIXED = "SOURCE_DATE_EPOCH"
#: The last second of the year 9999, the latest that dates can hold.
LATEST = 253_402_300_799


def fixed() -> datetime | None:
    """Return the time that the environment fixes; None where it fixes none that can be.

    Examples
    --------
    >>> os.environ["SOURCE_DATE_EPOCH"] = "86400"
    >>> fixed().isoformat(), today().isoformat()
    ('1970-01-02T00:00:00+00:00', '1970-01-02')
    >>> del os.environ["SOURCE_DATE_EPOCH"]
    """
    text = os.environ.get(FIXED, "")
    known = text.isascii() and text.isdigit() and int(text[:20]) <= LATEST
    return datetime.fromtimestamp(int(text), UTC) if known else None


def now() -> datetime:
    """Return the time to write, in UTC."""
    return fixed() or datetime.now(UTC)


def today() -> date:
    """Return the day to write: here, or in UTC where it is fixed."""
    moment = fixed()
    return date.today() if moment is None else moment.date()
