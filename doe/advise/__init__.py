"""Floor 4: worth, effort, reach, and the next change."""

from doe.advise.advice import Advice
from doe.advise.recommend import recommend
from doe.advise.track import Track, track
from doe.model.expectation import Expectation

__all__ = ["Advice", "Expectation", "Track", "recommend", "track"]
