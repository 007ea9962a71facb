"""Floor 3: effects from readings."""

from doe.fit.analyse import analyse
from doe.fit.effects import Effects
from doe.fit.priors import Prior

__all__ = ["Effects", "Prior", "analyse"]
