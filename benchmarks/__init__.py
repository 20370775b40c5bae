"""What Chalkbeam is measured by: one module a subject, each runs on its own."""

import os

# As the program itself does (chalkbeam.cli.app.main), before NumPy is imported.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
