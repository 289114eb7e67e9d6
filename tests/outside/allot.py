"""The best plan of small fish, worked out anew by scipy's HiGHS.

The file named on the command line holds random problems with the plan of each. What is
best is stated here as integer programs, one for each line of it: committed divisions
filled, divisions kept, money, age, and the products of the ranks of ids, each with the
lines above it held at what they came to. On each line the plan must come to the same, to
the last division; it must itself keep within what there is, what is allowed and what is
pinned, and be worth what it says.
"""

import json
import sys
from pathlib import Path

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp

LINES = ["committed", "kept", "money", "age", "ids"]

problems = json.loads(Path(sys.argv[1]).read_text())


def ranks(items):
    """The smallest id has the highest rank, the largest has 1."""
    order = sorted(range(len(items)), key=lambda n: items[n]["id"], reverse=True)
    return {n: rank for rank, n in enumerate(order, start=1)}


def worth(problem, pairs):
    """What a division of each pair adds to each line but the first."""
    supply_ranks, room_ranks = ranks(problem["supplies"]), ranks(problem["rooms"])
    return np.array(
        [
            [
                1,
                problem["values"][i][j],
                problem["supplies"][i]["age"],
                supply_ranks[i] * room_ranks[j],
            ]
            for i, j in pairs
        ],
        dtype=float,
    ).reshape(len(pairs), 4).T


def best(problem, pairs):
    """Each line of what is best. Variables: divisions of each pair, filled of each room."""
    supplies, rooms = problem["supplies"], problem["rooms"]
    size = len(pairs) + len(rooms)
    pins = {(pin["supply"], pin["room"]): pin for pin in problem["pins"]}
    lower, upper = np.zeros(size), np.zeros(size)
    for n, (i, j) in enumerate(pairs):
        upper[n] = supplies[i]["divisions"]
        if (i, j) in pins:
            lower[n] = pins[i, j]["divisions"]
            if pins[i, j]["exactly"]:
                upper[n] = lower[n]
    rows = np.zeros((len(supplies) + 2 * len(rooms), size))
    most = [supply["divisions"] for supply in supplies]
    for n, (i, j) in enumerate(pairs):
        rows[i, n] = 1
        rows[len(supplies) + j, n] = 1
        rows[len(supplies) + len(rooms) + j, n] = -1
    for j, room in enumerate(rooms):
        upper[len(pairs) + j] = room["committed"]
        rows[len(supplies) + len(rooms) + j, len(pairs) + j] = 1
    most += [room["capacity"] for room in rooms] + [0] * len(rooms)
    goals = np.zeros((5, size))
    goals[0, len(pairs) :] = 1
    goals[1:, : len(pairs)] = worth(problem, pairs)
    held, found = [], []
    for goal in goals:
        bounds = [LinearConstraint(rows, -np.inf, most)]
        if held:
            bounds.append(LinearConstraint(np.array(held), found, found))
        answer = milp(
            -goal,
            integrality=np.ones(size),
            bounds=Bounds(lower, upper),
            constraints=bounds,
            options={"mip_rel_gap": 0},
        )
        if not answer.success:
            sys.exit(f"{problem}: HiGHS says {answer.message}")
        held.append(goal)
        # Whole numbers, each solution rounded before it is added up.
        found.append(int(np.rint(goal) @ np.rint(answer.x)))
    return found


def checked(problem, pairs):
    """What the plan is worth, when it is one."""
    plan, supplies, rooms = problem["plan"], problem["supplies"], problem["rooms"]
    placed = {(i, j): n for i, j, n in plan["lines"]}
    if len(placed) != len(plan["lines"]) or not set(placed) <= set(pairs):
        sys.exit(f"{problem}: a pair twice, or not allowed")
    if any(n <= 0 for n in placed.values()):
        sys.exit(f"{problem}: a line of nothing")
    for i, supply in enumerate(supplies):
        there = sum(n for (at, _), n in placed.items() if at == i)
        if plan["left"][i] < 0 or there + plan["left"][i] != supply["divisions"]:
            sys.exit(f"{problem}: supply {i} does not add up")
    filled = [sum(n for (_, at), n in placed.items() if at == j) for j in range(len(rooms))]
    if any(n > room["capacity"] for n, room in zip(filled, rooms)):
        sys.exit(f"{problem}: a room is too full")
    for pin in problem["pins"]:
        there = placed.get((pin["supply"], pin["room"]), 0)
        if there < pin["divisions"] or (pin["exactly"] and there > pin["divisions"]):
            sys.exit(f"{problem}: a pin does not hold")
    there = np.array([placed.get(pair, 0) for pair in pairs], dtype=np.int64)
    lines = worth(problem, pairs).astype(np.int64) @ there
    committed = sum(min(n, room["committed"]) for n, room in zip(filled, rooms))
    return [committed, *(int(n) for n in lines)]


seen = {"pins": 0, "left": 0, "split": 0, "promise broken": 0, "value below zero": 0}
for problem in problems:
    pairs = [
        (i, j)
        for i, row in enumerate(problem["values"])
        for j, value in enumerate(row)
        if value is not None
    ]
    ours = checked(problem, pairs)
    if ours != problem["plan"]["score"]:
        sys.exit(f"{problem}: the plan is worth {ours}")
    theirs = best(problem, pairs)
    if ours != theirs:
        wrong = next(name for name, a, b in zip(LINES, ours, theirs) if a != b)
        sys.exit(f"{problem}: HiGHS has {theirs}: other {wrong}")
    lines = problem["plan"]["lines"]
    seen["pins"] += any(pin["divisions"] > 0 for pin in problem["pins"])
    seen["left"] += any(problem["plan"]["left"])
    seen["split"] += len({i for i, _, _ in lines}) < len(lines)
    seen["promise broken"] += ours[0] < sum(room["committed"] for room in problem["rooms"])
    seen["value below zero"] += any(problem["values"][i][j] < 0 for i, j, _ in lines)
for what, count in seen.items():
    if not 100 < count:
        sys.exit(f"only {count} problems with {what}: they tell little")
if len(problems) < 1000:
    sys.exit(f"only {len(problems)} problems")
print(f"{len(problems)} problems equal on {len(LINES)} lines; {seen}")
