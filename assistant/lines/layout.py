"""Where the dynamic kernel keeps each number: one flat array, `work[(node * FIELDS + field) * LANES + lane]`.

Eight lines lie side by side (lanes), so that every inner loop over lanes compiles to vector instructions, and all
numbers live in one array, so that the compiler needs no check for overlapping arrays. Node 0 is the rod tip, node
N the lure; the quantities of segment i, between node i-1 and node i, are kept at node i.
"""

import numpy as np

LANES = 8
FIELDS = 64

# state
X, Y, Z = 0, 1, 2  # position [m], the iterate of the instant being solved; x north, y east, z down
X1, Y1, Z1 = 3, 4, 5  # position one step ago
X2, Y2, Z2 = 6, 7, 8  # position two steps ago
VX1, VY1, VZ1 = 9, 10, 11  # velocity one step ago [m/s]
VX2, VY2, VZ2 = 12, 13, 14
T, T1, T2 = 15, 16, 17  # tension of the segment [N], now, one and two steps ago

# segment
LENGTH = 18  # unstretched [m]
KN = 19  # 1/2 rho d Cn [kg/m2]: normal drag per length and speed squared
KT = 20  # 1/2 rho pi d Ct [kg/m2]: tangential drag, on the wetted perimeter
WET = 21  # weight in water per length [N/m]
DRY = 22  # weight in air per length [N/m]
MASS = 23  # mass per length [kg/m]
ADDED = 24  # added mass across the line per length [kg/m], where wet
COMPLIANCE = 25  # 1/EA [1/N]
PAYOUT = 26  # speed of the line's material along the segment because line runs out [m/s]

# body at the node
B_MASS = 27  # mass and added mass [kg]
B_WET = 28  # weight in water [N]
B_DRAG = 29  # 1/2 rho A_drag [kg/m]
B_DOWN = 30
B_SIDE = 31

# water at the node: current relative to the surface layer [m/s] and its change with depth [1/s]
WX, WY, DWX, DWY = 32, 33, 34, 35

# elimination
CARRY = 36  # 9: what the segments below add to the diagonal block, row by row
RHS = 45  # 3: and to the right side
GAIN = 48  # 9: -d(position here)/d(position one node up)
OFFSET = 57  # 3: the part of the correction that does not depend on the node above
VX, VY, VZ = 60, 61, 62  # velocity of the iterate
TURN = 63  # node 0 and 1 of a lane: cosine and sine that scale and turn the current for this lane


def place(field: int) -> np.uint64:
    """Offset of a field inside its node, unsigned.

    With signed indices the compiler must allow for negative ones and does not vectorise (3x slower).
    """
    return np.uint64(field * LANES)


ULANES = np.uint64(LANES)
NODE = np.uint64(FIELDS * LANES)  # stride of a node
