"""What is printed and drawn: plans, proofs, worn views, reports."""
