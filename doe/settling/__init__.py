"""Floor 5: from the best variant to a settled version. Ties the store to the engines that settle; used by `doe.project`."""

from doe.settling.questions import Settling

__all__ = ["Settling"]
