"""The firmware fits on a small board."""

from pathlib import Path

from tests.interpreter.node import FIRMWARE, MAIN, compiled, modules

MOST_BYTES = 64 * 1024


def test_every_module_compiles_and_the_whole_firmware_is_at_most_64_kib(tmp_path: Path) -> None:
    sizes = {name: len(compiled(name, path, tmp_path)) for name, path in modules().items()}
    if MAIN.exists():
        sizes["main.py"] = len(compiled("main.py", MAIN, tmp_path))
    whole = sum(sizes.values())
    largest = ", ".join(f"{name} {sizes[name]}" for name in sorted(sizes, key=lambda name: -sizes[name])[:5])
    print(f"\nThe firmware is {whole} bytes of .mpy in {len(sizes)} modules; the largest: {largest}.")
    assert whole <= MOST_BYTES


def test_what_is_frozen_into_a_board_is_all_of_it() -> None:
    manifest = (FIRMWARE / "manifest.py").read_text(encoding="utf-8")
    assert {name.split("/")[0] for name in modules()} == {"probe", "drivers"}
    for folder in ("probe", "drivers"):
        assert f'package("{folder}"' in manifest
