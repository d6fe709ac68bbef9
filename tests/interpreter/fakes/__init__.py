"""Stand-ins for what a board has and the interpreter has not, at the level of registers and bus bits.

They run in MicroPython, and where no `bridge` is needed in CPython as well: no imports but theirs.
"""
