"""Floor 5: simulated benches with a written-down truth, to see what a way of working is worth before working that way."""

from doe.rehearse.answer import Rehearsal
from doe.rehearse.rehearsal import rehearse

__all__ = ["Rehearsal", "rehearse"]
