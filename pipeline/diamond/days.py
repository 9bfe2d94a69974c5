"""A day that stands beside a drawn shape."""

from __future__ import annotations

import datetime as dt


def day_of(noted) -> dt.date | None:
    """A date, a timestamp or text, as the file's format gives it; None where it is no date."""
    try:
        return dt.date.fromisoformat(str(noted)[:10])
    except ValueError:
        return None
