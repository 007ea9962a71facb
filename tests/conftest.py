from __future__ import annotations

from hypothesis import settings

# A shared machine has no deadline that a test could keep; more examples: pytest --hypothesis-profile=long
settings.register_profile("short", deadline=None, max_examples=30)
settings.register_profile("long", deadline=None, max_examples=1000)
settings.load_profile("short")
