"""Line lasers that hang over a press: the lines of an imprint, and where each must stand."""
