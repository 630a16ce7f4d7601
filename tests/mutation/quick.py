"""Loaded into the test runs of mutants: random tests try the same inputs each time and do not shrink what fails."""

from hypothesis import HealthCheck, Phase, settings

settings.register_profile(
    "mutation",
    derandomize=True,
    database=None,
    deadline=None,
    phases=[Phase.explicit, Phase.generate],
    suppress_health_check=list(HealthCheck),
)
settings.load_profile("mutation")
