"""Floor 4: worth, effort, reach, and the next change."""

from doe.advise.advice import Advice
from doe.advise.recommend import recommend

__all__ = ["Advice", "recommend"]
