"""The probe: from waking to the next sleep."""
