"""What holds for all tests."""

from hypothesis import HealthCheck, settings

# No test may depend on the machine's pace: neither on how long one example takes, nor on how
# long it takes to draw one. The registered profile is the default of every test.
settings.register_profile(
    "any pace",
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow],
)
settings.load_profile("any pace")
