"""How far a noted dimension may be from the true one, by what it is and how it was taken.

The figures are the project's defaults: common practice, no source. Sizes are standard deviations in inches.
"""

from types import MappingProxyType

from datasets.record import Taken

THICKNESS_SD_IN = MappingProxyType({Taken.CALIPER: 0.0015, Taken.RULE: 0.010, Taken.PLANNED: 0.0030})
"""One lam, measured at a few places; a planned lam comes off the grinder within a few thousandths."""

GLASS_SD_IN = MappingProxyType({Taken.CALIPER: 0.0005, Taken.RULE: 0.010, Taken.PLANNED: 0.0015})
"""One strip of glass; a planned one has the maker's tolerance."""

WIDTH_SD_IN = MappingProxyType({Taken.CALIPER: 0.004, Taken.RULE: 0.012, Taken.PLANNED: 0.030})
"""Width at one place; a rule is read to 1/32, a plan is cut to a pencil line."""

LENGTH_SD_IN = MappingProxyType({Taken.CALIPER: 0.03, Taken.RULE: 0.06, Taken.PLANNED: 0.12})
"""Nock to nock."""

BRACE_SD_IN = MappingProxyType({Taken.CALIPER: 0.06, Taken.RULE: 0.12, Taken.PLANNED: 0.15})
"""Brace height: the string twists, stretches, and the rule is held by eye."""

RADIUS_SD_IN = MappingProxyType({Taken.CALIPER: 0.008, Taken.RULE: 0.015, Taken.PLANNED: 0.020})
"""Corner radius, judged by eye or gauge."""

LAM_WAVINESS = 0.004
"""Unevenness along one core lam, as a share of its thickness."""

CARRIED_OUT = 0.12
"""Share by which a removal that was not measured afterwards misses its plan."""

GAIN_SD = 0.10
"""Share by which a way of taking stock off gets more or less weight off than the statics say."""

DEFAULT_RADIUS_IN = 0.04
"""Corner radius of a limb where none is noted."""

UNNOTED_RADIUS_SD_IN = 0.020
"""Scatter of a corner radius that nobody noted."""

UNNOTED_TRAP_SD_IN = 0.030
"""Scatter of the back's width about the belly's where no trap is noted."""

GLUE_LINE_IN = 0.004
"""Thickness of one glue line."""

GLUE_LINE_SD_IN = 0.001
"""Scatter of a bow's glue lines, all alike within one bow."""

NOCK_OFFSET_SD_IN = 0.03
"""Where the string sits in its nock, about half the tip's thickness."""

STRING_STIFFNESS_SD = 0.20
"""Scatter of a string's stiffness, as a share."""

SPAN_SD_IN = MappingProxyType({Taken.CALIPER: 0.010, Taken.RULE: 0.030, Taken.PLANNED: 0.120})
"""Between the edges that a strip lies on, or from its clamp to its load."""

DEFLECTION_SD_IN = MappingProxyType({Taken.CALIPER: 0.003, Taken.RULE: 0.015, Taken.PLANNED: 0.030})
"""How far a strip went down; a dial gauge counts as a caliper."""

SEATING_SD_IN = 0.010
"""By how much the first load seats a strip on its edges or in its clamp."""

CALIPER_SD_IN = GLASS_SD_IN[Taken.CALIPER]
"""A caliper's own error, the same in all that is measured by it. Glass comes even, so all that a reading of it is off
by is taken as the caliper's; what wood is off by beyond that is its own unevenness."""

MICROMETER_SD_IN = 0.0001
"""A micrometer's own error, likewise: its zero is checked on closed anvils to a tenth of a thousandth."""

HUNG_LOAD_SD = 0.005
"""The weights hung on a strip, all weighed on one scale, as a share."""
