"""Paper for the crew: `walk` says what is staked, `along` where on a line, `tape` how finely it is measured.

`baseline` finds each stake by a station and a square offset, `swing` by two distances from fixed points, `standing`
says what no tape can be drawn through; `lay` puts it all together.
"""

from layout.stakes.lay import stake_findings, stake_out
from layout.stakes.standing import SOLID, in_the_way
from layout.stakes.swing import meeting_points
from layout.stakes.tape import STEPS, rounding_of

__all__ = ["SOLID", "STEPS", "in_the_way", "meeting_points", "rounding_of", "stake_findings", "stake_out"]
