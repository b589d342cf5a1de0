"""Compares the setup reader with its published JSON Schema by a general-purpose validator.

    cargo test --test main verdicts && python tests/schema.py

Needs the Python package jsonschema. Whatever the reader accepts, the schema has to accept; the schema
also has to find a good part of what the reader refuses (units and geometry are beyond it).
"""

import json
import pathlib
import sys

import jsonschema

root = pathlib.Path(__file__).resolve().parent.parent
folder = root / "target" / "tmp"
schema = json.loads((folder / "schema.json").read_text())
jsonschema.Draft202012Validator.check_schema(schema)
validator = jsonschema.Draft202012Validator(schema)

for path in sorted((root / "budgets").glob("*.json")):
    validator.validate(json.loads(path.read_text()))

counts = {(True, True): 0, (True, False): 0, (False, True): 0, (False, False): 0}
for line in (folder / "setups.ndjson").read_text().splitlines():
    case = json.loads(line)
    accepted = validator.is_valid(case["setup"])
    counts[case["sound"], accepted] += 1
    if case["sound"] and not accepted:
        print("refused by the schema alone:", json.dumps(case["setup"], ensure_ascii=False))
        for error in validator.iter_errors(case["setup"]):
            print("   ", error.json_path, error.message[:200])

print("accepted by both", counts[True, True], "refused by both", counts[False, False],
      "refused by the reader alone", counts[False, True], "by the schema alone", counts[True, False])
caught = counts[False, False] / (counts[False, False] + counts[False, True])
print(f"the schema finds {caught:.0%} of what the reader refuses")
sys.exit(0 if counts[True, False] == 0 and caught > 0.8 else 1)
