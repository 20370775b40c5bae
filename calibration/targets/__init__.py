"""What is printed and projected to calibrate: cards, their sheets, the pattern."""
