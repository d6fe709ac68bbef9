"""`python -m tests.benchmarks [NAME …]`: run the benchmarks, one line for each figure.

Every module here with a `run()` is one; it returns its figures, or prints them itself and fails where they
are missed. Each compares with a baseline measured in the same run, as machines differ.
"""

import importlib
import pkgutil
import sys

import tests.benchmarks
from tests.benchmarks.figures import Figure


def names() -> list[str]:
    found = [module.name for module in pkgutil.iter_modules(tests.benchmarks.__path__)]
    return [name for name in found if name not in ("__main__", "figures")]


def main(wanted: list[str]) -> int:
    known = names()
    strange = [name for name in wanted if name not in known]
    if strange:
        print(f"There is no benchmark {', '.join(strange)}; there is {', '.join(known)}.", file=sys.stderr)
        return 2
    missed = 0
    for name in wanted or known:
        module = importlib.import_module(f"tests.benchmarks.{name}")
        if not hasattr(module, "run"):
            continue
        try:
            figures = module.run()
        except AssertionError as error:
            print(f"{name}: MISSED: {error}", flush=True)
            missed += 1
            continue
        for figure in figures if isinstance(figures, list) else ():
            assert isinstance(figure, Figure), figure
            print(f"{name}: {figure}", flush=True)
            missed += not figure.reached
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
