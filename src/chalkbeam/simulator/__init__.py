"""A press, projector and camera in software, for the demo and the tests."""
