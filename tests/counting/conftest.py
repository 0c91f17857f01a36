"""Property tests without a time limit per example: how busy the machine is proves nothing."""

from hypothesis import settings

settings.register_profile("no deadline", deadline=None)
settings.load_profile("no deadline")
