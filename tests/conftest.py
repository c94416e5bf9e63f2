"""What holds for all tests: no limit of time per example, and the same examples in every run."""

from hypothesis import HealthCheck, settings

settings.register_profile(
    "any_load", deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow]
)
settings.load_profile("any_load")
