"""Property tests run the same examples every time, without a time limit that a busy machine would break."""

from hypothesis import settings

settings.register_profile("statistics", deadline=None, derandomize=True)
settings.load_profile("statistics")
