"""Posteriors of networks in UAI format by a general-purpose Bayesian-network library (pyAgrum, lazy propagation).

usage: compare.py FOLDER

For each NAME.uai in FOLDER, with NAME.uai.evid and NAME.names beside it, prints one line of JSON: the name, the chance
of what was found, and the posterior of each named mode.
"""
import json
import math
import pathlib
import random
import sys

try:
    import pyagrum as gum
except ImportError:
    sys.exit("found no pyagrum in this Python, expected the libraries of xtask/requirements.txt: run `cargo xtask test`")


# the order in which variables are added decides how the library groups them: of so many orders the lightest is taken
ORDERS = 20


def read_tables(path):
    """The number of states of each variable, and of each table its variables, the last one given the others, and its values."""
    words = iter(path.read_text().split())
    assert next(words) == "BAYES", "the network is a Bayesian one"
    states = [int(next(words)) for _ in range(int(next(words)))]
    scopes = []
    for _ in range(int(next(words))):
        scopes.append([int(next(words)) for _ in range(int(next(words)))])
    return states, scopes, [[float(next(words)) for _ in range(int(next(words)))] for _ in scopes]


def empty_network(states, scopes, seed):
    network = gum.BayesNet()
    order = list(range(len(states)))
    if seed > 0:
        random.Random(seed).shuffle(order)
    for variable in order:
        network.add(gum.LabelizedVariable(f"v{variable}", "", max(states[variable], 1)))
    for scope in scopes:
        for parent in scope[:-1]:
            network.addArc(f"v{parent}", f"v{scope[-1]}")
    return network


def fill(network, scopes, tables):
    for scope, values in zip(scopes, tables):
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


def inference_for(network, evidence, targets):
    inference = gum.LazyPropagation(network)
    inference.setEvidence(evidence)
    inference.setTargets(targets)
    return inference


def entries(network, inference):
    """How many table entries the inference will take."""
    tree = inference.junctionTree()
    cliques = ([network.variable(variable).domainSize() for variable in tree.clique(node)] for node in tree.nodes())
    return sum(math.prod(sizes) for sizes in cliques)


def read_evidence(path):
    words = [int(word) for word in path.read_text().split()]
    pairs = iter(words[1:])
    return {f"v{variable}": state for variable, state in zip(pairs, pairs)}


def main():
    for path in sorted(pathlib.Path(sys.argv[1]).glob("*.uai")):
        states, scopes, tables = read_tables(path)
        rows = [line.split("\t") for line in path.with_suffix(".names").read_text().splitlines()]
        evidence = read_evidence(path.with_name(path.name + ".evid"))
        targets = {f"v{variable}" for variable, _, _ in rows}

        def weight(seed):
            network = empty_network(states, scopes, seed)
            return entries(network, inference_for(network, evidence, targets))

        network = empty_network(states, scopes, min(range(ORDERS), key=weight))
        fill(network, scopes, tables)
        inference = inference_for(network, evidence, targets)
        inference.makeInference()
        modes = {name: float(inference.posterior(f"v{variable}")[int(state)]) for variable, state, name in rows}
        print(json.dumps({"name": path.stem, "p": inference.evidenceProbability(), "modes": modes}), flush=True)


if __name__ == "__main__":
    main()
