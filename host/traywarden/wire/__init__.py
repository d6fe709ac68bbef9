"""SenML packs and MQTT topics: what travels between a probe and the host."""
