"""Floor 5: plans and routes of a project: from its records to the engines, and adopted plans back into them."""

from doe.planning.planning import Planning

__all__ = ["Planning"]
