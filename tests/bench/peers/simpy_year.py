"""The same work in SimPy: one process that waits for the next due and runs its train.

Reads the work as one line of JSON, runs it, and writes what it did and how long that
took, in seconds, as one line of JSON; again for every line.
"""

import json
import sys
import time

import simpy

DAY = 86_400


def next_due(entries, start):
    first = None
    for days, at in entries:
        day = max(0, -(-(start - at) // DAY))
        for ahead in range(7):
            if days >> ((day + ahead + 3) % 7) & 1:
                due = (day + ahead) * DAY + at
                if first is None or due < first:
                    first = due
                break
    return first


def pump(env, work, tally):
    entries = work["entries"]
    while True:
        due = next_due(entries, env.now)
        yield env.timeout(due - env.now)
        for pulse in range(work["pulses"]):
            start = due + pulse * work["spacing_s"]
            if start > env.now:
                yield env.timeout(start - env.now)
            tally[0] += 1
            tally[1] += env.now
            yield env.timeout(work["on_s"])
            tally[0] += 1
            tally[2] += env.now


for line in sys.stdin:
    work = json.loads(line)
    tally = [0, 0, 0]
    began = time.perf_counter()
    env = simpy.Environment()
    env.process(pump(env, work, tally))
    env.run(until=work["end_s"])
    took = time.perf_counter() - began
    print(json.dumps({"tally": tally, "took": took}), flush=True)
