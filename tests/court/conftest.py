"""Property tests judge results, not how busy the machine is."""

from hypothesis import settings

settings.register_profile("court", deadline=None)
settings.load_profile("court")
