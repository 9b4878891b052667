"""Loops of a net: the shortest independent ones, from which every other can be put together.

A net of `lines` lines between `marks` marks in `parts` parts has lines - marks + parts independent
loops (graph theory; the shortest ones are found as J. D. Horton, "A polynomial-time algorithm to
find the shortest cycle basis of a graph", SIAM J. Computing 16, 1987, has it; from memory).
"""

from collections import deque
from collections.abc import Iterator, Sequence

FULL_SEARCH = 1500
"""With more lines than this the loops are those of one tree of shortest ways, not the shortest."""

Step = tuple[int, int]
"""A line of a loop and the direction in which it is run: +1 as booked, -1 against."""


def parts_of(ends: Sequence[tuple[int, int]], marks: int) -> list[int]:
    """Return for every mark the number of the part of the net in which it lies, from 0."""
    around = _around(ends, marks)
    part = [-1] * marks
    count = 0
    for root in range(marks):
        if part[root] >= 0:
            continue
        part[root] = count
        waiting = deque([root])
        while waiting:
            here = waiting.popleft()
            for _, other in around[here]:
                if part[other] < 0:
                    part[other] = count
                    waiting.append(other)
        count += 1
    return part


def independent_loops(ends: Sequence[tuple[int, int]], marks: int) -> list[list[Step]]:
    """Return the independent loops of a net in which no two lines join the same marks.

    ends: the two marks of every line, from 0. Up to `FULL_SEARCH` lines the loops are the shortest
    (fewest lines); each begins at its lowest mark. Lines that hang on one end are in none.
    """
    around = _around(ends, marks)
    wanted = len(ends) - marks + (max(parts_of(ends, marks), default=-1) + 1)
    if wanted <= 0:
        return []
    if len(ends) > FULL_SEARCH:
        return [_ordered(loop, ends) for loop in _tree_loops(ends, marks, around)]
    candidates: dict[frozenset[int], None] = {}
    for root in range(marks):
        way, depth = _ways(root, around, marks)
        for line, (one, other) in enumerate(ends):
            if depth[one] < 0 or depth[other] < 0:
                continue
            first, second = way[one], way[other]
            # Two ways that part at the root only, joined by the line.
            if line in (first[-1:] + second[-1:]) or set(first) & set(second):
                continue
            candidates[frozenset((*first, *second, line))] = None
    basis: dict[int, int] = {}
    found = []
    for loop in sorted(candidates, key=lambda each: (len(each), sorted(each))):
        mask = sum(1 << line for line in loop)
        while mask:
            lead = mask.bit_length()
            if lead not in basis:
                basis[lead] = mask
                found.append(_ordered(loop, ends))
                break
            mask ^= basis[lead]
        if len(found) == wanted:
            break
    return found


def _around(ends: Sequence[tuple[int, int]], marks: int) -> list[list[tuple[int, int]]]:
    """Return the lines at every mark with the mark at their other end."""
    around: list[list[tuple[int, int]]] = [[] for _ in range(marks)]
    for line, (one, other) in enumerate(ends):
        around[one].append((line, other))
        around[other].append((line, one))
    return around


def _reached(
    root: int, around: list[list[tuple[int, int]]], depth: list[int]
) -> Iterator[tuple[int, int, int]]:
    """Yield the lines by which marks are first reached from a root, with both marks, nearest first.

    depth: number of lines from the root, negative where a mark was not reached; filled in.
    """
    depth[root] = 0
    waiting = deque([root])
    while waiting:
        here = waiting.popleft()
        for line, other in around[here]:
            if depth[other] < 0:
                depth[other] = depth[here] + 1
                waiting.append(other)
                yield line, here, other


def _ways(
    root: int, around: list[list[tuple[int, int]]], marks: int
) -> tuple[list[tuple[int, ...]], list[int]]:
    """Return a shortest way, as lines, from a mark to every other, and its number of lines."""
    way: list[tuple[int, ...]] = [()] * marks
    depth = [-1] * marks
    for line, here, other in _reached(root, around, depth):
        way[other] = (*way[here], line)
    return way, depth


def _tree_loops(
    ends: Sequence[tuple[int, int]], marks: int, around: list[list[tuple[int, int]]]
) -> list[frozenset[int]]:
    """Return the loop that every line outside one tree of shortest ways closes."""
    parent: list[tuple[int, int]] = [(-1, -1)] * marks
    depth = [-1] * marks
    for root in range(marks):
        if depth[root] >= 0:
            continue
        for line, here, other in _reached(root, around, depth):
            parent[other] = (line, here)
    tree = {line for line, _ in parent}
    loops = []
    for line, (one, other) in enumerate(ends):
        if line in tree:
            continue
        loop = {line}
        low, high = one, other
        while low != high:
            if depth[low] < depth[high]:
                low, high = high, low
            above, low = parent[low]
            loop.add(above)
        loops.append(frozenset(loop))
    return loops


def _ordered(loop: frozenset[int], ends: Sequence[tuple[int, int]]) -> list[Step]:
    """Return the lines of a loop in the order in which they are run."""
    at: dict[int, list[int]] = {}
    for line in sorted(loop):
        for mark in ends[line]:
            at.setdefault(mark, []).append(line)
    start = here = min(at)
    line = at[start][0]
    steps: list[Step] = []
    while True:
        one, other = ends[line]
        steps.append((line, 1 if one == here else -1))
        here = other if one == here else one
        if here == start:
            return steps
        line = next(each for each in at[here] if each != line)
