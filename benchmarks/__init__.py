"""What Chalkbeam is measured by: one module a subject, each runs on its own."""
