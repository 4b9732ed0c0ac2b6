"""Settings for all tests: kernels compile on first use, so hypothesis must not time the first example."""

from __future__ import annotations

from hypothesis import HealthCheck, settings

settings.register_profile(
    "bounceplan",
    deadline=None,
    derandomize=True,
    print_blob=True,
    suppress_health_check=[HealthCheck.too_slow],
)
settings.load_profile("bounceplan")
