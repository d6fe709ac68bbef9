# For freezing the firmware into MicroPython: make BOARD=… FROZEN_MANIFEST=…/firmware/manifest.py
include("$(PORT_DIR)/boards/manifest.py")  # noqa: F821
package("drivers", base_path=".", opt=3)  # noqa: F821
package("probe", base_path=".", opt=3)  # noqa: F821
module("main.py", base_path=".", opt=3)  # noqa: F821
