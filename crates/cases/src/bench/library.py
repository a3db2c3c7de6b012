"""Times and peak memory of a general-purpose Bayesian-network library (pyAgrum, lazy propagation) on a fault network.

usage: library.py version
       library.py times|memory tables|split FILE SET REPEATS

tables: each function is one node with a full table over its parents. split: a chain of two-parent ORs instead.
The network is built beforehand and is in no figure. One thread. Prints one line of JSON.
"""
import ctypes
import json
import os
import pathlib
import sys
import time

try:
    import pyagrum as gum
except ImportError:
    sys.exit("found no pyagrum in this Python, expected the libraries of xtask/requirements.txt: run `cargo xtask bench diagnosis`")

MOST_MEMORY = 4 << 30
# of the GNU C library: the option for what its heap grows by beyond what is asked for, and the largest blocks that it keeps by size
M_TOP_PAD, LARGEST_KEPT = -2, 1040
# seconds for all repeats of one list; three of them are made anyhow
LONGEST = 90.0
# seconds that one inference for each function may take by the time of a cold one; above that it is reckoned from `cold`
LONGEST_ROUND = 15.0


def limit_memory():
    try:
        import resource
    except ImportError:
        return
    held = int(pathlib.Path("/proc/self/statm").read_text().split()[0]) * os.sysconf("SC_PAGE_SIZE")
    resource.setrlimit(resource.RLIMIT_AS, (held + MOST_MEMORY, held + MOST_MEMORY))


def table(bn, child, parents, works):
    """Fills P(child | parents) by rows; `works` gives P(child = 0) for the bad parents of a row."""
    for parent in parents:
        bn.addArc(parent, child)
    for row in range(1 << len(parents)):
        bad = [parent for bit, parent in enumerate(parents) if row >> bit & 1]
        p = works(set(bad))
        bn.cpt(child)[{parent: int(parent in bad) for parent in parents}] = [p, 1 - p]


def chance_it_works(leak, strengths):
    def works(bad):
        p = 1 - leak
        for parent, strength in strengths.items():
            if parent in bad:
                p *= 1 - strength
        return p
    return works


def add_function(bn, function, encoding):
    name, strengths = function["id"], {parent["id"]: parent["strength"] for parent in function["parents"]}
    parents, leak = list(strengths), function["leak"]
    if encoding == "tables":
        bn.add(name, 2)
        return table(bn, name, parents, chance_it_works(leak, strengths))
    before = None
    for index, parent in enumerate(parents):
        link = name if index == len(parents) - 1 else f"{name}_{index}"
        bn.add(link, 2)
        of = {parent: strengths[parent]} | ({before: 1.0} if before else {})
        table(bn, link, list(of), chance_it_works(0.0 if before else leak, of))
        before = link


def build(network, encoding):
    bn = gum.BayesNet()
    for fault in network["faults"]:
        bn.add(fault["id"], 2)
        bn.cpt(fault["id"]).fillWith([1 - fault["prior"], fault["prior"]])
    for function in network["functions"]:
        add_function(bn, function, encoding)
    for look in network["observations"]:
        bn.add(look["id"], 2)
        table(bn, look["id"], [look["function"]],
              lambda bad, look=look: look["false_pass"] if bad else 1 - look["false_fail"])
    return bn


def posteriors(inference, faults):
    inference.makeInference()
    return {fault: float(inference.posterior(fault)[1]) for fault in faults}


def cold(bn, evidence, faults):
    inference = gum.LazyPropagation(bn)
    inference.setNumberOfThreads(1)
    inference.setTargets(set(faults))
    inference.setEvidence(evidence)
    return inference, posteriors(inference, faults)


def timed(repeats, run, least=3):
    seconds = []
    while len(seconds) < repeats and (len(seconds) < least or sum(seconds) <= LONGEST):
        start = time.perf_counter()
        run()
        seconds.append(time.perf_counter() - start)
    return seconds


def status(key):
    try:
        lines = pathlib.Path("/proc/self/status").read_text().splitlines()
    except OSError:
        return None
    return next(int(line.split()[1]) * 1024 for line in lines if line.startswith(key))


class Heap(ctypes.Structure):
    """struct mallinfo2 of the GNU C library."""
    _fields_ = [(name, ctypes.c_size_t) for name in (
        "arena", "ordblks", "smblks", "hblks", "hblkhd", "usmblks", "fsmblks", "uordblks", "fordblks", "keepcost")]


def leave_no_room():
    """Free memory goes back to the system, and what the heap has left free is taken: all that is taken next is seen in pages.

    What the heap needs for its own books is in that, some 8 bytes a block.
    """
    try:
        libc = ctypes.CDLL(None)
        libc.malloc_trim(0)
        libc.mallinfo2.restype = Heap
        libc.malloc.restype = ctypes.c_void_p
        # the heap grows by no more than is asked for
        libc.mallopt(M_TOP_PAD, 0)
    except (AttributeError, OSError, TypeError):
        return  # another C library
    large, small = range(1 << 16, LARGEST_KEPT, -4096), range(LARGEST_KEPT, 0, -16)
    for size in [*large, *small]:
        held = libc.mallinfo2().arena
        while libc.mallinfo2().arena == held:
            libc.malloc(size - 8)


def memory(bn, evidence, faults):
    # what the first use of the library takes once is not counted
    cold(gum.fastBN("a->b"), {"b": 1}, ["a"])
    leave_no_room()
    try:
        pathlib.Path("/proc/self/clear_refs").write_text("5")
    except OSError:
        return {"memory": None}
    start = status("VmRSS:")
    begun = time.perf_counter()
    cold(bn, evidence, faults)
    return {"memory": status("VmHWM:") - start, "seconds": time.perf_counter() - begun}


def times(bn, evidence, faults, network, expected, repeats):
    answer = {"cold": timed(repeats, lambda: cold(bn, evidence, faults))}
    inference, found = cold(bn, evidence, faults)
    if expected:
        answer["posterior_error"] = max(abs(found[fault] - expected[fault]) for fault in faults)
    open_looks = [look for look in network["observations"] if look["id"] not in evidence]
    functions = sorted({look["function"] for look in open_looks})
    answer["functions"] = len(functions)

    def one_for_each_function():
        for function in functions:
            inference.addEvidence(function, 1)
            posteriors(inference, faults)
            inference.eraseEvidence(function)

    if functions and answer["cold"][0] * len(functions) <= LONGEST_ROUND:
        answer["gains"] = timed(repeats, one_for_each_function, least=1)
    return answer


def main():
    if sys.argv[1:] == ["version"]:
        return print(json.dumps(f"pyagrum {gum.__version__}, Python {sys.version.split()[0]}"))
    kind, encoding, file, index, repeats = sys.argv[1:]
    gum.setNumberOfThreads(1)
    network = json.loads(pathlib.Path(file).read_text())
    evidence = {look: int(outcome == "fail") for look, outcome in network["evidence_sets"][int(index)]["evidence"].items()}
    expected = next((one["posteriors"] for one in network.get("expected", []) if one["index"] == int(index)), None)
    faults = [fault["id"] for fault in network["faults"]]
    bn = build(network, encoding)
    limit_memory()
    try:
        if kind == "memory":
            answer = memory(bn, evidence, faults)
        else:
            answer = times(bn, evidence, faults, network, expected, int(repeats))
    except Exception as error:  # the library raises no class of its own here
        if "bad_alloc" not in str(error) and not isinstance(error, MemoryError):
            raise
        answer = {"skipped": "more than 4 GiB"}
    print(json.dumps(answer))


if __name__ == "__main__":
    main()
