"""Floor 3: effects from readings."""

from doe.fit.analyse import analyse
from doe.fit.effects import Effects

__all__ = ["Effects", "analyse"]
