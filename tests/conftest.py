"""Settings for every test."""

from hypothesis import settings

# A busy machine is no fault of the code: nothing here is judged by its time.
settings.register_profile("noctuary", deadline=None)
settings.load_profile("noctuary")
