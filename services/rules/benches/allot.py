"""The same problem by ortools' SimpleMinCostFlow, for `allot.rs`.

Committed, kept and money are packed into one cost of 64 bits, each unit larger than all
that the lower ones can make out along a closed chain of moves. Prints how long reading
and solving took, how long solving was on a processor, the most memory this process had,
and the three sums; to stderr, what of the memory Python and its libraries take before the
first number is read.
"""

import sys
import time

import numpy as np
from ortools.graph.python import min_cost_flow


def memory_kib():
    with open("/proc/self/status") as status:
        return next(int(line.split()[1]) for line in status if line.startswith("VmHWM:"))


print(f"python alone has {memory_kib() / 1024:.1f}", file=sys.stderr)
numbers = np.fromfile(sys.argv[1], dtype="<i8")
supplies, rooms = (int(n) for n in numbers[:2])
parts = np.cumsum([2, supplies, rooms, rooms])
divisions, committed, capacity, values = (
    part for part in np.split(numbers, parts)[1:]
)

started = time.monotonic()
money = 2 * (rooms + 1) * int(np.abs(values).max()) + 1
kept = 2 * money + 1
promised = 2 * (kept + money) + 1
sink = supplies + rooms
of = np.repeat(np.arange(supplies), rooms)
at = supplies + np.tile(np.arange(rooms), supplies)
every_supply, every_room = np.arange(supplies), supplies + np.arange(rooms)
flow = min_cost_flow.SimpleMinCostFlow()
pairs = flow.add_arcs_with_capacity_and_unit_cost(of, at, divisions[of], -(kept + values))
flow.add_arcs_with_capacity_and_unit_cost(
    every_supply, np.full(supplies, sink), divisions, np.zeros(supplies, dtype=np.int64)
)
flow.add_arcs_with_capacity_and_unit_cost(
    every_room, np.full(rooms, sink), committed, np.full(rooms, -promised)
)
flow.add_arcs_with_capacity_and_unit_cost(
    every_room, np.full(rooms, sink), capacity - committed, np.zeros(rooms, dtype=np.int64)
)
flow.set_nodes_supplies(every_supply, divisions)
flow.set_nodes_supplies([sink], [-int(divisions.sum())])
reading = time.monotonic() - started

started, before = time.monotonic(), time.process_time()
status = flow.solve()
solving, on_cpu = time.monotonic() - started, time.process_time() - before
if status != flow.OPTIMAL:
    sys.exit(f"not solved: {status}")

placed = flow.flows(pairs)
filled = np.bincount(at - supplies, weights=placed, minlength=rooms).astype(np.int64)
sums = np.minimum(filled, committed).sum(), placed.sum(), (placed * values).sum()
print(reading, solving, on_cpu, memory_kib(), *sums)
