"""Weights as they come in: which are likely wrong, why, and what was meant. Proposes; never changes."""

from geoprune.weighin.judging import LISTED, Entry, Finding, judge
from geoprune.weighin.written import Meaning, other_meanings

__all__ = ["LISTED", "Entry", "Finding", "Meaning", "judge", "other_meanings"]
