"""The guided set-up: from what is connected to the first light, a page a step."""
