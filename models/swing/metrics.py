"""What every metric of academy.swing_metric is: formula, unit, null policy, source, worked example.

The compiled kernel (kernel.py, phases.py) computes what stands here; a test holds this list, the table's
columns and rules/metrics.toml to one another.

Common ground. lead share = 100·lead/(lead + trail), null where both carry under 10 % of body weight W.
along = centre of pressure from the back of the heel (0) to the tip of the toes (100), null where that foot
carries under 5 % W. W = mean of lead + trail over the address window, else body mass · 9.80665. At an event =
mean of the samples within ±10 ms (at least one; half samples round to even); at address = within ±150 ms. A
mean, least or highest with more than half of its samples unknown is null. A metric is null when an event it
names is missing, outside the record or out of order. Loads are filtered at min(50 Hz, rate/4), places at
20 Hz.

Source "design": a quantity of this project whose definition is plain mechanics; "common practice": a trade
habit without a published source. Bands and limits are in rules/ and say their own source.
"""

from models.swing.definitions import Definition
from models.swing.metrics_from_top import FROM_TOP
from models.swing.metrics_to_top import TO_TOP

__all__ = ["METRICS", "Definition"]

METRICS: dict[str, Definition] = TO_TOP | FROM_TOP
"""Every metric in screen order."""
