"""Runs the tests that pass a mutant's place until one of them fails."""

import collections, concurrent.futures, hashlib, json, os, pathlib, resource, signal, subprocess
import time

WORKERS = int(os.environ.get("MUTANTS_JOBS", "2"))
# Seconds here are of computing, not of the clock: the machine may be busy.
# a test that takes longer than this as it is, is left out
TOO_LONG_S = float(os.environ.get("MUTANTS_TEST_S", "10"))
# and a mutant that lives is given up after so many of tests as they are without it
BUDGET_S = float(os.environ.get("MUTANTS_BUDGET_S", "20"))
# the command line's tests go by clock and signals, but for those of its panel and pictures
OF_CLI = ("operate::", "pictures::")
Test = collections.namedtuple("Test", "program home target name seconds reached")


def call(test, limit_s, **extra):
    """The exit status of one test, None past its limit, and the seconds it computed."""

    def before():
        resource.setrlimit(resource.RLIMIT_AS, (6 << 30, 6 << 30))
        resource.setrlimit(resource.RLIMIT_CPU, (int(limit_s) + 1, int(limit_s) + 1))
        os.nice(int(os.environ.get("MUTANTS_NICE", "15")))

    process = subprocess.Popen(
        [test.program, "--exact", test.name, "--test-threads=1"],
        cwd=test.home, env=dict(os.environ, RUST_BACKTRACE="0", **extra),
        stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, stdin=subprocess.DEVNULL,
        preexec_fn=before, start_new_session=True,
    )
    end = time.monotonic() + 30 + 10 * limit_s
    pause = 0.001
    while True:
        pid, status, usage = os.wait4(process.pid, os.WNOHANG)
        if pid:
            break
        if time.monotonic() > end:
            # what the test itself started goes with it
            os.killpg(process.pid, signal.SIGKILL)
            _, status, usage = os.wait4(process.pid, 0)
            break
        time.sleep(pause)
        pause = min(0.02, 1.5 * pause)
    process.returncode = status
    ended = os.waitstatus_to_exitcode(status)
    is_late = ended in (-signal.SIGKILL, -signal.SIGXCPU)
    return None if is_late else ended, usage.ru_utime + usage.ru_stime


def note(work, test):
    """Runs a test as it is and notes its seconds and the places that it passes."""
    path = work / "reached"
    path.mkdir(exist_ok=True)
    path /= hashlib.sha256(f"{test.program} {test.name}".encode()).hexdigest()[:16]
    path.unlink(missing_ok=True)
    status, seconds = call(test, TOO_LONG_S, DOSEWRIGHT_REACHED=str(path))
    reached = sorted(set(map(int, path.read_text().split()))) if path.exists() else []
    if status != 0:
        why = "takes too long" if status is None else "does not hold in the woven tree"
        print(f"left out, {why}: {test.target} {test.name}", flush=True)
        reached = None
    return test._replace(seconds=seconds, reached=reached)


def tests(part, work):
    """Every test that holds in the woven tree, and the places that it passes."""
    kept = work / "tests.json"
    before = json.loads(kept.read_text()) if kept.exists() else {}
    found, todo = {}, []
    for program, home, target, beside in json.loads((work / "programs.json").read_text()):
        parts = b"".join(pathlib.Path(path).read_bytes() for path in [program, *sorted(beside)])
        mark = hashlib.sha256(parts).hexdigest()
        found[mark] = [Test(*test) for test in before.get(mark, [])]
        known = {test.name for test in found[mark]}
        shown = subprocess.run(
            [program, "--list", "--format", "terse"], cwd=home, check=True, capture_output=True, text=True
        )
        for line in shown.stdout.splitlines():
            name = line.removesuffix(": test")
            is_of_cli = target != "cli" or name.startswith(OF_CLI)
            if name != line and name not in known and is_of_cli:
                todo.append((mark, Test(program, home, target, name, 0.0, None)))
    with concurrent.futures.ThreadPoolExecutor(WORKERS) as pool:
        for (mark, _), test in zip(todo, pool.map(lambda it: note(work, it[1]), todo)):
            found[mark].append(test)
    kept.write_text(json.dumps(found))
    return [test for of in found.values() for test in of if test.reached is not None]


class Hunt:
    def __init__(self, mutants, tests):
        self.mutants = mutants
        self.by_place = collections.defaultdict(list)
        for test in tests:
            for number in test.reached:
                self.by_place[number].append(test)
        # what caught the neighbours is tried first, then what catches most for its time
        self.lately = collections.defaultdict(list)
        names = [(test.program, test.name) for test in tests]
        self.seconds = {(test.program, test.name): test.seconds for test in tests}
        self.caught = dict.fromkeys(names, 1)
        self.tried = dict.fromkeys(names, 10)

    def near(self, number):
        mutant = self.mutants[number]
        function = mutant["function"] or {}
        return (mutant["file"], function.get("function_name")), mutant["file"]

    def order(self, number):
        near = [name for place in self.near(number) for name in self.lately[place]]

        def cost(test):
            name = test.program, test.name
            if name in near:
                return -1 / (1 + near.index(name))
            return (0.02 + self.seconds[name]) * self.tried[name] / self.caught[name]

        return sorted(self.by_place[number], key=cost)

    def one(self, number):
        tests = self.order(number)
        if not tests:
            return {"verdict": "unreached", "by": ""}
        spent = run = 0
        for test in tests:
            if spent > BUDGET_S:
                break
            name = test.program, test.name
            status, seconds = call(test, 2 + 5 * self.seconds[name], DOSEWRIGHT_MUTANT=str(number))
            spent += self.seconds[name]
            run += 1
            self.tried[name] += 1
            if status == 0:
                self.seconds[name] = min(self.seconds[name], seconds)
                continue
            self.caught[name] += 1
            for place in self.near(number):
                self.lately[place] = [name, *[n for n in self.lately[place] if n != name]][:5]
            verdict = "timeout" if status is None else "caught"
            return {"verdict": verdict, "by": f"{test.target} {test.name}"}
        return {"verdict": "missed", "by": f"{run} of {len(tests)} tests that pass it"}


def run(mutants, chosen, tests):
    """The verdicts as they come."""
    hunt = Hunt(mutants, tests)
    with concurrent.futures.ThreadPoolExecutor(WORKERS) as pool:
        jobs = {pool.submit(hunt.one, number): number for number in chosen}
        for job in concurrent.futures.as_completed(jobs):
            yield jobs[job], job.result()
