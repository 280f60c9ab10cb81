"""The table by room from the summary that llvm-cov exports, on standard input."""

import collections
import json
import sys

KINDS = ["lines", "regions", "branches"]


def room_of(path):
    """core's rooms are the files and folders of its source; the auditor is one."""
    if "/core/src/" in path:
        return path.split("/core/src/")[1].split("/")[0].removesuffix(".rs")
    if "/sim/src/audit/" in path and "/tests" not in path:
        return "auditor"
    return None


def main():
    files = json.load(sys.stdin)["data"][0]["files"]
    sums = collections.defaultdict(lambda: {kind: [0, 0] for kind in KINDS})
    for file in files:
        room = room_of(file["filename"])
        # a file of tests alone says nothing about the logic
        if room is None or file["filename"].endswith(("/tests.rs", "/samples.rs")):
            continue
        for name in [room] if room == "auditor" else [room, "core"]:
            for kind in KINDS:
                counted = file["summary"][kind]
                sums[name][kind][0] += counted["covered"]
                sums[name][kind][1] += counted["count"]
    print("| room | lines | regions | branches |")
    print("| --- | --- | --- | --- |")
    last = [name for name in ("core", "auditor") if name in sums]
    for name in sorted(set(sums) - set(last)) + last:
        cells = []
        for covered, count in sums[name].values():
            share = f"{100 * covered / count:.1f} % of {count}" if count else "none"
            cells.append(share)
        print(f"| {name} | {' | '.join(cells)} |")


main()
