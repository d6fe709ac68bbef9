"""What a probe is built from: parts, wiring, levels and power, computed from the firmware's pin table."""
