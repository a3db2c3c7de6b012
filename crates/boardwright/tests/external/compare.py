"""Posteriors of networks in UAI format by a general-purpose Bayesian-network library (pyAgrum, lazy propagation).

usage: compare.py FOLDER

For each NAME.uai in FOLDER, with NAME.uai.evid and NAME.names beside it, prints one line of JSON: the name, the chance
of what was found, and the posterior of each named mode.
"""
import json
import pathlib
import sys

try:
    import pyagrum as gum
except ImportError:
    sys.exit("found no pyagrum in this Python, expected the libraries of xtask/requirements.txt: run `cargo xtask test`")


def read_network(path):
    words = iter(path.read_text().split())
    assert next(words) == "BAYES", "the network is a Bayesian one"
    states = [int(next(words)) for _ in range(int(next(words)))]
    scopes = []
    for _ in range(int(next(words))):
        scopes.append([int(next(words)) for _ in range(int(next(words)))])
    network = gum.BayesNet()
    for variable, count in enumerate(states):
        network.add(gum.LabelizedVariable(f"v{variable}", "", max(count, 1)))
    for scope in scopes:
        for parent in scope[:-1]:
            network.addArc(f"v{parent}", f"v{scope[-1]}")
    for scope in scopes:
        values = [float(next(words)) for _ in range(int(next(words)))]
        table = network.cpt(f"v{scope[-1]}")
        # the library's own order of variables may differ: fill by name
        names = [f"v{variable}" for variable in scope]
        at = gum.Instantiation()
        for name in reversed(names):
            at.add(network.variableFromName(name))
        at.setFirst()
        for value in values:
            table[{name: at.val(network.variableFromName(name)) for name in names}] = value
            at.inc()
    return network


def read_evidence(path):
    words = [int(word) for word in path.read_text().split()]
    pairs = iter(words[1:])
    return {f"v{variable}": state for variable, state in zip(pairs, pairs)}


def main():
    for path in sorted(pathlib.Path(sys.argv[1]).glob("*.uai")):
        network = read_network(path)
        rows = [line.split("\t") for line in path.with_suffix(".names").read_text().splitlines()]
        inference = gum.LazyPropagation(network)
        inference.setEvidence(read_evidence(path.with_name(path.name + ".evid")))
        inference.setTargets({f"v{variable}" for variable, _, _ in rows})
        inference.makeInference()
        modes = {name: float(inference.posterior(f"v{variable}")[int(state)]) for variable, state, name in rows}
        print(json.dumps({"name": path.stem, "p": inference.evidenceProbability(), "modes": modes}), flush=True)


if __name__ == "__main__":
    main()
