"""Times and optima of models in free MPS format by a general-purpose solver (HiGHS), on one thread.

usage: planning.py version
       planning.py SECONDS GAP FILE...

For each FILE prints one line of JSON: the objective, the bound, whether it is proven, and the processor's seconds for
solving alone (reading the file is not in them). GAP is the relative gap at which it may stop.
"""
import json
import sys
import time

try:
    import highspy
except ImportError:
    sys.exit("found no highspy in this Python, expected the libraries of xtask/requirements.txt: run `cargo xtask bench planning`")


def solve(file, seconds, gap):
    highs = highspy.Highs()
    highs.setOptionValue("output_flag", False)
    highs.setOptionValue("threads", 1)
    highs.setOptionValue("mip_rel_gap", gap)
    highs.setOptionValue("mip_abs_gap", gap)
    highs.setOptionValue("time_limit", seconds)
    highs.readModel(file)
    before = time.process_time()
    highs.run()
    used = time.process_time() - before
    info = highs.getInfo()
    status = highs.getModelStatus()
    return {
        "objective": info.objective_function_value,
        "bound": info.mip_dual_bound,
        "proven": status == highspy.HighsModelStatus.kOptimal,
        "infeasible": status == highspy.HighsModelStatus.kInfeasible,
        "seconds": used,
        "columns": highs.getNumCol(),
        "rows": highs.getNumRow(),
    }


def main():
    if sys.argv[1] == "version":
        print(json.dumps({"highs": highspy.Highs().version(), "python": sys.version.split()[0]}))
        return
    seconds, gap = float(sys.argv[1]), float(sys.argv[2])
    for file in sys.argv[3:]:
        print(json.dumps(solve(file, seconds, gap)), flush=True)


main()
