"""Which of the given profiles fit the schema: one line of JSON a file, by the library `jsonschema` of PyPI."""

import json
import sys
import tomllib

import jsonschema

with open(sys.argv[1], encoding="utf-8") as file:
    schema = json.load(file)
jsonschema.Draft202012Validator.check_schema(schema)
validator = jsonschema.Draft202012Validator(schema)
for name in sys.argv[2:]:
    with open(name, "rb") as file:
        profile = tomllib.load(file)
    problems = [error.message for error in validator.iter_errors(profile)]
    print(json.dumps({"name": name, "problems": problems}))
