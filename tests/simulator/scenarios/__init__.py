"""The scenarios: each a day's work by name, varied by seed.

SCENARIOS[name](seed) -> Scenario. A seed varies shape, angle, speed, width and noise.
"""

from tests.simulator.scenarios import by_lot, days, records, ways
from tests.simulator.scenarios.common import SCENARIOS, placed

__all__ = ["SCENARIOS", "by_lot", "days", "placed", "records", "ways"]
